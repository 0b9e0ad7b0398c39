// SPDX-License-Identifier: Apache-2.0
// Inside the recording module only: one channel on its way into the file.
#pragma once

#include "recording/layout.h"
#include "recording/level.h"
#include "recording/packing.h"
#include "recording/piece_sums.h"
#include "recording/recording.h"

#include <cstddef>
#include <cstdint>
#include <filesystem>
#include <memory>
#include <optional>
#include <span>
#include <string>
#include <vector>

namespace windwright::recording {

/// A dataset that grows by whole chunks, each written in one piece with the checksum that HDF5's
/// fletcher32 filter expects: the filter itself would go over the samples again. A chunk that is
/// not full yet may be written too, with zeros behind its end, and is written again later: in its
/// place, so never packed. Readers that follow make HDF5 leave the old place of a chunk that grows
/// or shrinks unused for ever.
class ChunkedDataset {
 public:
  ChunkedDataset(hid_t group, const std::string& name, const Growing& what,
                 const std::filesystem::path& path);
  hid_t get() const { return data_.get(); }
  std::size_t chunk_bytes() const { return bytes_; }
  /// @param bytes     of a chunk, with 4 more behind it where the checksum is put
  /// @param from      first row, a multiple of the chunk's
  /// @param rows      that the dataset has afterwards
  void write(std::span<std::byte> bytes, std::uint32_t checksum, std::int64_t from,
             std::int64_t rows);
  /// The same of a whole chunk that has not been written yet, packed where that makes it smaller.
  /// @param packed  room for as many bytes
  /// @return        false: it does not, nothing was written
  bool write_packed(Packer& packer, std::span<const std::byte> bytes, std::span<std::byte> packed,
                    std::int64_t from);

 private:
  void put(std::span<const std::byte> chunk, std::uint32_t left_out, std::int64_t from,
           std::int64_t rows);

  Handle data_;
  std::vector<hsize_t> chunk_;
  bool packed_;
  std::size_t bytes_;
  std::filesystem::path path_;
};

/// The rows of one level, and through them those of the next.
class LevelWriter {
 public:
  /// @param bits  of the counts
  LevelWriter(hid_t group, std::size_t level, int bits, const std::filesystem::path& path);
  void add(const Row& row);
  /// Writes what no whole chunk has taken, on all levels from this one: nothing comes any more.
  void finish();

 private:
  void flush();

  template <typename Number>
  void put(const Row& row);

  ChunkedDataset data_;
  std::vector<std::byte> chunk_;
  std::size_t width_;         // bytes of a number
  std::int64_t rows_ = 0;     // ever added
  std::int64_t written_ = 0;  // in whole chunks
  Merge merged_;
  std::unique_ptr<LevelWriter> next_;
};

/// Of every so many counts one: the mean of those since the one before, rounded; the first stands
/// alone. Where samples are missing the mean begins anew.
class Thinning {
 public:
  explicit Thinning(std::int64_t every) : every_(every) {}
  bool is_needed() const { return every_ > 1; }
  /// Goes on in the middle, where a recording of so many samples is taken up.
  void begin_at(std::int64_t samples, const SlowSum& sum) {
    *this = Thinning(every_, samples % every_);
    sum_ = sum;
  }
  const SlowSum& sum() const { return sum_; }
  void forget() { *this = Thinning(every_, phase_); }
  /// @return  one more for the file, or nothing
  std::optional<std::int32_t> take(std::int32_t count);

 private:
  Thinning(std::int64_t every, std::int64_t phase) : every_(every), phase_(phase) {}
  std::int64_t every_;
  std::int64_t phase_ = 0;  // of the next count; at 0 one goes out
  SlowSum sum_;
};

/// One channel's counts and its pyramid. No allocation after it was made, but HDF5's own.
class StreamWriter {
 public:
  struct Chunks {
    std::int64_t samples;
    Packer* packer;  // of all streams; used where the stream is packed
  };
  StreamWriter(hid_t streams, hid_t pyramid, const Stream& stream, const Chunks& chunks,
               const std::filesystem::path& path);
  hid_t get() const { return data_.get(); }
  /// All samples of the bench, of which a slow channel keeps one now and then.
  void append(std::span<const std::int32_t> counts);
  /// Samples are missing before the next.
  void leave_gap() { thinning_.forget(); }
  /// As they will be in the file.
  void keep(std::span<const std::int32_t> counts);
  /// What was kept until now is that of so many samples.
  void go_on_at(std::int64_t samples, const SlowSum& sum) { thinning_.begin_at(samples, sum); }
  const SlowSum& slow_sum() const { return thinning_.sum(); }
  /// At the bench's rate and of a converter of up to 16 bits only.
  void append(std::span<const std::uint16_t> counts);
  /// Hands every sample to HDF5; of the pyramid whole chunks only.
  void flush();
  /// The same, but of packed streams whole chunks only: what is written before stays unpacked.
  void flush_chunks();
  /// The rest of the pyramid too: nothing comes any more.
  void finish();
  std::int64_t flushed() const { return flushed_; }  // samples that HDF5 has
  /// What goes into the file at most when a chunk that is being filled ends it: counts, rows of the
  /// pyramid, HDF5's own index.
  std::int64_t last_bytes() const;

 private:
  void took(std::size_t samples);
  void write_chunk();
  Row row(std::size_t piece) const;
  std::byte* place() { return chunk_.data() + filled_ * width_; }

  ChunkedDataset data_;
  LevelWriter finest_;
  Thinning thinning_;
  std::size_t width_;  // bytes of a count
  std::vector<std::byte> chunk_;
  std::size_t chunk_samples_;
  Packer* packer_;                 // none: chunks are written as they are
  std::vector<std::byte> packed_;  // room for one
  std::size_t filled_ = 0;
  std::int64_t samples_ = 0;
  std::int64_t flushed_ = 0;
  std::vector<PieceSums> pieces_;  // of the chunk written last
};

}  // namespace windwright::recording
