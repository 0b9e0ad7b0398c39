// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <span>
#include <vector>

namespace windwright::signal {

/// Harmonic, its groups and what lies up to the next one, RMS in the channel's unit.
struct HarmonicGroup {
  double harmonic;                // the line alone
  double group;                   // all lines about it, the outermost two by half
  double subgroup;                // it and its two neighbours
  double interharmonic_subgroup;  // the lines between this subgroup and the next
};

/// Groups after IEC 61000-4-7:2002+A1:2008, 5.5 and annex A, of the lines of a window of N cycles
/// (10 at 50 Hz, 12 at 60 Hz; k = N h is the line of harmonic h):
///
///   group^2    = Y[k - N/2]^2 / 2 + sum of Y[k + i]^2 over |i| < N/2 + Y[k + N/2]^2 / 2
///   subgroup^2 = sum of Y[k + i]^2 over |i| <= 1
///   interharmonic subgroup^2 = sum of Y[k + i]^2 over i = 2 .. N - 2
///
/// (definitions from memory). Checked in tests/published/harmonic_groups_test.cpp.
/// @param squares  (lines) mean squares of the lines 0, 1, 2, ... in the channel's unit squared;
///                 those of several windows are averaged first
/// @param cycles   N, even, 6 or more
/// @return         order 0 first (with a harmonic and the lines above it only: its group and
///                 subgroup are its own line), as long as a whole group fits
/// @throws BadInput  other cycles, no lines
std::vector<HarmonicGroup> harmonic_groups(std::span<const double> squares, int cycles);

/// Distortion as a part of the first order, over orders 2 to the last there is.
struct Distortion {
  double thd;   // of harmonics
  double thdg;  // of groups
  double thds;  // of subgroups
};
/// @throws BadInput  fewer than two orders, or nothing at the first
Distortion distortion(std::span<const HarmonicGroup> orders);

}  // namespace windwright::signal
