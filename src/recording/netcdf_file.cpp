// SPDX-License-Identifier: Apache-2.0
#include "recording/netcdf_file.h"

#include "base/errors.h"
#include "recording/dimension.h"
#include "recording/layout.h"

#include <fmt/format.h>
#include <hdf5.h>
#include <unistd.h>

#include <algorithm>
#include <cerrno>
#include <cstdint>
#include <cstring>
#include <filesystem>
#include <map>
#include <memory>
#include <span>
#include <string>
#include <utility>
#include <variant>
#include <vector>

namespace windwright::recording {

namespace {

constexpr hsize_t longest_chunk = 65536;
constexpr unsigned little_effort = 2;  // of 9: more takes much longer for a little less

void put_all(hid_t object, const std::vector<Attribute>& attributes,
             const std::filesystem::path& path) {
  for (const auto& [name, value] : attributes) {
    if (const auto* text = std::get_if<std::string>(&value)) {
      put_text(object, name.c_str(), *text, path);
    } else {
      put_number(object, name.c_str(), std::get<double>(value), path);
    }
  }
}

}  // namespace

struct NetcdfFile::File {
  std::filesystem::path path;
  Handle file;
  std::map<std::string, Handle> data;  // by variable
  std::map<std::string, hsize_t> lengths;

  Handle new_data(const std::string& name, hsize_t length) const;
};

Handle NetcdfFile::File::new_data(const std::string& name, hsize_t length) const {
  const hsize_t chunk = std::min(length, longest_chunk);
  const Handle space = owned(H5Screate_simple(1, &length, nullptr), path, "make a variable");
  const Handle list = owned(H5Pcreate(H5P_DATASET_CREATE), path, "make a variable");
  require(H5Pset_chunk(list.get(), 1, &chunk), path, "make a variable");
  require(H5Pset_shuffle(list.get()), path, "make a variable");
  require(H5Pset_deflate(list.get(), little_effort), path, "make a variable");
  require(H5Pset_fletcher32(list.get()), path, "make a variable");
  return owned(H5Dcreate2(file.get(), name.c_str(), H5T_IEEE_F64LE, space.get(), H5P_DEFAULT,
                          list.get(), H5P_DEFAULT),
               path, "make a variable");
}

NetcdfFile::NetcdfFile(const std::filesystem::path& file, const std::vector<Attribute>& attributes)
    : file_(std::make_unique<File>()) {
  silence_hdf5();
  file_->path = file;
  const Handle list = owned(H5Pcreate(H5P_FILE_CREATE), file, "make");
  require(H5Pset_link_creation_order(list.get(), H5P_CRT_ORDER_TRACKED | H5P_CRT_ORDER_INDEXED),
          file, "make");
  file_->file =
      owned(H5Fcreate(file.c_str(), H5F_ACC_TRUNC, list.get(), H5P_DEFAULT), file, "make");
  put_all(file_->file.get(), attributes, file);
}

NetcdfFile::NetcdfFile(NetcdfFile&& other) noexcept = default;
NetcdfFile::~NetcdfFile() = default;

void NetcdfFile::add_dimension(const std::string& name, std::int64_t length,
                               const std::vector<Attribute>& attributes) {
  Handle made = file_->new_data(name, static_cast<hsize_t>(length));
  become_dimension(made.get(), name, file_->path);
  put_all(made.get(), attributes, file_->path);
  file_->lengths[name] = static_cast<hsize_t>(length);
  file_->data.emplace(name, std::move(made));
}

void NetcdfFile::add_variable(const std::string& name, const std::string& dimension,
                              const std::vector<Attribute>& attributes) {
  Handle made = file_->new_data(name, file_->lengths.at(dimension));
  put_all(made.get(), attributes, file_->path);
  attach(file_->data.at(dimension).get(), {made.get()}, file_->path);
  file_->data.emplace(name, std::move(made));
}

void NetcdfFile::write(const std::string& name, std::int64_t first,
                       std::span<const double> values) {
  const hid_t data = file_->data.at(name).get();
  const hsize_t start = static_cast<hsize_t>(first);
  const hsize_t count = values.size();
  const Handle space = owned(H5Dget_space(data), file_->path, "write values");
  require(H5Sselect_hyperslab(space.get(), H5S_SELECT_SET, &start, nullptr, &count, nullptr),
          file_->path, "write values");
  const Handle memory = owned(H5Screate_simple(1, &count, nullptr), file_->path, "write values");
  require(H5Dwrite(data, H5T_NATIVE_DOUBLE, memory.get(), space.get(), H5P_DEFAULT, values.data()),
          file_->path, "write values");
}

void NetcdfFile::finish() {
  require(H5Fflush(file_->file.get(), H5F_SCOPE_GLOBAL), file_->path, "write");
  void* handle = nullptr;
  require(H5Fget_vfd_handle(file_->file.get(), H5P_DEFAULT, &handle), file_->path, "write");
  if (fsync(*static_cast<const int*>(handle)) == 0) return;
  throw base::DiskFault(file_->path.string(),
                        fmt::format("cannot write ({})", std::strerror(errno)), "check the disk");
}

}  // namespace windwright::recording
