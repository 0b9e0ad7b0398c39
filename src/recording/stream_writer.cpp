// SPDX-License-Identifier: Apache-2.0
#include "recording/stream_writer.h"

#include "recording/layout.h"
#include "recording/level.h"
#include "recording/piece_sums.h"

#include <hdf5.h>

#include <algorithm>
#include <array>
#include <cassert>
#include <cstddef>
#include <cstdint>
#include <cstring>
#include <filesystem>
#include <memory>
#include <optional>
#include <span>
#include <string>
#include <utility>
#include <vector>

namespace windwright::recording {
namespace {

constexpr std::size_t checksum_bytes = 4;

// What a level lacks behind its last whole chunk is read from the one below it.
constexpr hsize_t rows_of_chunk = 1024;

}  // namespace

ChunkedDataset::ChunkedDataset(hid_t group, const std::string& name, const Growing& what,
                               const std::filesystem::path& path)
    : data_(new_dataset(group, name, what, path)),
      chunk_(what.chunk),
      packed_(what.packed),
      bytes_(H5Tget_size(what.type)),
      path_(path) {
  for (const hsize_t extent : chunk_)
    bytes_ *= extent;
}

void ChunkedDataset::write(std::span<std::byte> bytes, std::uint32_t checksum, std::int64_t from,
                           std::int64_t rows) {
  assert(bytes.size() == bytes_ + checksum_bytes);
  std::memcpy(bytes.data() + bytes_, &checksum, checksum_bytes);
  put(bytes, packed_ ? left_unpacked : 0, from, rows);
}

bool ChunkedDataset::write_packed(Packer& packer, std::span<const std::byte> bytes,
                                  std::span<std::byte> packed, std::int64_t from) {
  assert(packed_ && bytes.size() == bytes_ + checksum_bytes && packed.size() == bytes.size());
  const std::size_t width = bytes_ / chunk_.front() / (chunk_.size() > 1 ? chunk_.back() : 1);
  const auto used = packer.pack(bytes.first(bytes_), width, packed.first(bytes_));
  if (!used) return false;
  const std::uint32_t checksum = fletcher32(packed.first(*used));
  std::memcpy(packed.data() + *used, &checksum, checksum_bytes);
  put(packed.first(*used + checksum_bytes), 0, from,
      from + static_cast<std::int64_t>(chunk_.front()));
  return true;
}

void ChunkedDataset::put(std::span<const std::byte> chunk, std::uint32_t left_out,
                         std::int64_t from, std::int64_t rows) {
  std::array<hsize_t, 2> extent = {static_cast<hsize_t>(rows), chunk_.back()};
  const std::array<hsize_t, 2> offset = {static_cast<hsize_t>(from), 0};
  require(H5Dset_extent(data_.get(), extent.data()), path_, "lengthen a dataset");
  require(
      H5Dwrite_chunk(data_.get(), H5P_DEFAULT, left_out, offset.data(), chunk.size(), chunk.data()),
      path_, "write samples");
}

LevelWriter::LevelWriter(hid_t group, std::size_t level, int bits,
                         const std::filesystem::path& path)
    : data_(group, level_name(level), {.type = level_type(bits), .chunk = {rows_of_chunk, columns}},
            path),
      chunk_(data_.chunk_bytes() + checksum_bytes),
      width_(data_.chunk_bytes() / (rows_of_chunk * columns)) {
  put_text(data_.get(), "long_name",
           "of each stretch of counts: lowest, highest, mean, standard deviation", path);
  put_integer(data_.get(), "samples_per_row", level_samples.at(level), path);
  if (level + 1 < level_samples.size())
    next_ = std::make_unique<LevelWriter>(group, level + 1, bits, path);
}

template <typename Number>
void LevelWriter::put(const Row& row) {
  const std::array<double, columns> values = {row.lowest, row.highest, row.mean, row.deviation};
  std::array<Number, columns> kept;
  std::transform(values.begin(), values.end(), kept.begin(),
                 [](double value) { return static_cast<Number>(value); });
  std::memcpy(chunk_.data() + static_cast<std::size_t>(rows_ - written_) * sizeof kept, kept.data(),
              sizeof kept);
}

void LevelWriter::add(const Row& row) {
  const auto in_chunk = static_cast<std::int64_t>(rows_of_chunk);
  width_ == sizeof(float) ? put<float>(row) : put<double>(row);
  if (++rows_ - written_ == in_chunk) {
    flush();
    written_ = rows_;
  }
  if (!next_) return;
  merged_.add(row, 1);
  if (merged_.samples() < rows_merged) return;
  next_->add(merged_.row());
  merged_ = {};
}

void LevelWriter::flush() {
  if (rows_ > written_) {
    const std::size_t used = static_cast<std::size_t>(rows_ - written_) * columns * width_;
    std::memset(chunk_.data() + used, 0, chunk_.size() - used);
    const auto rows = std::span(chunk_).first(data_.chunk_bytes());
    data_.write(chunk_, fletcher32(rows), written_, rows_);
  }
}

void LevelWriter::finish() {
  flush();
  if (next_) next_->finish();
}

StreamWriter::StreamWriter(hid_t streams, hid_t pyramid, const Stream& stream, const Chunks& chunks,
                           const std::filesystem::path& path)
    : data_(streams, stream.channel,
            {.type = count_type(stream.bits),
             .chunk = {static_cast<hsize_t>(chunks.samples)},
             .packed = stream.packed},
            path),
      finest_(pyramid, 0, stream.bits, path),
      thinning_(stream.every),
      width_(data_.chunk_bytes() / static_cast<std::size_t>(chunks.samples)),
      chunk_(data_.chunk_bytes() + checksum_bytes),
      chunk_samples_(static_cast<std::size_t>(chunks.samples)),
      packer_(stream.packed ? chunks.packer : nullptr),
      packed_(stream.packed ? chunk_.size() : 0),
      pieces_(chunk_samples_ / piece_samples) {}

std::optional<std::int32_t> Thinning::take(std::int32_t count) {
  sum_.counts += count;
  ++sum_.samples;
  const bool goes_out = phase_ == 0;
  phase_ = (phase_ + 1) % every_;
  if (!goes_out) return std::nullopt;
  // Counts are never negative.
  const auto mean = static_cast<std::int32_t>((sum_.counts + sum_.samples / 2) / sum_.samples);
  sum_ = {};
  return mean;
}

void StreamWriter::append(std::span<const std::int32_t> counts) {
  if (!thinning_.is_needed()) return keep(counts);
  for (const std::int32_t count : counts) {
    if (const auto kept = thinning_.take(count)) keep(std::span(&*kept, 1));
  }
}

void StreamWriter::keep(std::span<const std::int32_t> counts) {
  while (!counts.empty()) {
    const std::size_t taken = std::min(counts.size(), chunk_samples_ - filled_);
    if (width_ == sizeof(std::uint16_t)) {
      narrow(counts.first(taken), reinterpret_cast<std::uint16_t*>(place()));
    } else {
      std::memcpy(place(), counts.data(), taken * sizeof(std::int32_t));
    }
    took(taken);
    counts = counts.subspan(taken);
  }
}

void StreamWriter::append(std::span<const std::uint16_t> counts) {
  assert(width_ == sizeof(std::uint16_t) && !thinning_.is_needed());
  while (!counts.empty()) {
    const std::size_t taken = std::min(counts.size(), chunk_samples_ - filled_);
    std::memcpy(place(), counts.data(), taken * sizeof(std::uint16_t));
    took(taken);
    counts = counts.subspan(taken);
  }
}

void StreamWriter::took(std::size_t samples) {
  filled_ += samples;
  samples_ += static_cast<std::int64_t>(samples);
  if (filled_ < chunk_samples_) return;
  write_chunk();
  for (std::size_t k = 0; k < pieces_.size(); ++k)
    finest_.add(row(k));
  filled_ = 0;
}

Row StreamWriter::row(std::size_t piece) const {
  if (width_ == sizeof(std::uint16_t)) return row_of(pieces_[piece]);
  const auto* counts = reinterpret_cast<const std::int32_t*>(chunk_.data());
  return row_of(std::span(counts + piece * piece_samples, piece_samples));
}

void StreamWriter::write_chunk() {
  const std::size_t used = filled_ * width_;
  std::memset(chunk_.data() + used, 0, chunk_.size() - used);
  std::uint32_t checksum = 0;
  if (width_ == sizeof(std::uint16_t)) {
    const auto* counts = reinterpret_cast<const std::uint16_t*>(chunk_.data());
    sum_pieces(std::span(counts, chunk_samples_), pieces_);
    checksum = fletcher32(pieces_);
  } else {
    checksum = fletcher32(std::span(chunk_).first(data_.chunk_bytes()));
  }
  const std::int64_t from = samples_ - static_cast<std::int64_t>(filled_);
  const bool whole_and_new = filled_ == chunk_samples_ && flushed_ <= from;
  if (packer_ == nullptr || !whole_and_new || !data_.write_packed(*packer_, chunk_, packed_, from))
    data_.write(chunk_, checksum, from, samples_);
  flushed_ = samples_;
}

void StreamWriter::flush_chunks() {
  if (packer_ == nullptr) flush();
}

void StreamWriter::flush() {
  if (samples_ > flushed_) write_chunk();
}

std::int64_t StreamWriter::last_bytes() const {
  // HDF5 makes room for its index in steps of some thousand bytes a dataset.
  constexpr std::size_t index_bytes = 8192;
  constexpr std::size_t level_bytes = rows_of_chunk * columns * sizeof(double) + index_bytes;
  return static_cast<std::int64_t>(2 * (chunk_.size() + index_bytes) +
                                   level_samples.size() * level_bytes);
}

void StreamWriter::finish() {
  flush();
  for (std::size_t k = 0; k < filled_ / piece_samples; ++k)
    finest_.add(row(k));
  finest_.finish();
}

}  // namespace windwright::recording
