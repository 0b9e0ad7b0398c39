// SPDX-License-Identifier: Apache-2.0
#include "catalogue/catalogue.h"
#include "catalogue/entry.h"
#include "catalogue/tables.h"
#include "recording/recording.h"

#include <fmt/format.h>
#include <soci/soci.h>

#include <algorithm>
#include <cstdint>
#include <exception>
#include <filesystem>
#include <set>
#include <string>
#include <vector>

namespace windwright::catalogue {

namespace {

namespace fs = std::filesystem;
using soci::into;
using soci::use;

std::vector<FileNote> files_entered(soci::session& session, std::int64_t id) {
  std::vector<FileNote> files;
  const long long entry = id;
  FileNote each{};
  long long bytes = 0;
  soci::statement rows = (session.prepare << "SELECT name, bytes, sha256 FROM files WHERE "
                                             "entry_id = :id ORDER BY name",
                          use(entry), into(each.name), into(bytes), into(each.sha256));
  rows.execute();
  while (rows.fetch()) {
    each.bytes = bytes;
    files.push_back(each);
  }
  return files;
}

const FileNote* find(const std::vector<FileNote>& files, const std::string& name) {
  const auto found = std::find_if(files.begin(), files.end(),
                                  [&](const FileNote& file) { return file.name == name; });
  return found == files.end() ? nullptr : &*found;
}

std::vector<std::string> differences(const std::vector<FileNote>& entered,
                                     const std::vector<FileNote>& now) {
  std::vector<std::string> differences;
  for (const FileNote& file : entered) {
    const FileNote* found = find(now, file.name);
    if (found == nullptr) {
      differences.push_back(fmt::format("{} is gone", file.name));
    } else if (found->bytes != file.bytes) {
      differences.push_back(
          fmt::format("{} has {} bytes, not {}", file.name, found->bytes, file.bytes));
    } else if (found->sha256 != file.sha256) {
      differences.push_back(fmt::format("{} has changed, at the same length", file.name));
    }
  }
  for (const FileNote& file : now) {
    if (find(entered, file.name) == nullptr)
      differences.push_back(fmt::format("{} is new", file.name));
  }
  return differences;
}

std::vector<std::string> look_at(const Listed& entry, const std::vector<FileNote>& entered) {
  if (!fs::exists(entry.path)) return {"is gone"};
  const bool is_run = entry.kind == Entry::Kind::run;
  if (fs::is_directory(entry.path) != is_run) return {"is something else now"};
  if (!entry.complete) return {};
  try {
    std::vector<std::string> wrong = differences(entered, files_of(entry.kind, entry.path));
    const recording::Recording recording(is_run ? entry.path / "recording.h5" : entry.path);
    if (recording.samples() != entry.samples)
      wrong.push_back(fmt::format("holds {} samples, not {}", recording.samples(), entry.samples));
    return wrong;
  } catch (const std::exception& error) {
    return {error.what()};  // what cannot be read does not agree; the others are still looked at
  }
}

}  // namespace

Agreement Catalogue::check() {
  Agreement agreement{.looked_at = 0, .elsewhere = 0, .disagreements = {}, .not_entered = {}};
  std::set<fs::path> recordings;
  for (const Listed& entry : list()) {
    if (!tables_->is_here(entry.host)) {
      ++agreement.elsewhere;
      continue;
    }
    ++agreement.looked_at;
    recordings.insert(entry.kind == Entry::Kind::run ? entry.path / "recording.h5" : entry.path);
    const auto entered =
        tables_->in_words([&] { return files_entered(tables_->session, entry.id); });
    for (std::string& what : look_at(entry, entered))
      agreement.disagreements.push_back({.path = entry.path, .what = std::move(what)});
  }
  if (tables_->folder.empty()) return agreement;
  for (const auto& each : fs::recursive_directory_iterator(
           tables_->folder, fs::directory_options::skip_permission_denied)) {
    if (each.path().extension() == ".h5" && each.is_regular_file() &&
        !recordings.contains(each.path()))
      agreement.not_entered.push_back(each.path());
  }
  std::sort(agreement.not_entered.begin(), agreement.not_entered.end());
  return agreement;
}

}  // namespace windwright::catalogue
