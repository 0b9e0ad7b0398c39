// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "base/clock.h"

#include <cstdint>
#include <filesystem>
#include <string>
#include <vector>

namespace windwright::catalogue {

struct FileNote {
  std::string name;  // relative to the run's folder, or the recording's own name
  std::int64_t bytes;
  std::string sha256;
};

struct PointNote {
  int number;
  std::string settings;  // "blade_count = 3, pitch_deg = 5"
  base::UtcTime start;
  bool settled;
  std::int64_t first_sample;
  std::int64_t samples;
};

struct CertificateNote {
  std::string channel;
  std::string model;
  base::UtcTime date;
  base::UtcTime valid_until;
  std::string standard;
  std::string sha256;  // of its text
};

/// What a catalogue says of one run or recording, read from its files.
struct Entry {
  enum class Kind { run, recording };
  Kind kind;
  std::filesystem::path path;  // absolute: the run's folder or the recording
  std::string title;           // of the campaign; of a recording its device
  std::string bench;
  std::string operator_name;  // empty where not known
  std::string question;
  std::string answer;  // of the verdict; empty before it was reduced
  std::string software_version;
  base::UtcTime start;
  std::int64_t samples;
  double sample_rate_hz;
  std::int64_t gaps;
  bool complete;  // of a run: all its points are there
  std::vector<PointNote> points;
  std::vector<CertificateNote> certificates;
  /// What results are made from: of a run everything but what reduce and report write again, and
  /// nothing as long as it is not complete.
  std::vector<FileNote> files;
  std::string text;  // all that is to be found by a search, a line a thing
};

/// @param path  a run folder or a recording
/// @throws BadInput  neither
Entry entry_of(const std::filesystem::path& path);

/// The files of an entry as they are now.
std::vector<FileNote> files_of(Entry::Kind kind, const std::filesystem::path& path);

}  // namespace windwright::catalogue
