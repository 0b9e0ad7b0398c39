// SPDX-License-Identifier: Apache-2.0
#include "recording/stream_reader.h"

#include "base/errors.h"
#include "recording/layout.h"
#include "recording/level.h"
#include "recording/piece_sums.h"
#include "recording/recording.h"

#include <fmt/format.h>
#include <hdf5.h>

#include <algorithm>
#include <array>
#include <cassert>
#include <cstddef>
#include <cstdint>
#include <cstring>
#include <filesystem>
#include <iterator>
#include <optional>
#include <span>
#include <string>
#include <utility>
#include <vector>

namespace windwright::recording {
namespace {

constexpr std::size_t checksum_bytes = 4;
// A chunk that is being filled may be met while it is written again.
constexpr int looks = 5;
constexpr std::int64_t read_at_once = 1 << 18;
constexpr hsize_t most_chunk_rows = 1 << 20;
constexpr const char* damaged_advice = "take a copy of the file from elsewhere, and check the disk";

bool agrees(std::span<const std::byte> chunk) {
  std::uint32_t stored = 0;
  const auto data = chunk.first(chunk.size() - checksum_bytes);
  std::memcpy(&stored, chunk.data() + data.size(), checksum_bytes);
  return stored == fletcher32(data);
}

}  // namespace

ChunkReader::ChunkReader(hid_t group, const std::string& name, const std::filesystem::path& path)
    : path_(path), name_(name) {
  data_ = owned(H5Dopen2(group, name.c_str(), H5P_DEFAULT), path, "open a dataset");
  const Handle list = owned(H5Dget_create_plist(data_.get()), path, "read a dataset's layout");
  const std::vector<hsize_t> extent = extent_of(data_.get(), path);
  std::array<hsize_t, 2> chunk = {0, 1};
  const bool known = (extent.size() == 1 || extent.size() == 2) &&
                     H5Pget_layout(list.get()) == H5D_CHUNKED &&
                     H5Pget_chunk(list.get(), 2, chunk.data()) == static_cast<int>(extent.size()) &&
                     chunk[0] > 0 && chunk[0] <= most_chunk_rows &&
                     (extent.size() == 1 || (chunk[1] == columns && extent[1] == columns));
  const std::optional<bool> packed = is_packed(data_.get(), path);
  const Handle type = owned(H5Dget_type(data_.get()), path, "read a dataset's type");
  const hid_t types[] = {H5T_STD_U16LE, H5T_STD_I32LE, H5T_IEEE_F32LE, H5T_IEEE_F64LE};
  const auto first = extent.size() == 2 ? std::begin(types) + 2 : std::begin(types);
  const auto last = extent.size() == 2 ? std::end(types) : std::begin(types) + 2;
  if (!known || !packed ||
      std::none_of(first, last, [&](hid_t each) { return H5Tequal(each, type.get()) > 0; }))
    refuse_file(path, fmt::format("keeps '{}' in another way than recordings do", name));
  rows_ = static_cast<std::int64_t>(extent[0]);
  chunk_rows_ = static_cast<std::int64_t>(chunk[0]);
  row_bytes_ = H5Tget_size(type.get()) * chunk[1];
  packed_ = *packed;
  chunk_.resize(static_cast<std::size_t>(chunk_rows_) * row_bytes_ + checksum_bytes);
  if (packed_) stored_.resize(chunk_.size());
}

void ChunkReader::refuse_chunk(const std::string& wrong) const {
  throw base::DiskFault(path_.string(), wrong, damaged_advice);
}

// What was stored of a chunk becomes its bytes; false where it is not what was written. Packed it
// is always shorter. (HDF5 also keeps which filters were left out, but to a reader beside the
// writer in one process it tells what it knew of the chunk before.)
bool ChunkReader::take(std::span<const std::byte> stored, bool checked) {
  if (stored.size() == chunk_.size()) {
    if (packed_) std::copy(stored.begin(), stored.end(), chunk_.begin());
    return !checked || agrees(chunk_);
  }
  if (checked && !agrees(stored)) return false;
  const auto rows = std::span(chunk_).first(chunk_.size() - checksum_bytes);
  return unpacker_.unpack(stored.first(stored.size() - checksum_bytes), row_bytes_, rows);
}

void ChunkReader::load(std::int64_t chunk, bool checked) {
  if (chunk == loaded_) return;
  loaded_ = -1;
  const std::array<hsize_t, 2> offset = {static_cast<hsize_t>(chunk * chunk_rows_), 0};
  hsize_t bytes = 0;
  require(H5Dget_chunk_storage_size(data_.get(), offset.data(), &bytes), path_, "find samples");
  const bool fits =
      packed_ ? bytes > checksum_bytes && bytes <= chunk_.size() : bytes == chunk_.size();
  if (!fits) {
    refuse_chunk(fmt::format("a chunk of {} holds {} bytes where {}{} were written", name_, bytes,
                             packed_ ? "at most " : "", chunk_.size()));
  }
  std::vector<std::byte>& stored = packed_ ? stored_ : chunk_;
  for (int look = 0; look < looks; ++look) {
    std::uint32_t filters = 0;
    require(H5Dread_chunk(data_.get(), H5P_DEFAULT, offset.data(), &filters, stored.data()), path_,
            "read samples");
    if (take(std::span(stored).first(bytes), checked)) {
      loaded_ = chunk;
      return;
    }
  }
  // Only a chunk that is written again, unpacked, may have been met meanwhile.
  if (open_end_ && bytes == chunk_.size() && chunk == rows_ / chunk_rows_) {
    loaded_ = chunk;
    return;
  }
  refuse_chunk(
      fmt::format("{} was damaged after it was written: samples {} to {} do not agree with their "
                  "checksum",
                  name_, chunk * chunk_rows_, (chunk + 1) * chunk_rows_));
}

void ChunkReader::read(std::int64_t first, std::int64_t rows, bool checked, std::byte* to) {
  assert(first >= 0 && rows >= 0 && first + rows <= rows_);
  while (rows > 0) {
    const std::int64_t chunk = first / chunk_rows_;
    const std::int64_t inside = first - chunk * chunk_rows_;
    const std::int64_t taken = std::min(rows, chunk_rows_ - inside);
    load(chunk, checked);
    const auto bytes = static_cast<std::size_t>(taken) * row_bytes_;
    std::memcpy(to, chunk_.data() + static_cast<std::size_t>(inside) * row_bytes_, bytes);
    to += bytes;
    first += taken;
    rows -= taken;
  }
}

StreamReader::StreamReader(hid_t streams, Handle pyramid, const Stream& stream,
                           const std::filesystem::path& path)
    : path_(path),
      counts_(streams, stream.channel, path),
      narrow_(counts_.row_bytes() == sizeof(std::uint16_t)),
      every_(stream.every),
      pyramid_(std::move(pyramid)) {
  constexpr std::int64_t most_samples = std::int64_t{1} << 53;
  if (counts_.rows() > most_samples / every_)
    refuse_file(path, fmt::format("has a channel '{}' longer than time", stream.channel));
  if (is_left_open(path)) counts_.allow_open_end();
}

// Most readers of a recording want its samples only.
void StreamReader::open_levels() {
  if (pyramid_.get() < 0) return;
  for (std::size_t level = 0; level < level_samples.size(); ++level)
    levels_.emplace_back(pyramid_.get(), level_name(level), path_);
  pyramid_.close();
}

Window StreamReader::kept(const Window& window) const {
  if (window.count == 0) return {.first = window.first / every_, .count = 0};
  const std::int64_t first = window.first / every_;
  return {.first = first, .count = (window.first + window.count - 1) / every_ - first + 1};
}

void StreamReader::counts(const Window& window, bool checked, std::span<std::int32_t> to) {
  if (every_ == 1) return kept_counts(window, checked, to);
  const Window inside = kept(window);
  std::vector<std::int32_t> slow(static_cast<std::size_t>(inside.count));
  kept_counts(inside, checked, slow);
  for (std::int64_t i = 0; i < window.count; ++i) {
    const std::int64_t at = (window.first + i) / every_ - inside.first;
    to[static_cast<std::size_t>(i)] = slow[static_cast<std::size_t>(at)];
  }
}

std::vector<Bin> StreamReader::bins(const Window& window, std::int64_t bins) {
  if (every_ == 1) return kept_bins(window, bins);
  std::vector<Bin> all = kept_bins(kept(window), bins);
  for (Bin& bin : all) {
    const std::int64_t end =
        std::min((bin.first + bin.samples) * every_, window.first + window.count);
    bin.first = std::max(bin.first * every_, window.first);
    bin.samples = end - bin.first;
  }
  return all;
}

void StreamReader::kept_counts(const Window& window, bool checked, std::span<std::int32_t> to) {
  if (!narrow_) {
    counts_.read(window.first, window.count, checked, reinterpret_cast<std::byte*>(to.data()));
    return;
  }
  // Read into the upper half of the room and spread from its beginning.
  auto* narrow = reinterpret_cast<std::uint16_t*>(to.data()) + window.count;
  counts_.read(window.first, window.count, checked, reinterpret_cast<std::byte*>(narrow));
  for (std::int64_t i = 0; i < window.count; ++i) {
    std::uint16_t count = 0;
    std::memcpy(&count, narrow + i, sizeof count);
    to[static_cast<std::size_t>(i)] = count;
  }
}

// Bins with their edges, filled in the order of time.
struct StreamReader::Filling {
  std::vector<Bin>& bins;
  std::size_t at = 0;
  Merge merged = {};

