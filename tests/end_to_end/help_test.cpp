// SPDX-License-Identifier: Apache-2.0
#include "end_to_end/program.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <string>

namespace windwright::end_to_end {
namespace {

class Help : public testing::TestWithParam<const char*> {};

TEST_P(Help, ShowsAnExampleThatNamesTheVerb) {
  const Ended ended = windwright({GetParam(), "--help"}, scratch_folder("help"));
  EXPECT_EQ(ended.exit_code, 0);
  EXPECT_NE(ended.out.find(std::string("windwright ") + GetParam() + " "), std::string::npos)
      << ended.out;
  EXPECT_NE(ended.out.find("--json"), std::string::npos) << ended.out;
}

INSTANTIATE_TEST_SUITE_P(Of, Help,
                         testing::Values("air", "rotor", "calibrate", "simulate", "ready",
                                         "conduct", "reduce", "report", "power", "compare",
                                         "propagate", "record", "serve-device", "view", "export",
                                         "import", "catalogue", "guard", "serve"),
                         [](const auto& verb) {
                           std::string name = verb.param;
                           std::replace(name.begin(), name.end(), '-', '_');
                           return name;
                         });

TEST(CommandLine, SaysItsVersion) {
  const Ended ended = windwright({"--version"}, scratch_folder("version"));
  EXPECT_EQ(ended.exit_code, 0);
  EXPECT_EQ(ended.out.rfind("windwright ", 0), 0U) << ended.out;
}

TEST(CommandLine, RefusesWhatItDoesNotKnowInOneLine) {
  const std::vector<std::vector<std::string>> calls{
      {}, {"spin"}, {"air", "--colour", "red"}, {"air", "--temperature-C", "warm"}, {"rotor"}};
  for (const auto& call : calls) {
    SCOPED_TRACE(call.empty() ? "no verb" : call.back());
    const Ended ended = windwright(call, scratch_folder("refused"));
    EXPECT_EQ(ended.exit_code, 2);
    EXPECT_EQ(ended.out, "");
    EXPECT_EQ(std::count(ended.err.begin(), ended.err.end(), '\n'), 1) << ended.err;
  }
}

}  // namespace
}  // namespace windwright::end_to_end
