// SPDX-License-Identifier: Apache-2.0
#include "guard/bench_lease.h"

#include "base/errors.h"
#include "fresh_folder.h"

#include <gtest/gtest.h>
#include <sys/wait.h>
#include <unistd.h>

#include <optional>
#include <string>

namespace windwright::guard {
namespace {

bench::Bench bench_in(const std::filesystem::path& folder) {
  bench::Bench bench{};
  bench.file = folder / "bench.toml";
  bench.name = "Bench";
  return bench;
}

std::string refusal(const bench::Bench& bench) {
  try {
    const BenchLease lease(bench, "B (record)");
  } catch (const base::DeviceFault& fault) {
    return fault.what();
  }
  return {};
}

TEST(BenchLease, OneProgramAtATimeAndTheOthersLearnWhoItIs) {
  const bench::Bench bench = bench_in(fresh_folder());
  {
    const BenchLease lease(bench, "A (conduct)");
    const std::string words = refusal(bench);
    EXPECT_EQ(words.find("Bench: is commanded by A (conduct) since 20"), 0U) << words;
    EXPECT_NE(words.find("one program at a time"), std::string::npos) << words;
    const bench::Bench other = bench_in(bench.file.parent_path() / "..");
    EXPECT_EQ(refusal(other), "") << "another bench";
  }
  EXPECT_EQ(refusal(bench), "");
}

TEST(BenchLease, AProgramThatWasKilledHoldsNothing) {
  const bench::Bench bench = bench_in(fresh_folder());
  const pid_t child = fork();
  if (child == 0) {
    const BenchLease lease(bench, "killed");
    _exit(0);  // destroys nothing
  }
  int status = 0;
  waitpid(child, &status, 0);
  EXPECT_EQ(refusal(bench), "");
}

TEST(BenchLease, AFolderThatTakesNoFileIsRefusedInWords) {
  const bench::Bench bench = bench_in(fresh_folder() / "not there");
  EXPECT_NE(refusal(bench).find("cannot be commanded: "), std::string::npos) << refusal(bench);
}

}  // namespace
}  // namespace windwright::guard
