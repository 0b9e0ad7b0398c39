// SPDX-License-Identifier: Apache-2.0
// A sound HDF5 file with hostile contents: the bytes are orders to change attributes, types,
// sizes and links of a small recording.
#include "bench/recording_table.h"
#include "refuses.h"
#include "seen_recording.h"
#include "sound_recording.h"

#include <hdf5.h>

#include <algorithm>
#include <array>
#include <cstddef>
#include <cstdint>
#include <cstring>
#include <filesystem>
#include <string>
#include <string_view>
#include <vector>

namespace windwright {
namespace {

constexpr const char* objects[] = {"/",
                                   "/streams/made-up",
                                   "/streams/made-up/speed",
                                   "/pyramid/made-up/speed/256",
                                   "/gaps/made-up",
                                   "/clock/made-up"};
constexpr const char* attributes[] = {"schema",  "start_utc", "sample_rate_hz",
                                      "units",   "long_name", "certificate",
                                      "lower_V", "upper_V",   "bits"};

/// Plain or compressed, made once.
const std::filesystem::path& sound_recording(bool compressed) {
  static const auto files = [] {
    const std::array made{scratch_folder() / "sound.h5", scratch_folder() / "sound_packed.h5"};
    make_sound_recording(made[0]);
    make_sound_recording(made[1], bench::Compression::deflate);
    return made;
  }();
  return files[compressed ? 1 : 0];
}

/// The orders, byte by byte; zeros at the end.
class Orders {
 public:
  explicit Orders(std::string_view bytes) : bytes_(bytes) {}
  bool done() const { return bytes_.empty(); }
  std::size_t below(std::size_t end) { return number<std::uint8_t>() % end; }
  template <typename Number>
  Number number() {
    Number value{};
    const std::size_t size = std::min(sizeof value, bytes_.size());
    std::memcpy(&value, bytes_.data(), size);
    bytes_.remove_prefix(size);
    return value;
  }
  std::string text() {
    const std::string taken(bytes_.substr(0, number<std::uint8_t>()));
    bytes_.remove_prefix(std::min(taken.size(), bytes_.size()));
    return taken;
  }

