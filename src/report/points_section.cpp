// SPDX-License-Identifier: Apache-2.0
#include "campaign/conductor.h"
#include "metrology/estimate.h"
#include "report/html.h"
#include "report/notation.h"
#include "report/sections.h"

#include <fmt/format.h>

#include <algorithm>
#include <optional>
#include <string>
#include <vector>

namespace windwright::report {

namespace {

using analysis::PointResult;

std::vector<const PointResult*> in_order_of_conduct(const analysis::Results& results) {
  std::vector<const PointResult*> points;
  for (const analysis::Curve& curve : results.curves) {
    for (const PointResult& point : curve.points)
      points.push_back(&point);
  }
  std::stable_sort(points.begin(), points.end(),
                   [](const auto* a, const auto* b) { return a->number < b->number; });
  return points;
}

/// The table of all points; only what at least one of them has becomes a column.
class PointsTable {
 public:
  PointsTable(const std::vector<const PointResult*>& points, const campaign::Run* run)
      : points_(points), run_(run) {
    for (const PointResult* point : points_) {
      with_dc_ = with_dc_ || point->cp_electrical.has_value();
      with_shaft_ = with_shaft_ || point->cp_shaft.has_value();
      with_thrust_ = with_thrust_ || point->ct.has_value();
    }
  }

  std::string html() {
    HtmlTable table(columns(), "points");
    for (const PointResult* point : points_)
      table.row(cells(*point));
    return table.html();
  }

  /// Some number stood there without an uncertainty.
  bool unstated() const { return unstated_; }

 private:
  std::vector<Column> columns() const {
    std::vector<Column> columns{
        {"No.", true},
        {"Blades", true},
        {"Pitch<br>°", true},
        {"Air speed<br>m/s", true},
        {"Rotor<br>rad/s", true},
        {"Tip-speed<br>ratio", true},
    };
    if (with_dc_) {
      columns.push_back({"DC power<br>W", true});
      columns.push_back({"C<sub>p</sub><br>electrical", true});
    }
    if (with_shaft_) columns.push_back({"C<sub>p</sub><br>shaft", true});
    if (with_thrust_) columns.push_back({"C<sub>t</sub>", true});
    if (run_ != nullptr) {
      columns.push_back({"Dwell<br>s", true});
      columns.push_back({"Settled"});
    }
    return columns;
  }

  std::vector<std::string> cells(const PointResult& point) {
    std::vector<std::string> cells{
        fmt::format("{}", point.number), fmt::format("{}", point.blade_count),
        plain(point.pitch_deg),          cell(point.air_speed_m_s),
        cell(point.rotor_speed_rad_s),   cell(point.tip_speed_ratio),
    };
    if (with_dc_) {
      cells.push_back(cell(point.dc_power_W));
      cells.push_back(cell(point.cp_electrical));
    }
    if (with_shaft_) cells.push_back(cell(point.cp_shaft));
    if (with_thrust_) cells.push_back(cell(point.ct));
    if (run_ != nullptr) {
      cells.push_back(dwell(point.number));
      cells.push_back(point.settled ? "yes" : "<strong>no</strong>");
    }
    return cells;
  }

  /// "not stated" in every cell would bury the numbers: a note says it once.
  std::string cell(const std::optional<metrology::Estimate>& estimate) {
    if (!estimate) return "none";
    if (has_uncertainty(*estimate)) return with_uncertainty(*estimate);
    unstated_ = true;
    return number(estimate->value());
  }

  std::string dwell(int number) const {
    for (const campaign::TestPoint& point : run_->points) {
      if (point.number != number) continue;
      return fixed(static_cast<double>(point.samples) / run_->bench.sample_rate_hz, 1);
    }
    return {};
  }

  const std::vector<const PointResult*>& points_;
  const campaign::Run* run_;
  bool with_dc_ = false;
  bool with_shaft_ = false;
  bool with_thrust_ = false;
  bool unstated_ = false;
};

}  // namespace

std::string all_points(const Subject& subject, const analysis::Results& results) {
  const std::vector<const PointResult*> points = in_order_of_conduct(results);
  if (points.empty()) return {};
  PointsTable table(points, subject.run);
  const std::string rows = table.html();
  std::string note = subject.run != nullptr ? "In the order of conduct; " : "";
  note += table.unstated() ? "± is the expanded uncertainty (95 %); without ±: not stated."
                           : "± is the expanded uncertainty (95 %).";
  constexpr std::size_t few = 24;  // then the table goes on where the page has room
  return section("All test points", paragraph(note, "note") + rows,
                 points.size() > few ? "page" : "short");
}

}  // namespace windwright::report
