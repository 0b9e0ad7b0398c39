// SPDX-License-Identifier: Apache-2.0
#include "server/serving.h"

#include "acquisition/ring.h"
#include "base/errors.h"
#include "base/json.h"
#include "campaign/guard_logbook.h"
#include "catalogue/catalogue.h"
#include "catalogue/entry.h"
#include "server/exchange.h"

#include <boost/json.hpp>
#include <fmt/format.h>

#include <algorithm>
#include <cctype>
#include <exception>
#include <filesystem>
#include <memory>
#include <optional>
#include <string>
#include <string_view>
#include <utility>

namespace windwright::server {

namespace json = boost::json;
namespace fs = std::filesystem;

namespace {

// The cause of a trip that nobody has reset, from the bench's logbook.
std::string tripped_before(const Journal& logbook) {
  for (std::int64_t before = 0;;) {
    const Journal::Page page = logbook.page("", before, 200);
    for (const std::string& text : page.lines) {
      const json::object line = base::json_from_text(text, "logbook").as_object();
      const std::string event = base::json_string(line, "event", "logbook");
      if (event == "reset") return {};
      if (event == "trip") return base::json_string(line, "text", "logbook");
      before = line.at("number").to_number<std::int64_t>();
    }
    if (!page.more) return {};
  }
}

std::string catalogue_location(const ServingOptions& options) {
  if (!options.catalogue.empty()) return options.catalogue;
  return catalogue::catalogue_of_folder(options.runs)
      .value_or((options.runs / "catalogue.sqlite").string());
}

station::StationOptions with_trip(station::StationOptions options, const Journal& logbook) {
  options.tripped = tripped_before(logbook);
  return options;
}

bool is_logged(std::string_view event) {
  return event != "known_input";  // shown while it lasts; the readings' file keeps it
}

}  // namespace

std::string bench_id(const fs::path& bench_file) {
  std::string id;
  const std::string name = fs::weakly_canonical(bench_file).parent_path().filename().string();
  for (const char letter : name) {
    const auto byte = static_cast<unsigned char>(letter);
    if (std::isalnum(byte) != 0 && byte < 0x80) {
      id += static_cast<char>(std::tolower(byte));
    } else if (!id.empty() && id.back() != '-') {
      id += '-';
    }
  }
  while (!id.empty() && id.back() == '-')
    id.pop_back();
  return id.empty() ? "bench" : id;
}

BenchDesk::BenchDesk(Serving& all, std::size_t at, const station::StationOptions& options)
    : serving(all),
      index(at),
      id(options.id),
      logbook(options.folder / "logbook.jsonl"),
      station(
          with_trip(options, logbook),
          {.on_block =
               [this] {
                 if (serving.listener().on_block) serving.listener().on_block(index);
               },
           .on_event = [this](std::string_view event,
                              json::object members) { record(event, std::move(members)); },
           .on_trip_ring =
               [this](std::shared_ptr<const acquisition::Ring> ring) { keep(std::move(ring)); }}),
      checks(station),
      calibrations(station),
      proofs(station),
      campaigns(station, options.folder,
                {.on_event = [this](std::string_view event,
                                    json::object members) { record(event, std::move(members)); },
                 .enter = [this](const fs::path& run) { serving.enter(run); },
                 .run_ended = [this] { lease.run_ended(); }}),
      lease(station,
            [this](std::string_view what, const std::string& text) {
              record("lease", {{"what", what}, {"text", text}});
            }),
      runs(options.folder) {}

BenchDesk::~BenchDesk() {
  station.close();  // before anything that its thread calls is gone
}

void BenchDesk::record(std::string_view event, json::object members) {
  serving.writing().add([this, event = std::string(event), members = std::move(members),
                         time = base::host_now()]() mutable {
    json::object message{
        {"type", "event"}, {"bench", id}, {"time", base::utc_text(time)}, {"event", event}};
    for (const auto& [key, value] : members)
      message[key] = value;
    if (is_logged(event)) {
      try {
        if (event == "trip")
          campaign::keep_trip(station.bench(), std::string(members.at("text").as_string()));
        message["number"] = logbook.add(time, event, members);
      } catch (const std::exception& error) {  // the top of the writing thread's work: a full disk
        message["problem"] = error.what();
      }
    }
    if (serving.listener().on_message)
      serving.listener().on_message(index, base::json_line(message));
  });
}

void BenchDesk::keep(std::shared_ptr<const acquisition::Ring> ring) {
  serving.writing().add([this, ring = std::move(ring)] {
    const fs::path file = acquisition::next_trip_recording(runs);
    try {
      ring->save(file, {.first = ring->first(), .count = ring->end() - ring->first()});
      record("trip_recording", {{"file", file.filename().string()}});
      serving.enter(file);
    } catch (const std::exception& error) {  // the top of the writing thread's work: a full disk
      record("trip_recording", {{"problem", error.what()}});
    }
  });
}

std::string BenchDesk::note(const std::string& person, const std::string& text) {
  const base::UtcTime time = base::host_now();
  const std::int64_t number = logbook.add(time, "note", {{"person", person}, {"text", text}});
  json::object line{{"time", base::utc_text(time)},
                    {"event", "note"},
                    {"person", person},
                    {"text", text},
                    {"number", number}};
  std::string answer = base::json_line(line);
  line["type"] = "event";
  line["bench"] = id;
  if (serving.listener().on_message) serving.listener().on_message(index, base::json_line(line));
  return answer;
}

Serving::Serving(const ServingOptions& options, ServingListener listener)
    : options_(options),
      listener_(std::move(listener)),
      started_(base::host_now()),
      catalogue_(catalogue_location(options)),
      audit_(options.runs / "audit.jsonl") {
  if (options.accounts) accounts_.emplace(*options.accounts);
  catalogue::Catalogue::open(catalogue_, true);  // said now if it cannot be
  std::set<std::string> ids;
  for (const fs::path& file : options.benches) {
    std::string id = bench_id(file);
    for (int copy = 2; !ids.insert(id).second; ++copy)
      id = fmt::format("{}-{}", bench_id(file), copy);
    const fs::path folder = options.runs / id;
    fs::create_directories(folder);
    benches_.push_back(std::make_unique<BenchDesk>(
        *this, benches_.size(),
        station::StationOptions{
            .id = id, .bench_file = file, .folder = folder, .pace = options.pace, .tripped = {}}));
    // What an earlier life of this server left behind, interrupted or not entered.
    for (const auto& entry : fs::directory_iterator(folder)) {
      if (entry.is_directory() && fs::exists(entry.path() / "bookmark.json")) enter(entry.path());
    }
  }
  audit_.add(started_, "begin", {{"benches", benches_.size()}});
}

Serving::~Serving() {
  for (const auto& desk : benches_)
    desk->station.close();
  writing_.wait();
}

BenchDesk* Serving::find(std::string_view id) {
  for (const auto& desk : benches_) {
    if (desk->station.id() == id) return desk.get();
  }
  return nullptr;
}

void Serving::enter(const fs::path& run) {
  writing_.add([this, run] {
    try {
      const catalogue::Entry entry = catalogue::entry_of(run);
      catalogue::Catalogue::open(catalogue_, true).add(entry);
    } catch (const std::exception& error) {  // the measurement stands, whatever the catalogue does
      try {
        audit_.add(base::host_now(), "not_entered",
                   {{"run", run.string()}, {"text", error.what()}});
      } catch (const std::exception&) {
        return;  // a disk that takes nothing: the bench's own interlocks see to that
      }
    }
  });
}

void Serving::look() {
  for (const auto& desk : benches_)
    desk->lease.look();
}

}  // namespace windwright::server
