// SPDX-License-Identifier: Apache-2.0
#include "cli/guarded.h"

#include "bench/certificates.h"
#include "guard/interlocks.h"

#include <algorithm>
#include <chrono>
#include <memory>
#include <optional>
#include <string>
#include <vector>

namespace windwright::cli {

guard::Judge interlocks_of(const bench::Bench& bench,
                           const std::vector<metrology::Certificate>& certificates,
                           const std::filesystem::path& folder) {
  // shared: a judge is copied about as a function, the interlocks have a memory
  auto interlocks = std::make_shared<guard::Interlocks>(
      bench, certificates, guard::Interlocks::Options{.folder = folder});
  return [interlocks](const bench::SampleBlock& block) -> std::optional<std::string> {
    const std::optional<guard::Trip> trip = interlocks->judge(block);
    return trip ? std::optional(in_words(*trip)) : std::nullopt;
  };
}

Guarded::Guarded(const bench::Bench& bench, const std::filesystem::path& folder) : watch_(bench) {
  std::vector<metrology::Certificate> certificates;
  for (const auto& found : bench::certificates_there_are(bench)) {
    if (!found) return;
    certificates.push_back(*found);
  }
  judge_ = interlocks_of(bench, certificates, folder);
}

void Guarded::begin() {
  watch_.begin(std::chrono::steady_clock::now());
}

std::optional<std::string> Guarded::look(const bench::SampleBlock& block,
                                         const std::optional<std::string>& own_cause) {
  return watch_.look(block, own_cause, std::chrono::steady_clock::now());
}

std::optional<std::string> Guarded::look_and_judge(const bench::SampleBlock& block) {
  return look(block, judge_ ? judge_(block) : std::nullopt);
}

void Guarded::stand(bool standing) {
  const auto now = std::chrono::steady_clock::now();
  standing ? watch_.stand(now) : watch_.drive(now);
}

}  // namespace windwright::cli
