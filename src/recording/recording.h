// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "bench/bench.h"
#include "bench/device.h"

#include <cstddef>
#include <cstdint>
#include <filesystem>
#include <memory>
#include <string>
#include <vector>

namespace windwright::recording {

/// Writes raw counts to an HDF5 file as they come (SWMR: readers may follow, and a killed writer
/// leaves a readable file). Layout: docs/files.md.
class Recorder {
 public:
  /// @throws BadInput  the file exists
  static Recorder create(const std::filesystem::path& file, const bench::Bench& bench,
                         const std::string& device);
  /// Takes up a recording after an end of any kind, cut back to its first `samples`.
  static Recorder take_up(const std::filesystem::path& file, std::int64_t samples);
  Recorder(Recorder&&) noexcept;
  ~Recorder();

  void append(const bench::SampleBlock& block);
  /// After this the samples survive the end of the process.
  void flush();
  std::int64_t samples() const;  // recorded so far; counted in the file, not by the device

 private:
  struct File;
  explicit Recorder(std::unique_ptr<File> file);
  std::unique_ptr<File> file_;
};

/// Reads a recording.
class Recording {
 public:
  explicit Recording(const std::filesystem::path& file);
  ~Recording();
  std::vector<std::string> channels() const;
  double sample_rate_hz() const;
  std::int64_t samples() const;
  /// Raw counts of one channel. @throws BadInput  no such channel or outside the recording
  std::vector<std::int32_t> counts(std::string_view channel, std::int64_t first,
                                   std::int64_t count) const;

 private:
  struct File;
  std::unique_ptr<File> file_;
};

}  // namespace windwright::recording
