// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "signal/fft.h"

#include <complex>
#include <cstddef>
#include <cstdint>
#include <span>
#include <string_view>
#include <vector>

namespace windwright::signal {

/// How the ends of a segment are faded out before it is transformed.
enum class Taper {
  hann,      // for noise and lines alike; amplitudes up to 15 % low between two lines
  flat_top,  // amplitudes right to 0.2 % wherever a line lies, each 3.8 lines wide
  none       // lines at whole cycles a segment only; everything else leaks far
};
/// `hann`, `flat-top`, `none`.
std::string_view name_of(Taper taper);

/// Weights of one segment, periodic in its length.
/// Source: Hann: F. J. Harris, On the use of windows for harmonic analysis with the discrete
/// Fourier transform, Proc. IEEE 66 (1978) 51-83, eq. 27; flat top of five terms: G. D'Antona,
/// A. Ferrero, Digital Signal Processing for Measurement Systems (2006), p. 70 ff. (from memory).
std::vector<double> taper_weights(Taper taper, std::size_t size);

/// One-sided, lines 0 to segment / 2 at multiples of `line_spacing_Hz`.
struct Spectrum {
  double line_spacing_Hz;
  double noise_bandwidth_Hz;      // equivalent noise bandwidth of a line
  std::vector<double> density;    // mean square per hertz: density * line_spacing adds up to power
  std::vector<double> amplitude;  // of a sine that lies on the line, its peak; line 0: the value
  std::size_t segment;            // samples
  std::size_t segments;           // averaged
  /// Relative standard uncertainty of a density where the signal is noise that is even over a line,
  /// and its degrees of freedom, 2 / relative_u^2: what overlapping segments have in common counts.
  double relative_u;
  double dof;

  double frequency_Hz(std::size_t line) const {
    return static_cast<double>(line) * line_spacing_Hz;
  }
};

/// Spectrum by averaging the periodograms of segments that overlap: by half with `hann`, by three
/// quarters with `flat_top`, not at all with `none`. Each segment's own mean is taken off first, so
/// that what changes more slowly than a segment lasts does not show.
/// Source: P. D. Welch, The use of fast Fourier transform for the estimation of power spectra,
/// IEEE Trans. Audio Electroacoust. 15 (1967) 70-73; scaling: G. Heinzel, A. Rudiger, R. Schilling,
/// Spectrum and spectral density estimation by the discrete Fourier transform (2002), sections 6
/// and 9. Checked in tests/signal/spectrum_test.cpp and tests/peers/spectrum.py;
/// docs/theory/spectrum.md.
class Welch {
 public:
  /// @param segment  samples of one segment, 2 or more; quick where it has no prime factor above 5
  /// @throws BadInput  less
  Welch(Taper taper, std::size_t segment);

  std::size_t segment() const { return weights_.size(); }
  /// From the beginning of one segment to that of the next, in samples.
  std::size_t step() const;
  /// @param samples  as many as a segment has
  /// @param place    of its first sample, in samples, ascending; a multiple of step() after the
  ///                 ones that it overlaps
  void add(std::span<const double> samples, std::int64_t place);
  /// @throws BadInput  no segment was added
  Spectrum spectrum(double sample_rate_Hz);

 private:
  void transform();
  double mean_correlation() const;

  Taper taper_;
  std::vector<double> weights_;
  Fft fft_;
  std::vector<std::complex<double>> pair_;  // two segments, one as real, one as imaginary part
  std::vector<std::complex<double>> transformed_;
  bool half_ = false;            // the pair has its first segment only
  std::vector<double> squares_;  // sum of |X|^2 over the segments, (lines)
  std::vector<std::int64_t> places_;
};

}  // namespace windwright::signal
