// SPDX-License-Identifier: Apache-2.0
#include "base/errors.h"
#include "bench/bench.h"
#include "bench/device.h"
#include "counted_samples.h"
#include "fresh_folder.h"
#include "recording/recording.h"

#include <gtest/gtest.h>
#include <hdf5.h>

#include <cmath>
#include <cstddef>
#include <cstdint>
#include <filesystem>
#include <fstream>
#include <ios>
#include <random>
#include <string>
#include <vector>

namespace windwright::recording {
namespace {

namespace fs = std::filesystem;
using bench::Compression;

struct StoredChunk {
  std::int64_t first;
  std::int64_t bytes;
  std::int64_t address;
  bool packed;
};

hid_t opened(const fs::path& file) {
  return H5Fopen(file.c_str(), H5F_ACC_RDONLY | H5F_ACC_SWMR_READ, H5P_DEFAULT);
}

std::vector<StoredChunk> chunks_of(const fs::path& path, const std::string& dataset) {
  const hid_t file = opened(path);
  const hid_t data = H5Dopen2(file, dataset.c_str(), H5P_DEFAULT);
  const hid_t space = H5Dget_space(data);
  hsize_t count = 0;
  EXPECT_GE(H5Dget_num_chunks(data, space, &count), 0);
  std::vector<StoredChunk> chunks;
  for (hsize_t i = 0; i < count; ++i) {
    hsize_t offset = 0;
    hsize_t bytes = 0;
    unsigned left_out = 0;
    haddr_t address = 0;
    EXPECT_GE(H5Dget_chunk_info(data, space, i, &offset, &left_out, &address, &bytes), 0);
    chunks.push_back({.first = static_cast<std::int64_t>(offset),
                      .bytes = static_cast<std::int64_t>(bytes),
                      .address = static_cast<std::int64_t>(address),
                      .packed = left_out == 0});
  }
  H5Sclose(space);
  H5Dclose(data);
  H5Fclose(file);
  return chunks;
}

/// As HDF5 itself reads them, through its own filters.
std::vector<std::int32_t> counts_by_hdf5(const fs::path& path, const std::string& dataset) {
  const hid_t file = opened(path);
  const hid_t data = H5Dopen2(file, dataset.c_str(), H5P_DEFAULT);
  const hid_t space = H5Dget_space(data);
  std::vector<std::int32_t> counts(static_cast<std::size_t>(H5Sget_simple_extent_npoints(space)));
  EXPECT_GE(H5Dread(data, H5T_NATIVE_INT32, H5S_ALL, H5S_ALL, H5P_DEFAULT, counts.data()), 0);
  H5Sclose(space);
  H5Dclose(data);
  H5Fclose(file);
  return counts;
}

const std::string streams = "/streams/test-device/";

fs::path recorded(const fs::path& file, Compression compression, std::int64_t samples,
                  double rate_hz = 1000.0) {
  bench::Bench bench = three_channels(compression);
  bench.sample_rate_hz = rate_hz;
  Recorder recorder = Recorder::create(file, bench, source);
  for (std::int64_t first = 0; first < samples; first += 70) {
    recorder.append(block_from(first, 70));
    if (first % 7'000 == 0) recorder.flush_chunks();
    if (first % 35'000 == 0) recorder.flush();
  }
  recorder.finish();
  return file;
}

double stored_bytes(const fs::path& file, const std::string& channel) {
  double bytes = 0.0;
  for (const StoredChunk& chunk : chunks_of(file, streams + channel))
    bytes += static_cast<double>(chunk.bytes);
  return bytes;
}

// Shuffle, deflate and Fletcher's sums as HDF5 has them are what a chunk has to come back through.
TEST(CompressedRecording, IsReadByHdf5sOwnFilters) {
  for (const double rate_hz : {1'000.0, 2'000.0, 48'000.0}) {
    const auto file = recorded(fresh_folder() / "all.h5", Compression::deflate, 35'000, rate_hz);
    const Recording recording(file);
    for (std::size_t c = 0; c < 3; ++c) {
      const std::string& name = recording.channels()[c];
      const auto counts = counts_by_hdf5(file, streams + name);
      ASSERT_EQ(counts, recording.counts(name, 0, recording.samples()));
      for (std::int64_t i = 0; i < std::ssize(counts); ++i)
        ASSERT_EQ(counts[static_cast<std::size_t>(i)], count_at(c, i)) << name << ' ' << i;
    }
  }
}

TEST(CompressedRecording, SavesRoomWhereThereIsSomeToSave) {
  const fs::path folder = fresh_folder();
  const auto plain = recorded(folder / "plain.h5", Compression::none, 70'000);
  const auto packed = recorded(folder / "packed.h5", Compression::deflate, 70'000);
  // The 24 bits of the last channel leave one byte of four empty, and more that changes seldom.
  // Noise in the lowest byte leaves the others.
  EXPECT_LT(stored_bytes(packed, "dc_voltage_V"), 0.5 * stored_bytes(plain, "dc_voltage_V"));
  EXPECT_LT(stored_bytes(packed, "air_speed_m_s"), 0.7 * stored_bytes(plain, "air_speed_m_s"));
  int left = 0;
  for (const StoredChunk& chunk : chunks_of(packed, streams + "dc_voltage_V"))
    left += chunk.packed ? 0 : 1;
  EXPECT_EQ(left, 3);  // what is flushed before it is full stays as it is
}

// Noise of all 16 bits cannot be made smaller: it is kept as it is.
TEST(CompressedRecording, KeepsNoiseAsItIs) {
  const auto file = fresh_folder() / "recording.h5";
  std::mt19937 random(7);
  bench::SampleBlock block = block_from(0, 3'000);
  for (std::int32_t& count : block.counts)
    count = static_cast<std::int32_t>(random() >> 16U);
  bench::Bench bench = three_channels(Compression::deflate);
  for (bench::Channel& channel : bench.channels)
    channel.converter.bits = 16;
  Recorder::create(file, bench, source).append(block);
  for (const StoredChunk& chunk : chunks_of(file, streams + "air_speed_m_s"))
    EXPECT_EQ(chunk.bytes, 2 * 256 + 4);
  const auto counts = counts_by_hdf5(file, streams + "air_speed_m_s");
  EXPECT_TRUE(std::equal(counts.begin(), counts.end(), block.channel(0).begin()));
  EXPECT_EQ(Recording(file).counts("air_speed_m_s", 0, 3'000), counts);
}

TEST(CompressedRecording, LooksTheSame) {
  const fs::path folder = fresh_folder();
  const Recording plain(recorded(folder / "plain.h5", Compression::none, 70'000));
  const Recording packed(recorded(folder / "packed.h5", Compression::deflate, 70'000));
  for (const std::string& name : plain.channels()) {
    for (const std::int64_t bins : {1, 100, 5'000}) {
      const auto wanted = plain.bins(name, {.first = 123, .count = 69'000}, bins);
      const auto found = packed.bins(name, {.first = 123, .count = 69'000}, bins);
      ASSERT_EQ(found.size(), wanted.size());
      for (std::size_t i = 0; i < found.size(); ++i) {
        ASSERT_EQ(found[i].lowest, wanted[i].lowest) << name << ' ' << bins << ' ' << i;
        ASSERT_EQ(found[i].highest, wanted[i].highest);
        ASSERT_EQ(found[i].mean, wanted[i].mean);
      }
    }
  }
}

// At 999 S/s a chunk of 256 samples would be too long to wait for.
TEST(CompressedRecording, LeavesSlowChannelsAsTheyAre) {
  const auto file = fresh_folder() / "recording.h5";
  bench::Bench bench = three_channels(Compression::deflate);
  bench.channels[1].every = 250;
  Recorder recorder = Recorder::create(file, bench, source);
  recorder.append(block_from(0, 1'000));
  recorder.flush_chunks();
  EXPECT_EQ(recorder.flushed(), 768);  // three chunks of the others
  recorder.flush();
  EXPECT_EQ(recorder.flushed(), 1'000);
  recorder.finish();
  for (const StoredChunk& chunk : chunks_of(file, streams + "rotor_speed_rad_s"))
    EXPECT_EQ(chunk.bytes, 2 * 1'024 + 4);
}

TEST(CompressedRecording, StaysCompressedWhenItIsTakenUp) {
  const auto file = recorded(fresh_folder() / "all.h5", Compression::deflate, 35'000);
  {
    Recorder recorder = Recorder::take_up(file, 20'000);
    for (std::int64_t first = 20'000; first < 34'000; first += 70)
      recorder.append(block_from(first, 70));
  }
  expect_every_sample(file, 34'000);
  int packed = 0;
  for (const StoredChunk& chunk : chunks_of(file, streams + "dc_voltage_V"))
    packed += chunk.packed ? 1 : 0;
  EXPECT_GE(packed, 130);  // of 133
}

// Behind every byte of a chunk is its checksum, behind that what inflating it must give.
TEST(CompressedRecording, TellsADamagedChunk) {
  const auto file = recorded(fresh_folder() / "all.h5", Compression::deflate, 3'500);
  const auto chunks = chunks_of(file, streams + "dc_voltage_V");
  const auto changed = file.parent_path() / "changed.h5";
  ASSERT_TRUE(chunks[2].packed);
  for (const std::int64_t at : {std::int64_t{0}, chunks[2].bytes / 2, chunks[2].bytes - 1}) {
    fs::copy_file(file, changed, fs::copy_options::overwrite_existing);
    std::fstream bytes(changed, std::ios::binary | std::ios::in | std::ios::out);
    bytes.seekg(chunks[2].address + at);
    const int before = bytes.get();
    bytes.seekp(chunks[2].address + at);
    bytes.put(static_cast<char>(before ^ 0x40));
    bytes.close();
    const Recording recording(changed);
    EXPECT_EQ(recording.counts("dc_voltage_V", 0, 512).back(), count_at(2, 511));
    EXPECT_THROW(recording.counts("dc_voltage_V", 512, 256), base::DiskFault) << at;
    EXPECT_EQ(recording.counts("dc_voltage_V", 768, 1).front(), count_at(2, 768));
  }
}

}  // namespace
}  // namespace windwright::recording
