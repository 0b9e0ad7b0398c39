// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "base/clock.h"
#include "bench/bench.h"
#include "bench/device.h"

#include <cstddef>
#include <cstdint>
#include <filesystem>
#include <memory>
#include <span>
#include <string>
#include <string_view>
#include <vector>

namespace windwright::recording {

/// Whose samples are recorded, and from when.
struct Source {
  std::string device;
  base::UtcTime start;  // of the first sample, as well as it is known
};

/// Samples that were missed: nothing is put in their place.
struct Gap {
  std::int64_t before_sample;  // of the recording: the first sample after the gap
  std::int64_t device_sample;  // that sample by the device's count since the recording's first
};

/// When a sample came, by the device's clock and by the computer's.
struct ClockPair {
  std::int64_t sample;     // of the recording
  std::int64_t device_ns;  // since the first, by the device's count at the nominal rate
  base::UtcTime host;      // of the computer's clock at that moment: it may have been set meanwhile
};

/// What the recording says about a channel, beside its counts.
struct ChannelNote {
  std::string unit;  // UDUNITS, of the calibrated quantity
  std::string long_name;
  std::string certificate;  // text of the one in force; empty where there was none
  bench::Converter converter;
  /// Samples that one in the file stands for: the mean count of those since the one before it, held
  /// until the next. Whoever reads the recording sees as many samples of each channel.
  std::int64_t every = 1;
};

/// What a bench derives from its channels sample by sample, so that whoever reads the recording can
/// work it out again. Equations name channels, each other and the tip radius: docs/bench.md.
struct Derivation {
  std::vector<bench::DerivedChannel> list;
  double tip_radius_m = 0.0;
};

/// What a slow channel has gathered since its last sample in the file: its next is the mean of this
/// and what still comes.
struct SlowSum {
  std::int64_t counts = 0;   // their sum
  std::int64_t samples = 0;  // so many
};

/// A channel to be recorded that is on no bench here.
struct NewChannel {
  std::string name;
  ChannelNote note;
};

/// Writes raw counts to an HDF5 file as they come (single writer, many readers: readers may follow,
/// and a killed writer leaves a readable file). Layout: docs/files.md. HDF5 is called from one
/// thread at a time in the whole process. Errors of the disk are base::DiskFault; a full
/// disk is one, told before anything of a block is written where the file system can keep room.
/// Where a write itself failed, nothing more goes into the file: it is as a killed writer leaves
/// it.
class Recorder {
 public:
  /// @throws BadInput  the file exists; DiskFault: then nothing is left of it
  static Recorder create(const std::filesystem::path& file, const bench::Bench& bench,
                         const Source& source);
  /// The same of samples that come from elsewhere.
  static Recorder create(const std::filesystem::path& file, double sample_rate_hz,
                         const std::vector<NewChannel>& channels, const Source& source,
                         bench::Compression compression = bench::Compression::none);
  /// Takes up a recording after an end of any kind, cut back to its first `samples`. What is kept
  /// is copied into a fresh file, which then replaces the old one as a whole: a file that a killed
  /// writer left is only ever read.
  /// @param slow_sums  (channels) as they were after `samples`; without them the mean that a slow
  ///                   channel was gathering begins anew
  /// @throws BadInput  not a recording, or it holds fewer samples than that
  static Recorder take_up(const std::filesystem::path& file, std::int64_t samples,
                          const std::vector<SlowSum>& slow_sums = {});
  Recorder(Recorder&& other) noexcept;
  ~Recorder();

  /// The first sample's time, where it is known better once that is there. Before the first block.
  void begin_at(base::UtcTime start);
  /// @param block  all channels of the bench in its order. A gap is noted where the block says so
  /// or
  ///               its count does not follow; after a count that begins anew, by the time gone by
  void append(const bench::SampleBlock& block);
  /// After this the samples survive the end of the process and of the power.
  void flush();
  /// The same for now and then: of a compressed recording's quick channels what has not filled a
  /// chunk, a quarter of a second at most, may still be lost. `flush` leaves that chunk
  /// uncompressed.
  void flush_chunks();
  /// Completes the pyramid; nothing is appended after this. Done without it when the recorder goes,
  /// but then nobody hears of a full disk.
  void finish();
  const std::filesystem::path& file() const;
  std::int64_t samples() const;  // recorded so far; counted in the file, not by the device
  std::int64_t flushed() const;  // of these, what survives any end
  /// (channels) After the samples so far: what taking up needs beside the file. While no other
  /// thread appends.
  std::vector<SlowSum> slow_sums() const;

 private:
  struct File;
  explicit Recorder(std::unique_ptr<File> file);
  std::unique_ptr<File> file_;
};

/// A stretch of one channel: what a picture of it needs, in counts.
struct Bin {
  std::int64_t first;  // sample
  std::int64_t samples;
  double lowest;
  double highest;
  double mean;
  double deviation;  // standard deviation of the samples about their mean (divided by their number)
};

/// A stretch of samples: first .. first + count.
struct Window {
  std::int64_t first;
  std::int64_t count;
};

/// Reads a recording, also while it is written: what was there when it was opened.
class Recording {
 public:
  /// @throws BadInput  not a recording
  explicit Recording(const std::filesystem::path& file);
  Recording(Recording&& other) noexcept;
  ~Recording();
  const std::string& device() const;
  base::UtcTime start() const;
  const std::vector<std::string>& channels() const;  // in the order of bench.toml
  /// @throws BadInput  no such channel, with the names there are
  ChannelNote note(std::string_view channel) const;
  /// Empty in recordings of benches that derive nothing, and in older ones.
  const Derivation& derivation() const;
  double sample_rate_hz() const;
  std::int64_t samples() const;  // that all channels have
  const std::vector<Gap>& gaps() const;
  /// False where the end of their list was torn when its writer was killed, or is being written:
  /// samples behind the last one may have come later than they seem.
  bool gaps_are_whole() const;
  /// One every few seconds and between any two gaps; none where the device's time does not run with
  /// the world's, and in older recordings. In time.
  const std::vector<ClockPair>& clock() const;
  /// The window in at most `bins` bins, in time that does not grow with its length: longer ones
  /// come from the pyramid. Bins have edges where the rows of its level have; every sample of the
  /// window is in one of them, and no other; of a slow channel, every one that is known.
  /// @param bins  1 or more
  /// @throws BadInput  no such channel, or outside the recording
  std::vector<Bin> bins(std::string_view channel, const Window& window, std::int64_t bins) const;
  /// A slow channel's sample is held until its next, but not across a gap: what lies between a gap
  /// and its next sample is not known.
  /// @return  the first sample at or after this one that is known; it may lie beyond the last
  std::int64_t known_from(std::string_view channel, std::int64_t sample) const;
  /// Raw counts of one channel, samples first .. first + count. Where a slow channel is not known,
  /// its last before the gap.
  /// @throws BadInput  no such channel, or outside the recording
  std::vector<std::int32_t> counts(std::string_view channel, std::int64_t first,
                                   std::int64_t count) const;
  /// The same into room for as many.
  void counts(std::string_view channel, const Window& window, std::span<std::int32_t> to) const;

 private:
  struct File;
  std::unique_ptr<File> file_;
};

}  // namespace windwright::recording
