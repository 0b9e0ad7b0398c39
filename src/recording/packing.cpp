// SPDX-License-Identifier: Apache-2.0
#include "recording/packing.h"

#include <zlib.h>

#include <cassert>
#include <cstddef>
#include <memory>
#include <new>
#include <optional>
#include <span>

namespace windwright::recording {
namespace {

constexpr int window_bits = 15;
constexpr int memory_level = 8;

// zlib's own types; it does not write to what it reads.
Bytef* bytes_of(std::span<const std::byte> bytes) {
  return const_cast<Bytef*>(reinterpret_cast<const Bytef*>(bytes.data()));
}

}  // namespace

struct Packer::Stream {
  z_stream z = {};
  Stream() {
    if (deflateInit2(&z, Z_BEST_SPEED, Z_DEFLATED, window_bits, memory_level, Z_RLE) != Z_OK)
      throw std::bad_alloc();
  }
  Stream(const Stream&) = delete;
  Stream& operator=(const Stream&) = delete;
  ~Stream() { deflateEnd(&z); }
};

Packer::Packer() : stream_(std::make_unique<Stream>()) {}
Packer::Packer(Packer&& other) noexcept = default;
Packer::~Packer() = default;

std::optional<std::size_t> Packer::pack(std::span<const std::byte> chunk, std::size_t width,
                                        std::span<std::byte> to) {
  assert(chunk.size() % width == 0 && to.size() >= chunk.size());
  if (shuffled_.size() < chunk.size()) shuffled_.resize(chunk.size());
  const std::size_t values = chunk.size() / width;
  for (std::size_t k = 0; k < width; ++k) {
    std::byte* plane = shuffled_.data() + k * values;
    for (std::size_t i = 0; i < values; ++i)
      plane[i] = chunk[i * width + k];
  }
  z_stream& z = stream_->z;
  z.next_in = bytes_of(shuffled_);
  z.avail_in = static_cast<uInt>(chunk.size());
  z.next_out = bytes_of(to);
  z.avail_out = static_cast<uInt>(chunk.size() - 1);
  const bool fits = deflate(&z, Z_FINISH) == Z_STREAM_END;
  const std::size_t used = chunk.size() - 1 - z.avail_out;
  deflateReset(&z);
  if (!fits) return std::nullopt;
  return used;
}

bool Unpacker::unpack(std::span<const std::byte> packed, std::size_t width,
                      std::span<std::byte> to) {
  if (shuffled_.size() < to.size()) shuffled_.resize(to.size());
  auto size = static_cast<uLongf>(to.size());
  if (uncompress(bytes_of(shuffled_), &size, bytes_of(packed), packed.size()) != Z_OK ||
      size != to.size())
    return false;
  const std::size_t values = to.size() / width;
  for (std::size_t k = 0; k < width; ++k) {
    const std::byte* plane = shuffled_.data() + k * values;
    for (std::size_t i = 0; i < values; ++i)
      to[i * width + k] = plane[i];
  }
  return true;
}

}  // namespace windwright::recording
