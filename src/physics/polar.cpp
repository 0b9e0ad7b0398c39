// SPDX-License-Identifier: Apache-2.0
#include "physics/polar.h"

#include "base/errors.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <numbers>
#include <utility>
#include <vector>

namespace windwright::physics {

namespace {

constexpr double pi = std::numbers::pi;
constexpr double degree = pi / 180.0;
constexpr double same_reynolds = 1.03;
constexpr std::size_t bins = 1440;  // of a quarter of a degree
constexpr double bins_per_rad = bins / (2.0 * pi);

void check(const std::vector<PolarRow>& rows) {
  if (rows.empty()) throw base::BadInput("polar", "holds no rows", "at least one row");
  for (const PolarRow& row : rows) {
    const bool good = std::isfinite(row.reynolds) && row.reynolds > 0.0 &&
                      std::abs(row.alpha_rad) <= pi * (1.0 + 1e-12) && std::isfinite(row.cl) &&
                      std::isfinite(row.cd) && row.cd >= 0.0;
    if (!good) {
      throw base::BadInput("polar",
                           fmt::format("row {}, {}, {}, {} is out of range", row.reynolds,
                                       row.alpha_rad / degree, row.cl, row.cd),
                           "Reynolds number above 0, angle -180 to 180 degrees, drag not negative");
    }
  }
}

// Rows of one Reynolds number, by angle, each angle once.
std::vector<PolarRow> merged_by_angle(std::vector<PolarRow> rows) {
  std::sort(rows.begin(), rows.end(), [](const PolarRow& a, const PolarRow& b) {
    return std::pair(a.alpha_rad, a.cl) < std::pair(b.alpha_rad, b.cl);
  });
  std::vector<PolarRow> merged;
  for (std::size_t i = 0; i < rows.size();) {
    std::size_t end = i;
    PolarRow sum{.reynolds = 0.0, .alpha_rad = rows[i].alpha_rad, .cl = 0.0, .cd = 0.0};
    for (; end < rows.size() && rows[end].alpha_rad == rows[i].alpha_rad; ++end) {
      sum.cl += rows[end].cl;
      sum.cd += rows[end].cd;
    }
    const auto count = static_cast<double>(end - i);
    sum.cl /= count;
    sum.cd /= count;
    merged.push_back(sum);
    i = end;
  }
  return merged;
}

// The continuation of one table; `edge` is its last row on the side of `alpha_rad`.
SectionForce continued(const PolarRow& edge, double alpha_rad, double cd_max) {
  // Mirrored to the positive side.
  const double side = alpha_rad > edge.alpha_rad ? 1.0 : -1.0;
  const double a = side * alpha_rad;
  const double a_edge = side * edge.alpha_rad;
  const double excess_cl = side * edge.cl - cd_max * std::sin(a_edge) * std::cos(a_edge);
  const double excess_cd = edge.cd - cd_max * std::sin(a_edge) * std::sin(a_edge);
  double left_cl = 0.0;
  double left_cd = 0.0;
  if (a_edge < 5.0 * degree || a_edge > 60.0 * degree) {
    const double width = std::max(std::min(20.0 * degree, pi - a_edge), 1e-9);
    left_cl = left_cd = std::max(0.0, 1.0 - (a - a_edge) / width);
  } else if (a < 0.5 * pi) {
    const double c = std::cos(a);
    const double c_edge = std::cos(a_edge);
    left_cl = c * c / std::sin(a) * std::sin(a_edge) / (c_edge * c_edge);
    left_cd = c / c_edge;
  }
  return {.cl = side * (cd_max * std::sin(a) * std::cos(a) + excess_cl * left_cl),
          .cd = cd_max * std::sin(a) * std::sin(a) + excess_cd * left_cd};
}

SectionForce force_at(const std::vector<PolarRow>& rows, double alpha_rad, double cd_max) {
  const auto after = std::lower_bound(
      rows.begin(), rows.end(), alpha_rad,
      [](const PolarRow& row, double angle_rad) { return row.alpha_rad < angle_rad; });
  if (after != rows.end() && after->alpha_rad == alpha_rad) {
    return {.cl = after->cl, .cd = after->cd};
  }
  if (after == rows.begin() || after == rows.end()) {
    SectionForce force =
        continued(after == rows.begin() ? rows.front() : rows.back(), alpha_rad, cd_max);
    const auto least = std::min_element(
        rows.begin(), rows.end(), [](const PolarRow& a, const PolarRow& b) { return a.cd < b.cd; });
    force.cd = std::max(force.cd, least->cd);
    return force;
  }
  const auto before = after - 1;
  const double weight = (alpha_rad - before->alpha_rad) / (after->alpha_rad - before->alpha_rad);
  return {.cl = std::lerp(before->cl, after->cl, weight),
          .cd = std::lerp(before->cd, after->cd, weight)};
}

// The line of attached lift of one table.
struct LiftLine {
  double zero_rad;
  double slope;  // a radian; 0: there is none
};

LiftLine lift_line(const std::vector<PolarRow>& rows, double cd_max) {
  const auto cl = [&](double alpha_rad) { return force_at(rows, alpha_rad, cd_max).cl; };
  constexpr double step = 0.25 * degree;
  // The zero nearest to no angle of attack where lift rises.
  for (int i = 0; i <= 60; ++i) {
    for (const double low : {i * step, -(i + 1) * step}) {
      const double below = cl(low);
      const double above = cl(low + step);
      if (!(below <= 0.0 && above > 0.0)) continue;
      const double zero_rad = low - step * below / (above - below);
      double slope = 0.0;
      for (int up = 8; up <= 32; ++up) {
        const double rise_rad = up * step;
        slope = std::max(slope, cl(zero_rad + rise_rad) / std::sin(rise_rad));
      }
      return {zero_rad, std::min(slope, 2.0 * pi)};
    }
  }
  return {0.0, 0.0};
}

double deficit(const LiftLine& line, double alpha_rad, double cl) {
  const double above_rad = std::remainder(alpha_rad - line.zero_rad, 2.0 * pi);
  const double share =
      std::clamp((60.0 * degree - std::abs(above_rad)) / (30.0 * degree), 0.0, 1.0);
  const double lost = line.slope * std::sin(above_rad) - cl;
  return share * (above_rad >= 0.0 ? std::max(lost, 0.0) : std::min(lost, 0.0));
}

}  // namespace

Polar::Polar(std::vector<PolarRow> rows, double aspect_ratio) {
  check(rows);
  if (!std::isfinite(aspect_ratio) || aspect_ratio <= 0.0) {
    throw base::BadInput("polar", fmt::format("aspect ratio is {}", aspect_ratio), "above 0");
  }
  std::stable_sort(rows.begin(), rows.end(),
                   [](const PolarRow& a, const PolarRow& b) { return a.reynolds < b.reynolds; });
  std::vector<std::vector<PolarRow>> groups;
  for (std::size_t i = 0; i < rows.size();) {
    std::size_t end = i;
    double log_sum = 0.0;
    for (; end < rows.size() && rows[end].reynolds <= rows[i].reynolds * same_reynolds; ++end) {
      log_sum += std::log(rows[end].reynolds);
    }
    const std::size_t count = end - i;
    // One and the same number stays exactly what it was.
    const double reynolds = rows[end - 1].reynolds == rows[i].reynolds
                                ? rows[i].reynolds
                                : std::exp(log_sum / static_cast<double>(count));
    groups.push_back(merged_by_angle({rows.begin() + static_cast<std::ptrdiff_t>(i),
                                      rows.begin() + static_cast<std::ptrdiff_t>(end)}));
    tables_.push_back({.reynolds = reynolds,
                       .lowest_alpha_rad = groups.back().front().alpha_rad,
                       .highest_alpha_rad = groups.back().back().alpha_rad,
                       .rows = count});
    log_reynolds_.push_back(std::log(reynolds));
    i = end;
  }
  lay_out(groups, aspect_ratio);
  index_angles();
}

void Polar::lay_out(const std::vector<std::vector<PolarRow>>& groups, double aspect_ratio) {
  const double cd_max = aspect_ratio > 50.0 ? 2.01 : 1.11 + 0.018 * aspect_ratio;
  for (int whole = -180; whole <= 180; ++whole)
    alpha_rad_.push_back(std::clamp(whole * degree, -pi, pi));
  for (const auto& group : groups) {
    for (const PolarRow& row : group)
      alpha_rad_.push_back(std::clamp(row.alpha_rad, -pi, pi));
  }
  std::sort(alpha_rad_.begin(), alpha_rad_.end());
  alpha_rad_.erase(std::unique(alpha_rad_.begin(), alpha_rad_.end()), alpha_rad_.end());
  std::vector<LiftLine> lines;
  lines.reserve(groups.size());
  for (const auto& group : groups)
    lines.push_back(lift_line(group, cd_max));
  for (const double alpha_rad : alpha_rad_) {
    for (std::size_t table = 0; table < groups.size(); ++table) {
      const SectionForce force = force_at(groups[table], alpha_rad, cd_max);
      cl_.push_back(force.cl);
      cd_.push_back(force.cd);
      lift_deficit_.push_back(lines[table].slope > 0.0 ? deficit(lines[table], alpha_rad, force.cl)
                                                       : 0.0);
    }
  }
  join_ends(groups.size());
}

// From behind, +180 and -180 degrees are one angle: where a table says two things of it, their
// mean.
void Polar::join_ends(std::size_t tables) {
  for (std::vector<double>* part : {&cl_, &cd_, &lift_deficit_}) {
    for (std::size_t table = 0; table < tables; ++table) {
      double& first = (*part)[table];
      double& last = (*part)[part->size() - tables + table];
      first = last = 0.5 * (first + last);
    }
  }
}

void Polar::index_angles() {
  std::size_t node = 0;
  for (std::size_t bin = 0; bin <= bins; ++bin) {
    const double start_rad = -pi + static_cast<double>(bin) / bins_per_rad;
    while (node + 2 < alpha_rad_.size() && alpha_rad_[node + 1] <= start_rad)
      ++node;
    first_.push_back(static_cast<std::int64_t>(node));
  }
}

Polar::Position Polar::position(double reynolds) const {
  const auto last = static_cast<std::uint32_t>(tables_.size() - 1);
  if (!(reynolds > lowest_reynolds())) return {.lower = 0, .higher = 0, .weight = 0.0};
  if (reynolds >= highest_reynolds()) return {.lower = last, .higher = last, .weight = 0.0};
  const double logarithm = std::log(reynolds);
  std::uint32_t lower = 0;
  while (lower + 2 < log_reynolds_.size() && log_reynolds_[lower + 1] <= logarithm)
    ++lower;
  const double weight =
      (logarithm - log_reynolds_[lower]) / (log_reynolds_[lower + 1] - log_reynolds_[lower]);
  return {.lower = lower, .higher = lower + 1, .weight = weight};
}

Polar::Place Polar::place(double alpha_rad) const {
  if (alpha_rad < -pi || alpha_rad > pi) alpha_rad = std::remainder(alpha_rad, 2.0 * pi);
  const auto bin = static_cast<std::size_t>(
      std::clamp((alpha_rad + pi) * bins_per_rad, 0.0, static_cast<double>(bins)));
  auto node = static_cast<std::size_t>(first_[bin]);
  // Rounding may put an angle into the bin after its own.
  while (node > 0 && alpha_rad_[node] > alpha_rad)
    --node;
  while (node + 2 < alpha_rad_.size() && alpha_rad_[node + 1] <= alpha_rad)
    ++node;
  return {node, (alpha_rad - alpha_rad_[node]) / (alpha_rad_[node + 1] - alpha_rad_[node])};
}

double Polar::blend(const std::vector<double>& part, Place place, Position position) const {
  const double* before = &part[place.node * tables_.size()];
  const double* after = before + tables_.size();
  const double lower =
      before[position.lower] + place.along * (after[position.lower] - before[position.lower]);
  if (position.weight == 0.0) return lower;
  const double higher =
      before[position.higher] + place.along * (after[position.higher] - before[position.higher]);
  return lower + position.weight * (higher - lower);
}

SectionForce Polar::at(double alpha_rad, Position position) const {
  const Place where = place(alpha_rad);
  return {.cl = blend(cl_, where, position), .cd = blend(cd_, where, position)};
}

double Polar::lift_deficit(double alpha_rad, Position position) const {
  return blend(lift_deficit_, place(alpha_rad), position);
}

PolarArrays Polar::arrays() const {
  return {.alpha_rad = alpha_rad_.data(),
          .first = first_.data(),
          .cl = cl_.data(),
          .cd = cd_.data(),
          .lift_deficit = lift_deficit_.data(),
          .log_reynolds = log_reynolds_.data(),
          .nodes = static_cast<std::int64_t>(alpha_rad_.size()),
          .tables = static_cast<std::int64_t>(tables_.size()),
          .bins_per_rad = bins_per_rad};
}

}  // namespace windwright::physics
