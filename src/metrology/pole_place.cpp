// SPDX-License-Identifier: Apache-2.0
#include "metrology/pole_place.h"

#include "metrology/output_landscape.h"
#include "metrology/poles.h"
#include "metrology/program.h"

#include <Eigen/Dense>
#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <iterator>
#include <limits>
#include <optional>
#include <random>
#include <string>
#include <utility>
#include <vector>

namespace windwright::metrology {

namespace {

constexpr double infinity = std::numeric_limits<double>::infinity();
constexpr double none = std::numeric_limits<double>::quiet_NaN();

using Direction = std::vector<double>;

// Axis along which the output is followed away from the place.
struct Axis {
  Direction direction;
  double dimension;  // of the chance to be near
  bool both;         // sides are within the inputs' limits
  double order = 0.0;
};

double median(std::vector<double> values) {
  if (values.empty()) return none;
  const auto middle = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
  std::ranges::nth_element(values, middle);
  return *middle;
}

bool same_order(double a, double b) {
  constexpr double rounding = 0.05;
  return a == b || std::abs(a - b) < rounding;
}

class Surroundings {
 public:
  Surroundings(const OutputLandscape& landscape, const Divisor& divisor, Direction zero)
      : landscape_(landscape), divisor_(divisor), zero_(std::move(zero)) {
    for (std::size_t i = 0; i < zero_.size(); ++i) {
      Direction unit(zero_.size(), 0.0);
      unit[i] = 1.0;
      bool moves = false;
      for (std::size_t input = 0; input < zero_.size(); ++input)
        moves = moves || landscape_.reach().moved(input, unit) != 0.0;
      moves_.push_back(moves);
      const auto at = [&](double side) { return landscape_.reach().at_limit(i, zero_, side); };
      inward_.push_back(at(1.0) ? -1.0 : at(-1.0) ? 1.0 : 0.0);
    }
    for (int i = 0; i < 32; ++i)
      around_.push_back(some_direction());
  }

  PoleFound found() {
    const PoleFound divides = where_a_step_divides();
    std::vector<double> orders;
    for (const Direction& direction : around_) {
      const double order = order_along(zero_, direction, near);
      if (!std::isnan(order)) orders.push_back(order);
    }
    const double order = median(orders);
    const bool as_divided = divides.pole.order > 0.0 && !(order > divides.pole.order + 0.05);
    if (as_divided || !divides.pole.leaves_mean()) return divides;
    if (!(order > 0.0)) return {};
    PoleFound touches{.pole = {.order = order, .dimension = 1.0, .near = {}}, .decided = false};
    const auto alike =
        std::ranges::count_if(orders, [&](double o) { return same_order(o, order); });
    if (divides.pole.order > 0.0 || std::isinf(order) ||
        static_cast<std::size_t>(alike) * 4 < around_.size()) {
      touches.pole.near = near_text(around_);
      touches.decided = std::isinf(order);
      return touches;
    }
    return where_it_touches(std::move(touches));
  }

 private:
  static constexpr double near = 5e-3;  // standard deviations
  static constexpr double off = 0.05;
  static constexpr double farthest = 0.2;  // of a distance as `order_along` takes it

  // Distances from `farther` times the one asked for, each nearer by `closer`.
  struct Ladder {
    double farther;
    double closer;
  };

  double uniform() { return static_cast<double>(random_() >> 11U) * 0x1p-53; }

  // Within the limits, its largest part 1.
  Direction some_direction() {
    Direction direction(zero_.size(), 0.0);
    double largest = 0.0;
    for (std::size_t i = 0; i < direction.size(); ++i) {
      const double part = 2.0 * uniform() - 1.0;
      if (!moves_[i]) continue;
      direction[i] = inward_[i] != 0.0 ? inward_[i] * std::abs(part) : part;
      largest = std::max(largest, std::abs(part));
    }
    for (double& part : direction)
      part /= largest > 0.0 ? largest : 1.0;
    return direction;
  }

