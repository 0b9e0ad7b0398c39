// SPDX-License-Identifier: Apache-2.0
#include "base/sha256.h"

#include "base/errors.h"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <bit>
#include <cerrno>
#include <cstddef>
#include <cstdint>
#include <cstring>
#include <filesystem>
#include <fstream>
#include <ios>
#include <string>
#include <string_view>
#include <vector>

namespace windwright::base {

namespace {

// FIPS 180-4, 4.2.2: the first 32 bits of the fractional parts of the cube roots of the first 64
// primes.
constexpr std::array<std::uint32_t, 64> constants = {
    0x428a2f98, 0x71374491, 0xb5c0fbcf, 0xe9b5dba5, 0x3956c25b, 0x59f111f1, 0x923f82a4, 0xab1c5ed5,
    0xd807aa98, 0x12835b01, 0x243185be, 0x550c7dc3, 0x72be5d74, 0x80deb1fe, 0x9bdc06a7, 0xc19bf174,
    0xe49b69c1, 0xefbe4786, 0x0fc19dc6, 0x240ca1cc, 0x2de92c6f, 0x4a7484aa, 0x5cb0a9dc, 0x76f988da,
    0x983e5152, 0xa831c66d, 0xb00327c8, 0xbf597fc7, 0xc6e00bf3, 0xd5a79147, 0x06ca6351, 0x14292967,
    0x27b70a85, 0x2e1b2138, 0x4d2c6dfc, 0x53380d13, 0x650a7354, 0x766a0abb, 0x81c2c92e, 0x92722c85,
    0xa2bfe8a1, 0xa81a664b, 0xc24b8b70, 0xc76c51a3, 0xd192e819, 0xd6990624, 0xf40e3585, 0x106aa070,
    0x19a4c116, 0x1e376c08, 0x2748774c, 0x34b0bcb5, 0x391c0cb3, 0x4ed8aa4a, 0x5b9cca4f, 0x682e6ff3,
    0x748f82ee, 0x78a5636f, 0x84c87814, 0x8cc70208, 0x90befffa, 0xa4506ceb, 0xbef9a3f7, 0xc67178f2};

constexpr std::size_t block_bytes = 64;

class Digest {
 public:
  void add(std::string_view bytes) {
    length_ += bytes.size();
    while (!bytes.empty()) {
      const std::size_t taken = std::min(bytes.size(), block_bytes - filled_);
      std::memcpy(block_.data() + filled_, bytes.data(), taken);
      filled_ += taken;
      bytes.remove_prefix(taken);
      if (filled_ == block_bytes) turn();
    }
  }

  std::string text() {
    const std::uint64_t bits = 8 * length_;
    add(std::string_view("\x80", 1));
    while (filled_ != block_bytes - 8)
      add(std::string_view("\0", 1));
    std::array<char, 8> tail{};
    for (std::size_t i = 0; i < tail.size(); ++i)
      tail[i] = static_cast<char>(bits >> (8 * (7 - i)));
    add({tail.data(), tail.size()});
    std::string hex;
    for (const std::uint32_t word : state_)
      hex += fmt::format("{:08x}", word);
    return hex;
  }

 private:
  // 6.2.2, for the block that is full now.
  void turn() {
    filled_ = 0;
    std::array<std::uint32_t, 64> w{};
    for (std::size_t t = 0; t < 16; ++t) {
      for (std::size_t k = 0; k < 4; ++k)
        w[t] = (w[t] << 8U) | block_[4 * t + k];
    }
    for (std::size_t t = 16; t < 64; ++t) {
      const std::uint32_t s0 =
          std::rotr(w[t - 15], 7) ^ std::rotr(w[t - 15], 18) ^ (w[t - 15] >> 3U);
      const std::uint32_t s1 =
          std::rotr(w[t - 2], 17) ^ std::rotr(w[t - 2], 19) ^ (w[t - 2] >> 10U);
      w[t] = w[t - 16] + s0 + w[t - 7] + s1;
    }
    auto [a, b, c, d, e, f, g, h] = state_;
    for (std::size_t t = 0; t < 64; ++t) {
      const std::uint32_t t1 = h + (std::rotr(e, 6) ^ std::rotr(e, 11) ^ std::rotr(e, 25)) +
                               ((e & f) ^ (~e & g)) + constants[t] + w[t];
      const std::uint32_t t2 =
          (std::rotr(a, 2) ^ std::rotr(a, 13) ^ std::rotr(a, 22)) + ((a & b) ^ (a & c) ^ (b & c));
      h = g;
      g = f;
      f = e;
      e = d + t1;
      d = c;
      c = b;
      b = a;
      a = t1 + t2;
    }
    const std::array<std::uint32_t, 8> now = {a, b, c, d, e, f, g, h};
    for (std::size_t i = 0; i < now.size(); ++i)
      state_[i] += now[i];
  }

  std::array<std::uint32_t, 8> state_ = {0x6a09e667, 0xbb67ae85, 0x3c6ef372, 0xa54ff53a,
                                         0x510e527f, 0x9b05688c, 0x1f83d9ab, 0x5be0cd19};
  std::array<unsigned char, block_bytes> block_{};
  std::size_t filled_ = 0;
  std::uint64_t length_ = 0;
};

}  // namespace

std::string sha256(std::string_view bytes) {
  Digest digest;
  digest.add(bytes);
  return digest.text();
}

std::string sha256_of_file(const std::filesystem::path& file) {
  std::ifstream in(file, std::ios::binary);
  if (!in) {
    throw DiskFault(file.string(), fmt::format("cannot be read ({})", std::strerror(errno)),
                    "check the disk and permissions");
  }
  Digest digest;
  std::vector<char> piece(std::size_t{1} << 20U);
  while (in.read(piece.data(), static_cast<std::streamsize>(piece.size())), in.gcount() > 0)
    digest.add({piece.data(), static_cast<std::size_t>(in.gcount())});
  return digest.text();
}

}  // namespace windwright::base
