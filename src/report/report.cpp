// SPDX-License-Identifier: Apache-2.0
#include "report/report.h"

#include "analysis/results.h"
#include "report/html.h"
#include "report/notation.h"
#include "report/sections.h"

#include <fmt/format.h>

#include <string>

namespace windwright::report {

std::string report_html(const Subject& subject, const analysis::Results& results) {
  const campaign::Run* run = subject.run;
  const bool simulated = run != nullptr && run->bench.simulation.has_value();
  const double level = run != nullptr ? run->campaign.question.level : 0.95;
  std::string page = fmt::format(
      "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n"
      "<meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n"
      "<title>{}</title>\n<style>{}</style>\n</head>\n<body>\n<main>\n",
      escaped(subject.title), style_sheet());
  page += opening(subject);
  page += verdict_in_words(subject, results);
  page += summary_table(results);
  page += curve_pictures(results);
  page += walls(results);
  page += remarks(subject, results);
  page += comparison(results, level);
  page += energy_chain(results);
  page += budget(results);
  page += how_it_was_measured(subject, results);
  if (run != nullptr) {
    page += readiness(*run);
    page += cautions(simulated);
  }
  page += provenance(subject);
  page += method(subject, results);
  page += all_points(subject, results);
  page += "</main>\n</body>\n</html>\n";
  return page;
}

}  // namespace windwright::report