  // q of distance^-q; 0 where it does not grow, NaN where it has no value. Where the rounding of
  // the equation's steps is all that is seen so near, from farther ends of closer spaced distances.
  double order_along(const Direction& from, const Direction& direction, double distance) const {
    constexpr Ladder ladders[] = {{.farther = 1.0, .closer = 100.0},
                                  {.farther = 1.0, .closer = 10.0},
                                  {.farther = 100.0, .closer = 100.0},
                                  {.farther = 100.0, .closer = 10.0}};
    std::optional<double> order;
    for (const Ladder& ladder : ladders) {
      const double first = distance * ladder.farther;
      if (std::abs(first) > farthest) break;
      const auto value = [&](double d) {
        return landscape_.output_at(moved_along(from, direction, d));
      };
      order = order_of(value, first, ladder.closer);
      if (order && std::isfinite(*order)) break;
    }
    return order.value_or(0.0);
  }

  // Nothing where it does not go on as a power to both sides of the nearest distance.
  static std::optional<double> order_of(auto&& value, double distance, double closer) {
    double values[3];
    for (int i = 0; i < 3; ++i)
      values[i] = value(distance * std::pow(closer, -i));
    if (std::isnan(values[0]) || std::isnan(values[1]) || std::isnan(values[2])) return none;
    if (std::isinf(values[2])) return infinity;
    const double farther = std::abs(values[1] - values[0]);
    const double nearer = std::abs(values[2] - values[1]);
    constexpr double rounding = 1e-6;
    if (!(farther > 0.0) || !(nearer > rounding * std::abs(values[0]))) return 0.0;
    const double order = std::log10(nearer / farther) / std::log10(closer);
    constexpr double least = 0.05;  // a logarithm grows slower
    if (order < least) return 0.0;
    const double before = std::pow(closer, -order);
    for (const double share : {0.5, 0.7, 0.9, 0.99, 1.01, 1.1, 1.4, 2.0}) {
      const double grown = value(distance * std::pow(closer, -2) * share) - values[1];
      const double power =
          (values[2] - values[1]) * (std::pow(share, -order) - before) / (1.0 - before);
      constexpr double smooth = 0.1;
      if (!(std::abs(grown - power) < smooth * std::abs(power))) return std::nullopt;
    }
    const double quarter = std::round(4.0 * order) / 4.0;
    return std::abs(order - quarter) < 0.01 ? quarter : order;
  }

  // Between places around of either sign of a step: there the output has its general order, not
  // that of a place where two steps vanish by chance.
  PoleFound where_a_step_divides() const {
    std::vector<std::vector<double>> seen;
    for (const Direction& direction : around_)
      seen.push_back(landscape_.steps(moved_along(zero_, direction, 4.0 * near)));
    PoleFound worst;
    const auto look = [&](auto&& value) {
      int pairs = 0;
      for (std::size_t i = 1; i < seen.size() && pairs < 3; ++i) {
        if (!(value(seen[i]) * value(seen[i - 1]) < 0.0)) continue;
        ++pairs;
        const PoleFound one = crossed(around_[i - 1], around_[i], value);
        if (one.pole.order > worst.pole.order) worst = one;
      }
    };
    const std::vector<bool> watched = steps_behind(landscape_.model().program, divisor_.step);
    for (std::size_t step = 0; step < watched.size(); ++step) {
      if (watched[step]) look([step](const std::vector<double>& steps) { return steps[step]; });
    }
    if (divisor_.cosine)
      look([this](const std::vector<double>& steps) {
        return OutputLandscape::value(divisor_, steps);
      });
    return worst;
  }

  PoleFound crossed(const Direction& a, const Direction& b, auto&& value) const {
    const Direction from = moved_along(zero_, a, 4.0 * near);
    const Direction way = moved_along(moved_along(zero_, b, 4.0 * near), from, -1.0);
    const auto at = [&](double share) {
      return value(landscape_.steps(moved_along(from, way, share)));
    };
    double low = 0.0;
    double high = 1.0;
    const bool rising = at(high) > 0.0;
    for (int halving = 0; halving < 60; ++halving) {
      const double middle = 0.5 * (low + high);
      ((at(middle) > 0.0) == rising ? high : low) = middle;
    }
    const Direction zero = moved_along(from, way, high);
    PoleFound one;
    for (const double side : {-1e-3, 1e-3}) {
      const double order = order_along(zero, way, side);
      if (order > one.pole.order) one.pole.order = order;
    }
    if (one.pole.order == 0.0) return one;
    Direction slope = landscape_.slopes(
        [&](const Direction& there) { return value(landscape_.steps(there)); }, zero, 1e-6);
    one.pole.near = near_text({std::move(slope)});
    return one;
  }

