// SPDX-License-Identifier: Apache-2.0
#include "catalogue/entry.h"

#include "base/clock.h"
#include "base/errors.h"
#include "base/json.h"
#include "base/sha256.h"
#include "base/text.h"
#include "campaign/conductor.h"
#include "campaign/logbook.h"
#include "metrology/certificate.h"
#include "recording/recording.h"

#include <boost/json.hpp>
#include <fmt/format.h>

#include <algorithm>
#include <cstdint>
#include <filesystem>
#include <string>
#include <string_view>
#include <vector>

namespace windwright::catalogue {

namespace {

namespace fs = std::filesystem;
namespace json = boost::json;

// What reduce and report write again, and what only serves to go on.
constexpr std::string_view products[] = {"points.csv",  "curves.csv", "results.json",
                                         "report.html", "report.pdf", "bookmark.json"};

std::string settings_text(const std::vector<campaign::Setting>& settings) {
  std::string text;
  for (const campaign::Setting& setting : settings) {
    text +=
        fmt::format("{}{} = {}", text.empty() ? "" : ", ", setting.actuator,
                    setting.position.empty() ? base::number_text(setting.value) : setting.position);
  }
  return text;
}

CertificateNote note_of(const metrology::Certificate& certificate, std::string_view text) {
  return {.channel = certificate.channel,
          .model = certificate.model,
          .date = certificate.date,
          .valid_until = certificate.valid_until,
          .standard = certificate.standard.name,
          .sha256 = base::sha256(text)};
}

void add_recording(Entry& entry, const fs::path& file) {
  const recording::Recording recording(file);
  entry.samples = recording.samples();
  entry.sample_rate_hz = recording.sample_rate_hz();
  entry.gaps = static_cast<std::int64_t>(recording.gaps().size());
  entry.start = recording.start();
  if (entry.bench.empty()) entry.bench = recording.device();
  for (const std::string& channel : recording.channels()) {
    const recording::ChannelNote note = recording.note(channel);
    entry.text += fmt::format("{}: {}\n", channel, note.long_name);
    if (note.certificate.empty()) continue;
    const auto certificate = metrology::certificate_from_text(
        note.certificate, fmt::format("{}: certificate of {}", file.string(), channel));
    entry.certificates.push_back(note_of(certificate, note.certificate));
    entry.text += fmt::format("certificate of {}: {}, {}\n", channel, certificate.model,
                              certificate.standard.name);
  }
}

bool is_complete(const fs::path& folder) {
  const auto lines = campaign::logbook_lines(folder / "logbook.jsonl");
  return std::any_of(lines.begin(), lines.end(),
                     [](const campaign::LogbookLine& line) { return line.event == "complete"; });
}

std::string answer_in(const fs::path& folder) {
  const fs::path file = folder / "results.json";
  if (!fs::is_regular_file(file)) return {};
  const json::value results = base::json_from_file(file);
  const json::value& verdict = base::json_member(results, "verdict", file.string() + ":1");
  return verdict.is_object() ? base::json_string(verdict, "answer", file.string() + ":1")
                             : std::string();
}

void add_run(Entry& entry) {
  const campaign::Run run = campaign::run_from_folder(entry.path);
  entry.title = run.campaign.title;
  entry.bench = run.bench.name;
  entry.operator_name = run.campaign.operator_name;
  entry.question = run.campaign.question.text;
  entry.answer = answer_in(entry.path);
  entry.software_version = run.software_version;
  entry.complete = is_complete(entry.path);
  add_recording(entry, run.recording);
  for (const campaign::TestPoint& point : run.points) {
    entry.points.push_back({.number = point.number,
                            .settings = settings_text(point.settings),
                            .start = point.start,
                            .settled = point.settled,
                            .first_sample = point.first_sample,
                            .samples = point.samples});
    entry.text += fmt::format("point {}: {}\n", point.number, entry.points.back().settings);
  }
  for (const campaign::Incident& incident : run.incidents)
    entry.text += fmt::format("{}: {}\n", incident.event, incident.text);
  if (!run.reason.empty()) entry.text += fmt::format("reason: {}\n", run.reason);
}

}  // namespace

std::vector<FileNote> files_of(Entry::Kind kind, const fs::path& path) {
  std::vector<FileNote> files;
  const auto add = [&files](const std::string& name, const fs::path& file) {
    files.push_back({.name = name,
                     .bytes = static_cast<std::int64_t>(fs::file_size(file)),
                     .sha256 = base::sha256_of_file(file)});
  };
  if (kind == Entry::Kind::recording) {
    add(path.filename().string(), path);
    return files;
  }
  for (const auto& each : fs::recursive_directory_iterator(path)) {
    const std::string name = each.path().lexically_relative(path).string();
    const bool product =
        std::find(std::begin(products), std::end(products), name) != std::end(products);
    if (each.is_regular_file() && !product && !name.ends_with(".part")) add(name, each.path());
  }
  std::sort(files.begin(), files.end(),
            [](const FileNote& a, const FileNote& b) { return a.name < b.name; });
  return files;
}

Entry entry_of(const fs::path& path) {
  if (!fs::exists(path)) {
    throw base::BadInput(path.string(), "does not exist", "a run folder or a recording");
  }
  Entry entry{};
  entry.path = fs::canonical(path);
  entry.kind = fs::is_directory(path) ? Entry::Kind::run : Entry::Kind::recording;
  if (entry.kind == Entry::Kind::run) {
    add_run(entry);
  } else {
    add_recording(entry, path);
    entry.title = entry.bench;
    entry.complete = true;
  }
  // What goes on still is not held against what it was.
  if (entry.complete) entry.files = files_of(entry.kind, entry.path);
  std::string head;
  for (const std::string& line :
       {entry.title, entry.bench, entry.operator_name, entry.question, entry.answer,
        entry.path.filename().string(), base::utc_text(entry.start).substr(0, 10)}) {
    if (!line.empty()) head += line + '\n';
  }
  entry.text = head + entry.text;
  return entry;
}

}  // namespace windwright::catalogue
