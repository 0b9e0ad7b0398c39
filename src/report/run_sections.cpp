// SPDX-License-Identifier: Apache-2.0
#include "base/clock.h"
#include "bench/bench.h"
#include "campaign/campaign.h"
#include "campaign/conductor.h"
#include "campaign/readiness.h"
#include "metrology/certificate.h"
#include "report/html.h"
#include "report/notation.h"
#include "report/sections.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <string>
#include <string_view>
#include <vector>

namespace windwright::report {

namespace {

using campaign::Run;

std::string day(base::UtcTime time) {
  return base::utc_text(time).substr(0, 10);
}

std::string minute(base::UtcTime time) {
  const std::string text = base::utc_text(time);
  return text.substr(0, 10) + ' ' + text.substr(11, 5) + " UTC";
}

std::string with_unit(const std::string& text, const std::string& unit) {
  if (unit.empty()) return text;
  return text + (unit == "°" ? "" : "\u00a0") + unit;  // never parted at the end of a line
}

std::string pct(double part) {
  return plain(100.0 * part) + " %";
}

const bench::Actuator* find_actuator(const bench::Bench& bench, std::string_view name) {
  for (const bench::Actuator& actuator : bench.actuators) {
    if (actuator.name == name) return &actuator;
  }
  return nullptr;
}

std::string actuator_name(const bench::Bench& bench, const std::string& name) {
  const bench::Actuator* actuator = find_actuator(bench, name);
  return actuator != nullptr && !actuator->long_name.empty() ? actuator->long_name : name;
}

std::string channel_name(const bench::Bench& bench, const std::string& name) {
  for (const bench::Channel& channel : bench.channels) {
    if (channel.name == name && !channel.long_name.empty()) return channel.long_name;
  }
  return name;
}

/// A selector's position by its word, anything else as a number with its unit.
std::string setting_text(const bench::Bench& bench, const std::string& name, double value) {
  const bench::Actuator* actuator = find_actuator(bench, name);
  if (actuator != nullptr && value >= 0.0 &&
      value < static_cast<double>(actuator->positions.size())) {
    return actuator->positions[static_cast<std::size_t>(std::lround(value))];
  }
  return with_unit(plain(value), unit_text_of_name(name));
}

/// All levels of a factor, the unit once at the end.
std::string levels_text(const bench::Bench& bench, const campaign::Factor& factor) {
  const bench::Actuator* actuator = find_actuator(bench, factor.actuator);
  const bool selector = actuator != nullptr && !actuator->positions.empty();
  std::string text;
  for (const double level : factor.levels) {
    if (!text.empty()) text += ", ";
    text += selector ? setting_text(bench, factor.actuator, level) : plain(level);
  }
  return selector ? text : with_unit(text, unit_text_of_name(factor.actuator));
}

std::string plan_table(const Run& run) {
  HtmlTable table({{"Factor"}, {"Levels"}, {"Changed"}, {"u of a setting"}});
  for (const campaign::Factor& factor : run.campaign.factors) {
    const bench::Actuator* actuator = find_actuator(run.bench, factor.actuator);
    const bool manual = actuator != nullptr && actuator->manual;
    const double u = actuator != nullptr ? actuator->u_setting : 0.0;
    table.row({escaped(capitalised(actuator_name(run.bench, factor.actuator))),
               escaped(levels_text(run.bench, factor)),
               fmt::format("{}{}", manual ? "by hand" : "by command",
                           factor.hard_to_change ? ", between blocks" : ", inside blocks"),
               u > 0.0
                   ? escaped(with_unit(uncertainty_alone(u), unit_text_of_name(factor.actuator)))
                   : "not stated"});
  }
  return table.html();
}

int blocks_of(const Run& run) {
  int blocks = 0;
  for (const campaign::TestPoint& point : run.points)
    blocks = std::max(blocks, point.block);
  return blocks;
}

std::string range_text(double low, double high, int decimals, std::string_view unit) {
  if (fixed(low, decimals) == fixed(high, decimals)) {
    return fmt::format("{} {}", fixed(low, decimals), unit);
  }
  return fmt::format("{} to {} {}", fixed(low, decimals), fixed(high, decimals), unit);
}

void air_facts(FactList& facts, const analysis::Results& results) {
  std::vector<double> density;
  std::vector<double> speed;
  std::vector<double> rotor_speed;
  for (const analysis::Curve& curve : results.curves) {
    for (const analysis::PointResult& point : curve.points) {
      density.push_back(point.air_density_kg_m3.value());
      speed.push_back(point.air_speed_m_s.value());
      rotor_speed.push_back(point.rotor_speed_rad_s.value());
    }
  }
  if (density.empty()) return;
  const auto span = [](const std::vector<double>& values, int decimals, std::string_view unit) {
    const auto [low, high] = std::minmax_element(values.begin(), values.end());
    return range_text(*low, *high, decimals, unit);
  };
  facts.fact("Air density", span(density, 4, "kg/m³"));
  facts.fact("Air speed", span(speed, 2, "m/s"));
  facts.fact("Rotor speed", span(rotor_speed, 1, "rad/s"));
}

void bench_facts(FactList& facts, const bench::Bench& bench) {
  const physics::Rotor& rotor = bench.rotor;
  facts.fact("Bench", bench.name);
  std::string radius = fmt::format("tip radius {} m", plain(rotor.tip_radius_m));
  if (bench.u_tip_radius_m > 0.0) {
    radius = fmt::format("tip radius {} m",
                         with_uncertainty(rotor.tip_radius_m, 2.0 * bench.u_tip_radius_m));
  }
  facts.fact("Rotor", fmt::format("{}, hub radius {} m, {} stations", radius,
                                  plain(rotor.hub_radius_m), rotor.stations.size()));
  facts.fact("Tunnel",
             bench.tunnel.section_area_m2
                 ? fmt::format("closed section of {} m²", plain(*bench.tunnel.section_area_m2))
                 : "open jet: no wall correction");
  std::string factor = with_uncertainty(bench.position_factor, 2.0 * bench.u_position_factor);
  facts.fact("Air speed at the disc", factor +
                                          " of that at the sensor (factor, ± two standard "
                                          "uncertainties)");
  if (bench.u_loss_relative > 0.0) {
    facts.fact("Generator losses", fmt::format("modelled; standard uncertainty {} of each",
                                               pct(bench.u_loss_relative)));
  }
  facts.fact("Samples", fmt::format("{} a second of each of {} channels, recorded as raw counts",
                                    plain(bench.sample_rate_hz), bench.channels.size()));
}

void pace_facts(FactList& facts, const Run& run) {
  const campaign::Campaign& campaign = run.campaign;
  std::string constants;
  for (const campaign::Setting& setting : campaign.constants) {
    if (!constants.empty()) constants += "; ";
    constants +=
        actuator_name(run.bench, setting.actuator) + ' ' +
        (setting.position.empty() ? setting_text(run.bench, setting.actuator, setting.value)
                                  : setting.position);
  }
  facts.fact("Held constant", constants);
  facts.fact("Order",
             fmt::format("{} blocks, random order inside each (seed {}); every setting "
                         "measured {}",
                         blocks_of(run), campaign.seed,
                         campaign.repeats == 1   ? "once"
                         : campaign.repeats == 2 ? "twice"
                                                 : fmt::format("{} times", campaign.repeats)));
  const campaign::Pace& pace = campaign.pace;
  facts.fact("Steady state",
             fmt::format("a window of {} s settles when it drifts by less than {} of its mean; "
                         "longest wait {} s",
                         plain(pace.settle_window_s), pct(pace.settle_drift_relative),
                         plain(pace.longest_settle_s)));
  facts.fact("Dwell", fmt::format("until the random standard uncertainty of the mean DC power is "
                                  "below {}; {} s at least, {} s at most",
                                  pct(pace.target_u_relative), plain(pace.shortest_dwell_s),
                                  plain(pace.longest_dwell_s)));
}

void count_facts(FactList& facts, const Run& run) {
  const auto settled = std::count_if(run.points.begin(), run.points.end(),
                                     [](const auto& point) { return point.settled; });
  const auto on_target = std::count_if(run.points.begin(), run.points.end(),
                                       [](const auto& point) { return point.on_target; });
  facts.fact("Test points", fmt::format("{} of {} planned; {} settled, {} reached the target "
                                        "uncertainty",
                                        run.points.size(), campaign::plan(run.campaign).size(),
                                        settled, on_target));
  if (run.points.empty()) return;
  std::int64_t samples = 0;
  for (const campaign::TestPoint& point : run.points)
    samples += point.samples;
  facts.fact(
      "Dwell in all",
      fmt::format("{} s, {} samples a channel",
                  number(static_cast<double>(samples) / run.bench.sample_rate_hz, 4), samples));
  facts.fact("Time", fmt::format("{} to {}", minute(run.points.front().start),
                                 minute(run.points.back().start)));
}

std::string incidents(const Run& run) {
  if (run.incidents.empty()) return {};
  HtmlTable table({{"Time (UTC)"}, {"What"}, {"In words"}});
  for (const campaign::Incident& incident : run.incidents) {
    const std::string time = base::utc_text(incident.time);
    table.row({time.substr(0, 10) + ' ' + time.substr(11, 8), escaped(incident.event),
               escaped(incident.text)});
  }
  return "<h3>What went otherwise than planned</h3>\n" + table.html();
}

std::string u_standard_text(const metrology::Certificate& certificate) {
  const metrology::ReferenceStandard& standard = certificate.standard;
  const std::string unit = unit_text(certificate.reference_unit);
  std::string text;
  if (standard.u > 0.0) text = with_unit(uncertainty_alone(standard.u), unit);
  if (standard.u_relative > 0.0) {
    if (!text.empty()) text += " and ";
    text += uncertainty_alone(100.0 * standard.u_relative) + " %";
  }
  return text.empty() ? "not stated" : text;
}

/// One place and air state for all is said once.
std::string common_environment(const std::vector<metrology::Certificate>& certificates) {
  const std::string& first = certificates.front().environment;
  const bool common =
      std::all_of(certificates.begin(), certificates.end(),
                  [&](const auto& certificate) { return certificate.environment == first; });
  return common ? first : "";
}

std::string certificates_table(const Run& run) {
  if (run.certificates.empty()) return {};
  const std::string common = common_environment(run.certificates);
  std::vector<Column> columns{{"Channel"},     {"Model"},
                              {"Range", true}, {"Reference standard"},
                              {"its u", true}, {"Calibrated", true}};
  if (common.empty()) columns.push_back({"Conditions"});
  HtmlTable table(columns);
  for (const metrology::Certificate& certificate : run.certificates) {
    const std::string unit = unit_text(certificate.reference_unit);
    std::vector<std::string> cells{
        escaped(capitalised(channel_name(run.bench, certificate.channel))),
        escaped(certificate.model),
        escaped(fmt::format("{} to {}", plain(certificate.reference_range[0]),
                            with_unit(plain(certificate.reference_range[1]), unit))),
        escaped(certificate.standard.name),
        escaped(u_standard_text(certificate)),
        day(certificate.date)};
    if (common.empty()) cells.push_back(prose(certificate.environment));
    table.row(cells);
  }
  return "<h3>Certificates in force</h3>\n" + table.html() +
         (common.empty() ? "" : paragraph("Calibrated in: " + prose(common), "note"));
}

std::string check_row_certificate(const campaign::ChannelCheck& check) {
  if (!check.certificate_found) return "no certificate";
  return day(check.valid_until) + (check.expired ? " (expired)" : "");
}

}  // namespace

std::string opening(const Subject& subject) {
  std::string html = fmt::format("<h1>{}</h1>\n", escaped(subject.title));
  const Run* run = subject.run;
  if (run == nullptr) return html;
  const bool simulated = run->bench.simulation.has_value();
  html += fmt::format("<p class=\"about\"><span class=\"bench\">{}{}</span>",
                      simulated ? "SIMULATED BENCH · " : "", escaped(run->bench.name));
  if (!run->points.empty()) html += " · " + day(run->points.front().start);
  if (!run->campaign.operator_name.empty()) {
    html += " · operator " + escaped(run->campaign.operator_name);
  }
  html += "</p>\n";
  const auto notice = [&html](std::string_view loud, std::string_view words) {
    html += fmt::format("<div class=\"notice\"><strong>{}</strong>{}</div>\n", loud, words);
  };
  if (simulated) {
    notice(
        "SIMULATED BENCH",
        "No hardware was measured. Rotor, generator and sensors are models with random errors of "
        "their own; the figures show the method and say nothing about a real rotor.");
  }
  if (!run->reason.empty()) {
    notice("CONDUCTED THOUGH THE BENCH WAS NOT READY", "Reason given: " + escaped(run->reason));
  }
  const std::size_t planned = campaign::plan(run->campaign).size();
  if (run->points.size() < planned) {
    notice("NOT COMPLETE", fmt::format("{} of {} planned test points were conducted.",
                                       run->points.size(), planned));
  }
  return html;
}

std::string how_it_was_measured(const Subject& subject, const analysis::Results& results) {
  FactList facts;
  if (subject.run == nullptr) {
    facts.fact("Source", subject.source);
    air_facts(facts, results);
    const std::string html = facts.html();
    return section("How it was measured", html);
  }
  bench_facts(facts, subject.run->bench);
  pace_facts(facts, *subject.run);
  count_facts(facts, *subject.run);
  air_facts(facts, results);
  return section("How it was measured",
                 plan_table(*subject.run) + facts.html() + incidents(*subject.run));
}

std::string interlocks_told(const Run& run) {
  if (run.readiness.interlocks_remark.empty()) return {};
  return paragraph("<strong>The interlocks did not count as proved:</strong> " +
                   escaped(run.readiness.interlocks_remark));
}

std::string readiness(const Run& run) {
  if (run.readiness.channels.empty()) return {};
  HtmlTable table({{"Channel"},
                   {"Certificate valid until"},
                   {"Check standard", true},
                   {"Measured", true},
                   {"E<sub>n</sub>", true},
                   {"Passed"}});
  for (const campaign::ChannelCheck& check : run.readiness.channels) {
    const bool checked = check.reference.has_value();
    const std::string unit = unit_text(check.unit);
    table.row({escaped(capitalised(channel_name(run.bench, check.channel))) +
                   (unit.empty() ? "" : ", <span class=\"unit\">" + escaped(unit) + "</span>"),
               check_row_certificate(check),
               checked ? with_uncertainty(*check.reference, 2.0 * check.u_reference) : "none",
               checked ? with_uncertainty(check.measured.value(), 2.0 * check.measured.u()) : "",
               check.en ? fixed(*check.en, 2) : "",
               check.passed ? "yes" : "<strong>NO</strong> " + escaped(check.remark)});
  }
  return section("Readiness",
                 paragraph(fmt::format(
                     "Checked {}. {} ± is twice the standard uncertainty; |E<sub>n</sub>| up "
                     "to 1 passes.",
                     minute(run.readiness.time),
                     run.readiness.ready() ? "The bench was ready."
                                           : "<strong>The bench was not ready.</strong>")) +
                     interlocks_told(run) + table.html() + certificates_table(run));
}

std::string provenance(const Subject& subject) {
  FactList facts;
  if (subject.run == nullptr) return {};
  const Run& run = *subject.run;
  facts.fact("Bench", run.bench.simulation
                          ? "SIMULATED, seed " + fmt::format("{}", run.bench.simulation->seed)
                          : "hardware");
  facts.fact("Software", "Windwright " + run.software_version);
  facts.fact("Campaign",
             fmt::format("{}, seed {}", run.campaign.file.filename().string(), run.campaign.seed));
  facts.fact("Bench description", run.bench.file.filename().string());
  facts.fact("Rotor description", run.bench.rotor_file.filename().string());
  facts.fact("Recording", run.recording.filename().string());
  facts.fact("Operator", run.campaign.operator_name);
  return section("Where these figures come from", facts.html(), "short");
}

}  // namespace windwright::report
