// SPDX-License-Identifier: Apache-2.0
#include "analysis/power_curve.h"

#include "analysis/point_result.h"
#include "analysis/points.h"
#include "base/errors.h"
#include "metrology/estimate.h"
#include "signal/statistics.h"

#include <boost/json.hpp>
#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <limits>
#include <map>
#include <optional>
#include <set>
#include <string>
#include <utility>
#include <vector>

namespace windwright::analysis {

namespace json = boost::json;

namespace {

using metrology::Estimate;

constexpr double nan = std::numeric_limits<double>::quiet_NaN();
constexpr double infinity = std::numeric_limits<double>::infinity();

// A point, normalised.
struct Normalised {
  Estimate air_speed_m_s;
  Estimate power_W;
};

// The points of one bin. Random inputs are kept of a single point only: of more, their scatter
// tells, and a year of minutes has too many.
struct Gathered {
  std::vector<double> powers_W;
  Estimate air_speed_m_s;  // means
  Estimate power_W;
};

Estimate without_random(const Estimate& estimate) {
  auto contributions = estimate.contributions();
  std::erase_if(contributions, [](const auto& each) { return metrology::is_random(each.first); });
  return {estimate.value(), std::move(contributions)};
}

void require_domain(bool inside, const char* what, double value, const char* right) {
  if (!inside) throw base::BadInput(what, fmt::format("is {}", value), right);
}

void require_options(const PowerCurveOptions& options) {
  require_domain(options.reference_density_kg_m3 > 0.05 && options.reference_density_kg_m3 < 20.0,
                 "reference density", options.reference_density_kg_m3,
                 "a density of air in kg m-3, 1.225 at sea level");
  require_domain(options.bin_width_m_s > 0.0 && options.bin_width_m_s <= 5.0, "bin width",
                 options.bin_width_m_s, "above 0 and up to 5 m/s");
  require_domain(options.averaging_s > 0.0 && options.averaging_s <= 86400.0, "averaging time",
                 options.averaging_s, "above 0 and up to 86400 s");
  if (options.swept_area_m2) {
    require_domain(*options.swept_area_m2 > 0.0, "swept area", *options.swept_area_m2,
                   "above 0 m2");
  }
  const StatedUncertainty& u = options.stated;
  for (const double each :
       {u.air_speed_m_s, u.air_speed_relative, u.power_W, u.power_relative, u.density_relative})
    require_domain(each >= 0.0 && std::isfinite(each), "stated uncertainty", each, "0 or above");
}

Estimate with_stated(Estimate estimate, const std::string& owner, double u, double u_relative) {
  if (u > 0.0) estimate.add(owner + ":stated", {.u = u, .dof = infinity});
  if (u_relative > 0.0) {
    estimate.add(owner + ":stated-relative", {.u = u_relative * estimate.value(), .dof = infinity});
  }
  return estimate;
}

Normalised normalised(const Point& point, const PowerCurveOptions& options) {
  const auto power = point.quantities.find(options.power);
  if (power == point.quantities.end()) {
    throw base::BadInput(fmt::format("point {}", point.number),
                         fmt::format("has no {}", options.power), "a power at every point");
  }
  const StatedUncertainty& u = options.stated;
  const Estimate speed_m_s = with_stated(point.quantities.at("air_speed_m_s"), "air_speed_m_s",
                                         u.air_speed_m_s, u.air_speed_relative);
  const Estimate power_W = with_stated(power->second, options.power, u.power_W, u.power_relative);
  const Estimate density_kg_m3 =
      with_stated(air_density_kg_m3(point), "air_density_kg_m3", 0.0, u.density_relative);
  const Estimate ratio = (1.0 / options.reference_density_kg_m3) * density_kg_m3;
  if (options.regulation == Regulation::active) {
    return {.air_speed_m_s = speed_m_s * metrology::power(ratio, 1.0 / 3.0), .power_W = power_W};
  }
  return {.air_speed_m_s = speed_m_s, .power_W = power_W / ratio};
}

std::map<long, Gathered> gathered(const std::vector<Point>& points,
                                  const PowerCurveOptions& options,
                                  std::vector<NormalisedRow>& rows) {
  std::map<long, Gathered> bins;
  for (const Point& point : points) {
    const Normalised each = normalised(point, options);
    rows.push_back({each.air_speed_m_s.value(), each.power_W.value()});
    const long number =
        std::lround(std::floor(each.air_speed_m_s.value() / options.bin_width_m_s + 0.5));
    Gathered& bin = bins[number];
    bin.powers_W.push_back(each.power_W.value());
    if (bin.powers_W.size() == 1) {
      bin.air_speed_m_s = each.air_speed_m_s;
      bin.power_W = each.power_W;
      continue;
    }
    bin.air_speed_m_s = without_random(bin.air_speed_m_s) + without_random(each.air_speed_m_s);
    bin.power_W = without_random(bin.power_W) + without_random(each.power_W);
  }
  for (auto& [number, bin] : bins) {
    const double share = 1.0 / static_cast<double>(bin.powers_W.size());
    bin.air_speed_m_s = share * bin.air_speed_m_s;
    bin.power_W = share * bin.power_W;
  }
  return bins;
}

// The bin around 0 m/s has neither a cp nor a share in the energy. Gives the number of its rows.
std::size_t take_calm(std::map<long, Gathered>& bins) {
  const auto calm = bins.find(0);
  if (calm == bins.end()) return 0;
  const std::size_t count = calm->second.powers_W.size();
  bins.erase(calm);
  return count;
}

double slope_between(const Gathered& below, const Gathered& above) {
  return (above.power_W.value() - below.power_W.value()) /
         (above.air_speed_m_s.value() - below.air_speed_m_s.value());
}

// Scatter of one row in a bin, and how well it is known.
struct Scatter {
  long bin;
  double variance_W2;
  double dof;
};

// Rows that agree to the last digit say nothing about scatter.
std::optional<Scatter> own_scatter(const std::map<long, Gathered>& bins, long number) {
  const std::vector<double>& powers_W = bins.at(number).powers_W;
  if (powers_W.size() < 2) return std::nullopt;
  const double variance_W2 = signal::variance(powers_W);
  if (!(variance_W2 > 0.0)) return std::nullopt;
  return Scatter{
      .bin = number, .variance_W2 = variance_W2, .dof = static_cast<double>(powers_W.size()) - 1.0};
}

// A year's scatter grows and falls with the wind, so only near bins say what a single row's is.
constexpr long farthest_neighbour = 3;

std::vector<Scatter> neighbours_scatter(const std::map<long, Gathered>& bins, long number) {
  std::vector<Scatter> neighbours;
  for (const long side : {-1L, 1L}) {
    for (long step = 1; step <= farthest_neighbour; ++step) {
      if (!bins.contains(number + side * step)) continue;
      const std::optional<Scatter> own = own_scatter(bins, number + side * step);
      if (!own) continue;
      neighbours.push_back(*own);
      break;
    }
  }
  return neighbours;
}

// Category A of a bin's mean, and its part in the bin's power.
void add_scatter(const std::map<long, Gathered>& bins, long number, PowerBin& bin) {
  std::vector<Scatter> sources;
  if (const std::optional<Scatter> own = own_scatter(bins, number)) {
    sources = {*own};
    bin.u_a_basis = ScatterBasis::rows;
  } else if (sources = neighbours_scatter(bins, number); !sources.empty()) {
    bin.u_a_basis = ScatterBasis::neighbours;
    bin.power_W = without_random(bin.power_W);  // a row's own random part is in the scatter
  } else if (bin.power_W.u_random() > 0.0) {
    bin.u_a_basis = ScatterBasis::stated;
    bin.u_a_W = bin.power_W.u_random();
  }
  if (sources.empty()) return;
  double dof = 0.0;
  double sum_W2 = 0.0;
  for (const Scatter& source : sources) {
    dof += source.dof;
    sum_W2 += source.dof * source.variance_W2;
  }
  bin.u_a_W = std::sqrt(sum_W2 / dof / static_cast<double>(bin.count));
  // Each source has its part in the pooled variance, under a name that differs from what other bins
  // take from it in the number alone: one estimate of variance.
  for (const Scatter& source : sources) {
    bin.power_W.add(fmt::format("scatter of bin {}-{}#bins", source.bin, number),
                    {.u = bin.u_a_W * std::sqrt(source.dof / dof), .dof = source.dof});
  }
}

PowerBin bin_of(const std::map<long, Gathered>& bins, long number, double slope_W_per_m_s,
                const PowerCurveOptions& options) {
  const Gathered& gathered = bins.at(number);
  const Estimate all = gathered.power_W - slope_W_per_m_s * gathered.air_speed_m_s;
  const std::size_t count = gathered.powers_W.size();
  PowerBin bin{
      .centre_m_s = options.bin_width_m_s * static_cast<double>(number),
      .air_speed_m_s = gathered.air_speed_m_s.value(),
      .power_W = Estimate(gathered.power_W.value()),
      .cp = std::nullopt,
      .count = count,
      .u_a_W = nan,
      .u_a_basis = ScatterBasis::unknown,
      .u_b_W = nan,
      .u_c_W = nan,
      .complete = static_cast<double>(count) * options.averaging_s >= options.least_per_bin_s};
  bool systematic = false;
  for (const auto& [input, contribution] : all.contributions()) {
    systematic = systematic || !metrology::is_random(input);
    bin.power_W.add(input, contribution);
  }
  add_scatter(bins, number, bin);
  if (systematic) bin.u_b_W = bin.power_W.u_systematic();
  bin.u_c_W = std::hypot(bin.u_a_W, bin.u_b_W);
  if (options.swept_area_m2) {
    const double wind_W = 0.5 * options.reference_density_kg_m3 * *options.swept_area_m2 *
                          std::pow(bin.air_speed_m_s, 3);
    bin.cp = (1.0 / wind_W) * bin.power_W;
  }
  return bin;
}

void remark_single_rows(PowerCurve& curve) {
  std::vector<std::string> pooled;
  std::size_t open = 0;
  for (const PowerBin& bin : curve.bins) {
    if (bin.u_a_basis == ScatterBasis::neighbours)
      pooled.push_back(fmt::format("{:g}", bin.centre_m_s));
    open += bin.u_a_basis == ScatterBasis::unknown ? 1 : 0;
  }
  if (!pooled.empty()) {
    curve.remarks.push_back(
        fmt::format("A single row, or equal ones, in the bins {} m/s: category A is the pooled "
                    "scatter of the nearest bins "
                    "whose rows differ.",
                    fmt::join(pooled, ", ")));
  }
  if (open > 0) {
    curve.remarks.push_back(
        fmt::format("{} of {} bins hold a single row, or equal ones, without a stated random part "
                    "and without a "
                    "bin whose rows differ within {:g} m/s: their category A uncertainty is not "
                    "known, nor is that of the "
                    "year's energy.",
                    open, curve.bins.size(),
                    curve.options.bin_width_m_s * static_cast<double>(farthest_neighbour)));
  }
}

void remark(const std::vector<Point>& points, PowerCurve& curve) {
  std::set<std::string> per_row;
  for (const Point& point : points) {
    for (const std::string& name : {std::string("air_speed_m_s"), curve.options.power}) {
      const auto& contributions = point.quantities.at(name).contributions();
      if (contributions.contains(fmt::format("random-{}#{}", name, point.number))) {
        per_row.insert(name);
      }
    }
  }
  for (const std::string& name : per_row) {
    curve.remarks.push_back(fmt::format(
        "u_{0} stands for each row alone, so it counts as scatter (category A), not as an error "
        "common to the bins: that is stated by u_{0}/INPUT columns or options.",
        name));
  }
  const auto unknown = [](double u) { return std::isnan(u); };
  if (std::all_of(curve.bins.begin(), curve.bins.end(),
                  [&](const PowerBin& bin) { return unknown(bin.u_b_W); })) {
    curve.remarks.emplace_back(
        "No category B uncertainty is stated (sensors, air speed at the rotor, density): it is "
        "left out, not zero.");
  }
  remark_single_rows(curve);
}

json::value basis_json(ScatterBasis basis) {
  switch (basis) {
    case ScatterBasis::rows:
      return "rows";
    case ScatterBasis::neighbours:
      return "neighbours";
    case ScatterBasis::stated:
      return "stated";
    case ScatterBasis::unknown:
      return nullptr;
  }
  return nullptr;
}

json::value number_or_null(double value) {
  return std::isnan(value) ? json::value(nullptr) : json::value(value);
}

json::array numbers(const std::vector<double>& values) {
  json::array array;
  for (const double value : values)
    array.emplace_back(value);
  return array;
}

json::object bin_json(const PowerBin& bin) {
  const bool known = !std::isnan(bin.u_a_W);
  const double dof = bin.power_W.dof();
  return {
      {"air_speed_m_s", bin.air_speed_m_s},
      {"power_W", bin.power_W.value()},
      {"cp", bin.cp ? json::value(bin.cp->value()) : json::value(nullptr)},
      {"count", bin.count},
      {"u_a_W", number_or_null(bin.u_a_W)},
      {"u_a_basis", basis_json(bin.u_a_basis)},
      {"u_b_W", number_or_null(bin.u_b_W)},
      {"u_c_W", number_or_null(bin.u_c_W)},
      {"expanded_95_W", number_or_null(expanded_W(bin))},
      {"dof", known && std::isfinite(dof) ? json::value(dof) : json::value(nullptr)},
      {"u_cp", bin.cp && !std::isnan(bin.u_c_W) ? json::value(bin.cp->u()) : json::value(nullptr)},
      {"centre_m_s", bin.centre_m_s},
      {"complete", bin.complete}};
}

}  // namespace

double expanded_W(const PowerBin& bin) {
  return std::isnan(bin.u_a_W) ? nan : bin.power_W.expanded();
}

KnownCategories known_categories(const PowerCurve& curve) {
  KnownCategories known = KnownCategories::a_and_b;
  for (const PowerBin& bin : curve.bins) {
    if (std::isnan(bin.u_a_W)) return KnownCategories::none;
    if (std::isnan(bin.u_b_W)) known = KnownCategories::a;
  }
  return known;
}

std::string power_column(const std::vector<Point>& points) {
  for (const char* name : {"ac_power_W", "dc_power_W", "shaft_power_W"}) {
    if (!points.empty() && points.front().quantities.contains(name)) return name;
  }
  throw base::BadInput("points", "have no power",
                       "a column ac_power_W, dc_power_W or shaft_power_W, or --power NAME");
}

PowerCurve power_curve(const std::vector<Point>& points, const PowerCurveOptions& options) {
  require_options(options);
  if (points.empty()) throw base::BadInput("points", "there are none", "at least two");
  std::vector<NormalisedRow> rows;
  std::map<long, Gathered> bins = gathered(points, options, rows);
  const std::size_t calm = take_calm(bins);
  if (bins.size() < 2) {
    throw base::BadInput("points", "lie in one bin of air speed", "points of several air speeds");
  }
  PowerCurve curve{.options = options,
                   .rows = std::move(rows),
                   .bins = {},
                   .empty_m_s = {},
                   .thin_m_s = {},
                   .total_s = static_cast<double>(points.size() - calm) * options.averaging_s,
                   .complete = false,
                   .remarks = {}};
  for (auto bin = bins.begin(); bin != bins.end(); ++bin) {
    const auto before = bin == bins.begin() ? bin : std::prev(bin);
    const double slope = slope_between(before->second, std::next(before)->second);
    curve.bins.push_back(bin_of(bins, bin->first, slope, options));
    for (long empty = before->first + 1; empty < bin->first; ++empty)
      curve.empty_m_s.push_back(options.bin_width_m_s * static_cast<double>(empty));
    if (!curve.bins.back().complete) curve.thin_m_s.push_back(curve.bins.back().centre_m_s);
  }
  curve.complete =
      curve.empty_m_s.empty() && curve.thin_m_s.empty() && curve.total_s >= options.least_total_s;
  remark(points, curve);
  if (calm > 0) {
    curve.remarks.push_back(
        fmt::format("{} {} below {:g} m/s (calm) set aside: there is no bin around 0 m/s.", calm,
                    calm == 1 ? "row" : "rows", 0.5 * options.bin_width_m_s));
  }
  return curve;
}

json::object to_json(const PowerCurve& curve) {
  json::array bins;
  for (const PowerBin& bin : curve.bins)
    bins.push_back(bin_json(bin));
  json::array remarks;
  for (const std::string& remark : curve.remarks)
    remarks.emplace_back(remark);
  const PowerCurveOptions& options = curve.options;
  return {
      {"bins", std::move(bins)},
      {"normalisation",
       json::object{{"power", options.power},
                    {"regulation", options.regulation == Regulation::active ? "active" : "passive"},
                    {"reference_density_kg_m3", options.reference_density_kg_m3},
                    {"bin_width_m_s", options.bin_width_m_s},
                    {"swept_area_m2", options.swept_area_m2 ? json::value(*options.swept_area_m2)
                                                            : json::value(nullptr)}}},
      {"completeness", json::object{{"complete", curve.complete},
                                    {"empty_bins_m_s", numbers(curve.empty_m_s)},
                                    {"thin_bins_m_s", numbers(curve.thin_m_s)},
                                    {"total_s", curve.total_s},
                                    {"least_total_s", options.least_total_s},
                                    {"least_per_bin_s", options.least_per_bin_s},
                                    {"averaging_s", options.averaging_s}}},
      {"remarks", std::move(remarks)}};
}

}  // namespace windwright::analysis
