// SPDX-License-Identifier: Apache-2.0
#include "report/power_curve_charts.h"

#include "report/drawing.h"
#include "report/notation.h"
#include "report/plot.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <span>
#include <string>
#include <string_view>
#include <vector>

namespace windwright::report {

namespace {

using analysis::PowerBin;
using analysis::PowerCurve;

constexpr double width = 760.0;
constexpr double left = 58.0;
constexpr double right = width - 12.0;
constexpr double below = 40.0;  // room for the x axis' ticks and title
constexpr double above = 30.0;

double half_width(const metrology::Estimate& estimate) {
  return has_uncertainty(estimate) ? estimate.expanded() : 0.0;
}

// Alike in all pictures of a curve, so that they can be read one below the other.
Axis speed_axis(const PowerCurve& curve) {
  double high = 0.0;
  for (const PowerBin& bin : curve.bins)
    high = std::max(high, bin.air_speed_m_s);
  return {0.0, high + 0.5 * curve.options.bin_width_m_s, 10, left, right};
}

// Of what an axis has to show, 0 with it.
struct Range {
  double low = 0.0;
  double high = 0.0;
  void take(double value) {
    if (!std::isfinite(value)) return;
    low = std::min(low, value);
    high = std::max(high, value);
  }
};

Shape shape_of(const PowerBin& bin) {
  return bin.complete ? Shape::disc : Shape::ring;
}

// The polygon through the bins: full where bins follow each other, dashed over empty ones.
template <typename Value>
void bins_line(Plot& plot, const PowerCurve& curve, const Value& value, const Stroke& stroke) {
  for (std::size_t i = 0; i + 1 < curve.bins.size(); ++i) {
    const PowerBin& a = curve.bins[i];
    const PowerBin& b = curve.bins[i + 1];
    const bool gap = b.centre_m_s - a.centre_m_s > 1.5 * curve.options.bin_width_m_s;
    const Position ends[] = {{a.air_speed_m_s, value(a)}, {b.air_speed_m_s, value(b)}};
    Stroke drawn = stroke;
    if (gap) drawn.dash = "3 3";
    if (std::isfinite(ends[0].y) && std::isfinite(ends[1].y)) plot.line(ends, drawn);
  }
}

template <typename Estimated>
void bins_with_bars(Plot& plot, const PowerCurve& curve, const Estimated& estimate) {
  for (const PowerBin& bin : curve.bins) {
    plot.error_bar({bin.air_speed_m_s, estimate(bin).value()}, half_width(estimate(bin)),
                   {.colour = colour::ink, .width = 1.3});
  }
  for (const PowerBin& bin : curve.bins)
    plot.marker(shape_of(bin), {bin.air_speed_m_s, estimate(bin).value()}, colour::blue);
}

constexpr std::string_view speed_title = "air speed at hub height, m/s";

}  // namespace

std::string power_curve_chart(const PowerCurve& curve) {
  constexpr double height = 300.0;
  // A bar of two or three rows may be longer than the curve is high: it is cut off.
  constexpr double room_for_bars = 0.15;
  Range range;
  for (const PowerBin& bin : curve.bins)
    range.take(bin.power_W.value());
  const double highest_bin = range.high;
  const double room = room_for_bars * (range.high - range.low);
  const Range bins = range;
  for (const PowerBin& bin : curve.bins) {
    range.take(std::min(bin.power_W.value() + half_width(bin.power_W), bins.high + room));
    range.take(std::max(bin.power_W.value() - half_width(bin.power_W), bins.low - 0.5 * room));
  }
  for (const auto& row : curve.rows)
    range.take(std::min(row.power_W, bins.high + room));
  Drawing drawing(width, height,
                  fmt::format("Power over air speed: {} bins of {} rows, largest mean power {} W.",
                              curve.bins.size(), curve.rows.size(), number(highest_bin, 3)));
  const Axis x = speed_axis(curve);
  const Axis y(range.low, range.high, 7, height - below, above);
  Plot plot(drawing, x, y);
  plot.y_frame(quantity_words(curve.options.power) + ", W");
  plot.x_frame(speed_title);
  std::vector<Position> dots;
  for (const auto& row : curve.rows) {
    if (plot.shows({row.air_speed_m_s, row.power_W}))
      dots.push_back(plot.at({row.air_speed_m_s, row.power_W}));
  }
  drawing.area(dots_path(dots, 1.4), colour::pale, 0.55);
  const auto power_W = [](const PowerBin& bin) { return bin.power_W; };
  bins_line(plot, curve, [](const PowerBin& bin) { return bin.power_W.value(); },
            {.colour = colour::blue, .width = 1.6});
  bins_with_bars(plot, curve, power_W);
  return drawing.svg();
}

std::string bins_cp_chart(const PowerCurve& curve) {
  if (!curve.options.swept_area_m2) return {};
  constexpr double height = 185.0;
  constexpr double limit = 16.0 / 27.0;
  Range range;
  range.take(0.6);
  for (const PowerBin& bin : curve.bins)
    range.take(std::clamp(bin.cp->value(), -0.2, 1.0));
  Drawing drawing(width, height, "Power coefficient of the bins, under the limit of 16/27.");
  const Axis x = speed_axis(curve);
  const Axis y(range.low, range.high, 5, height - below, above);
  Plot plot(drawing, x, y);
  plot.y_frame("power coefficient");
  plot.x_frame(speed_title);
  plot.level(limit, {.colour = colour::vermilion, .width = 1.2, .dash = "6 3"});
  drawing.text({x.to() - 4.0, y.at(limit) - 9.0}, "16/27: no rotor in open air takes more",
               {.size = 11.0, .colour = colour::ink, .anchor = Anchor::end});
  bins_line(plot, curve, [](const PowerBin& bin) { return bin.cp->value(); },
            {.colour = colour::blue, .width = 1.6});
  bins_with_bars(plot, curve, [](const PowerBin& bin) { return *bin.cp; });
  return drawing.svg();
}

std::string bins_uncertainty_chart(const PowerCurve& curve) {
  constexpr double height = 185.0;
  struct Series {
    const char* name;
    double PowerBin::* u_W;
    Stroke stroke;
    Shape shape;
  };
  const Series all[] = {
      {"both (C)", &PowerBin::u_c_W, {.colour = colour::ink, .width = 2.2}, Shape::diamond},
      {"systematic (B)",
       &PowerBin::u_b_W,
       {.colour = colour::vermilion, .width = 1.4, .dash = "6 3"},
       Shape::open_square},
      {"scatter (A)", &PowerBin::u_a_W, {.colour = colour::blue, .width = 1.4}, Shape::disc}};
  Range range;
  for (const PowerBin& bin : curve.bins) {
    for (const Series& series : all)
      range.take(bin.*series.u_W);
  }
  if (range.high == 0.0) return {};
  Drawing drawing(width, height, "Standard uncertainties of the bins' power over air speed.");
  const Axis x = speed_axis(curve);
  const Axis y(0.0, range.high, 5, height - below, above);
  Plot plot(drawing, x, y);
  plot.y_frame("standard uncertainty of a bin's power, W");
  plot.x_frame(speed_title);
  double key = x.from() + 14.0;
  for (const Series& series : all) {
    bins_line(plot, curve, [&](const PowerBin& bin) { return bin.*series.u_W; }, series.stroke);
    for (const PowerBin& bin : curve.bins)
      plot.marker(series.shape, {bin.air_speed_m_s, bin.*series.u_W}, series.stroke.colour, 5.0);
    drawing.line({key, y.to() + 4.0}, {key + 24.0, y.to() + 4.0}, series.stroke);
    drawing.marker(series.shape, {key + 12.0, y.to() + 4.0}, series.stroke.colour, 6.0);
    drawing.text({key + 30.0, y.to() + 4.0}, series.name, {.size = 11.0});
    key += 140.0;
  }
  return drawing.svg();
}

std::string annual_energy_chart(std::span<const site::SiteEnergy> energies, bool known) {
  constexpr double height = 300.0;
  constexpr double aside_m_s = 0.07;
  const auto kWh = [](const metrology::Estimate& energy_J) {
    return (1.0 / site::J_in_kWh) * energy_J;
  };
  Range range;
  Range speeds{.low = 1e300, .high = 0.0};
  for (const site::SiteEnergy& each : energies) {
    for (const auto* energy_J : {&each.energy.measured_J, &each.energy.extrapolated_J}) {
      range.take(kWh(*energy_J).value());
      if (known) range.take(kWh(*energy_J).value() + half_width(kWh(*energy_J)));
    }
    speeds.take(each.mean_air_speed_m_s);
  }
  Drawing drawing(width, height, "Energy of a year over the site's mean air speed.");
  const Axis x = Axis::exact(speeds.low - 0.4, speeds.high + 0.4, 8, left, right);
  const Axis y(range.low, range.high, 6, height - below, above);
  Plot plot(drawing, x, y);
  plot.y_frame("energy of a year, kWh");
  plot.x_frame("mean air speed of the site, m/s");
  const auto draw = [&](const site::SiteEnergy& each, const metrology::Estimate& energy_J,
                        double aside, const Stroke& stroke, Shape shape) {
    const metrology::Estimate energy = kWh(energy_J);
    const Position value{each.mean_air_speed_m_s + aside, energy.value()};
    if (known) plot.error_bar(value, half_width(energy), stroke);
    plot.marker(shape, value, stroke.colour, 8.0);
  };
  for (const site::SiteEnergy& each : energies) {
    const bool own = each.wind.shape != 2.0;
    draw(each, each.energy.measured_J, -aside_m_s, {.colour = colour::blue, .width = 1.5},
         own ? Shape::diamond : Shape::disc);
    draw(each, each.energy.extrapolated_J, aside_m_s, {.colour = colour::vermilion, .width = 1.5},
         own ? Shape::open_diamond : Shape::open_square);
  }
  double key = x.from() + 14.0;
  for (const auto& [shape, paint, name] :
       {std::tuple{Shape::disc, colour::blue, "measured range only"},
        std::tuple{Shape::open_square, colour::vermilion, "extrapolated to the cut-out"}}) {
    drawing.marker(shape, {key, y.to() + 6.0}, paint, 8.0);
    drawing.text({key + 10.0, y.to() + 6.0}, name, {.size = 11.0});
    key += 170.0;
  }
  return drawing.svg();
}

}  // namespace windwright::report
