// SPDX-License-Identifier: Apache-2.0
#include "base/errors.h"
#include "bench/bench.h"
#include "fresh_folder.h"
#include "recording/piece_sums.h"
#include "recording/recording.h"

#include <gtest/gtest.h>
#include <hdf5.h>
#include <hwy/highway.h>

#include <algorithm>
#include <array>
#include <chrono>
#include <cmath>
#include <cstdint>
#include <filesystem>
#include <initializer_list>
#include <random>
#include <string>
#include <vector>

namespace windwright::recording {
namespace {

constexpr base::UtcTime start{std::chrono::hours(24 * 365 * 50)};

bench::Bench two_channels(double rate_hz) {
  bench::Bench bench{};
  bench.sample_rate_hz = rate_hz;
  for (const int bits : {16, 24}) {
    bench::Channel channel{};
    channel.name = bits == 16 ? "dc_voltage_V" : "air_pressure_hPa";
    channel.converter = {.lower_V = 0.0, .upper_V = 10.0, .bits = bits};
    bench.channels.push_back(channel);
  }
  return bench;
}

// A slow wave, noise and now and then a spike.
std::vector<std::int32_t> made_up(std::size_t count, int bits) {
  std::mt19937 random(7);
  std::uniform_int_distribution<std::int32_t> noise(-300, 300);
  const double full = std::ldexp(1.0, bits);
  std::vector<std::int32_t> counts(count);
  for (std::size_t i = 0; i < count; ++i) {
    const double wave = full * (0.5 + 0.3 * std::sin(1e-4 * static_cast<double>(i)));
    counts[i] = static_cast<std::int32_t>(wave) + noise(random);
    if (i % 99'991 == 17) counts[i] = static_cast<std::int32_t>(full) - 1;
    if (i % 77'773 == 5) counts[i] = 0;
  }
  return counts;
}

struct Recorded {
  std::filesystem::path file;
  std::array<std::vector<std::int32_t>, 2> counts;
};

Recorded recorded(std::size_t samples, double rate_hz) {
  Recorded made{.file = fresh_folder() / "recording.h5",
                .counts = {made_up(samples, 16), made_up(samples, 24)}};
  Recorder recorder =
      Recorder::create(made.file, two_channels(rate_hz), {.device = "d", .start = start});
  bench::SampleBlock block;
  block.channels = 2;
  for (std::size_t first = 0; first < samples; first += block.samples) {
    block.samples = std::min<std::size_t>(7'001, samples - first);
    block.counts.clear();
    for (const auto& counts : made.counts) {
      const auto from = counts.begin() + static_cast<std::ptrdiff_t>(first);
      block.counts.insert(block.counts.end(), from,
                          from + static_cast<std::ptrdiff_t>(block.samples));
    }
    recorder.append(block);
    if (first % 3 == 0) recorder.flush();
  }
  return made;
}

void expect_exact(const std::vector<std::int32_t>& counts, const Bin& bin) {
  const auto from = counts.begin() + static_cast<std::ptrdiff_t>(bin.first);
  const auto to = from + static_cast<std::ptrdiff_t>(bin.samples);
  const auto [lowest, highest] = std::minmax_element(from, to);
  double sum = 0.0;
  for (auto at = from; at != to; ++at)
    sum += *at;
  const auto n = static_cast<double>(bin.samples);
  double squares = 0.0;
  for (auto at = from; at != to; ++at)
    squares += (*at - sum / n) * (*at - sum / n);
  ASSERT_EQ(bin.lowest, *lowest) << bin.first;
  ASSERT_EQ(bin.highest, *highest) << bin.first;
  const double tolerance = 1e-7 * std::max(1.0, sum / n);  // rows are kept in single precision
  ASSERT_NEAR(bin.mean, sum / n, tolerance) << bin.first;
  ASSERT_NEAR(bin.deviation, std::sqrt(squares / n), 2.0 * tolerance) << bin.first;
}

void expect_bins(const Recorded& made, const Recording& recording, const Window& window,
                 std::int64_t bins) {
  SCOPED_TRACE(testing::Message() << window.first << " + " << window.count << " in " << bins);
  for (std::size_t c = 0; c < 2; ++c) {
    const auto answer = recording.bins(recording.channels()[c], window, bins);
    ASSERT_EQ(answer.size(), static_cast<std::size_t>(std::min(bins, window.count)));
    std::int64_t next = window.first;
    for (const Bin& bin : answer) {
      ASSERT_EQ(bin.first, next);
      ASSERT_GT(bin.samples, 0);
      next += bin.samples;
      expect_exact(made.counts[c], bin);
    }
    ASSERT_EQ(next, window.first + window.count);
  }
}

TEST(Pyramid, SaysOfAnyWindowWhatItsSamplesSay) {
  const Recorded made = recorded(3'000'017, 250'000.0);
  const Recording recording(made.file);
  ASSERT_EQ(recording.samples(), 3'000'017);
  std::mt19937 random(3);
  for (const std::int64_t bins : {1, 2, 7, 100, 2000}) {
    expect_bins(made, recording, {.first = 0, .count = 3'000'017}, bins);
    for (int k = 0; k < 12; ++k) {
      const auto first = static_cast<std::int64_t>(random() % 3'000'000U);
      const auto longest = static_cast<std::uint32_t>(3'000'017 - first);
      const auto count = std::max<std::int64_t>(1, random() % (k % 2 == 0 ? longest : 5'000U));
      expect_bins(made, recording,
                  {.first = first, .count = std::min<std::int64_t>(count, longest)}, bins);
    }
  }
  EXPECT_TRUE(recording.bins("dc_voltage_V", {.first = 5, .count = 0}, 10).empty());
}

// What has no row yet, because its chunk of rows is not full, comes from below.
TEST(Pyramid, IsWholeWhileTheRecordingGoesOn) {
  const Recorded made = recorded(1'300'000, 250'000.0);
  const auto file = made.file.parent_path() / "going_on.h5";
  Recorder recorder =
      Recorder::create(file, two_channels(250'000.0), {.device = "d", .start = start});
  bench::SampleBlock block;
  block.channels = 2;
  block.samples = 1'300'000;
  for (const auto& counts : made.counts)
    block.counts.insert(block.counts.end(), counts.begin(), counts.end());
  recorder.append(block);
  recorder.flush();
  // The file as it is now: as if the writer had been killed.
  const auto as_left = made.file.parent_path() / "as_left.h5";
  std::filesystem::copy_file(file, as_left);
  ASSERT_EQ(system(("h5clear -s '" + as_left.string() + "'").c_str()), 0);
  const Recording recording(as_left);
  ASSERT_EQ(recording.samples(), 1'300'000);
  for (const std::int64_t bins : {1, 50, 2000})
    expect_bins(made, recording, {.first = 1'234, .count = 1'290'000}, bins);
}

TEST(Pyramid, AgreesOnEveryInstructionSet) {
  const std::vector<std::int32_t> counts = made_up(65'536, 16);
  std::vector<std::uint16_t> narrow_counts(counts.size());
  std::vector<PieceSums> pieces(counts.size() / piece_samples);
  for (const auto target : hwy::SupportedAndGeneratedTargets()) {
    hwy::SetSupportedTargetsForTest(target);
    hwy::GetChosenTarget().Update(hwy::SupportedTargets());
    SCOPED_TRACE(hwy::TargetName(target));
    narrow(counts, narrow_counts.data());
    sum_pieces(narrow_counts, pieces);
    for (std::size_t k = 0; k < pieces.size(); ++k) {
      std::uint64_t sum = 0;
      std::uint64_t ramp = 0;
      std::uint64_t squares = 0;
      const auto piece = std::span(counts).subspan(k * piece_samples, piece_samples);
      for (std::size_t j = 0; j < piece.size(); ++j) {
        const auto each = static_cast<std::uint64_t>(piece[j]);
        sum += each;
        ramp += j * each;
        squares += each * each;
      }
      const auto [lowest, highest] = std::minmax_element(piece.begin(), piece.end());
      ASSERT_EQ(pieces[k].sum, sum);
      ASSERT_EQ(pieces[k].ramp, ramp);
      ASSERT_EQ(pieces[k].squares, squares);
      ASSERT_EQ(pieces[k].lowest, *lowest);
      ASSERT_EQ(pieces[k].highest, *highest);
    }
    EXPECT_EQ(fletcher32(std::span<const PieceSums>(pieces)),
              fletcher32(std::as_bytes(std::span(narrow_counts))));
  }
  hwy::SetSupportedTargetsForTest(0);
  hwy::GetChosenTarget().Update(hwy::SupportedTargets());
}

TEST(Pyramid, SumsTheLargestCountsWithoutOverflow) {
  for (const std::uint16_t each : std::initializer_list<std::uint16_t>{0, 1, 32767, 32768, 65535}) {
    const std::vector<std::uint16_t> counts(piece_samples, each);
    std::array<PieceSums, 1> piece{};
    sum_pieces(counts, piece);
    EXPECT_EQ(piece[0].sum, 256U * each);
    EXPECT_EQ(piece[0].ramp, 32640U * each);
    EXPECT_EQ(piece[0].squares, 256ULL * each * each);
    EXPECT_EQ(fletcher32(std::span<const PieceSums>(piece)),
              fletcher32(std::as_bytes(std::span(counts))));
  }
}

// HDF5 computes the checksum anew when it reads: a general-purpose library as the outside witness.
TEST(Pyramid, ChecksumsAreThoseOfHdf5) {
  const Recorded made = recorded(200'000, 250'000.0);
  const hid_t file = H5Fopen(made.file.c_str(), H5F_ACC_RDONLY, H5P_DEFAULT);
  ASSERT_GE(file, 0);
  for (std::size_t c = 0; c < 2; ++c) {
    const char* name = c == 0 ? "/streams/d/dc_voltage_V" : "/streams/d/air_pressure_hPa";
    const hid_t data = H5Dopen2(file, name, H5P_DEFAULT);
    std::vector<std::int32_t> counts(200'000);
    EXPECT_GE(H5Dread(data, H5T_NATIVE_INT32, H5S_ALL, H5S_ALL, H5P_DEFAULT, counts.data()), 0);
    EXPECT_EQ(counts, made.counts[c]);
    H5Dclose(data);
  }
  const hid_t rows = H5Dopen2(file, "/pyramid/d/dc_voltage_V/256", H5P_DEFAULT);
  std::vector<float> values(200'000 / 256 * 4);
  EXPECT_GE(H5Dread(rows, H5T_NATIVE_FLOAT, H5S_ALL, H5S_ALL, H5P_DEFAULT, values.data()), 0);
  H5Dclose(rows);
  H5Fclose(file);
}

TEST(Pyramid, TellsWhereSamplesWereDamaged) {
  const Recorded made = recorded(200'000, 250'000.0);
  {
    // One bit of a sample in the second chunk, found by its neighbours' bytes.
    std::vector<std::uint16_t> needle(8);
    for (std::size_t i = 0; i < needle.size(); ++i)
      needle[i] = static_cast<std::uint16_t>(made.counts[0][70'000 + i]);
    std::string text;
    {
      std::FILE* in = std::fopen(made.file.c_str(), "rb");
      text.resize(std::filesystem::file_size(made.file));
      ASSERT_EQ(std::fread(text.data(), 1, text.size(), in), text.size());
      std::fclose(in);
    }
    const std::string_view bytes(reinterpret_cast<const char*>(needle.data()), 16);
    const auto at = text.find(bytes);
    ASSERT_NE(at, std::string::npos);
    text[at + 4] = static_cast<char>(text[at + 4] ^ 8);
    std::FILE* out = std::fopen(made.file.c_str(), "wb");
    ASSERT_EQ(std::fwrite(text.data(), 1, text.size(), out), text.size());
    std::fclose(out);
  }
  const Recording recording(made.file);
  EXPECT_NO_THROW(recording.counts("dc_voltage_V", 0, 65'536));
  try {
    recording.counts("dc_voltage_V", 70'000, 10);
    FAIL();
  } catch (const std::runtime_error& error) {
    EXPECT_NE(std::string(error.what()).find("samples 65536 to 131072 do not agree"),
              std::string::npos)
        << error.what();
  }
}

}  // namespace
}  // namespace windwright::recording
