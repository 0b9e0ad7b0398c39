// SPDX-License-Identifier: Apache-2.0
#include "campaign/run_folder.h"

#include "base/errors.h"
#include "base/files.h"
#include "base/json.h"
#include "base/settings.h"
#include "campaign/logbook.h"
#include "campaign/proof.h"

#include <boost/json.hpp>
#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <cstdint>
#include <filesystem>
#include <map>
#include <optional>
#include <set>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

namespace windwright::campaign {

namespace json = boost::json;
namespace fs = std::filesystem;

namespace {

// Every file a run depends on, by its place in the run folder, in the order of writing.
std::map<fs::path, std::string> inputs(const Campaign& campaign, const bench::Bench& bench) {
  std::map<fs::path, std::string> files;
  const fs::path original = fs::weakly_canonical(bench.file).parent_path();
  const fs::path copied = campaign.bench_name.parent_path();
  const auto add = [&](const fs::path& file, std::string text) {
    files[(copied / fs::weakly_canonical(file).lexically_relative(original)).lexically_normal()] =
        std::move(text);
  };
  files[campaign.bench_name] = bench.text;
  add(bench.rotor_file, bench.rotor_text);
  const auto rotor = base::Settings::from_text(bench.rotor_text, bench.rotor_file.string());
  std::set<fs::path> polars;
  for (const base::Settings& station : rotor.tables("station")) {
    polars.insert(base::named_file(original, bench.rotor_file.parent_path(), station.text("polar"),
                                   station.place("polar")));
  }
  for (const fs::path& polar : polars)
    add(polar, base::text_of_file(polar));
  for (const bench::Channel& channel : bench.channels)
    add(channel.certificate, base::text_of_file(channel.certificate));
  return files;
}

void require_same(const fs::path& copy, std::string_view text, const fs::path& original) {
  if (base::text_of_file(copy) == text) return;
  throw base::BadInput(
      copy.string() + ":1",
      fmt::format("is not the same as {}, so this is another run", original.string()),
      "the campaign and bench that the run was begun with, or a new folder");
}

[[noreturn]] void refuse(const fs::path& folder) {
  throw base::BadInput(folder.string(), "is neither empty nor a run folder",
                       "a new folder, or the folder of a run");
}

std::int64_t integer_member(const json::value& object, std::string_view key,
                            std::string_view where) {
  const double value = base::json_number(object, key, where);
  if (value != std::floor(value) || std::abs(value) > 9e15) {
    throw base::BadInput(where, fmt::format("member '{}' is not a whole number", key),
                         "a whole number");
  }
  return static_cast<std::int64_t>(value);
}

bool flag_member(const json::value& object, std::string_view key, std::string_view where) {
  const json::value& member = base::json_member(object, key, where);
  if (!member.is_bool()) {
    throw base::BadInput(where, fmt::format("member '{}' is not true or false", key),
                         "true or false");
  }
  return member.get_bool();
}

TestPoint point_from(const json::value& source, const std::string& where) {
  TestPoint point{.number = static_cast<int>(integer_member(source, "number", where)),
                  .block = static_cast<int>(integer_member(source, "block", where)),
                  .repeat = static_cast<int>(integer_member(source, "repeat", where)),
                  .settings = {},
                  .start = base::utc_from_text(base::json_string(source, "start", where), where),
                  .settle_s = base::json_number(source, "settle_s", where),
                  .settled = flag_member(source, "settled", where),
                  .on_target = flag_member(source, "on_target", where),
                  .first_sample = integer_member(source, "first_sample", where),
                  .samples = integer_member(source, "samples", where)};
  const json::value& settings = base::json_member(source, "settings", where);
  if (!settings.is_object()) {
    throw base::BadInput(where, "member 'settings' is not an object", "an object");
  }
  for (const auto& member : settings.get_object()) {
    point.settings.push_back(
        {.actuator = std::string(member.key()),
         .value = base::json_number(settings, std::string(member.key()), where)});
  }
  return point;
}

}  // namespace

Found look_for_run(const fs::path& folder, const Campaign& campaign, const bench::Bench& bench) {
  if (!fs::exists(folder)) return Found::nothing;
  if (!fs::is_directory(folder)) refuse(folder);
  if (fs::is_empty(folder)) return Found::nothing;
  const fs::path copy = folder / "campaign.toml";
  if (!fs::exists(copy)) {
    // The first file that is written; all there may be is its unfinished beginning.
    for (const auto& entry : fs::directory_iterator(folder)) {
      if (entry.path().filename() != "campaign.toml.part") refuse(folder);
    }
    return Found::beginnings;
  }
  require_same(copy, campaign.text, campaign.file);
  if (!fs::exists(folder / bookmark_file)) return Found::beginnings;
  require_same(folder / campaign.bench_name, bench.text, bench.file);
  const fs::path rotor = fs::weakly_canonical(bench.rotor_file)
                             .lexically_relative(fs::weakly_canonical(bench.file).parent_path());
  require_same(folder / campaign.bench_name.parent_path() / rotor, bench.rotor_text,
               bench.rotor_file);
  return Found::run;
}

void copy_inputs(const fs::path& folder, const Campaign& campaign, const bench::Bench& bench) {
  const std::map<fs::path, std::string> files = inputs(campaign, bench);
  fs::create_directories(folder);
  base::write_whole(folder / "campaign.toml", campaign.text);
  for (const auto& [name, text] : files) {
    fs::create_directories((folder / name).parent_path());
    base::write_whole(folder / name, text);
  }
}

void copy_proof(const fs::path& folder, const Campaign& campaign, const bench::Bench& bench) {
  const fs::path from = proof_file(bench);
  const fs::path to = folder / campaign.bench_name.parent_path() / bench::proof_file;
  if (fs::exists(from)) {
    fs::create_directories(to.parent_path());
    base::write_whole(to, base::text_of_file(from));
  } else {
    fs::remove(to);
  }
}

std::vector<metrology::Certificate> certificates_of(const bench::Bench& bench) {
  std::vector<metrology::Certificate> certificates;
  for (const bench::Channel& channel : bench.channels)
    certificates.push_back(metrology::certificate_from_file(channel.certificate));
  return certificates;
}

bench::Bench bench_in(const fs::path& folder, const Campaign& campaign) {
  return bench::bench_from_file(folder / campaign.bench_name);
}

void write_bookmark(const fs::path& folder, const Bookmark& bookmark) {
  json::array sums;
  for (const recording::SlowSum& sum : bookmark.slow_sums)
    sums.push_back({{"counts", sum.counts}, {"samples", sum.samples}});
  base::write_whole(folder / bookmark_file,
                    base::json_text(json::object{{"points_done", bookmark.points_done},
                                                 {"samples", bookmark.samples},
                                                 {"device", bookmark.device},
                                                 {"slow_sums", std::move(sums)}}));
}

namespace {

std::vector<recording::SlowSum> slow_sums_in(const json::value& bookmark,
                                             const std::string& where) {
  std::vector<recording::SlowSum> sums;
  if (bookmark.as_object().if_contains("slow_sums") == nullptr) return sums;  // an older one
  const json::value& member = base::json_member(bookmark, "slow_sums", where);
  if (!member.is_array())
    throw base::BadInput(where, "member 'slow_sums' is not a list", "the bookmark as it was left");
  for (const json::value& each : member.get_array()) {
    const recording::SlowSum sum{.counts = integer_member(each, "counts", where),
                                 .samples = integer_member(each, "samples", where)};
    if (sum.counts < 0 || sum.samples < 0)
      throw base::BadInput(where, "'slow_sums' has a number below 0",
                           "the bookmark as it was left");
    sums.push_back(sum);
  }
  return sums;
}

}  // namespace

Bookmark bookmark_in(const fs::path& folder) {
  const fs::path file = folder / bookmark_file;
  const std::string where = file.string() + ":1";
  const json::value source = base::json_from_file(file);
  return {.points_done = static_cast<int>(integer_member(source, "points_done", where)),
          .samples = integer_member(source, "samples", where),
          .device = base::json_string(source, "device", where),
          .slow_sums = slow_sums_in(source, where)};
}

std::optional<std::string> latched_trip(const fs::path& folder) {
  std::optional<std::string> cause;
  for (const LogbookLine& line : logbook_lines(folder / logbook_file)) {
    const json::value source = base::json_from_text(line.text, line.place);
    const json::value* latched =
        source.is_object() ? source.as_object().if_contains("latched") : nullptr;
    const bool fault =
        line.event == "fault" && latched != nullptr && latched->is_bool() && latched->get_bool();
    if (line.event == "trip" || fault) {
      // The first cause: what follows from it is not what has to be found.
      if (!cause) cause = base::json_string(source, "text", line.place);
    } else if (line.event == "reset") {
      cause.reset();
    }
  }
  return cause;
}

json::object to_json(const TestPoint& point) {
  json::object settings;
  for (const Setting& setting : point.settings)
    settings[setting.actuator] = setting.value;
  return {{"number", point.number},
          {"block", point.block},
          {"repeat", point.repeat},
          {"settings", std::move(settings)},
          {"start", base::utc_text(point.start)},
          {"settle_s", point.settle_s},
          {"settled", point.settled},
          {"on_target", point.on_target},
          {"first_sample", point.first_sample},
          {"samples", point.samples}};
}

Run run_from_folder(const fs::path& folder) {
  const fs::path logbook = folder / logbook_file;
  if (!fs::is_regular_file(folder / "campaign.toml") || !fs::is_regular_file(logbook)) {
    throw base::BadInput(folder.string(), "is not a run folder",
                         "a folder that windwright conduct has made");
  }
  Run run{};
  run.folder = folder;
  run.campaign = campaign_from_file(folder / "campaign.toml");
  run.bench = bench::bench_from_file(run.campaign.bench_file);
  run.certificates = certificates_of(run.bench);
  run.recording = folder / recording_file;
  for (const LogbookLine& line : logbook_lines(logbook)) {
    const json::value source = base::json_from_text(line.text, line.place);
    const auto text = [&] { return base::json_string(source, "text", line.place); };
    if (line.event == "begin") {
      run.software_version = base::json_string(source, "software_version", line.place);
    } else if (line.event == "readiness") {
      run.readiness = readiness_from_json(source, line.place);
    } else if (line.event == "reason") {
      run.reason = text();
    } else if (line.event == "point") {
      run.points.push_back(point_from(source, line.place));
    } else if (line.event == "resume") {
      // A point may have been noted just before the end, but not bookmarked: it is done again.
      const auto kept = static_cast<std::size_t>(integer_member(source, "points_done", line.place));
      run.points.resize(std::min(kept, run.points.size()));
    } else if (line.event != "complete") {
      run.incidents.push_back({.time = line.time, .event = line.event, .text = text()});
    }
  }
  for (std::size_t i = 0; i < run.points.size(); ++i) {
    if (run.points[i].number != static_cast<int>(i) + 1) {
      throw base::BadInput(logbook.string() + ":1", fmt::format("test point {} is missing", i + 1),
                           "the logbook as it was left");
    }
  }
  return run;
}

}  // namespace windwright::campaign
