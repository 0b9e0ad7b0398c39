// SPDX-License-Identifier: Apache-2.0
#include "cli/readiness_table.h"

#include "base/clock.h"

#include <fmt/format.h>

#include <string>

namespace windwright::cli {

std::string readiness_table(const campaign::Readiness& readiness) {
  std::string text = fmt::format("{:<20} {:<12} {:<12} {:>10} {:>22} {:>7}  {}\n", "channel",
                                 "unit", "valid until", "standard", "measured (95 %)", "E_n", "");
  for (const campaign::ChannelCheck& check : readiness.channels) {
    const std::string until =
        check.certificate_found ? base::utc_text(check.valid_until).substr(0, 10) : "missing";
    std::string reference = "none";
    std::string measured;
    std::string en;
    if (check.en) {
      reference = fmt::format("{}", *check.reference);
      measured = fmt::format("{:.6g} +- {:.2g}", check.measured.value(), check.measured.expanded());
      en = fmt::format("{:.2f}", *check.en);
    }
    text += fmt::format("{:<20} {:<12} {:<12} {:>10} {:>22} {:>7}  {}\n", check.channel, check.unit,
                        until, reference, measured, en, check.passed ? "ok" : "not ok");
    if (!check.passed) text += fmt::format("    {}\n", check.remark);
  }
  return text;
}

}  // namespace windwright::cli
