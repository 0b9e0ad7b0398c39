// SPDX-License-Identifier: Apache-2.0
// Inside the recording module only.
#pragma once

#include <cstddef>
#include <memory>
#include <optional>
#include <span>
#include <vector>

namespace windwright::recording {

/// Chunks made smaller without loss, byte for byte as HDF5's filters shuffle and deflate read them:
/// first all lowest bytes of the values, then all next, then deflated (RFC 1950, RFC 1951). Only
/// runs are looked for: noise in the low bytes repeats nothing else, and that is quick.
class Packer {
 public:
  Packer();
  Packer(Packer&& other) noexcept;
  ~Packer();

  /// No allocation after the first chunk of that size.
  /// @param chunk  values of `width` bytes
  /// @param to     at least as many bytes
  /// @return       bytes of `to` that are used; nothing where that would not be fewer than before
  std::optional<std::size_t> pack(std::span<const std::byte> chunk, std::size_t width,
                                  std::span<std::byte> to);

 private:
  struct Stream;
  std::unique_ptr<Stream> stream_;
  std::vector<std::byte> shuffled_;
};

/// The way back.
class Unpacker {
 public:
  /// @param packed  whatever came out of a file
  /// @param to      a whole chunk
  /// @return        false: they are not a chunk of that size, packed
  bool unpack(std::span<const std::byte> packed, std::size_t width, std::span<std::byte> to);

 private:
  std::vector<std::byte> shuffled_;
};

}  // namespace windwright::recording