 private:
  std::string_view bytes_;
};

hid_t some_type(Orders& orders) {
  const hid_t types[] = {H5T_STD_U16LE,  H5T_STD_I32LE, H5T_IEEE_F32LE, H5T_STD_I64LE,
                         H5T_IEEE_F64BE, H5T_STD_U8BE,  H5T_C_S1};
  return types[orders.below(std::size(types))];
}

hid_t some_space(Orders& orders, bool grows) {
  const std::size_t rank = orders.below(5);
  if (rank == 0) return H5Screate(orders.below(2) == 0 ? H5S_SCALAR : H5S_NULL);
  std::vector<hsize_t> extent;
  for (std::size_t k = 0; k < rank; ++k)
    extent.push_back(orders.below(9));
  const std::vector<hsize_t> most(rank, H5S_UNLIMITED);
  return H5Screate_simple(static_cast<int>(rank), extent.data(), grows ? most.data() : nullptr);
}

void put_attribute(hid_t object, const char* name, Orders& orders) {
  H5Adelete(object, name);
  const hid_t text = H5Tcopy(H5T_C_S1);
  hid_t space = H5Screate(H5S_SCALAR);
  std::vector<char> value(1 << 16);
  hid_t type = H5T_NATIVE_DOUBLE;
  switch (orders.below(5)) {
    case 0: {
      const auto number = orders.number<double>();
      std::memcpy(value.data(), &number, sizeof number);
      break;
    }
    case 1: {
      const auto number = orders.number<std::int64_t>();
      std::memcpy(value.data(), &number, sizeof number);
      type = H5T_NATIVE_INT64;
      break;
    }
    case 2: {
      const std::string words = orders.text();
      H5Tset_size(text, std::max<std::size_t>(1, words.size()));
      std::copy(words.begin(), words.end(), value.begin());
      type = text;
      break;
    }
    case 3:
      H5Tset_size(text, H5T_VARIABLE);
      type = text;
      break;
    default:
      H5Sclose(space);
      space = some_space(orders, false);
      type = some_type(orders);
  }
  const hid_t made = H5Acreate2(object, name, type, space, H5P_DEFAULT, H5P_DEFAULT);
  if (made >= 0 && H5Tis_variable_str(type) <= 0) H5Awrite(made, type, value.data());
  if (made >= 0) H5Aclose(made);
  H5Sclose(space);
  H5Tclose(text);
}

void put_dataset(hid_t file, const char* name, Orders& orders) {
  H5Ldelete(file, name, H5P_DEFAULT);
  const hid_t list = H5Pcreate(H5P_DATASET_CREATE);
  const bool chunked = orders.below(4) != 0;
  const hid_t space = some_space(orders, chunked);
  const int rank = std::max(0, H5Sget_simple_extent_ndims(space));
  if (chunked && rank > 0) {
    std::vector<hsize_t> chunk;
    for (int k = 0; k < rank; ++k)
      chunk.push_back(1 + orders.below(5));
    H5Pset_chunk(list, rank, chunk.data());
    if (orders.below(2) == 0) H5Pset_fletcher32(list);
  }
  const hid_t made =
      H5Dcreate2(file, name, some_type(orders), space, H5P_DEFAULT, list, H5P_DEFAULT);
  if (made >= 0) H5Dclose(made);
  H5Sclose(space);
  H5Pclose(list);
}

void set_extent(hid_t file, const char* name, const std::array<hsize_t, 2>& extent) {
  const hid_t data = H5Dopen2(file, name, H5P_DEFAULT);
  if (data < 0) return;
  const hid_t space = H5Dget_space(data);
  std::array<hsize_t, H5S_MAX_RANK> dims{};  // the number of points may be none, or run over
  H5Sget_simple_extent_dims(space, dims.data(), nullptr);
  const bool far = *std::max_element(dims.begin(), dims.end()) > 100'000;
  H5Sclose(space);
  // From far away back HDF5 would look for each chunk that could have been there.
  if (far) {
    H5Dclose(data);
    return;
  }
  H5Dset_extent(data, extent.data());
  H5Dclose(data);
}

/// Two rows of whole numbers, where they are any.
void put_rows(hid_t file, const char* name, hsize_t columns, Orders& orders) {
  set_extent(file, name, std::array<hsize_t, 2>{2, columns});
  const hid_t data = H5Dopen2(file, name, H5P_DEFAULT);
  if (data < 0) return;
  std::vector<std::int64_t> rows;
  for (hsize_t k = 0; k < columns; ++k)
    rows.push_back(orders.number<std::int64_t>());
  for (hsize_t k = 0; k < columns; ++k)
    rows.push_back(orders.number<std::int16_t>());
  const hid_t space = H5Dget_space(data);
  if (H5Sget_simple_extent_npoints(space) == static_cast<hssize_t>(rows.size()))
    H5Dwrite(data, H5T_NATIVE_INT64, H5S_ALL, H5S_ALL, H5P_DEFAULT, rows.data());
  H5Sclose(space);
  H5Dclose(data);
}

void follow(hid_t file, Orders& orders) {
  const char* name = objects[orders.below(std::size(objects))];
  switch (orders.below(6)) {
    case 0:
    case 1: {
      const hid_t object = H5Oopen(file, name, H5P_DEFAULT);
      if (object < 0) return;
      put_attribute(object, attributes[orders.below(std::size(attributes))], orders);
      H5Oclose(object);
      return;
    }
    case 2:
      return put_dataset(file, name, orders);
    case 3:
      return set_extent(file, name,
                        {orders.number<std::uint64_t>() >> orders.below(64), orders.below(6)});
    case 4:
      return std::string_view(name) == "/clock/made-up"
                 ? put_rows(file, name, 3, orders)
                 : put_rows(file, "/gaps/made-up", 2, orders);
    default:
      H5Ldelete(file, name, H5P_DEFAULT);
  }
}

}  // namespace
}  // namespace windwright

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  using namespace windwright;
  const std::filesystem::path changed = scratch_folder() / "changed.h5";
  constexpr std::size_t most_orders = 12;
  Orders orders(std::string_view(reinterpret_cast<const char*>(data), size));
  std::filesystem::copy_file(sound_recording(orders.below(2) == 1), changed,
                             std::filesystem::copy_options::overwrite_existing);
  const hid_t file = H5Fopen(changed.c_str(), H5F_ACC_RDWR, H5P_DEFAULT);
  for (std::size_t n = 0; n < most_orders && !orders.done(); ++n)
    follow(file, orders);
  H5Fclose(file);
  see_recording(changed);
  return 0;
}
