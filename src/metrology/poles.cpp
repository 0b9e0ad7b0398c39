// SPDX-License-Identifier: Apache-2.0
#include "metrology/poles.h"

#include "metrology/output_landscape.h"
#include "metrology/pole_place.h"
#include "metrology/program.h"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <random>
#include <utility>
#include <vector>

namespace windwright::metrology {

namespace {

class Search {
 public:
  Search(const MeasurementModel& model, std::size_t output)
      : landscape_(model, output), home_(landscape_.reach().home()) {}

  Poles found() {
    const Program& program = landscape_.model().program;
    for (const Divisor& divisor : divisors_of(program, landscape_.output())) {
      seen_.clear();
      home_value_ = std::abs(OutputLandscape::value(divisor, landscape_.steps(home_)));
      look_around(divisor);
      std::vector<double> direction = landscape_.divisor_slopes(divisor, home_, 1e-4);
      const double length = length_of(direction);
      if (!(length > 0.0)) continue;
      for (double& part : direction)
        part /= length;
      for (const double side : {-1.0, 1.0})
        look_along(divisor, direction, side);
      const Descent descent = landscape_.descent(divisor, home_, {});
      examine(divisor, descent.at);
    }
    if (!found_.worst.leaves_mean()) found_.undecided.clear();
    return found_;
  }

 private:
  struct Place {
    std::vector<double> direction;
    double share;  // of the way to the end
    std::vector<double> steps;
  };

  std::vector<double> place(const std::vector<double>& direction, double share) const {
    constexpr double far = 5.0;
    return landscape_.reach().within(moved_along(home_, direction, share * far));
  }

  void look_along(const Divisor& divisor, const std::vector<double>& direction, double side) {
    constexpr int places = 16;
    const std::vector<bool> watched = steps_behind(landscape_.model().program, divisor.step);
    const auto steps_at = [&](double share) { return landscape_.steps(place(direction, share)); };
    const auto crosses = [&](double from, double to, auto&& value) {
      const double zero =
          zero_between(from, to, [&](double share) { return value(steps_at(share)); });
      examine(divisor, place(direction, zero));
    };
    std::vector<double> before = landscape_.steps(home_);
    for (int i = 1; i <= places; ++i) {
      const double from = side * (i - 1) / places;
      const double to = side * i / places;
      std::vector<double> now = steps_at(to);
      const double divided = OutputLandscape::value(divisor, now);
      if (divisor.cosine && OutputLandscape::value(divisor, before) * divided < 0.0)
        crosses(from, to,
                [&](const auto& steps) { return OutputLandscape::value(divisor, steps); });
      for (std::size_t step = 0; step < watched.size(); ++step) {
        if (watched[step] && before[step] * now[step] < 0.0)
          crosses(from, to, [step](const std::vector<double>& steps) { return steps[step]; });
      }
      if (divided == 0.0 || i == places) examine(divisor, place(direction, to));
      before = std::move(now);
    }
  }

  // Places all over the reach, the same for each divisor. The third power of a uniform number makes
  // some inputs go far where many share the reach.
  const std::vector<Place>& places() {
    if (!places_.empty()) return places_;
    constexpr int wanted = 400;
    std::mt19937_64 random(5);
    const auto uniform = [&] { return static_cast<double>(random() >> 11U) * 0x1p-53; };
    for (int i = 0; i < wanted; ++i) {
      std::vector<double> direction(home_.size());
      for (double& part : direction)
        part = std::pow(2.0 * uniform() - 1.0, 3);
      const double length = length_of(direction);
      const double share = std::sqrt(uniform());
      for (double& part : direction)
        part /= length;
      std::vector<double> steps = landscape_.steps(place(direction, share));
      places_.push_back(
          {.direction = std::move(direction), .share = share, .steps = std::move(steps)});
    }
    return places_;
  }

  // Where the divisor or a step behind it has another sign than at home, its zero lies between.
  void look_around(const Divisor& divisor) {
    const std::vector<double> at_home = landscape_.steps(home_);
    const auto look = [&](auto&& value) {
      int crossed = 0;
      constexpr int enough = 3;
      for (const Place& there : places()) {
        if (!(value(there.steps) * value(at_home) < 0.0)) continue;
        const double zero = zero_between(0.0, there.share, [&](double share) {
          return value(landscape_.steps(place(there.direction, share)));
        });
        examine(divisor, place(there.direction, zero));
        if (++crossed == enough) break;
      }
    };
    look([&](const auto& steps) { return OutputLandscape::value(divisor, steps); });
    const std::vector<bool> watched = steps_behind(landscape_.model().program, divisor.step);
    for (std::size_t step = 0; step < divisor.step; ++step) {
      if (watched[step]) look([step](const std::vector<double>& steps) { return steps[step]; });
    }
  }

  static double zero_between(double from, double to, auto&& value) {
    const bool rising = value(to) > 0.0;
    for (int halving = 0; halving < 60; ++halving) {
      const double middle = 0.5 * (from + to);
      ((value(middle) > 0.0) == rising ? to : from) = middle;
    }
    return to;
  }

  void examine(const Divisor& divisor, std::vector<double> zero, int deeper = 1) {
    const double left = std::abs(OutputLandscape::value(divisor, landscape_.steps(zero)));
    constexpr double vanished = 1e-4;  // roots of what rounding leaves
    if (left > vanished * home_value_) return;
    zero = landscape_.descent(divisor, std::move(zero), {}).at;
    constexpr double same = 1e-6;
    for (const std::vector<double>& earlier : seen_) {
      if (length_of(moved_along(zero, earlier, -1.0)) < same) return;
    }
    const PoleFound one = pole_at(landscape_, divisor, zero);
    seen_.push_back(std::move(zero));
    Pole& worst = found_.worst;
    if (!one.decided) {
      found_.undecided = one.pole.near;
      for (const std::vector<double>& place : one.beside) {
        if (deeper > 0) examine(divisor, place, deeper - 1);
      }
    } else if (one.pole.order * worst.dimension > worst.order * one.pole.dimension) {
      worst = one.pole;
    }
  }

  OutputLandscape landscape_;
  std::vector<double> home_;
  double home_value_ = 0.0;
  std::vector<std::vector<double>> seen_;  // places, of one divisor
  std::vector<Place> places_;
  Poles found_;
};

}  // namespace

Poles poles(const MeasurementModel& model, std::size_t output) {
  return Search(model, output).found();
}

}  // namespace windwright::metrology
