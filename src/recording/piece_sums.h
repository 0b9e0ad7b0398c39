// SPDX-License-Identifier: Apache-2.0
// Inside the recording module only.
#pragma once

#include <cstddef>
#include <cstdint>
#include <span>

namespace windwright::recording {

/// Samples of which the pyramid's finest level makes one entry; chunks are whole multiples of it.
constexpr std::uint32_t piece_samples = 256;

/// Exact sums over one piece of counts w_j, j = 0 .. 255: enough for its statistics and for the
/// checksum of the chunk that it belongs to.
struct PieceSums {
  std::uint32_t sum;      // of w_j
  std::uint32_t ramp;     // of j w_j
  std::uint64_t squares;  // of w_j^2
  std::uint16_t lowest;
  std::uint16_t highest;
};

/// @param counts  whole pieces
/// @param pieces  (counts / 256)
void sum_pieces(std::span<const std::uint16_t> counts, std::span<PieceSums> pieces);

/// Counts of a converter of up to 16 bits. What does not fit ends at 0 or 65535.
/// @param to  as many as counts
void narrow(std::span<const std::int32_t> counts, std::uint16_t* to);

/// The checksum that HDF5's fletcher32 filter puts after a chunk: Fletcher's two sums of 16-bit
/// words, modulo 65535 (J. G. Fletcher, IEEE Trans. Commun. 30, 1982, p. 247), from sums that are
/// there already.
std::uint32_t fletcher32(std::span<const PieceSums> pieces);
/// The same of any bytes; behind an odd number of them the filter thinks one more, 0.
std::uint32_t fletcher32(std::span<const std::byte> bytes);

}  // namespace windwright::recording
