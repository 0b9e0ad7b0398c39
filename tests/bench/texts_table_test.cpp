// SPDX-License-Identifier: Apache-2.0
#include "bench/texts_table.h"

#include "base/errors.h"
#include "base/settings.h"
#include "bench/bench.h"

#include <gtest/gtest.h>

#include <string>

namespace windwright::bench {
namespace {

const Bench& demo() {
  static const Bench bench =
      bench_from_file(std::string(SOURCE_FOLDER) + "/examples/saltmarsh-college/bench.toml");
  return bench;
}

std::string complaint(const std::string& text) {
  try {
    texts_from_tables(base::Settings::from_text("schema = 1\n" + text, "bench.toml"));
  } catch (const base::BadInput& bad) {
    return bad.what();
  }
  return "none";
}

TEST(TextsTable, GivesWhatAPersonWroteInAnotherLanguage) {
  const Texts texts = texts_of(demo());
  ASSERT_TRUE(texts.contains("es"));
  const auto& spanish = texts.find("es")->second;
  EXPECT_EQ(spanish.find("rotor overspeed")->second, "rotor demasiado rápido");
  for (const Interlock& interlock : demo().interlocks) {
    EXPECT_TRUE(spanish.contains(interlock.name)) << interlock.name;
    EXPECT_TRUE(spanish.contains(interlock.cause)) << interlock.cause;
    if (!interlock.check.empty()) {
      EXPECT_TRUE(spanish.contains(interlock.check)) << interlock.check;
    }
  }
}

TEST(TextsTable, MayBeLeftOutOrNameAPositionAndALongName) {
  EXPECT_EQ(complaint(""), "none");
  EXPECT_EQ(complaint("[texts.eu]\nrheostat_and_lamps = \"a\"\n\"rotor speed\" = \"b\"\n"), "none");
}

// An interlock may be taken out without its words in every language.
TEST(TextsTable, TakesATextThatTheBenchDoesNotHave) {
  EXPECT_EQ(complaint("[texts.es]\n\"rotor overspeeds\" = \"x\"\n"), "none");
}

TEST(TextsTable, RefusesWhatIsNoLanguage) {
  EXPECT_EQ(complaint("[texts.Spanish]\n"),
            "bench.toml:2: 'Spanish' is no language: two or three small letters of ISO 639: es");
}

}  // namespace
}  // namespace windwright::bench
