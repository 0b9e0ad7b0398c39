// SPDX-License-Identifier: Apache-2.0
// Files that are HDF5, but not what a recording is: refused in words before anything is made of
// them. tests/fuzz/recording_fields_fuzz.cpp looks for more.
#include "base/errors.h"
#include "base/files.h"
#include "bench/recording_table.h"
#include "expect_refused.h"
#include "fresh_folder.h"
#include "recording/recording.h"
#include "sound_recording.h"

#include <gtest/gtest.h>
#include <hdf5.h>

#include <array>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <filesystem>
#include <fstream>
#include <iterator>
#include <string>
#include <vector>

namespace windwright::recording {
namespace {

namespace fs = std::filesystem;
constexpr const char* stream = "/streams/made-up/speed";
constexpr const char* gaps = "/gaps/made-up";

constexpr const char* clock_rows = "/clock/made-up";

fs::path sound(bench::Compression compression = bench::Compression::none) {
  const fs::path file = fresh_folder() / "recording.h5";
  make_sound_recording(file, compression);
  return file;
}

/// An attribute with these numbers in place of the one that was there.
void put_numbers(const fs::path& path, const char* object, const char* name,
                 const std::vector<double>& numbers) {
  const hid_t file = H5Fopen(path.c_str(), H5F_ACC_RDWR, H5P_DEFAULT);
  const hid_t owner = H5Oopen(file, object, H5P_DEFAULT);
  H5Adelete(owner, name);
  const hsize_t size = numbers.size();
  const hid_t space =
      numbers.size() == 1 ? H5Screate(H5S_SCALAR) : H5Screate_simple(1, &size, nullptr);
  const hid_t made = H5Acreate2(owner, name, H5T_NATIVE_DOUBLE, space, H5P_DEFAULT, H5P_DEFAULT);
  EXPECT_GE(H5Awrite(made, H5T_NATIVE_DOUBLE, numbers.data()), 0);
  H5Aclose(made);
  H5Sclose(space);
  H5Oclose(owner);
  H5Fclose(file);
}

void set_extent(const fs::path& path, const char* name, const std::array<hsize_t, 2>& extent) {
  const hid_t file = H5Fopen(path.c_str(), H5F_ACC_RDWR, H5P_DEFAULT);
  const hid_t data = H5Dopen2(file, name, H5P_DEFAULT);
  EXPECT_GE(H5Dset_extent(data, extent.data()), 0);
  H5Dclose(data);
  H5Fclose(file);
}

void expect_unreadable(const fs::path& file, const std::string& words) {
  expect_refused([&] { const Recording recording(file); }, words);
}

TEST(DamagedRecording, MoreNumbersThanOneAreNoAttribute) {
  const fs::path file = sound();
  put_numbers(file, stream, "lower_V", std::vector<double>(1000, -10.0));
  expect_unreadable(file, "attribute 'lower_V' is not one number");
}

TEST(DamagedRecording, NumbersOutsideOfWhatTheyMeanAreNamed) {
  const fs::path file = sound();
  put_numbers(file, stream, "lower_V", {10.0});
  expect_unreadable(file, "channel 'speed' has a converter without a range");
  put_numbers(file, stream, "lower_V", {std::nan("")});
  expect_unreadable(file, "attribute 'lower_V' is not finite");
  put_numbers(file, "/streams/made-up", "sample_rate_hz", {-5.0});
  expect_unreadable(file, "has -5 samples a second");
  put_numbers(file, "/", "schema", {1.0});
  expect_unreadable(file, "attribute 'schema' is not one number");
}

TEST(DamagedRecording, MoreSamplesThanTheFileHoldsAreRefused) {
  const fs::path file = sound();
  set_extent(file, stream, {hsize_t{1} << 62, 0});
  expect_unreadable(file, "says that it holds more than there is");
}

TEST(DamagedRecording, GapsAreInTheOrderOfTime) {
  const fs::path file = sound();
  set_extent(file, gaps, {3, 2});  // two gaps before sample 0 behind that before 400
  expect_unreadable(file, "has a gap before sample 0 that does not fit the one before");
}

TEST(DamagedRecording, TimesAreInTheirOrder) {
  const fs::path file = sound();
  set_extent(file, clock_rows, {4, 3});  // two of sample 0 behind those of 1499 and 2999
  expect_unreadable(file, "has times of sample 0 out of order");
}

// A dataset that says what recordings never say of their filters.
TEST(DamagedRecording, OtherFiltersAreRefused) {
  const fs::path path = sound(bench::Compression::deflate);
  EXPECT_EQ(Recording(path).counts("speed", 1499, 1).front(), 1499 * 37);
  const hid_t file = H5Fopen(path.c_str(), H5F_ACC_RDWR, H5P_DEFAULT);
  const hid_t streams = H5Gopen2(file, "/streams/made-up", H5P_DEFAULT);
  const hid_t old = H5Dopen2(streams, "speed", H5P_DEFAULT);
  const hid_t list = H5Pcreate(H5P_DATASET_CREATE);
  const hsize_t chunk = 256;
  const hid_t space = H5Dget_space(old);
  EXPECT_GE(H5Pset_chunk(list, 1, &chunk), 0);
  EXPECT_GE(H5Pset_deflate(list, 1), 0);
  EXPECT_GE(H5Pset_fletcher32(list), 0);
  const hid_t made =
      H5Dcreate2(streams, "other", H5T_STD_U16LE, space, H5P_DEFAULT, list, H5P_DEFAULT);
  for (const char* name :
       {"units", "long_name", "certificate", "lower_V", "upper_V", "bits", "sample_rate_hz"}) {
    const hid_t from = H5Aopen(old, name, H5P_DEFAULT);
    const hid_t type = H5Aget_type(from);
    const hid_t one = H5Aget_space(from);
    const hid_t to = H5Acreate2(made, name, type, one, H5P_DEFAULT, H5P_DEFAULT);
    std::array<char, 1024> value{};
    EXPECT_GE(H5Aread(from, type, value.data()), 0);
    EXPECT_GE(H5Awrite(to, type, value.data()), 0);
    for (const hid_t each : {from, to})
      H5Aclose(each);
    H5Sclose(one);
    H5Tclose(type);
  }
  EXPECT_GE(H5Ldelete(streams, "speed", H5P_DEFAULT), 0);
  EXPECT_GE(H5Lmove(streams, "other", streams, "speed", H5P_DEFAULT, H5P_DEFAULT), 0);
  H5Dclose(made);
  H5Pclose(list);
  H5Sclose(space);
  H5Dclose(old);
  H5Gclose(streams);
  H5Fclose(file);
  expect_unreadable(path, "keeps 'speed' in another way than recordings do");
}

// HDF5 would look again a hundred times, each time after twice as long: years.
TEST(DamagedRecording, ABrokenChecksumOfMetadataEndsInWords) {
  const fs::path file = sound();
  std::ifstream in(file, std::ios::binary);
  std::string bytes{std::istreambuf_iterator<char>(in), {}};
  const std::size_t header = bytes.find("OHDR");
  ASSERT_NE(header, std::string::npos);
  bytes[header + 20] = static_cast<char>(bytes[header + 20] ^ 1);
  base::write_whole(file, bytes);
  EXPECT_THROW(const Recording recording(file), base::DiskFault);
}

}  // namespace
}  // namespace windwright::recording
