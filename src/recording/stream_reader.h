// SPDX-License-Identifier: Apache-2.0
// Inside the recording module only: one channel on its way out of the file.
#pragma once

#include "recording/layout.h"
#include "recording/level.h"
#include "recording/packing.h"
#include "recording/recording.h"

#include <cstddef>
#include <cstdint>
#include <filesystem>
#include <span>
#include <string>
#include <vector>

namespace windwright::recording {

/// Rows of a dataset as `new_dataset` makes it, chunk by chunk without HDF5's filters: checksums
/// are checked here.
class ChunkReader {
 public:
  /// @throws BadInput  the dataset is none that new_dataset makes for counts or levels
  ChunkReader(hid_t group, const std::string& name, const std::filesystem::path& path);
  std::int64_t rows() const { return rows_; }
  /// Takes the end as a writer leaves it that is at it or was killed: a chunk that is not full is
  /// read as it is where its checksum is wrong. It was being written again, and begins with the
  /// same bytes.
  void allow_open_end() { open_end_ = true; }
  std::int64_t chunk_rows() const { return chunk_rows_; }
  std::size_t row_bytes() const { return row_bytes_; }
  /// @param checked  else chunks with a wrong checksum are read as they are
  /// @param to       (rows x row_bytes)
  /// @throws DiskFault  a chunk that does not agree with its checksum
  void read(std::int64_t first, std::int64_t rows, bool checked, std::byte* to);

 private:
  void load(std::int64_t chunk, bool checked);
  bool take(std::span<const std::byte> stored, bool checked);
  [[noreturn]] void refuse_chunk(const std::string& wrong) const;

  std::filesystem::path path_;
  std::string name_;
  Handle data_;
  std::int64_t rows_ = 0;
  std::int64_t chunk_rows_ = 0;
  std::size_t row_bytes_ = 0;
  bool packed_ = false;
  std::vector<std::byte> chunk_;   // the one read last
  std::vector<std::byte> stored_;  // where they are packed: as it is in the file
  Unpacker unpacker_;
  std::int64_t loaded_ = -1;
  bool open_end_ = false;
};

class StreamReader {
 public:
  /// @param pyramid  invalid where the file has none: then all comes from the samples
  StreamReader(hid_t streams, Handle pyramid, const Stream& stream,
               const std::filesystem::path& path);
  /// Of the recording; those of a slow channel go on to its next.
  std::int64_t samples() const { return counts_.rows() * every_; }
  std::int64_t every() const { return every_; }
  void counts(const Window& window, bool checked, std::span<std::int32_t> to);
  /// Those of a slow channel take whole samples of its own at their ends.
  std::vector<Bin> bins(const Window& window, std::int64_t bins);

  /// The samples that the file has of a window.
  Window kept(const Window& window) const;
  void kept_counts(const Window& kept, bool checked, std::span<std::int32_t> to);
  std::int64_t chunk_samples() const { return counts_.chunk_rows(); }

 private:
  std::vector<Bin> kept_bins(const Window& kept, std::int64_t bins);
  struct Filling;
  void collect_each(Filling& filling);
  void collect(int level, std::int64_t from, std::int64_t to, Filling& filling);
  void collect_samples(std::int64_t from, std::int64_t to, Filling& filling);

  void open_levels();

  std::filesystem::path path_;
  ChunkReader counts_;
  bool narrow_;
  std::int64_t every_;
  Handle pyramid_;  // let go once its levels are open
  std::vector<ChunkReader> levels_;
};

}  // namespace windwright::recording
