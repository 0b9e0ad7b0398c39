// SPDX-License-Identifier: Apache-2.0
#include "physics/bridge_signals.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <numbers>
#include <span>
#include <utility>
#include <vector>

namespace windwright::physics {
namespace {

constexpr double turn_rad = 2.0 * std::numbers::pi;
constexpr std::size_t most_arcs = 12;
enum Exponential : std::size_t { of_winding, of_choke, of_instrument };

/// Two rates that are all but the same would make a small difference of large terms; no instrument
/// is known to a millionth.
double apart(double rate, double from) {
  constexpr double closest = 1e-6;
  return std::abs(rate - from) < closest * from ? from * (1.0 + closest) : rate;
}

}  // namespace

BridgeSignals::BridgeSignals(std::vector<BridgeTap> taps) : taps_(std::move(taps)) {
  arcs_.reserve(most_arcs);
  pieces_.reserve(most_arcs * taps_.size());
  rate_.resize(taps_.size());
  known_.reserve(exponentials * taps_.size());
  faded_.resize(exponentials * taps_.size());
}

void BridgeSignals::make_room(std::size_t samples) {
  if (samples <= cosine_.size()) return;
  for (std::vector<double>* each : {&cosine_, &sine_, &since_})
    each->resize(samples);
  for (std::vector<double>& each : faded_)
    each.resize(samples);
}

BridgeSignals::Piece BridgeSignals::piece_of(const Generator& generator, const BridgeArc& arc,
                                             const BridgeTap& tap) const {
  const auto current = [&](std::size_t phase) {
    const LineArc& line = arc.line[phase];
    return Piece{.steady = line.rising_A,
                 .cosine = line.cosine_A,
                 .sine = line.sine_A,
                 .fading = {line.fading_A - line.rising_A, 0.0, 0.0}};
  };
  // EMF less what winding and diode slope take up, to the star point: the rail less its threshold.
  const auto behind_slope = [&](std::size_t phase) {
    const double lag_rad = turn_rad / 3.0 * static_cast<double>(phase);
    const Sinusoid& drive_V = arc.line[phase].drive_V;
    return Piece{.steady = -drive_V.steady,
                 .cosine = -emf_peak_V_ * std::sin(lag_rad) - drive_V.cosine,
                 .sine = emf_peak_V_ * std::cos(lag_rad) - drive_V.sine,
                 .fading = {}};
  };
  const auto sum = [](const Piece& a, double times, const Piece& b) {
    return Piece{.steady = a.steady + times * b.steady,
                 .cosine = a.cosine + times * b.cosine,
                 .sine = a.sine + times * b.sine,
                 .fading = {a.fading[0] + times * b.fading[0], 0.0, 0.0}};
  };
  const auto voltage = [&](std::size_t phase) {
    return sum(behind_slope(phase), generator.diode_resistance_ohm, current(phase));
  };
  switch (tap.quantity) {
    case BridgeQuantity::phase_voltage:
      return voltage(tap.phase);
    case BridgeQuantity::line_current:
      return current(tap.phase);
    case BridgeQuantity::line_voltage:
      return sum(voltage(tap.phase), -1.0, voltage((tap.phase + 1) % 3));
    case BridgeQuantity::dc_ripple:
      break;
  }
  for (std::size_t upper = 0; upper < 3; ++upper) {
    for (std::size_t lower = 0; lower < 3; ++lower) {
      if (arc.line[upper].rail != 1 || arc.line[lower].rail != -1) continue;
      Piece dc = sum(behind_slope(upper), -1.0, behind_slope(lower));
      dc.steady -= 2.0 * generator.diode_drop_V;
      return dc;
    }
  }
  return {};
}

// Value of a piece at the end of its arc.
double BridgeSignals::reach(const Piece& piece, std::size_t arc, std::size_t tap) const {
  const Ends& ends = arcs_[arc];
  double value = piece.steady + piece.cosine * ends.cosine + piece.sine * ends.sine;
  for (std::size_t m = 0; m < exponentials; ++m) {
    if (piece.fading[m] == 0.0) continue;
    value += piece.fading[m] * std::exp(-rate_[tap][m] * (ends.end_rad - ends.begin_rad));
  }
  return value;
}

// y' = rate (x - y) over the period, which ends as it began.
void BridgeSignals::pass_lag(std::size_t tap, std::size_t exponential, double rate) {
  const std::size_t count = arcs_.size();
  Piece* piece = &pieces_[tap * count];
  for (std::size_t m = 0; m < exponential; ++m)
    rate = apart(rate, rate_[tap][m]);
  rate_[tap][exponential] = rate;
  const double share = rate / (1.0 + rate * rate);
  for (std::size_t a = 0; a < count; ++a) {
    const double cosine = piece[a].cosine;
    piece[a].cosine = share * (rate * cosine - piece[a].sine);
    piece[a].sine = share * (cosine + rate * piece[a].sine);
    for (std::size_t m = 0; m < exponential; ++m)
      piece[a].fading[m] *= rate / (rate - rate_[tap][m]);
  }
  // What the lag still remembers: once from 0 to find what a period leaves, then from there.
  double now = 0.0;
  for (const bool closing : {false, true}) {
    if (closing) now /= -std::expm1(-rate * turn_rad);
    for (std::size_t a = 0; a < count; ++a) {
      double begin = piece[a].steady + piece[a].cosine * arcs_[a].begin_cosine +
                     piece[a].sine * arcs_[a].begin_sine;
      for (std::size_t m = 0; m < exponential; ++m)
        begin += piece[a].fading[m];
      piece[a].fading[exponential] = now - begin;
      now = reach(piece[a], a, tap);
    }
  }
}

void BridgeSignals::renew(const Generator& generator, const BridgeOperation& operation) {
  const double electrical_rad_s = generator.pole_pairs * std::abs(operation.rotor_speed_rad_s);
  emf_peak_V_ = generator.flux_linkage_V_s * electrical_rad_s;
  SmoothBridge bridge{
      .emf_peak_V = emf_peak_V_,
      .resistance_ohm = generator.winding_resistance_ohm + generator.diode_resistance_ohm,
      .reactance_ohm = electrical_rad_s * generator.winding_inductance_H,
      .dc_current_A = operation.dc_current_A};
  const double impedance_ohm = std::hypot(bridge.resistance_ohm, bridge.reactance_ohm);
  if (impedance_ohm > 0.0) {
    bridge.dc_current_A = std::min(bridge.dc_current_A, emf_peak_V_ / impedance_ohm);
  }
  const SmoothPeriod period = smooth_bridge_period(bridge);
  const std::size_t count = period.count;
  arcs_.clear();
  for (const BridgeArc& arc : std::span(period.arcs).first(count)) {
    arcs_.push_back({.begin_rad = arc.begin_rad,
                     .end_rad = arc.end_rad,
                     .cosine = std::cos(arc.end_rad),
                     .sine = std::sin(arc.end_rad),
                     .begin_cosine = std::cos(arc.begin_rad),
                     .begin_sine = std::sin(arc.begin_rad)});
  }
  pieces_.resize(taps_.size() * count);
  const double mean_V = smooth_bridge_voltage_V(bridge) - 2.0 * generator.diode_drop_V;
  for (std::size_t t = 0; t < taps_.size(); ++t) {
    const BridgeTap& tap = taps_[t];
    rate_[t] = {period.decay, 0.0, 0.0};
    const bool flat =
        tap.quantity == BridgeQuantity::dc_ripple &&
        (!(bridge.dc_current_A > 0.0) || !(mean_V > 0.0) || !std::isfinite(operation.smoothing_s));
    for (std::size_t a = 0; a < count; ++a) {
      pieces_[t * count + a] = flat ? Piece{.steady = 1.0, .cosine = 0.0, .sine = 0.0, .fading = {}}
                                    : piece_of(generator, period.arcs[a], tap);
    }
    if (flat) continue;
    if (tap.quantity == BridgeQuantity::dc_ripple) {
      for (Piece& piece : std::span(pieces_).subspan(t * count, count)) {
        for (double* part : {&piece.steady, &piece.cosine, &piece.sine, &piece.fading[0]})
          *part /= mean_V;
      }
      if (operation.smoothing_s > 0.0) {
        pass_lag(t, of_choke, 1.0 / (operation.smoothing_s * electrical_rad_s));
      }
    }
    if (std::isfinite(tap.bandwidth_Hz)) {
      pass_lag(t, of_instrument, turn_rad * tap.bandwidth_Hz / electrical_rad_s);
    }
  }
}

void BridgeSignals::fill(std::span<const double> angle_rad,
                         std::span<const std::span<double>> values) {
  const std::size_t samples = angle_rad.size();
  make_room(samples);
  const double begin_rad = arcs_.front().begin_rad;
  const std::size_t count = arcs_.size();
  std::size_t arc = 0;
  double before_rad = begin_rad;
  for (std::size_t from = 0; from < samples;) {
    // Samples of one arc together.
    std::size_t to = from;
    const std::size_t here = [&] {
      std::size_t found = count;
      for (; to < samples; ++to) {
        const double turns = std::floor((angle_rad[to] - begin_rad) / turn_rad);
        const double within_rad = std::max(begin_rad, angle_rad[to] - turns * turn_rad);
        if (within_rad < before_rad) arc = 0;
        before_rad = within_rad;
        while (arc + 1 < count && within_rad >= arcs_[arc].end_rad)
          ++arc;
        if (found == count) found = arc;
        if (arc != found) break;
        cosine_[to] = std::cos(within_rad);
        sine_[to] = std::sin(within_rad);
        since_[to] = within_rad - arcs_[arc].begin_rad;
      }
      return found;
    }();
    known_.clear();
    for (std::size_t t = 0; t < taps_.size(); ++t) {
      const Piece& piece = pieces_[t * count + here];
      double* out = values[t].data();
      for (std::size_t i = from; i < to; ++i)
        out[i] = piece.steady + piece.cosine * cosine_[i] + piece.sine * sine_[i];
      for (std::size_t m = 0; m < exponentials; ++m) {
        if (piece.fading[m] == 0.0) continue;
        const double* faded = fading_at(rate_[t][m], from, to);
        for (std::size_t i = from; i < to; ++i)
          out[i] += piece.fading[m] * faded[i];
      }
    }
    from = to;
  }
}

// exp(-rate d) over these samples; taps of one rate share it.
const double* BridgeSignals::fading_at(double rate, std::size_t from, std::size_t to) {
  const auto found = std::find(known_.begin(), known_.end(), rate);
  const auto place = static_cast<std::size_t>(found - known_.begin());
  if (found == known_.end()) {
    known_.push_back(rate);
    double* faded = faded_[place].data();
    for (std::size_t i = from; i < to; ++i)
      faded[i] = std::exp(-rate * since_[i]);
  }
  return faded_[place].data();
}

}  // namespace windwright::physics