  // Of the distance to the pole as far as the divisor, which falls as its power p, shows it.
  Direction inside_slopes(const Direction& from, double p) const {
    Direction slope = landscape_.slopes(
        [&](const Direction& at) {
          return std::pow(std::abs(OutputLandscape::value(divisor_, landscape_.steps(at))),
                          1.0 / p);
        },
        from, 1e-3 * near);
    for (std::size_t i = 0; i < slope.size(); ++i) {
      if (inward_[i] != 0.0) slope[i] = 0.0;
    }
    return slope;
  }

  std::vector<Axis> axes(double p) const {
    const auto size = static_cast<Eigen::Index>(zero_.size());
    Eigen::MatrixXd squares = Eigen::MatrixXd::Zero(size, size);
    for (const Direction& direction : around_) {
      const Direction slope = inside_slopes(moved_along(zero_, direction, near), p);
      const Eigen::Map<const Eigen::VectorXd> one(slope.data(), size);
      squares += one * one.transpose();
    }
    const Eigen::SelfAdjointEigenSolver<Eigen::MatrixXd> principal(squares);
    std::vector<Axis> axes;
    for (Eigen::Index i = 0; i < size; ++i) {
      const Eigen::VectorXd vector = principal.eigenvectors().col(i);
      Direction direction(vector.begin(), vector.end());
      for (std::size_t j = 0; j < direction.size(); ++j) {
        if (inward_[j] != 0.0 || !moves_[j]) direction[j] = 0.0;
      }
      if (length_of(direction) < 0.5) continue;
      axes.push_back({.direction = std::move(direction), .dimension = 1.0, .both = true});
    }
    for (std::size_t i = 0; i < zero_.size(); ++i) {
      if (inward_[i] == 0.0) continue;
      Direction direction(zero_.size(), 0.0);
      direction[i] = inward_[i];
      axes.push_back({.direction = std::move(direction),
                      .dimension = landscape_.reach().limit_dimension(i),
                      .both = false});
    }
    return axes;
  }

  // The least of the divisor at a distance along an axis.
  Descent valley(const Axis& axis, double distance) const {
    return landscape_.descent(divisor_, moved_along(zero_, axis.direction, distance),
                              axis.direction);
  }

  // Places where the divisor vanishes on along an axis; none if it does not do so to all its sides.
  std::vector<Direction> places_along(const Axis& axis, double scale) const {
    constexpr double vanished = 1e-10;
    std::vector<Direction> places;
    for (const double side : {1.0, -1.0}) {
      if (side < 0.0 && !axis.both) continue;
      Descent descent = valley(axis, side * off);
      if (!(descent.left <= vanished * scale)) return {};
      places.push_back(std::move(descent.at));
    }
    return places;
  }

  // Turns an axis along the valley of the divisor, and finds p, where its floor falls to zero as
  // distance^p.
  double fall_along(Axis& axis) const {
    constexpr double closer = 100.0;
    double side = 1.0;
    Descent farther = valley(axis, off);
    if (axis.both) {
      if (Descent other = valley(axis, -off); !(other.left >= farther.left)) {
        side = -1.0;
        farther = std::move(other);
      }
    }
    const Descent nearer = valley(axis, side * off / closer);
    Direction along = moved_along(nearer.at, zero_, -1.0);
    const double length = side * length_of(along);
    for (double& part : along)
      part /= length;
    axis.direction = std::move(along);
    const double order = std::log10(farther.left / nearer.left) / std::log10(closer);
    const double quarter = std::round(4.0 * order) / 4.0;
    constexpr double rounding = 0.02;  // a descent ends within some percent of the least
    return std::abs(order - quarter) < rounding ? quarter : order;
  }

  double left_at(const Direction& direction, double distance) const {
    const Direction at = moved_along(zero_, direction, distance);
    return std::abs(OutputLandscape::value(divisor_, landscape_.steps(at)));
  }

  // p, where the divisor falls to zero as distance^p.
  double zero_order_along(const Direction& direction) const {
    constexpr double closer = 1e4;
    const double order = std::log10(left_at(direction, near) / left_at(direction, near / closer)) /
                         std::log10(closer);
    const double quarter = std::round(4.0 * order) / 4.0;
    return std::abs(order - quarter) < 0.01 ? quarter : order;
  }

