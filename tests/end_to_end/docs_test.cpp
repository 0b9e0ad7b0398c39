// SPDX-License-Identifier: Apache-2.0
// The commands that the pages show, run as they stand.
#include "base/table.h"
#include "end_to_end/program.h"

#include <gtest/gtest.h>

#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <string>

namespace windwright::end_to_end {
namespace {

namespace fs = std::filesystem;

std::string shell_blocks(const fs::path& page) {
  std::ifstream in(page);
  std::string script;
  bool inside = false;
  for (std::string line; std::getline(in, line);) {
    if (line.starts_with("```")) {
      inside = line == "```sh";
    } else if (inside) {
      script += line + '\n';
    }
  }
  return script;
}

// A folder like the source folder after a build, and the page's commands run in it.
void run_page(const fs::path& folder, const std::string& page, const std::string& before) {
  fs::create_symlink(fs::path(SOURCE_FOLDER) / "examples", folder / "examples");
  fs::create_directories(folder / "build/release");
  fs::create_symlink(fs::path(BUILD_FOLDER) / "bin", folder / "build/release/bin");
  const std::string commands = shell_blocks(fs::path(SOURCE_FOLDER) / "docs" / page);
  ASSERT_FALSE(commands.empty());
  // Exit code 1 is a negative verdict: a result, not a failure of the command.
  write_text(folder / "session.sh",
             "set -e\ncd '" + folder.string() +
                 "'\nset -o pipefail\nout=$PWD/out.txt\n"
                 "windwright() { command windwright \"$@\" | tee -a \"$out\" || [ $? -eq 1 ]; }\n" +
                 before + commands);
  const std::string call = "bash '" + (folder / "session.sh").string() + "' > /dev/null";
  EXPECT_EQ(std::system(call.c_str()), 0);
}

TEST(Docs, FirstSessionRunsAsWritten) {
  const fs::path folder = scratch_folder("docs-first-session");
  run_page(folder, "first_session.md", "");
  for (const char* file : {"recording.h5", "points.csv", "curves.csv", "results.json",
                           "report.html", "report.pdf", "logbook.jsonl"}) {
    EXPECT_TRUE(fs::exists(folder / "my-bench/run" / file)) << file;
  }
  EXPECT_TRUE(fs::exists(folder / "my-bench/two-bladed/report.html"));
}

TEST(Docs, PowerRunsAsWritten) {
  const fs::path folder = scratch_folder("docs-power");
  run_page(folder, "power.md", "export PATH=\"$PWD/build/release/bin:$PATH\"\n");
  EXPECT_NE(text_of(folder / "out.txt").find("THD, orders 2 to 50"), std::string::npos);
}

TEST(Docs, CalibrationRunsAsWritten) {
  const fs::path folder = scratch_folder("docs-calibration");
  run_page(folder, "calibration.md", "export PATH=\"$PWD/build/release/bin:$PATH\"\n");
  for (const char* file : {"hot-wire.json", "hot-wire.svg", "torque-2027.json",
                           "torque-adjusted.json", "checks.svg"}) {
    EXPECT_TRUE(fs::exists(folder / "calibration" / file)) << file;
  }
  EXPECT_NE(text_of(folder / "out.txt").find("as found"), std::string::npos);
}

TEST(Docs, RecordingRunsAsWritten) {
  const fs::path folder = scratch_folder("docs-recording");
  run_page(folder, "recording.md", "export PATH=\"$PWD/build/release/bin:$PATH\"\n");
  for (const char* file : {"afternoon.h5", "start-up.h5", "window.svg"})
    EXPECT_TRUE(fs::exists(folder / file)) << file;
}

TEST(Docs, ExchangeRunsAsWritten) {
  const fs::path folder = scratch_folder("docs-exchange");
  run_page(folder, "exchange.md", "export PATH=\"$PWD/build/release/bin:$PATH\"\n");
  for (const char* file : {"session.nc", "session.mat", "start.csv", "overview.csv", "gusts.h5"})
    EXPECT_TRUE(fs::exists(folder / file)) << file;
  EXPECT_NE(text_of(folder / "out.txt").find("sample 312: 15.214"), std::string::npos);
}

TEST(Docs, CatalogueRunsAsWritten) {
  const fs::path folder = scratch_folder("docs-catalogue");
  run_page(folder, "catalogue.md", "export PATH=\"$PWD/build/release/bin:$PATH\"\n");
  const std::string out = text_of(folder / "out.txt");
  EXPECT_NE(out.find("The hinge of the guard squeaked"), std::string::npos) << out;
  EXPECT_NE(out.find("2 entries looked at, 0 of other computers not; 0 disagreements"),
            std::string::npos)
      << out;
}

TEST(Docs, BenchRunsAsWritten) {
  const fs::path folder = scratch_folder("docs-bench");
  run_page(folder, "bench.md", "export PATH=\"$PWD/build/release/bin:$PATH\"\n");
  EXPECT_NE(text_of(folder / "out.txt").find("true_inverter_mode"), std::string::npos);
  // A tracker feeds more than a battery straight at the bridge, in swelling wind too.
  const auto charge_J = [&](const char* file) {
    const base::Table table = base::Table::from_file(folder / "tracking" / file);
    return table.numbers(table.required_column("true_charge_J")).back();
  };
  EXPECT_GT(charge_J("observe.csv"), 1.5 * charge_J("direct.csv"));
  EXPECT_GT(charge_J("table.csv"), charge_J("observe.csv"));
}

TEST(Docs, CompareRunsAsWritten) {
  const fs::path folder = scratch_folder("docs-compare");
  run_page(folder, "compare.md", "export PATH=\"$PWD/build/release/bin:$PATH\"\n");
  EXPECT_NE(text_of(folder / "out.txt").find("reproducibility"), std::string::npos);
}

TEST(Docs, PropagateRunsAsWritten) {
  const fs::path folder = scratch_folder("docs-propagate");
  run_page(folder, "propagate.md", "export PATH=\"$PWD/build/release/bin:$PATH\"\n");
  EXPECT_NE(text_of(folder / "out.txt").find("Improve first: pitot_factor"), std::string::npos);
  EXPECT_NE(text_of(folder / "budget.svg").find("pitot_factor"), std::string::npos);
}

TEST(Docs, SamplesRunsAsWritten) {
  const fs::path folder = scratch_folder("docs-samples");
  run_page(folder, "samples.md", "export PATH=\"$PWD/build/release/bin:$PATH\"\n");
  EXPECT_NE(text_of(folder / "out.txt").find("sample 312"), std::string::npos);
}

TEST(Docs, PowerCurveRunsAsWritten) {
  const fs::path folder = scratch_folder("docs-power-curve");
  run_page(folder, "power_curve.md", "export PATH=\"$PWD/build/release/bin:$PATH\"\n");
  EXPECT_NE(text_of(folder / "out.txt").find("energy of a year"), std::string::npos);
}

TEST(Docs, ReportRunsAsWritten) {
  const fs::path folder = scratch_folder("docs-report");
  run_page(folder, "report.md", "export PATH=\"$PWD/build/release/bin:$PATH\"\n");
  EXPECT_NE(text_of(folder / "out.txt").find("runs/class/report.pdf"), std::string::npos);
}

}  // namespace
}  // namespace windwright::end_to_end