  void add(const Row& row, std::int64_t samples) {
    merged.add(row, samples);
    Bin& bin = bins[at];
    if (merged.samples() < bin.samples) return;
    const Row all = merged.row();
    bin.lowest = all.lowest;
    bin.highest = all.highest;
    bin.mean = all.mean;
    bin.deviation = all.deviation;
    merged = {};
    ++at;
  }
};

void StreamReader::collect_samples(std::int64_t from, std::int64_t to, Filling& filling) {
  std::vector<std::int32_t> samples(static_cast<std::size_t>(to - from));
  kept_counts({.first = from, .count = to - from}, true, samples);
  constexpr auto piece = static_cast<std::int64_t>(piece_samples);
  for (std::int64_t at = from; at < to;) {
    const std::int64_t end = std::min(to, (at / piece + 1) * piece);
    filling.add(row_of(std::span(samples).subspan(static_cast<std::size_t>(at - from),
                                                  static_cast<std::size_t>(end - at))),
                end - at);
    at = end;
  }
}

// Bins that begin and end at any sample.
void StreamReader::collect_each(Filling& filling) {
  std::vector<std::int32_t> samples(static_cast<std::size_t>(read_at_once));
  for (std::size_t k = 0; k < filling.bins.size(); ++k) {
    const Bin bin = filling.bins[k];
    for (std::int64_t done = 0; done < bin.samples;) {
      const std::int64_t count = std::min(read_at_once, bin.samples - done);
      const auto some = std::span(samples).first(static_cast<std::size_t>(count));
      kept_counts({.first = bin.first + done, .count = count}, true, some);
      filling.add(row_of(some), count);
      done += count;
    }
  }
}

// Rows of a level where there are whole ones; what is left at both ends from the levels below.
void StreamReader::collect(int level, std::int64_t from, std::int64_t to, Filling& filling) {
  if (from >= to) return;
  if (level < 0) return collect_samples(from, to, filling);
  ChunkReader& rows = levels_[static_cast<std::size_t>(level)];
  const std::int64_t size = level_samples[static_cast<std::size_t>(level)];
  const std::int64_t first = (from + size - 1) / size;
  const std::int64_t last = std::min(to / size, rows.rows());
  if (first >= last) return collect(level - 1, from, to, filling);
  collect(level - 1, from, first * size, filling);
  const auto add = [&](auto number) {
    std::vector<std::array<decltype(number), columns>> all(static_cast<std::size_t>(last - first));
    rows.read(first, last - first, true, reinterpret_cast<std::byte*>(all.data()));
    for (const auto& [lowest, highest, mean, deviation] : all)
      filling.add({.lowest = lowest, .highest = highest, .mean = mean, .deviation = deviation},
                  size);
  };
  rows.row_bytes() == columns * sizeof(float) ? add(float{}) : add(double{});
  collect(level - 1, last * size, to, filling);
}

std::vector<Bin> StreamReader::kept_bins(const Window& window, std::int64_t bins) {
  bins = std::min(bins, window.count);
  std::vector<Bin> all(static_cast<std::size_t>(bins));
  if (bins == 0) return all;
  open_levels();
  int level = -1;
  std::int64_t size = 1;
  for (std::size_t i = 0; i < levels_.size() && level_samples[i] * bins <= window.count; ++i) {
    level = static_cast<int>(i);
    size = level_samples[i];
  }
  // The last edge is the window's own; the others move down to where rows begin.
  const auto edge = [&](std::int64_t k) {
    const std::int64_t exact =
        window.first + k * (window.count / bins) + k * (window.count % bins) / bins;
    return k == 0 ? window.first : k == bins ? exact : exact / size * size;
  };
  for (std::int64_t k = 0; k < bins; ++k) {
    all[static_cast<std::size_t>(k)].first = edge(k);
    all[static_cast<std::size_t>(k)].samples = edge(k + 1) - edge(k);
  }
  Filling filling{.bins = all};
  if (level < 0) {
    collect_each(filling);
  } else {
    collect(level, window.first, window.first + window.count, filling);
  }
  return all;
}

}  // namespace windwright::recording
