// SPDX-License-Identifier: Apache-2.0
#include "analysis/energy_chain.h"
#include "metrology/estimate.h"
#include "report/drawing.h"
#include "report/notation.h"
#include "report/pictures.h"
#include "report/river.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <map>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

namespace windwright::report {

namespace {

using metrology::Estimate;

constexpr std::string_view ink = "#33393f";
constexpr std::string_view quiet = "#6b747c";
constexpr std::string_view spring = "#b8a05c";  // out of a store

constexpr double widest_px = 120.0;
constexpr double step_px = 146.0;  // from a column to the next
constexpr double bar_px = 5.0;
constexpr double label_px = 62.0;  // above a stage
constexpr double fall_px = 18.0;
constexpr double gap_px = 14.0;  // between stages of a column

// A flow in the direction in which the power really goes.
struct Band {
  std::size_t from;
  std::size_t to;
  double watts;
  bool drawn_from_store;
};

struct Place {
  std::size_t column = 0;
  double x = 0.0;
  double y = 0.0;
  double onward_px = 0.0;
  double height_px = 0.0;
  double lost_px = 0.0;
  double left_used_px = 0.0;   // of the bar, by bands that arrive
  double right_used_px = 0.0;  // by bands that leave
};

const std::optional<Estimate>& best(const std::optional<Estimate>& reconciled,
                                    const std::optional<Estimate>& measured) {
  return reconciled ? reconciled : measured;
}

std::optional<Estimate> lost_W(const analysis::ChainStage& stage) {
  return best(stage.reconciled.lost_W, stage.measured.lost_W);
}

std::vector<Band> bands_of(const analysis::EnergyChain& chain) {
  std::map<std::string, std::size_t> index;
  for (std::size_t i = 0; i < chain.stages.size(); ++i)
    index[chain.stages[i].name] = i;
  std::vector<Band> bands;
  for (const analysis::ChainFlow& flow : chain.flows) {
    const std::optional<Estimate>& power_W = best(flow.reconciled_W, flow.measured_W);
    const double watts = power_W ? power_W->value() : 0.0;
    const std::size_t from = index.at(flow.from);
    const std::size_t to = index.at(flow.to);
    bands.push_back(watts < 0.0 ? Band{to, from, -watts, true} : Band{from, to, watts, false});
  }
  return bands;
}

// Columns by the longest way from a source; a source stands just before what it feeds.
void put_in_columns(const std::vector<Band>& bands, std::vector<Place>& places) {
  for (std::size_t round = 0; round < places.size(); ++round) {
    for (const Band& band : bands) {
      places[band.to].column = std::max(places[band.to].column, places[band.from].column + 1);
    }
  }
  for (std::size_t i = 0; i < places.size(); ++i) {
    bool source = true;
    std::size_t first = places.size();
    for (const Band& band : bands) {
      if (band.to == i) source = false;
      if (band.from == i) first = std::min(first, places[band.to].column);
    }
    if (source && first < places.size()) places[i].column = first - 1;
  }
}

void put_sizes(const analysis::EnergyChain& chain, const std::vector<Band>& bands,
               std::vector<Place>& places) {
  std::vector<double> in(places.size(), 0.0);
  std::vector<double> out(places.size(), 0.0);
  for (const Band& band : bands) {
    out[band.from] += band.watts;
    in[band.to] += band.watts;
  }
  double most_W = 0.0;
  for (std::size_t i = 0; i < places.size(); ++i)
    most_W = std::max({most_W, in[i], out[i]});
  const double scale = most_W > 0.0 ? widest_px / most_W : 0.0;
  for (std::size_t i = 0; i < places.size(); ++i) {
    const auto lost = lost_W(chain.stages[i]);
    Place& place = places[i];
    place.onward_px = scale * out[i];
    place.lost_px = lost ? scale * std::max(0.0, lost->value()) : 0.0;
    place.height_px = std::max({1.0, scale * in[i], scale * out[i]});
  }
}

double block_px(const Place& place) {
  const double loss = place.lost_px > 0.0 ? place.onward_px + fall_px + place.lost_px + 34.0 : 0.0;
  return label_px + std::max(place.height_px, loss) + gap_px;
}

// No stage above what feeds it, so that branches do not run back up over labels.
/// @return  the lowest pixel in use
double put_below_each_other(const std::vector<Band>& bands, std::vector<Place>& places) {
  std::map<std::size_t, double> next;
  double lowest = 0.0;
  for (std::size_t column = 0; column <= places.size(); ++column) {
    for (std::size_t i = 0; i < places.size(); ++i) {
      Place& place = places[i];
      if (place.column != column) continue;
      double highest = 0.0;
      bool fed = false;
      for (const Band& band : bands) {
        if (band.to != i || places[band.from].column >= column) continue;
        const double feeder = places[band.from].y - label_px;
        highest = fed ? std::min(highest, feeder) : feeder;
        fed = true;
      }
      double& y = next[column];
      y = std::max(y, highest);
      place.x = 8.0 + step_px * static_cast<double>(column);
      place.y = y + label_px;
      y += block_px(place);
      lowest = std::max(lowest, y);
    }
  }
  return lowest;
}

std::string band_path(Position from, Position to, double thick) {
  // One that rises does so late, past the labels of what it passes.
  const double width = to.x - from.x;
  const bool rises = to.y < from.y;
  const double near_from = (rises ? 0.85 : 0.5) * width;
  const double near_to = (rises ? 0.15 : 0.5) * width;
  const auto pair = [](double x, double y) { return coordinate(x) + ' ' + coordinate(y); };
  return fmt::format("M{}C{} {} {}L{}C{} {} {}Z", pair(from.x, from.y),
                     pair(from.x + near_from, from.y), pair(to.x - near_to, to.y), pair(to.x, to.y),
                     pair(to.x, to.y + thick), pair(to.x - near_to, to.y + thick),
                     pair(from.x + near_from, from.y + thick), pair(from.x, from.y + thick));
}

void label(Drawing& drawing, const analysis::ChainStage& stage, const Place& place) {
  const double top = place.y - label_px + 10.0;
  const auto line = [&](double down, const std::string& text, std::string_view colour) {
    drawing.text({place.x, top + down}, text, {.size = 10.0, .colour = std::string(colour)});
  };
  drawing.text({place.x, top}, capitalised(stage.name), {.size = 12.5, .bold = true});
  const auto& in = best(stage.reconciled.in_W, stage.measured.in_W);
  const auto& out = best(stage.reconciled.out_W, stage.measured.out_W);
  const auto& stored = best(stage.reconciled.stored_W, stage.measured.stored_W);
  const auto& efficiency = best(stage.reconciled.efficiency, stage.measured.efficiency);
  if (in) {
    line(16.0, with_uncertainty(*in) + " W", ink);
  } else if (out) {
    line(16.0, with_uncertainty(*out) + " W", ink);
  }
  if (efficiency && in && out) {
    line(30.0, "efficiency " + with_uncertainty(*efficiency), ink);
  }
  if (stored && (stored->value() != 0.0 || stored->u() > 0.0)) {
    line(efficiency && in && out ? 43.0 : 30.0, "stores " + with_uncertainty(*stored) + " W",
         quiet);
  }
}

void loss(Drawing& drawing, const analysis::ChainStage& stage, const Place& place) {
  if (!(place.lost_px > 0.0)) return;
  const double upper = place.y + place.onward_px;
  drawing.area(river::leaving_path({place.x + bar_px, upper}, {place.lost_px, fall_px},
                                   place.x + 0.82 * step_px),
               river::lost);
  const double y = upper + fall_px + place.lost_px + 10.0;
  drawing.text({place.x + 8.0, y}, stage.name == "rotor" ? "stays in the wind" : "lost",
               {.size = 10.0, .colour = std::string(quiet)});
  drawing.text({place.x + 8.0, y + 13.0}, with_uncertainty(*lost_W(stage)) + " W",
               {.size = 10.0, .colour = std::string(ink)});
}

std::string description(const analysis::EnergyChain& chain) {
  std::string text = fmt::format("Energy chain, {}:", chain.label);
  for (const analysis::ChainFlow& flow : chain.flows) {
    const auto& power_W = best(flow.reconciled_W, flow.measured_W);
    if (power_W) {
      text += fmt::format(" {} to {} {} W.", flow.from, flow.to, with_uncertainty(*power_W));
    }
  }
  return text;
}

}  // namespace

std::string window_chain_picture(const analysis::EnergyChain& chain) {
  if (chain.stages.empty()) return {};
  std::vector<Place> places(chain.stages.size());
  const std::vector<Band> bands = bands_of(chain);
  put_in_columns(bands, places);
  put_sizes(chain, bands, places);
  const double height = put_below_each_other(bands, places);
  std::size_t columns = 1;
  for (const Place& place : places)
    columns = std::max(columns, place.column + 1);
  Drawing drawing(std::max(620.0, 16.0 + step_px * static_cast<double>(columns)), height + 4.0,
                  description(chain));
  std::vector<double> out(places.size(), 0.0);
  for (const Band& band : bands)
    out[band.from] += band.watts;
  for (const Band& band : bands) {
    Place& from = places[band.from];
    Place& to = places[band.to];
    const double thick = out[band.from] > 0.0 ? from.onward_px * band.watts / out[band.from] : 0.0;
    if (thick > 0.0) {
      drawing.area(band_path({from.x + bar_px, from.y + from.right_used_px},
                             {to.x, to.y + to.left_used_px}, std::max(0.75, thick)),
                   band.drawn_from_store ? spring : river::water);
    }
    from.right_used_px += thick;
    to.left_used_px += thick;
  }
  for (std::size_t i = 0; i < places.size(); ++i) {
    loss(drawing, chain.stages[i], places[i]);
    drawing.rectangle({places[i].x, places[i].y - 2.0}, bar_px, places[i].height_px + 4.0,
                      river::bank);
    label(drawing, chain.stages[i], places[i]);
  }
  return drawing.document();
}

}  // namespace windwright::report
