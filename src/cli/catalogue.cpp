// SPDX-License-Identifier: Apache-2.0
#include "catalogue/catalogue.h"

#include "base/clock.h"
#include "base/errors.h"
#include "base/json.h"
#include "catalogue/entry.h"
#include "cli/verbs.h"

#include <CLI/CLI.hpp>
#include <boost/json.hpp>
#include <fmt/format.h>
#include <fmt/ranges.h>

#include <cstdint>
#include <filesystem>
#include <iterator>
#include <memory>
#include <optional>
#include <string>
#include <utility>
#include <vector>

namespace windwright::cli {

namespace {

namespace fs = std::filesystem;
namespace json = boost::json;
using catalogue::Catalogue;
using catalogue::Listed;

struct Request {
  std::string catalogue;
  std::vector<std::string> paths;
  std::vector<std::string> words;
  std::string path;
  std::string text;
  std::string by;
  std::int64_t most = 100;
  bool json = false;
};

// The one that was named, else that of the folder where the program runs.
Catalogue opened(const Request& request, bool may_create) {
  if (!request.catalogue.empty()) return Catalogue::open(request.catalogue, may_create);
  const std::optional<std::string> found = catalogue::catalogue_of_folder(".");
  if (!found) {
    throw base::BadInput("--catalogue", "is not given, and this folder has no catalogue",
                         "--catalogue FILE or postgresql://USER@HOST/DATABASE, or a folder with "
                         "catalogue.sqlite or catalogue.url");
  }
  return Catalogue::open(*found, false);
}

const char* kind_of(const Listed& entry) {
  return entry.kind == catalogue::Entry::Kind::run ? "run" : "recording";
}

json::object object_of(const Listed& entry) {
  return {{"id", entry.id},
          {"kind", kind_of(entry)},
          {"path", entry.path.string()},
          {"host", entry.host},
          {"title", entry.title},
          {"bench", entry.bench},
          {"operator", entry.operator_name},
          {"answer", entry.answer},
          {"start_utc", base::utc_text(entry.start)},
          {"samples", entry.samples},
          {"points", entry.points},
          {"complete", entry.complete}};
}

void print_line(const Listed& entry) {
  fmt::print("{:>4}  {}  {:<9}  {:>12}  {}{}  {}\n", entry.id,
             base::utc_text(entry.start).substr(0, 16), kind_of(entry),
             entry.points > 0 ? fmt::format("{} points", entry.points)
                              : fmt::format("{} samples", entry.samples),
             entry.title, entry.complete ? "" : " (not complete)", entry.path.string());
}

int add_all(const Request& request) {
  std::vector<catalogue::Entry> entries;
  for (const std::string& path : request.paths)
    entries.push_back(catalogue::entry_of(path));
  Catalogue catalogue = opened(request, true);
  json::array added;
  for (const catalogue::Entry& entry : entries) {
    const std::int64_t id = catalogue.add(entry);
    added.push_back(json::object{{"id", id}, {"path", entry.path.string()}});
    if (!request.json) fmt::print("{:>4}  {}  {}\n", id, entry.title, entry.path.string());
  }
  if (request.json) fmt::print("{}", base::json_text(json::object{{"added", std::move(added)}}));
  return done;
}

json::array notes_of(Catalogue& catalogue, const Listed& entry, bool quiet) {
  json::array notes;
  for (const catalogue::Note& note : catalogue.notes(entry.id)) {
    notes.push_back(json::object{
        {"time", base::utc_text(note.time)}, {"by", note.author}, {"text", note.text}});
    if (!quiet)
      fmt::print("      {} {}{}{}\n", base::utc_text(note.time).substr(0, 10), note.author,
                 note.author.empty() ? "" : ": ", note.text);
  }
  return notes;
}

int list(const Request& request) {
  Catalogue catalogue = opened(request, false);
  json::array entries;
  for (const Listed& entry : catalogue.list()) {
    if (!request.json) print_line(entry);
    json::object object = object_of(entry);
    object["notes"] = notes_of(catalogue, entry, request.json);
    entries.push_back(std::move(object));
  }
  if (request.json)
    fmt::print("{}", base::json_text(json::object{{"entries", std::move(entries)}}));
  return done;
}

Listed entry_at(Catalogue& catalogue, const std::string& path) {
  const fs::path wanted = fs::weakly_canonical(fs::absolute(path));
  if (std::optional<Listed> here = catalogue.at(wanted)) return *std::move(here);
  // Or what another computer entered under that path.
  for (Listed& entry : catalogue.list()) {
    if (entry.path == wanted) return std::move(entry);
  }
  throw base::BadInput(path, "is not in the catalogue", "a run or recording that was added");
}

int show(const Request& request) {
  Catalogue catalogue = opened(request, false);
  const Listed entry = entry_at(catalogue, request.path);
  json::object document = object_of(entry);
  if (!request.json) print_line(entry);
  json::array points;
  for (const catalogue::PointNote& point : catalogue.points(entry.id)) {
    points.push_back(json::object{{"number", point.number},
                                  {"settings", point.settings},
                                  {"start_utc", base::utc_text(point.start)},
                                  {"settled", point.settled},
                                  {"first_sample", point.first_sample},
                                  {"samples", point.samples}});
    if (!request.json)
      fmt::print("      point {:<4} {}  {}{}\n", point.number,
                 base::utc_text(point.start).substr(11, 8), point.settings,
                 point.settled ? "" : " (not settled)");
  }
  json::array certificates;
  for (const catalogue::CertificateNote& each : catalogue.certificates(entry.id)) {
    certificates.push_back(json::object{{"channel", each.channel},
                                        {"model", each.model},
                                        {"date", base::utc_text(each.date)},
                                        {"valid_until", base::utc_text(each.valid_until)},
                                        {"standard", each.standard},
                                        {"sha256", each.sha256}});
    if (!request.json)
      fmt::print("      {:<20} {:<14} {} to {}  {}\n", each.channel, each.model,
                 base::utc_text(each.date).substr(0, 10),
                 base::utc_text(each.valid_until).substr(0, 10), each.standard);
  }
  document["points_conducted"] = std::move(points);
  document["certificates"] = std::move(certificates);
  document["notes"] = notes_of(catalogue, entry, request.json);
  if (request.json) fmt::print("{}", base::json_text(document));
  return done;
}

int search(const Request& request) {
  Catalogue catalogue = opened(request, false);
  const catalogue::Found all =
      catalogue.search(fmt::format("{}", fmt::join(request.words, " ")), request.most);
  json::array hits;
  for (const catalogue::Hit& hit : all.hits) {
    json::object object = object_of(hit.entry);
    object["line"] = hit.line;
    hits.push_back(std::move(object));
    if (request.json) continue;
    print_line(hit.entry);
    fmt::print("      {}\n", hit.line);
  }
  if (request.json) {
    fmt::print("{}",
               base::json_text(json::object{{"hits", std::move(hits)}, {"found", all.found}}));
  } else if (all.found > std::ssize(all.hits)) {
    fmt::print("the newest {} of {}: more words find fewer, --most shows more\n", all.hits.size(),
               all.found);
  }
  return all.hits.empty() ? negative_verdict : done;
}

int note(const Request& request) {
  if (request.text.find_first_not_of(" \t\r\n") == std::string::npos)
    throw base::BadInput("TEXT", "is empty", "what is to be known about it");
  opened(request, false)
      .note(request.path, {.time = base::host_now(), .author = request.by, .text = request.text});
  if (request.json) fmt::print("{}", base::json_text(json::object{{"noted", request.path}}));
  return done;
}

int check(const Request& request) {
  const catalogue::Agreement agreement = opened(request, false).check();
  const int code = agreement.disagreements.empty() ? done : negative_verdict;
  json::array wrong;
  for (const catalogue::Disagreement& each : agreement.disagreements) {
    wrong.push_back(json::object{{"path", each.path.string()}, {"what", each.what}});
    if (!request.json) fmt::print("{}: {}\n", each.path.string(), each.what);
  }
  json::array not_entered;
  for (const fs::path& path : agreement.not_entered) {
    not_entered.emplace_back(path.string());
    if (!request.json) fmt::print("{}: is not entered\n", path.string());
  }
  if (request.json) {
    fmt::print("{}", base::json_text(json::object{{"looked_at", agreement.looked_at},
                                                  {"elsewhere", agreement.elsewhere},
                                                  {"disagreements", std::move(wrong)},
                                                  {"not_entered", std::move(not_entered)},
                                                  {"exit", code}}));
  } else {
    fmt::print("{} entries looked at, {} of other computers not; {} disagreements\n",
               agreement.looked_at, agreement.elsewhere, agreement.disagreements.size());
  }
  return code;
}

using Job = int (*)(const Request&);

CLI::App* add_job(CLI::App& verb, const char* name, const char* what,
                  const std::shared_ptr<Request>& request, std::pair<Job, int*> job) {
  CLI::App* made = verb.add_subcommand(name, what);
  made->add_option("--catalogue", request->catalogue,
                   "a file, or postgresql://USER@HOST/DATABASE; else the folder's own");
  made->add_flag("--json", request->json, "one JSON document on stdout");
  made->callback([request, job] { *job.second = job.first(*request); });
  return made;
}

}  // namespace

void add_catalogue(CLI::App& program, int& exit_code) {
  auto request = std::make_shared<Request>();  // shared: the callbacks outlive this function
  CLI::App* verb = program.add_subcommand(
      "catalogue",
      "Runs and recordings with their points, certificates, people and notes: "
      "enter, find, note, check");
  verb->require_subcommand(1);
  add_job(*verb, "add", "Enter runs and recordings, or bring them up to date", request,
          {add_all, &exit_code})
      ->add_option("PATH", request->paths, "run folders and recordings")
      ->required();
  add_job(*verb, "list", "All entries with their notes, newest first", request, {list, &exit_code});
  add_job(*verb, "show", "One entry with its points, certificates and notes", request,
          {show, &exit_code})
      ->add_option("PATH", request->path, "run folder or recording")
      ->required();
  CLI::App* searched =
      add_job(*verb, "search", "Entries with all these words, or words that begin with them",
              request, {search, &exit_code});
  searched->add_option("WORD", request->words, "words")->required();
  searched->add_option("--most", request->most, "so many of them, the newest")
      ->check(CLI::Range(1, 1'000'000))
      ->capture_default_str();
  CLI::App* noted = add_job(*verb, "note", "Add a note to an entry", request, {note, &exit_code});
  noted->add_option("PATH", request->path, "run folder or recording")->required();
  noted->add_option("TEXT", request->text, "the note")->required();
  noted->add_option("--by", request->by, "who says so");
  add_job(*verb, "check", "Does it agree with the files: lengths, hashes, samples?", request,
          {check, &exit_code});
  verb->footer(
      "Each of them takes --catalogue and --json. Ends with 1 where nothing is found, or where\n"
      "files are not as they were entered.\n"
      "Example:\n"
      "  windwright catalogue add my-bench/run --catalogue my-bench/catalogue.sqlite\n"
      "  windwright catalogue search pitch --catalogue my-bench/catalogue.sqlite");
}

}  // namespace windwright::cli
