// SPDX-License-Identifier: Apache-2.0
#include "report/charts.h"
#include "report/html.h"
#include "report/notation.h"
#include "report/sections.h"

#include <fmt/format.h>

#include <algorithm>
#include <cstddef>
#include <string>

namespace windwright::report {

namespace {

std::string ratio_range(const analysis::Curve& curve) {
  double low = 1e9;
  double high = 0.0;
  for (const analysis::PointResult& point : curve.points) {
    low = std::min(low, point.corrected->speed_ratio.value());
    high = std::max(high, point.corrected->speed_ratio.value());
  }
  return fixed(low, 3) + " to " + fixed(high, 3);
}

std::string optimum_text(const analysis::Curve& curve) {
  return curve.optimum_tip_speed_ratio ? with_uncertainty(*curve.optimum_tip_speed_ratio) : "none";
}

}  // namespace

std::string walls(const analysis::Results& results) {
  if (!results.section) return {};
  const analysis::Section& section_of = *results.section;
  std::string html = paragraph(fmt::format(
      "The rotor blocks {} % of a closed section of {} m². The walls keep the air from going "
      "around it, so that it shows more on the tunnel’s air speed than it would in open air. The "
      "most that any rotor could show there is {} of the wind’s power; in open air it is 16/27 = "
      "0.593. Both stand here; the uncertainty of the corrected values holds that of the "
      "correction.",
      fixed(100.0 * section_of.blockage, 1), plain(section_of.section_area_m2),
      fixed(section_of.largest_cp, 3)));
  if (results.corrected_verdict) {
    html += paragraph("<strong>Corrected to open air:</strong> " +
                      prose(results.corrected_verdict->answer));
  }
  HtmlTable table({{""},
                   {"Levels"},
                   {"Largest C<sub>p</sub>, tunnel’s speed", true},
                   {"at tip-speed ratio", true},
                   {"Largest C<sub>p</sub>, open air", true},
                   {"at tip-speed ratio", true},
                   {"Open-air over tunnel’s speed", true}});
  for (std::size_t i = 0; i < results.curves.size(); ++i) {
    const analysis::Curve& raw = results.curves[i];
    const analysis::Curve& open_air = results.open_air_curves[i];
    table.row({curve_key(i), escaped(level_name(raw.label)), with_uncertainty(raw.maximum_cp),
               optimum_text(raw), with_uncertainty(open_air.maximum_cp), optimum_text(open_air),
               ratio_range(raw)});
  }
  html += table.html();
  analysis::Results open_air;
  open_air.curves = results.open_air_curves;
  html += figure(cp_chart(open_air),
                 "Corrected to open air, with expanded uncertainties (95 %). Thin: theory for this "
                 "rotor in open air.");
  return section("Walls of the tunnel", html);
}

}  // namespace windwright::report
