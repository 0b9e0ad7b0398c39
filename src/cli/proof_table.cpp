// SPDX-License-Identifier: Apache-2.0
#include "cli/proof_table.h"

#include "base/clock.h"
#include "campaign/proof.h"

#include <fmt/format.h>

#include <optional>
#include <string>

namespace windwright::cli {
namespace {

std::string number(const std::optional<double>& value) {
  return value ? fmt::format("{:.5g}", *value) : "";
}

}  // namespace

std::string proof_table(const campaign::Proof& proof) {
  std::string text =
      fmt::format("{:<24} {:<13} {:<8} {:>10} {:>10} {:>10} {:>7} {:>7}  {}\n", "interlock",
                  "method", "unit", "bound", "stays at", "trips at", "hold s", "took s", "");
  for (const campaign::ProvedInterlock& each : proof.interlocks) {
    const campaign::ProvedBound none;
    const campaign::ProvedBound& bound = each.bounds.empty() ? none : each.bounds.front();
    text += fmt::format("{:<24} {:<13} {:<8} {:>10} {:>10} {:>10} {:>7.3g} {:>7.3g}  {}\n",
                        each.name, campaign::name_of(each.method), each.unit, number(bound.bound),
                        number(bound.inside), number(bound.seen ? bound.seen : bound.beyond),
                        each.hold_s, bound.held_s, each.passed() ? "ok" : "NOT PROVED");
    for (std::size_t i = 1; i < each.bounds.size(); ++i) {
      const campaign::ProvedBound& more = each.bounds[i];
      text += fmt::format("{:<47} {:>10} {:>10} {:>10} {:>7.3g} {:>7.3g}\n", "", number(more.bound),
                          number(more.inside), number(more.seen), each.hold_s, more.held_s);
    }
    if (!each.passed()) text += fmt::format("    {}\n", each.remark);
    if (each.passed() && !each.first_out.empty() && each.first_out != each.name) {
      text += fmt::format("    with all interlocks judged, '{}' comes first at this input\n",
                          each.first_out);
    }
  }
  text += "\nnot proved here:\n";
  for (const std::string& each : proof.not_proved)
    text += fmt::format("  {}\n", each);
  return text + fmt::format("\n{}, valid until {}\n",
                            proof.passed() ? "proved" : "NOT proved: no run without a reason",
                            base::utc_text(proof.valid_until).substr(0, 10));
}

}  // namespace windwright::cli
