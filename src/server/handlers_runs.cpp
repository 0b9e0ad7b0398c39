// SPDX-License-Identifier: Apache-2.0
// Runs and recordings of the catalogue, their files and windows of their samples.
#include "analysis/window_json.h"
#include "base/files.h"
#include "base/json.h"
#include "base/text.h"
#include "campaign/logbook.h"
#include "catalogue/catalogue.h"
#include "recording/recording.h"
#include "server/body.h"
#include "server/call.h"

#include <boost/json.hpp>
#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <filesystem>
#include <optional>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

namespace windwright::server {

namespace json = boost::json;
namespace fs = std::filesystem;

namespace {

using catalogue::Catalogue;
using catalogue::Listed;

constexpr long long most_bins = 20'000;

struct Product {
  std::string_view name;
  std::string_view type;
  bool shown;  // in the browser; else saved
};
constexpr std::array products{Product{"report.html", "text/html; charset=utf-8", true},
                              Product{"report.pdf", "application/pdf", true},
                              Product{"results.json", "application/json", false},
                              Product{"points.csv", "text/csv; charset=utf-8", false},
                              Product{"curves.csv", "text/csv; charset=utf-8", false},
                              Product{"recording.h5", "application/octet-stream", false},
                              Product{"campaign.toml", "text/plain; charset=utf-8", false},
                              Product{"bench.toml", "text/plain; charset=utf-8", false},
                              Product{"logbook.jsonl", "text/plain; charset=utf-8", false}};

// BENCH.FOLDER of runs in this server's folder, else the number in the catalogue.
std::string id_of(Serving& serving, const Listed& entry) {
  const fs::path parent = entry.path.parent_path();
  for (const auto& desk : serving.benches()) {
    if (fs::weakly_canonical(desk->runs) == fs::weakly_canonical(parent)) {
      return fmt::format("{}.{}", desk->id, entry.path.filename().string());
    }
  }
  return std::to_string(entry.id);
}

Listed find_run(Call& call) {
  const std::string& id = call.name("run");
  call.serving.writing().wait();  // what has ended is entered
  Catalogue catalogue = Catalogue::open(call.serving.catalogue(), true);
  for (Listed& entry : catalogue.list()) {
    if (id_of(call.serving, entry) == id) return std::move(entry);
  }
  throw station::Refusal(404, fmt::format("there is no run '{}'", id), "GET /runs");
}

std::string state_of(Serving& serving, const std::string& id, const Listed& entry) {
  for (const auto& desk : serving.benches()) {
    if (desk->campaigns.conducted() == id) return "conducting";
  }
  return entry.complete ? "complete" : "interrupted";
}

json::object run_json(Serving& serving, const Listed& entry) {
  const std::string id = id_of(serving, entry);
  return {{"id", id},
          {"kind", entry.kind == catalogue::Entry::Kind::run ? "run" : "recording"},
          {"title", entry.title},
          {"bench", entry.bench},
          {"operator", entry.operator_name},
          {"start", base::utc_text(entry.start)},
          {"points", entry.points},
          {"samples", entry.samples},
          {"state", state_of(serving, id, entry)},
          {"answer", entry.answer}};
}

fs::path recording_of(const Listed& entry) {
  return entry.kind == catalogue::Entry::Kind::run ? entry.path / "recording.h5" : entry.path;
}

fs::path file_of(const Listed& entry, std::string_view name) {
  if (entry.kind == catalogue::Entry::Kind::recording) {
    return name == "recording.h5" ? entry.path : fs::path();
  }
  return entry.path / name;
}

analysis::WindowRequest window_of(Call& call) {
  const Listed entry = find_run(call);
  const std::string* channel = call.target.find("channel");
  if (channel == nullptr)
    throw station::Refusal(422, "channel is missing", "the name of a channel");
  constexpr double infinity = std::numeric_limits<double>::infinity();
  return {.file = recording_of(entry),
          .channel = *channel,
          .from_s = number_parameter(call.target, "from_s", -infinity),
          .to_s = number_parameter(call.target, "to_s", infinity)};
}

std::int64_t bins_of(const Call& call) {
  const long long bins = whole_parameter(call.target, "bins", 1000);
  if (bins < 1 || bins > most_bins) {
    throw station::Refusal(422, fmt::format("bins is {}", bins), fmt::format("1 to {}", most_bins));
  }
  return bins;
}

// `bytes=FIRST-LAST`, one range. Source: RFC 9110, 14.
std::optional<std::pair<std::uint64_t, std::uint64_t>> range_of(std::string_view text,
                                                                std::uint64_t size) {
  constexpr std::string_view unit = "bytes=";
  if (!text.starts_with(unit) || text.find(',') != std::string_view::npos) return std::nullopt;
  text.remove_prefix(unit.size());
  const std::size_t dash = text.find('-');
  if (dash == std::string_view::npos) return std::nullopt;
  const auto first = base::number_from_text(text.substr(0, dash));
  const auto last = base::number_from_text(text.substr(dash + 1));
  const auto whole = static_cast<double>(size);
  const auto bad = [&](double value) {
    return value != std::floor(value) || value < 0.0 || value > 1e15;
  };
  if ((first && bad(*first)) || (last && bad(*last)) || (!first && !last)) return std::nullopt;
  const double from = first ? *first : std::max(0.0, whole - *last);
  const double to = first && last ? std::min(*last, whole - 1.0) : whole - 1.0;
  if (from > to || size == 0) {
    station::Refusal refusal(416, "there is no such range", fmt::format("up to {} bytes", size));
    throw refusal;
  }
  return std::pair(static_cast<std::uint64_t>(from), static_cast<std::uint64_t>(to - from) + 1);
}

}  // namespace

Answer runs(Call& call) {
  call.serving.writing().wait();
  Catalogue catalogue = Catalogue::open(call.serving.catalogue(), true);
  const std::string* search = call.target.find("search");
  const std::string* bench = call.target.find("bench");
  const long long limit = whole_parameter(call.target, "limit", 200);
  if (limit < 1 || limit > 10'000)
    throw station::Refusal(422, "limit is outside its range", "1 to 10000");
  std::string wanted_bench;
  if (bench != nullptr) {
    const BenchDesk* desk = call.serving.find(*bench);
    wanted_bench = desk != nullptr ? desk->station.bench().name : *bench;
  }
  json::array list;
  const auto add = [&](const Listed& entry, const std::string& line) {
    if (!wanted_bench.empty() && entry.bench != wanted_bench) return;
    if (list.size() >= static_cast<std::size_t>(limit)) return;
    json::object run = run_json(call.serving, entry);
    if (!line.empty()) run["line"] = line;
    list.push_back(std::move(run));
  };
  if (search != nullptr && !base::trimmed(*search).empty()) {
    // Of all benches, of which one may be wanted.
    constexpr std::int64_t most_hits = 1000;
    for (const catalogue::Hit& hit : catalogue.search(*search, most_hits).hits)
      add(hit.entry, hit.line);
  } else {
    for (const Listed& entry : catalogue.list())
      add(entry, {});
  }
  return json_answer(json::object{{"runs", std::move(list)}});
}

Answer run_details(Call& call) {
  const Listed entry = find_run(call);
  Catalogue catalogue = Catalogue::open(call.serving.catalogue(), true);
  json::array notes;
  for (const catalogue::Note& note : catalogue.notes(entry.id)) {
    notes.push_back(json::object{
        {"time", base::utc_text(note.time)}, {"author", note.author}, {"text", note.text}});
  }
  json::array channels;
  json::array derived;
  std::optional<recording::Recording> recording;
  std::optional<analysis::SampleTimes> times;  // blades that are changed by hand make a gap
  if (fs::exists(recording_of(entry))) {
    recording.emplace(recording_of(entry));
    channels = json::value_from(recording->channels()).as_array();
    for (const bench::DerivedChannel& each : recording->derivation().list) {
      derived.push_back(json::object{{"name", each.name},
                                     {"long_name", each.long_name},
                                     {"unit", each.unit},
                                     {"equation", each.equation}});
    }
    times.emplace(*recording);
  }
  json::array points;
  for (const catalogue::PointNote& point : catalogue.points(entry.id)) {
    json::object one{{"number", point.number},
                     {"settings", point.settings},
                     {"start", base::utc_text(point.start)},
                     {"settled", point.settled},
                     {"first_sample", point.first_sample},
                     {"samples", point.samples}};
    if (times && point.samples > 0) {
      one["from_s"] = times->time_s(point.first_sample);
      one["to_s"] =
          times->time_s(point.first_sample + point.samples - 1) + 1.0 / recording->sample_rate_hz();
    }
    points.push_back(std::move(one));
  }
  json::array certificates;
  for (const catalogue::CertificateNote& each : catalogue.certificates(entry.id)) {
    certificates.push_back(json::object{{"channel", each.channel},
                                        {"model", each.model},
                                        {"date", base::utc_text(each.date)},
                                        {"valid_until", base::utc_text(each.valid_until)},
                                        {"standard", each.standard}});
  }
  json::array files;
  for (const Product& product : products) {
    const fs::path file = file_of(entry, product.name);
    if (!file.empty() && fs::is_regular_file(file)) files.emplace_back(product.name);
  }
  return json_answer(json::object{{"run", run_json(call.serving, entry)},
                                  {"notes", std::move(notes)},
                                  {"points", std::move(points)},
                                  {"certificates", std::move(certificates)},
                                  {"files", std::move(files)},
                                  {"channels", std::move(channels)},
                                  {"derived", std::move(derived)}});
}

Answer results(Call& call) {
  const fs::path file = file_of(find_run(call), "results.json");
  if (file.empty() || !fs::is_regular_file(file)) {
    throw station::Refusal(404, "it has no results yet", "a run that was reduced");
  }
  return {.status = 200, .body = base::text_of_file(file)};
}

Answer download(Call& call) {
  const std::string& name = call.name("file");
  const auto product = std::find_if(products.begin(), products.end(),
                                    [&](const Product& each) { return each.name == name; });
  const fs::path file = product == products.end() ? fs::path() : file_of(find_run(call), name);
  if (file.empty() || !fs::is_regular_file(file)) {
    throw station::Refusal(404, fmt::format("it has no file '{}'", name), "one of its files");
  }
  const std::uint64_t size = fs::file_size(file);
  Answer answer{.status = 200, .content_type = std::string(product->type)};
  answer.file = FilePart{.file = file, .first = 0, .count = size};
  if (const auto range = range_of(call.request.range, size)) {
    answer.status = 206;
    answer.file->first = range->first;
    answer.file->count = range->second;
    answer.headers.emplace_back(
        "Content-Range",
        fmt::format("bytes {}-{}/{}", range->first, range->first + range->second - 1, size));
  }
  answer.headers.emplace_back("Accept-Ranges", "bytes");
  answer.headers.emplace_back(
      "Content-Disposition",
      fmt::format("{}; filename=\"{}-{}\"", product->shown ? "inline" : "attachment",
                  call.name("run"), name));
  if (name == "report.html") {
    // The report has its style and pictures inside, and neither script nor anything from outside.
    answer.headers.emplace_back(
        "Content-Security-Policy",
        "default-src 'none'; style-src 'unsafe-inline'; img-src data:; "
        "font-src data:; frame-ancestors 'self'; sandbox allow-same-origin");
  }
  return answer;
}

Answer run_logbook(Call& call) {
  const fs::path file = file_of(find_run(call), "logbook.jsonl");
  json::array lines;
  if (!file.empty() && fs::is_regular_file(file)) {
    std::int64_t number = 0;
    for (const campaign::LogbookLine& line : campaign::logbook_lines(file)) {
      json::value object = base::json_from_text(line.text, line.place);
      object.as_object()["number"] = ++number;
      lines.push_back(std::move(object));
    }
  }
  return json_answer(json::object{{"lines", std::move(lines)}, {"more", false}});
}

Answer note_run(Call& call) {
  const std::string text(base::trimmed(text_member(call.body, "text")));
  if (text.empty() || text.size() > 4000) {
    throw station::Refusal(422, "text is empty or too long", "1 to 4000 bytes");
  }
  const Listed entry = find_run(call);
  Catalogue::open(call.serving.catalogue(), true)
      .note(entry.path, {.time = base::host_now(), .author = call.person(), .text = text});
  return run_details(call);
}

Answer window(Call& call) {
  const analysis::ViewRequest request{.window = window_of(call), .bins = bins_of(call)};
  return json_answer(analysis::to_json(std::vector{analysis::view_of(request)}));
}

Answer spectrum(Call& call) {
  analysis::SpectrumRequest request{.window = window_of(call)};
  request.resolution_Hz = number_parameter(call.target, "resolution_Hz", 0.0);
  return json_answer(analysis::to_json(std::vector{analysis::spectrum_of(request)}));
}

Answer statistics(Call& call) {
  return json_answer(analysis::to_json(analysis::statistics_of(window_of(call))));
}

Answer pairs(Call& call) {
  const std::string* against = call.target.find("against");
  if (against == nullptr)
    throw station::Refusal(422, "against is missing", "the name of a channel");
  return json_answer(analysis::to_json(
      analysis::pairs_of({.window = window_of(call), .against = *against, .bins = bins_of(call)})));
}

Answer live_without_upgrade(Call&) {
  throw station::Refusal(400, "this path is a WebSocket", "an Upgrade");
}

}  // namespace windwright::server
