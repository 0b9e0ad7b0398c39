// SPDX-License-Identifier: Apache-2.0
#include "report/report.h"

#include "analysis/results.h"
#include "report/page.h"
#include "report/sections.h"

#include <string>

namespace windwright::report {

std::string report_html(const Subject& subject, const analysis::Results& results) {
  const campaign::Run* run = subject.run;
  const bool simulated = run != nullptr && run->bench.simulation.has_value();
  const double level = run != nullptr ? run->campaign.question.level : 0.95;
  std::string body;
  body += opening(subject);
  body += verdict_in_words(subject, results);
  body += summary_table(results);
  body += curve_pictures(results);
  body += walls(results);
  body += remarks(subject, results);
  body += comparison(results, level);
  body += energy_chain(results);
  body += budget(results);
  body += how_it_was_measured(subject, results);
  if (run != nullptr) {
    body += readiness(*run);
    body += cautions(simulated);
  }
  body += provenance(subject);
  body += method(subject, results);
  body += all_points(subject, results);
  return page(subject.title, body);
}

}  // namespace windwright::report
