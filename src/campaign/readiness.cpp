// SPDX-License-Identifier: Apache-2.0
#include "campaign/readiness.h"

#include "base/errors.h"
#include "base/json.h"
#include "campaign/known_input.h"
#include "campaign/proof.h"
#include "metrology/check_standard.h"
#include "metrology/quantity.h"

#include <boost/json.hpp>
#include <fmt/format.h>

#include <algorithm>
#include <chrono>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <filesystem>
#include <limits>
#include <optional>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

namespace windwright::campaign {

namespace json = boost::json;

namespace {

constexpr double check_s = 1.0;                // averaged for a check standard
constexpr double calibration_reading_s = 0.5;  // averaged for a reading of a calibration

// What speaks against the certificate itself, or nothing.
std::string certificate_remark(const bench::Bench& bench, const bench::Channel& channel,
                               const std::optional<metrology::Certificate>& certificate) {
  const std::string again = fmt::format("calibrate it: windwright calibrate {} --channel {}",
                                        bench.file.filename().string(), channel.name);
  if (!certificate) {
    return fmt::format("there is no certificate {}: {}", channel.certificate.filename().string(),
                       again);
  }
  if (certificate->channel != channel.name || certificate->reference_unit != channel.unit) {
    return fmt::format("the certificate is of {} in {}: {}", certificate->channel,
                       certificate->reference_unit, again);
  }
  return {};
}

std::string date_remark(const metrology::Certificate& certificate, base::UtcTime now) {
  if (now >= certificate.valid_until) {
    return fmt::format("the certificate was valid until {}: calibrate again",
                       base::utc_text(certificate.valid_until));
  }
  // A certificate counts by its day: clocks of two devices need not agree to the minute.
  if (now < certificate.date - std::chrono::days(1)) {
    return fmt::format("the certificate is dated {}, later than now: set the clock, or calibrate",
                       base::utc_text(certificate.date));
  }
  return {};
}

std::string interlock_remark(const bench::Bench& bench, const bench::Channel& channel,
                             const metrology::Certificate& certificate) {
  for (const bench::Interlock& interlock : bench.interlocks) {
    if (interlock.channel != channel.name || !interlock.with.empty()) continue;
    for (const double bound : {interlock.lowest, interlock.highest}) {
      if (!std::isfinite(bound)) continue;
      const double at_limit_V = metrology::reading_of(certificate, bound);
      if (at_limit_V >= channel.converter.lower_V && at_limit_V <= channel.converter.upper_V)
        continue;
      return fmt::format(
          "interlock '{}' can never trip, its bound is outside the converter's range: "
          "change the bound or the range",
          interlock.name);
    }
  }
  return {};
}

void measure_check_standard(const bench::Bench& bench, std::size_t index, bench::Device& device,
                            const metrology::Certificate& certificate, ChannelCheck& check) {
  const bench::Channel& channel = bench.channels[index];
  if (!channel.check_standard) return;
  const auto& [reference, u_reference] = *channel.check_standard;
  const MeanVoltage mean = voltage_under(bench, index, device, reference, check_s);
  check.reference = reference;
  check.u_reference = u_reference;
  check.measured = metrology::estimate_of(certificate, mean.reading_V);
  check.measured.add(
      channel.name + ":check#",
      {.u = metrology::sensitivity(certificate, mean.reading_V) * mean.u_V, .dof = mean.dof});
  const metrology::Estimate standard(
      reference, {{channel.name + ":check-standard",
                   {.u = u_reference, .dof = std::numeric_limits<double>::infinity()}}});
  check.en = metrology::en(check.measured.value() - reference, check.measured.expanded(),
                           standard.expanded());
  if (std::abs(*check.en) > 1.0) {
    check.remark = fmt::format(
        "the check standard {} {} is measured as {:.6g} (E_n {:.2f}): look for a loose "
        "lead or a sensor out of place, else calibrate again",
        reference, channel.unit, check.measured.value(), *check.en);
  }
}

ChannelCheck check_channel(const bench::Bench& bench, std::size_t index, bench::Device& device) {
  const bench::Channel& channel = bench.channels[index];
  ChannelCheck check{.channel = channel.name, .unit = channel.unit};
  std::optional<metrology::Certificate> certificate;
  if (std::filesystem::is_regular_file(channel.certificate)) {
    certificate = metrology::certificate_from_file(channel.certificate);
  }
  check.remark = certificate_remark(bench, channel, certificate);
  check.certificate_found = check.remark.empty();
  if (!check.certificate_found) return check;
  check.valid_until = certificate->valid_until;
  measure_check_standard(bench, index, device, *certificate, check);
  const std::string of_date = date_remark(*certificate, device.now());
  check.expired = !of_date.empty();
  for (const std::string& more : {of_date, interlock_remark(bench, channel, *certificate)}) {
    if (more.empty()) continue;
    check.remark += (check.remark.empty() ? "" : "; ") + more;
  }
  check.passed = check.remark.empty();
  return check;
}

std::optional<double> optional_number(const json::value& object, std::string_view key,
                                      std::string_view where) {
  if (base::json_member(object, key, where).is_null()) return std::nullopt;
  return base::json_number(object, key, where);
}

bool flag(const json::value& object, std::string_view key, std::string_view where) {
  const json::value& member = base::json_member(object, key, where);
  if (!member.is_bool()) {
    throw base::BadInput(where, fmt::format("member '{}' is not true or false", key),
                         "true or false");
  }
  return member.get_bool();
}

std::string air_in_words(const bench::Bench& bench) {
  if (!bench.simulation) return {};
  const auto& air = bench.simulation->air;
  constexpr double kelvin_at_0_C = 273.15;
  return fmt::format("simulated room at {:.1f} degC, {:.0f} hPa, {:.0f} % relative humidity",
                     air.temperature_K - kelvin_at_0_C, air.pressure_Pa / 100.0,
                     air.relative_humidity * 100.0);
}

}  // namespace

bool Readiness::ready() const {
  return interlocks_remark.empty() &&
         std::all_of(channels.begin(), channels.end(),
                     [](const ChannelCheck& check) { return check.passed; });
}

std::string Readiness::what_is_wrong() const {
  std::string text;
  for (const ChannelCheck& check : channels) {
    if (check.passed) continue;
    text += fmt::format("{}{}: {}", text.empty() ? "" : "\n", check.channel, check.remark);
  }
  if (!interlocks_remark.empty())
    text += fmt::format("{}interlocks: {}", text.empty() ? "" : "\n", interlocks_remark);
  return text;
}

Readiness check_readiness(const bench::Bench& bench, bench::Device& device) {
  Readiness readiness{.time = device.now(), .channels = {}};
  for (std::size_t i = 0; i < bench.channels.size(); ++i)
    readiness.channels.push_back(check_channel(bench, i, device));
  readiness.interlocks_remark = proof_remark(bench, device.name(), device.now());
  return readiness;
}

json::value to_json(const Readiness& readiness) {
  json::array channels;
  for (const ChannelCheck& check : readiness.channels) {
    json::object entry{{"channel", check.channel},
                       {"unit", check.unit},
                       {"certificate_found", check.certificate_found},
                       {"valid_until", nullptr},
                       {"expired", check.expired},
                       {"reference", nullptr},
                       {"measured", nullptr},
                       {"en", nullptr},
                       {"passed", check.passed},
                       {"remark", check.remark}};
    if (check.certificate_found) entry["valid_until"] = base::utc_text(check.valid_until);
    if (check.en) {
      entry["reference"] = json::object{{"value", *check.reference}, {"u", check.u_reference}};
      entry["measured"] = metrology::quantity(check.measured, check.unit);
      entry["en"] = *check.en;
    }
    channels.push_back(std::move(entry));
  }
  return json::object{{"time", base::utc_text(readiness.time)},
                      {"ready", readiness.ready()},
                      {"channels", std::move(channels)},
                      {"interlocks_proved", readiness.interlocks_remark.empty()},
                      {"interlocks_remark", readiness.interlocks_remark}};
}

Readiness readiness_from_json(const json::value& source, std::string_view where) {
  Readiness readiness{.time = base::utc_from_text(base::json_string(source, "time", where), where),
                      .channels = {}};
  const json::value& channels = base::json_member(source, "channels", where);
  if (!channels.is_array()) {
    throw base::BadInput(where, "member 'channels' is not a list", "a list");
  }
  for (const json::value& entry : channels.get_array()) {
    ChannelCheck check{.channel = base::json_string(entry, "channel", where),
                       .unit = base::json_string(entry, "unit", where),
                       .certificate_found = flag(entry, "certificate_found", where)};
    check.expired = flag(entry, "expired", where);
    check.passed = flag(entry, "passed", where);
    check.remark = base::json_string(entry, "remark", where);
    if (check.certificate_found) {
      check.valid_until =
          base::utc_from_text(base::json_string(entry, "valid_until", where), where);
    }
    check.en = optional_number(entry, "en", where);
    if (check.en) {
      const json::value& reference = base::json_member(entry, "reference", where);
      check.reference = base::json_number(reference, "value", where);
      check.u_reference = base::json_number(reference, "u", where);
      const json::value& measured = base::json_member(entry, "measured", where);
      check.measured =
          metrology::Estimate(base::json_number(measured, "value", where),
                              {{check.channel + ":check#",
                                {.u = base::json_number(measured, "u", where),
                                 .dof = optional_number(measured, "dof", where)
                                            .value_or(std::numeric_limits<double>::infinity())}}});
    }
    readiness.channels.push_back(std::move(check));
  }
  // Runs from before there were proofs say nothing of them.
  if (source.is_object() && source.get_object().contains("interlocks_remark"))
    readiness.interlocks_remark = base::json_string(source, "interlocks_remark", where);
  return readiness;
}

metrology::Certificate certificate_of_readings(const bench::Bench& bench, std::size_t index,
                                               const std::vector<Reading>& readings) {
  const bench::Channel& channel = bench.channels.at(index);
  const bench::CalibrationPlan& plan = channel.calibration;
  metrology::Readings columns;
  for (const Reading& reading : readings) {
    columns.reference.push_back(reading.reference);
    columns.reading.push_back(reading.reading_V);
    columns.u_reading.push_back(reading.u_reading_V);
  }
  metrology::Certificate certificate{};
  certificate.channel = channel.name;
  certificate.model = plan.model;
  certificate.reference_unit = channel.unit;
  certificate.reading_unit = "V";
  certificate.standard = {
      .name = plan.standard, .u = plan.u_standard, .u_relative = plan.u_standard_relative};
  certificate.u_drift = channel.u_drift;
  certificate.environment = air_in_words(bench);
  return metrology::calibrate(std::move(certificate), columns, channel.name);
}

metrology::Certificate calibrate_channel(const bench::Bench& bench, std::size_t index,
                                         bench::Device& device, std::vector<Reading>& readings) {
  const bench::CalibrationPlan& plan = bench.channels.at(index).calibration;
  readings.clear();
  for (int repeat = 1; repeat <= plan.repeats; ++repeat) {
    std::vector<double> references = plan.references;
    std::sort(references.begin(), references.end());
    if (repeat % 2 == 0) std::reverse(references.begin(), references.end());
    for (const double reference : references) {
      const MeanVoltage mean =
          voltage_under(bench, index, device, reference, calibration_reading_s);
      readings.push_back({.reference = reference,
                          .reading_V = mean.reading_V,
                          .u_reading_V = mean.u_V,
                          .repeat = repeat});
    }
  }
  metrology::Certificate certificate = certificate_of_readings(bench, index, readings);
  certificate.date = device.now();
  certificate.valid_until = certificate.date + std::chrono::days(plan.valid_days);
  return certificate;
}

}  // namespace windwright::campaign
