// SPDX-License-Identifier: Apache-2.0
#include "campaign/proof.h"

#include "base/errors.h"
#include "base/files.h"
#include "base/json.h"
#include "base/sha256.h"
#include "base/text.h"
#include "bench/interlock.h"
#include "bench/protection_table.h"
#include "campaign/logbook.h"

#include <boost/json.hpp>
#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <chrono>
#include <cmath>
#include <cstddef>
#include <filesystem>
#include <optional>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

namespace windwright::campaign {
namespace {

namespace json = boost::json;
using base::BadInput;

constexpr std::array<std::pair<ProofMethod, std::string_view>, 4> methods{
    {{ProofMethod::by_hand, "by_hand"},
     {ProofMethod::known_input, "known_input"},
     {ProofMethod::moved_bound, "moved_bound"},
     {ProofMethod::changed_data, "changed_data"}}};

json::object to_json(const ProvedInterlock& proved) {
  json::array bounds;
  for (const ProvedBound& each : proved.bounds) {
    bounds.push_back(json::object{{"bound", base::or_null(each.bound)},
                                  {"inside", base::or_null(each.inside)},
                                  {"beyond", base::or_null(each.beyond)},
                                  {"seen", base::or_null(each.seen)},
                                  {"held_s", each.held_s}});
  }
  json::array read_back;
  for (const ReadBack& each : proved.read_back) {
    read_back.push_back(json::object{{"actuator", each.actuator},
                                     {"setting", base::or_null(each.setting)},
                                     {"safe", each.safe}});
  }
  return {{"name", proved.name},
          {"method", name_of(proved.method)},
          {"unit", proved.unit},
          {"configuration", proved.configuration},
          {"calibration", proved.calibration},
          {"stop_category", proved.stop_category},
          {"hold_s", proved.hold_s},
          {"bounds", std::move(bounds)},
          {"cause", proved.cause},
          {"first_out", proved.first_out},
          {"read_back", std::move(read_back)},
          {"passed", proved.passed()},
          {"remark", proved.remark}};
}

const json::array& list(const json::value& object, std::string_view key, std::string_view where) {
  const json::value& member = base::json_member(object, key, where);
  if (!member.is_array())
    throw BadInput(where, fmt::format("member '{}' is not a list", key), "a list");
  return member.get_array();
}

std::optional<double> number_or_null(const json::value& object, std::string_view key,
                                     std::string_view where) {
  if (base::json_member(object, key, where).is_null()) return std::nullopt;
  return base::json_number(object, key, where);
}

bool flag(const json::value& object, std::string_view key, std::string_view where) {
  const json::value& member = base::json_member(object, key, where);
  if (member.is_bool()) return member.get_bool();
  throw BadInput(where, fmt::format("member '{}' is not true or false", key), "true or false");
}

std::string digest(const json::value& object, std::string_view key, std::string_view where) {
  std::string text = base::json_string(object, key, where);
  constexpr std::string_view digits = "0123456789abcdef";
  if (text.size() == 64 && text.find_first_not_of(digits) == std::string::npos) return text;
  throw BadInput(where, fmt::format("member '{}' is no digest", key), "64 hexadecimal digits");
}

ProofMethod method_of(const json::value& object, std::string_view where) {
  const std::string text = base::json_string(object, "method", where);
  std::vector<std::string> names;
  for (const auto& [method, name] : methods) {
    if (text == name) return method;
    names.emplace_back(name);
  }
  throw BadInput(where, fmt::format("there is no method '{}'", text), base::either_of(names));
}

ProvedInterlock interlock_from_json(const json::value& source, std::string_view where) {
  ProvedInterlock proved{.name = base::json_string(source, "name", where),
                         .method = method_of(source, where)};
  proved.unit = base::json_string(source, "unit", where);
  proved.configuration = digest(source, "configuration", where);
  proved.calibration = digest(source, "calibration", where);
  const double category = base::json_number(source, "stop_category", where);
  if (!(category == 0.0 || category == 1.0 || category == 2.0))
    throw BadInput(where, fmt::format("stop_category is {}", category), "0, 1 or 2");
  proved.stop_category = static_cast<int>(category);
  proved.hold_s = base::json_number(source, "hold_s", where);
  for (const json::value& each : list(source, "bounds", where)) {
    proved.bounds.push_back({.bound = number_or_null(each, "bound", where),
                             .inside = number_or_null(each, "inside", where),
                             .beyond = number_or_null(each, "beyond", where),
                             .seen = number_or_null(each, "seen", where),
                             .held_s = base::json_number(each, "held_s", where)});
  }
  proved.cause = base::json_string(source, "cause", where);
  proved.first_out = base::json_string(source, "first_out", where);
  for (const json::value& each : list(source, "read_back", where)) {
    proved.read_back.push_back({.actuator = base::json_string(each, "actuator", where),
                                .setting = number_or_null(each, "setting", where),
                                .safe = flag(each, "safe", where)});
  }
  proved.remark = base::json_string(source, "remark", where);
  if (flag(source, "passed", where) != proved.remark.empty()) {
    throw BadInput(
        where, fmt::format("'{}' is said to have passed and has a remark, or neither", proved.name),
        "a file as it was written");
  }
  return proved;
}

std::string certificate_digest(const bench::Bench& bench, const std::string& channel) {
  if (channel.empty()) return {};
  const auto& file = bench.channels[bench.channel_index(channel)].certificate;
  return std::filesystem::exists(file) ? base::sha256_of_file(file) : std::string("none");
}

std::string converter_text(const bench::Bench& bench, const std::string& channel) {
  if (channel.empty()) return {};
  const bench::Converter& converter = bench.channels[bench.channel_index(channel)].converter;
  return fmt::format("{} {} {}", base::number_text(converter.lower_V),
                     base::number_text(converter.upper_V), converter.bits);
}

// What speaks against the proof of one interlock.
std::string remark_on(const bench::Bench& bench, const bench::Interlock& interlock,
                      const Proof& proof) {
  const auto found =
      std::find_if(proof.interlocks.begin(), proof.interlocks.end(),
                   [&](const ProvedInterlock& proved) { return proved.name == interlock.name; });
  if (found == proof.interlocks.end()) return fmt::format("'{}' was never proved", interlock.name);
  if (!found->passed()) return fmt::format("'{}' failed: {}", interlock.name, found->remark);
  if (found->configuration != configuration_digest(bench, interlock))
    return fmt::format("'{}' has changed since it was proved", interlock.name);
  if (found->calibration != calibration_digest(bench, interlock))
    return fmt::format("the certificate behind '{}' has changed since it was proved",
                       interlock.name);
  return {};
}

}  // namespace

std::string_view name_of(ProofMethod method) {
  const auto found = std::find_if(methods.begin(), methods.end(),
                                  [&](const auto& each) { return each.first == method; });
  return found->second;
}

bool Proof::passed() const {
  return std::all_of(interlocks.begin(), interlocks.end(),
                     [](const ProvedInterlock& each) { return each.passed(); });
}

json::value to_json(const Proof& proof) {
  json::array interlocks;
  for (const ProvedInterlock& each : proof.interlocks)
    interlocks.push_back(to_json(each));
  return json::object{{"schema", 1},
                      {"kind", "proof of interlocks"},
                      {"bench", proof.bench},
                      {"device", proof.device},
                      {"person", proof.person},
                      {"date", base::utc_text(proof.date)},
                      {"valid_until", base::utc_text(proof.valid_until)},
                      {"passed", proof.passed()},
                      {"interlocks", std::move(interlocks)},
                      {"not_proved", json::value_from(proof.not_proved)}};
}

Proof proof_from_text(std::string_view text, const std::string& file) {
  const json::value root = base::json_from_text(text, file);
  const std::string where = file + ":1";
  if (base::json_number(root, "schema", where) != 1.0)
    throw BadInput(where, "is of another schema", "schema 1");
  if (base::json_string(root, "kind", where) != "proof of interlocks")
    throw BadInput(where, "is no proof of interlocks", "kind \"proof of interlocks\"");
  Proof proof{
      .bench = base::json_string(root, "bench", where),
      .device = base::json_string(root, "device", where),
      .person = base::json_string(root, "person", where),
      .date = base::utc_from_text(base::json_string(root, "date", where), where),
      .valid_until = base::utc_from_text(base::json_string(root, "valid_until", where), where),
      .interlocks = {},
      .not_proved = {}};
  for (const json::value& each : list(root, "interlocks", where))
    proof.interlocks.push_back(interlock_from_json(each, where));
  for (const json::value& each : list(root, "not_proved", where)) {
    if (!each.is_string()) throw BadInput(where, "not_proved is no list of texts", "texts");
    proof.not_proved.emplace_back(each.get_string());
  }
  return proof;
}

std::vector<std::string> not_proved_by(const Proof& proof, const bench::Bench& bench) {
  std::vector<std::string> texts;
  std::vector<std::string> silent;
  for (const ProvedInterlock& each : proof.interlocks) {
    if (each.method == ProofMethod::moved_bound && each.unit != "MB")
      texts.push_back(
          fmt::format("'{}': that the sensor shows its bound (the bound was moved)", each.name));
    if (each.method == ProofMethod::changed_data)
      texts.push_back(
          fmt::format("'{}': that the device shows it (the block was changed)", each.name));
    for (const ReadBack& back : each.read_back) {
      const bool told = std::find(silent.begin(), silent.end(), back.actuator) != silent.end();
      if (!back.setting && !told) silent.push_back(back.actuator);
    }
  }
  if (!silent.empty()) {
    texts.push_back(fmt::format("that {} obeys: the device cannot be asked for its settings",
                                base::either_of(silent)));
  }
  texts.push_back(
      bench.hard_wired
          ? "that the contactor takes the fan's power and the brake holds: try it with the fan at "
            "its lowest speed (checklist: cover_switch, emergency_stop)"
          : "the hard-wired chain, which this bench does not describe (checklist: cover_switch, "
            "emergency_stop)");
  texts.emplace_back("the guard process and the device's watchdog (checklist: watchdog)");
  return texts;
}

std::filesystem::path proof_file(const bench::Bench& bench) {
  return bench.file.parent_path() / bench::proof_file;
}

void keep_proof(const bench::Bench& bench, const Proof& proof) {
  const std::filesystem::path file = proof_file(bench);
  std::filesystem::create_directories(file.parent_path());
  base::write_whole(file, base::json_text(to_json(proof)));
  Logbook(bench.file.parent_path() / proof_logbook)
      .add(proof.date, "proof",
           {{"person", proof.person}, {"device", proof.device}, {"passed", proof.passed()}});
}

void note_unproved(const bench::Bench& bench, base::UtcTime time, const Unproved& unproved) {
  json::object members{{"reason", unproved.reason}, {"text", unproved.remark}, {"by", unproved.by}};
  if (!unproved.into.empty()) members["into"] = unproved.into;
  Logbook(bench.file.parent_path() / proof_logbook).add(time, "driven_without_proof", members);
}

std::string configuration_digest(const bench::Bench& bench, const bench::Interlock& interlock) {
  return base::sha256(fmt::format(
      "{}\n{}\n{} {}\n{} {}\n{}\n{} {} {} {}\n{}\n", interlock.name,
      static_cast<int>(interlock.kind), interlock.channel, converter_text(bench, interlock.channel),
      interlock.with, converter_text(bench, interlock.with), base::number_text(interlock.factor),
      base::number_text(interlock.lowest), base::number_text(interlock.highest),
      base::number_text(interlock.hysteresis), base::number_text(interlock.hold_s),
      interlock.stop_category));
}

std::string calibration_digest(const bench::Bench& bench, const bench::Interlock& interlock) {
  return base::sha256(fmt::format("{}\n{}\n", certificate_digest(bench, interlock.channel),
                                  certificate_digest(bench, interlock.with)));
}

std::string proof_remark(const bench::Bench& bench, std::string_view device, base::UtcTime now) {
  if (bench.interlocks.empty()) return {};
  const std::string again =
      fmt::format("windwright ready {} --prove-interlocks", bench.file.filename().string());
  const std::filesystem::path file = proof_file(bench);
  if (!std::filesystem::exists(file)) return "were never proved: " + again;
  const Proof proof = proof_from_text(base::text_of_file(file), file.string());
  std::vector<std::string> reasons;
  if (proof.device != device)
    reasons.push_back(fmt::format("were proved on '{}', not on '{}'", proof.device, device));
  if (now >= proof.valid_until)
    reasons.push_back(
        fmt::format("their proof was valid until {}", base::utc_text(proof.valid_until)));
  // A proof counts by its day: clocks of two computers need not agree to the minute.
  if (now < proof.date - std::chrono::days(1))
    reasons.push_back(
        fmt::format("their proof is dated {}, later than now", base::utc_text(proof.date)));
  for (const bench::Interlock& interlock : bench.interlocks) {
    if (std::string reason = remark_on(bench, interlock, proof); !reason.empty())
      reasons.push_back(std::move(reason));
  }
  for (const ProvedInterlock& proved : proof.interlocks) {
    const bool there =
        std::any_of(bench.interlocks.begin(), bench.interlocks.end(),
                    [&](const bench::Interlock& each) { return each.name == proved.name; });
    if (!there) reasons.push_back(fmt::format("'{}' is gone since the proof", proved.name));
  }
  if (reasons.empty()) return {};
  return fmt::format("{}: {}", fmt::join(reasons, "; "), again);
}

}  // namespace windwright::campaign
