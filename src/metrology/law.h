// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "metrology/nonlinear_least_squares.h"

#include <cstddef>
#include <limits>
#include <memory>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

namespace windwright::metrology {

/// How a sensor's reading and its known input hang together: value = f(argument; coefficients).
/// Most laws take the reference as argument and give the reading; a backward law takes the reading.
/// Laws hold no coefficients and may be called from any thread.
class Law {
 public:
  virtual ~Law() = default;

  /// One name a coefficient, in their order.
  virtual std::vector<std::string> names() const = 0;
  /// f; `slope` gets df/d(argument), `gradient` df/d(coefficients). NaN outside the domain.
  virtual Extended evaluate(std::span<const Extended> coefficients, Extended argument,
                            Extended& slope, std::span<Extended> gradient) const = 0;
  /// Coefficients near the best ones, for arguments and values of one length.
  virtual std::vector<Extended> start(std::span<const double> arguments,
                                      std::span<const double> values) const = 0;

  virtual bool is_backward() const { return false; }
  /// One coefficient stands alone, so that r_squared is about the mean.
  virtual bool has_constant() const { return true; }
  /// Arguments below it are refused; the curve ends at the first one above it (strictly).
  virtual double lowest_argument() const { return -std::numeric_limits<double>::infinity(); }
  /// Units that the law's numbers are tied to; empty: any.
  virtual std::string reference_unit() const { return {}; }
  virtual std::string reading_unit() const { return {}; }
};

/// The law of a model's name:
///
/// | model | law | coefficients |
/// | --- | --- | --- |
/// | `line`, `polynomial:N` (1 to 6) | reading = c_0 + c_1 reference + ... | rising powers |
/// | `king`, `king:EXPONENT` | reading^2 = A + B reference^n | A, B, n (n only where free) |
/// | `pitot` | reading = zero + gain reference^2 | zero, gain |
/// | `pitot:STATIC_Pa` (1e3 to 1e7) | the same to first order, of a perfect gas at that static
///   pressure: zero + p ((1 + gain reference^2 (k - 1) / (k p))^(k / (k - 1)) - 1), k = 1.4 | zero,
///   gain |
/// | `cup` | reference = offset + slope reading (regression of the reference) | offset, slope |
/// | `pt100`, `pt100:N` (1, 3, 4) | reading = R0 (1 + A t + B t^2 [+ C (t - 100) t^3 below 0]) |
///   R0, A, B, C; those beyond N are those of IEC 60751; `pt100` is N = 3 |
/// | `thermocouple:TYPE` (B E J K N R S T) | reading = offset + gain E(t), E of IEC 60584 | offset,
///   gain |
/// | `ntc` | 1 / T = a + b ln R + c (ln R)^3, reference = T - 273.15 | a, b, c |
/// | `tachometer`, `shunt`, `divider` | reading = gain reference | gain |
///
/// Temperatures are in degC, resistances in ohm, thermocouple readings in mV.
/// Source: King, Phil. Trans. R. Soc. A 214 (1914) 373; Anderson, Fundamentals of
/// Aerodynamics, 8.7.1 (isentropic flow into a pitot tube); IEC 61400-12-1:2017 Annex F (cup); IEC
/// 60751:2008; IEC 60584-1:2013; Steinhart and Hart, Deep-Sea Res. 15 (1968) 497.
/// @throws BadInput  another model
std::unique_ptr<const Law> law_of_model(std::string_view model, std::string_view where);

/// How much of a rotor speed's unit is one turn a second: a tachometer's gain (readings in Hz)
/// times this is its pulses a turn. Nothing for a unit other than rad s-1, rpm, s-1 and Hz.
std::optional<double> speed_of_one_turn_a_second(std::string_view unit);

/// N of a model "line" or "polynomial:N"; 0 for every other model.
int degree_of(std::string_view model);

/// All models for a message or a help text.
std::string_view model_names();

}  // namespace windwright::metrology
