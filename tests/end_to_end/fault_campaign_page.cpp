// SPDX-License-Identifier: Apache-2.0
#include "end_to_end/fault_campaign.h"
#include "end_to_end/fault_world.h"

#include <fmt/format.h>

#include <algorithm>
#include <cstddef>
#include <map>
#include <string>
#include <utility>
#include <vector>

namespace windwright::end_to_end {
namespace {

struct Sum {
  int cases = 0;
  int nothing_to_notice = 0;
  int uncovered = 0;
  int held_anyway = 0;
  int quiet = 0;  // of those
  int counted = 0;
  int held = 0;     // of the counted
  int runaway = 0;  // of the counted, without the layers
  double highest_of_limit = 0.0;

  void add(const Result& result) {
    ++cases;
    switch (result.kind) {
      case Kind::nothing_to_notice:
        ++nothing_to_notice;
        break;
      case Kind::uncovered:
        ++uncovered;
        break;
      case Kind::held_anyway:
        ++held_anyway;
        quiet += result.ending.is_quiet() ? 1 : 0;
        break;
      case Kind::counted:
        ++counted;
        held += result.held() ? 1 : 0;
        runaway += result.control.highest_of_limit > most_of_limit ? 1 : 0;
        highest_of_limit = std::max(highest_of_limit, result.ending.highest_of_limit);
        break;
    }
  }
};

std::string row(const std::string& name, const Sum& sum) {
  return fmt::format("| {} | {} | {} | {} | {} | {} | **{}** | {} | {:.0f} % |\n", name, sum.cases,
                     sum.nothing_to_notice, sum.uncovered, sum.held_anyway, sum.counted, sum.held,
                     sum.runaway, 100.0 * sum.highest_of_limit);
}

std::string summary(const Campaign& campaign, const std::vector<Case>& cases,
                    const std::vector<Result>& results, Sum& all) {
  std::vector<Sum> sums(campaign.dangers.size());
  for (std::size_t i = 0; i < cases.size(); ++i) {
    sums[cases[i].danger].add(results[i]);
    all.add(results[i]);
  }
  std::string text =
      "| danger | cases | nothing to notice | no layer covers it | held without layers | counted | "
      "held | rotor above 110 % without layers | highest with them |\n| --- | --- | --- | --- | "
      "--- | --- | --- | --- | --- |\n";
  for (std::size_t i = 0; i < sums.size(); ++i)
    text += row(campaign.dangers[i].name, sums[i]);
  return text + row("all", all);
}

std::string mark_of(const Result& result) {
  switch (result.kind) {
    case Kind::nothing_to_notice:
      return "-";
    case Kind::uncovered:
      return result.ending.is_safe() ? "" : "*";
    case Kind::held_anyway:
      return "=";
    case Kind::counted:
      return "";
  }
  return "";
}

std::string single_faults(const Campaign& campaign, const std::vector<Case>& cases,
                          const std::vector<Result>& results) {
  std::map<std::pair<std::size_t, std::size_t>, const Result*> single;  // mishap, danger
  for (std::size_t i = 0; i < cases.size(); ++i) {
    if (cases[i].mishaps.size() == 1) single[{cases[i].mishaps[0], cases[i].danger}] = &results[i];
  }
  std::string text = "| fault |";
  std::string rule = "| --- |";
  for (const Danger& danger : campaign.dangers) {
    text += fmt::format(" {} |", danger.name);
    rule += " --- |";
  }
  text += '\n' + rule + '\n';
  for (std::size_t i = 0; i < campaign.mishaps.size(); ++i) {
    text += fmt::format("| {}. {} |", i + 1, campaign.mishaps[i].name);
    for (std::size_t danger = 0; danger < campaign.dangers.size(); ++danger) {
      const Result& result = *single.at({i, danger});
      const std::string& cause = result.ending.cause;
      const std::string who = cause.substr(0, cause.find(':'));
      const bool failed = result.kind != Kind::uncovered && !result.held();
      text += fmt::format(" {0}{1:.0f}{2}{3}{0} |", failed ? "**" : "",
                          100.0 * result.ending.highest_of_limit, mark_of(result),
                          who.empty() ? "" : " " + who);
    }
    text += '\n';
  }
  return text;
}

/// The worst of a pair over all dangers.
struct Worst {
  double highest_of_limit = 0.0;
  bool failed = false;     // although covered
  bool uncovered = false;  // and it went wrong
};

std::string pairs(const Campaign& campaign, const std::vector<Case>& cases,
                  const std::vector<Result>& results) {
  std::map<std::vector<std::size_t>, Worst> worst;
  for (std::size_t i = 0; i < cases.size(); ++i) {
    const Result& result = results[i];
    Worst& one = worst[cases[i].mishaps];
    one.highest_of_limit = std::max(one.highest_of_limit, result.ending.highest_of_limit);
    const bool uncovered = result.kind == Kind::uncovered;
    one.failed = one.failed || (!uncovered && !result.held());
    one.uncovered = one.uncovered || (uncovered && !result.ending.is_safe());
  }
  const std::size_t mishaps = campaign.mishaps.size();
  std::string text = "|  |";
  std::string rule = "| --- |";
  for (std::size_t k = 1; k < mishaps; ++k) {
    text += fmt::format(" {} |", k + 1);
    rule += " --- |";
  }
  text += '\n' + rule + '\n';
  for (std::size_t i = 0; i + 1 < mishaps; ++i) {
    text += fmt::format("| **{}** |", i + 1);
    for (std::size_t k = 1; k < mishaps; ++k) {
      const auto found = worst.find({i, k});
      if (found == worst.end()) {
        text += "  |";
        continue;
      }
      const Worst& one = found->second;
      text += fmt::format(" {0}{1:.0f}{2}{0} |", one.failed ? "**" : "",
                          100.0 * one.highest_of_limit, one.uncovered ? "*" : "");
    }
    text += '\n';
  }
  return text;
}

/// By reason and danger, which faults.
std::string uncovered(const Campaign& campaign, const std::vector<Case>& cases,
                      const std::vector<Result>& results) {
  std::map<std::pair<std::string, std::string>, std::vector<std::string>> all;
  for (std::size_t i = 0; i < cases.size(); ++i) {
    if (results[i].kind != Kind::uncovered || results[i].ending.is_safe()) continue;
    const bool in_danger = results[i].ending.in_danger;
    std::string numbers = fmt::format("{}", cases[i].mishaps[0] + 1);
    if (cases[i].mishaps.size() > 1) numbers += fmt::format("+{}", cases[i].mishaps[1] + 1);
    all[{results[i].why, campaign.dangers[in_danger ? cases[i].danger : 0].name}].push_back(
        numbers);
  }
  std::string text = "| why | danger | faults |\n| --- | --- | --- |\n";
  for (const auto& [what, faults] : all) {
    std::string list;
    for (const std::string& each : faults)
      list += (list.empty() ? "" : ", ") + each;
    text += fmt::format("| {} | {} | {} |\n", what.first, what.second, list);
  }
  return text;
}

std::string not_noticed(const Campaign& campaign) {
  std::string text = "| fault | why |\n| --- | --- |\n";
  for (const Mishap& mishap : campaign.mishaps) {
    if (mishap.causes.empty()) text += fmt::format("| {} | {} |\n", mishap.name, mishap.unnoticed);
  }
  return text;
}

std::string not_held(const Campaign& campaign, const std::vector<Case>& cases,
                     const std::vector<Result>& results) {
  std::string text;
  for (std::size_t i = 0; i < cases.size(); ++i) {
    if (results[i].kind == Kind::uncovered || results[i].held()) continue;
    const Ending& ending = results[i].ending;
    // What was seen then differs from computer to computer.
    const std::size_t name_end = ending.cause.find("': ");
    const std::string cause =
        name_end == std::string::npos ? ending.cause : ending.cause.substr(0, name_end + 1);
    text += fmt::format("| {} | {:.0f} % | {} | {} |\n", words_of(campaign, cases[i]),
                        100.0 * ending.highest_of_limit, ending.fan_power ? "on" : "off", cause);
  }
  if (text.empty()) return "None.\n";
  return "| faults | danger | rotor | fan | first cause |\n| --- | --- | --- | --- | --- |\n" +
         text;
}

}  // namespace

std::string page(const Campaign& campaign, const std::vector<Case>& cases,
                 const std::vector<Result>& results) {
  Sum all;
  const std::string table = summary(campaign, cases, results, all);
  return fmt::format(
      R"(<!-- SPDX-License-Identifier: Apache-2.0 -->
<!-- Written by tests/end_to_end/fault_campaign_test.cpp: change that, not this. -->
# What fails, and what stops the bench then

{cases} cases on the simulated bench: every one of {mishaps} faults alone, and every pair of them that can be there at once, each with {dangers} dangers (the first: none), at times and operating points drawn by seed. Each layer runs the program's own
code ([guard.md](guard.md)); time, links and the end of a process are simulated. The watchdog is set to {watchdog:g} s, the guard's `silence_s` to 0.05, blocks to 0.01 s; the overspeed interlock trips at {overspeed:.0f} % of the rotor's limit of {limit:g} rad/s ([why](safety.md#how-far-below-its-limit)); a history goes on until the safe state has stood for 0.75 s, or to the end of some 3 s after the last of what goes wrong, that of a controlled stop to the stop's own end (60 s at most, then power is removed).

**Every case runs a second time with all software dead from the start**: both processes, watchdog, limits. What the hard-wired chain then holds alone, or what does not hurt at all, proves nothing about the layers and is not counted. Of {counted} cases that are lost without the layers, {held} are held by them.
Held is: the fan without power and the rotor loaded or at a stand at the end, never above {most:.0f} % of its limit, **and** a first cause told that fits the fault or the danger. A fault that shows by itself (a process dead or silent, a link cut, a sensor stuck or lost that an interlock watches, disk, clock) has to
stop the bench without any other danger. Lost is, with a danger: something beyond its interlock's bound and the fan not off; without one: the fan goes on.

{table}
*Nothing to notice*: no danger came about, and no fault that shows by itself ([which](#what-nobody-notices-by-itself)). *No layer covers it*: [below](#what-no-layer-covers). *Held without layers*: by the hard-wired chain alone, or nothing came beyond any bound; in {quiet} of those no layer had a cause and the fan stayed on.

```sh
WINDWRIGHT_FAULT_TABLE=docs/fault_campaign.md build/release/tests/end_to_end_tests --gtest_filter='FaultCampaign*'
```

**Cautions.** A simulation shows what the software does, not that a bench is safe: wiring, contactors and blades fail in ways that nobody listed. The hard-wired emergency stop and the guard around the rotor come first; local codes and a qualified
person decide ([safety.md](safety.md)).

## Not held

Cases that a layer that is left ought to hold and does not.

{failures}
## One fault

Highest speed of the rotor in % of its limit, and who stopped it first. `=`: held without layers as well. `-`: nothing to notice. `*`: no layer covers it, and it went wrong. A setting beyond its limit counts as a danger only where the acquisition is still there to ask for it.

{single}
## Two faults

The largest over all dangers, % of the limit; the numbers are those of the table above. `*`: no layer covers one of them, and it went wrong.

{pairs}
## What no layer covers

These went wrong: what is left neither sees it nor can do anything about it. The numbers are those of the faults above.

{uncovered}
## What nobody notices by itself

{unnoticed}
What this campaign does not have: three faults at a time; a fault of a sensor that one interlock alone watches together with just that danger (winding temperature, vibration: [what none covers](safety.md#what-none-of-them-covers)); a layer that acts and is wrong.
)",
      fmt::arg("cases", cases.size()), fmt::arg("mishaps", campaign.mishaps.size()),
      fmt::arg("dangers", campaign.dangers.size()),
      fmt::arg("overspeed", 100.0 * overspeed_of_limit),
      fmt::arg("limit", FaultWorld::rotor_limit_rad_s),
      fmt::arg("watchdog", FaultWorld::usual_watchdog_s), fmt::arg("counted", all.counted),
      fmt::arg("held", all.held), fmt::arg("most", 100.0 * most_of_limit), fmt::arg("table", table),
      fmt::arg("quiet", all.quiet), fmt::arg("failures", not_held(campaign, cases, results)),
      fmt::arg("single", single_faults(campaign, cases, results)),
      fmt::arg("pairs", pairs(campaign, cases, results)),
      fmt::arg("uncovered", uncovered(campaign, cases, results)),
      fmt::arg("unnoticed", not_noticed(campaign)));
}

}  // namespace windwright::end_to_end