  PoleFound where_it_touches(PoleFound found) {
    const double order = found.pole.order;
    std::vector<Axis> across;
    std::vector<Direction> directions;
    double power = 0.0;  // the chance that the output exceeds t goes as t^-power
    std::vector<double> falls;
    std::vector<double> left;
    for (const Direction& direction : around_) {
      falls.push_back(zero_order_along(direction));
      left.push_back(left_at(direction, off));
    }
    const double usual = median(falls);
    const double scale = median(left);
    if (!(usual > 0.0) || !std::isfinite(usual)) {
      found.pole.near = near_text(around_);
      return found;
    }
    bool known = true;
    for (Axis& axis : axes(usual)) {
      std::vector<Direction> places = places_along(axis, scale);
      if (!places.empty()) {
        std::ranges::move(places, std::back_inserter(found.beside));
        continue;
      }
      // As the divisor falls to zero, since along an axis the dividend may vanish by chance.
      axis.order = order / usual * fall_along(axis);
      known = known && axis.order > 0.0 && std::isfinite(axis.order);
      power += axis.dimension / axis.order;
      directions.push_back(axis.direction);
      across.push_back(std::move(axis));
    }
    found.pole.near = near_text(directions.empty() ? around_ : directions);
    found.decided = known && !across.empty() && is_bounded(across, order);
    found.pole.dimension = order * power;
    return found;
  }

  // Is the output, in most places and at most, as large as 1 / max |d|^order over the axes, at two
  // distances?
  bool is_bounded(const std::vector<Axis>& across, double order) {
    constexpr int places = 200;
    double usual[2];
    double most[2];
    for (int level = 0; level < 2; ++level) {
      const double distance = level == 0 ? near : 0.01 * near;
      std::vector<double> sizes;
      for (int i = 0; i < places; ++i) {
        std::vector<double> parts;
        double largest = 0.0;
        for (const Axis& axis : across) {
          parts.push_back(axis.both ? 2.0 * uniform() - 1.0 : uniform());
          largest = std::max(largest, std::abs(parts.back()));
        }
        Direction at = zero_;
        for (std::size_t a = 0; a < across.size(); ++a) {
          const double reach = std::pow(distance, order / across[a].order);
          at = moved_along(at, across[a].direction, parts[a] / largest * reach);
        }
        const double size = std::abs(landscape_.output_at(at)) * std::pow(distance, order);
        if (!std::isnan(size)) sizes.push_back(size);
      }
      usual[level] = median(sizes);
      most[level] = sizes.empty() ? none : *std::ranges::max_element(sizes);
    }
    const auto alike = [](double a, double b) { return a < 4.0 * b && b < 4.0 * a; };
    return usual[0] > 0.0 && most[0] < 1e4 * usual[0] && alike(usual[0], usual[1]) &&
           alike(most[0], most[1]);
  }

  // The inputs that move along any of these directions.
  std::string near_text(const std::vector<Direction>& directions) const {
    const std::size_t size = zero_.size();
    std::vector<double> part(size, 0.0);
    for (const Direction& direction : directions) {
      for (std::size_t i = 0; i < size; ++i)
        part[i] = std::max(part[i], std::abs(landscape_.reach().moved(i, direction)));
    }
    const double largest = size > 0 ? *std::ranges::max_element(part) : 0.0;
    const std::vector<double> there = landscape_.reach().inputs(zero_);
    std::string text;
    for (std::size_t i = 0; i < size; ++i) {
      if (part[i] < 0.3 * largest || part[i] == 0.0) continue;
      constexpr double rounding = 1e-9;  // of the place, in standard uncertainties
      const UncertainInput& input = landscape_.model().inputs[i];
      const bool zero = std::abs(there[i]) < rounding * input.standard_uncertainty;
      text +=
          fmt::format("{}{} = {:.4g}", text.empty() ? "" : ", ", input.name, zero ? 0.0 : there[i]);
    }
    return text;
  }

  const OutputLandscape& landscape_;
  const Divisor divisor_;
  Direction zero_;
  std::vector<bool> moves_;     // (inputs) coordinates that move an input
  std::vector<double> inward_;  // (inputs) sign away from a limit, 0: not at one
  std::vector<Direction> around_;
  std::mt19937_64 random_{20};
};

}  // namespace

PoleFound pole_at(const OutputLandscape& landscape, const Divisor& divisor,
                  const std::vector<double>& zero) {
  return Surroundings(landscape, divisor, zero).found();
}

}  // namespace windwright::metrology
