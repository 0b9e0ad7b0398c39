// SPDX-License-Identifier: Apache-2.0
#include "base/clock.h"

#include "base/errors.h"

#include <gtest/gtest.h>

#include <chrono>

namespace windwright::base {
namespace {

TEST(Clock, ReadsBackWhatItWrites) {
  const UtcTime time = utc_from_text("2028-02-29T23:59:58.250Z", "x");
  EXPECT_EQ(utc_text(time), "2028-02-29T23:59:58.250Z");
  EXPECT_EQ(utc_text(utc_from_text("2026-03-02", "x")), "2026-03-02T00:00:00.000Z");
}

TEST(Clock, CountsFromThePosixEpoch) {
  // IEEE Std 1003.1-2017, 4.16: 2000-01-01T00:00:00Z is 946684800 seconds since the epoch.
  EXPECT_EQ(utc_from_text("2000-01-01T00:00:00Z", "x").time_since_epoch(),
            std::chrono::seconds(946684800));
}

TEST(Clock, RefusesWhatIsNotADate) {
  for (const char* text :
       {"4052-03-02", "1000-01-01T00:00:00Z", "2026-02-30", "2026-3-2T9", "yesterday",
        "2026-03-02T25:00:00Z", "2026-03-02T09:00:00", "2026-03-02T09:00:00Zx"}) {
    EXPECT_THROW(utc_from_text(text, "x"), BadInput) << text;
  }
}

}  // namespace
}  // namespace windwright::base
