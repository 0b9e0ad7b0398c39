// SPDX-License-Identifier: Apache-2.0
#include "recording/number_rows.h"

#include "recording/layout.h"

#include <hdf5.h>

#include <cassert>
#include <cstdint>
#include <filesystem>
#include <span>
#include <string>

namespace windwright::recording {
namespace {

constexpr hsize_t rows_of_chunk = 64;

}  // namespace

NumberRows::NumberRows(hid_t group, const std::string& name, hsize_t columns,
                       const std::string& long_name, const std::filesystem::path& path)
    : data_(new_dataset(group, name, {.type = H5T_STD_I64LE, .chunk = {rows_of_chunk, columns}},
                        path)),
      columns_(columns),
      path_(path) {
  put_text(data_.get(), "long_name", long_name, path);
}

void NumberRows::append(std::span<const std::int64_t> row) {
  assert(row.size() == columns_);
  const hsize_t extent[2] = {rows_ + 1, columns_};
  const hsize_t start[2] = {rows_, 0};
  const hsize_t count[2] = {1, columns_};
  require(H5Dset_extent(data_.get(), extent), path_, "lengthen a dataset");
  const Handle space = owned(H5Dget_space(data_.get()), path_, "write a row");
  require(H5Sselect_hyperslab(space.get(), H5S_SELECT_SET, start, nullptr, count, nullptr), path_,
          "write a row");
  const Handle memory = owned(H5Screate_simple(2, count, nullptr), path_, "write a row");
  require(
      H5Dwrite(data_.get(), H5T_NATIVE_INT64, memory.get(), space.get(), H5P_DEFAULT, row.data()),
      path_, "write a row");
  ++rows_;
}

}  // namespace windwright::recording
