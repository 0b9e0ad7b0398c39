// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "base/files.h"
#include "base/json.h"
#include "bench/bench.h"
#include "campaign/proof.h"
#include "campaign/prover.h"
#include "campaign/readiness.h"
#include "fresh_folder.h"
#include "metrology/certificate.h"
#include "twin/simulated_bench.h"

#include <boost/json.hpp>
#include <gtest/gtest.h>

#include <filesystem>
#include <string>
#include <vector>

namespace windwright::campaign {

inline std::string with(std::string text, const std::string& from, const std::string& to) {
  const auto at = text.find(from);
  EXPECT_NE(at, std::string::npos) << from;
  return text.replace(at, from.size(), to);
}

/// An example's bench in a folder of its own, without certificates.
inline std::filesystem::path copied_bench(const std::filesystem::path& folder,
                                          const std::string& example = "saltmarsh-college") {
  const auto demo = std::filesystem::path(SOURCE_FOLDER) / "examples" / example;
  std::filesystem::copy(demo, folder, std::filesystem::copy_options::recursive);
  std::filesystem::remove_all(folder / "certificates");
  return folder / "bench.toml";
}

/// Proves the interlocks as they are.
inline void prove(const bench::Bench& bench) {
  twin::SimulatedBench device(bench, twin::Pace::as_fast_as_possible);
  keep_proof(bench, prove_interlocks(bench, device, {.person = "test"}));
}

/// Calibrates every channel through the simulated bench, proves its interlocks, and lays the
/// certificates where they belong.
inline void certify(const bench::Bench& bench) {
  twin::SimulatedBench device(bench, twin::Pace::as_fast_as_possible);
  for (std::size_t i = 0; i < bench.channels.size(); ++i) {
    std::vector<Reading> readings;
    const auto certificate = calibrate_channel(bench, i, device, readings);
    std::filesystem::create_directories(bench.channels[i].certificate.parent_path());
    base::write_whole(bench.channels[i].certificate,
                      base::json_text(metrology::to_json(certificate)));
  }
  prove(bench);
}

}  // namespace windwright::campaign
