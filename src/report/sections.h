// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "analysis/results.h"
#include "campaign/conductor.h"
#include "report/report.h"

#include <string>
#include <vector>

namespace windwright::report {

/// The sections of a report in their order, each as HTML, each empty where it has nothing to say.

/// Title, place and day, and loud words where the bench was simulated, not ready or not finished.
std::string opening(const Subject& subject);
/// The question and its answer in words.
std::string verdict_in_words(const Subject& subject, const analysis::Results& results);
std::string summary_table(const analysis::Results& results);
std::string curve_pictures(const analysis::Results& results);
/// What limits the figures: not stated, left out, carried on.
std::string remarks(const Subject& subject, const analysis::Results& results);
/// Raw and corrected beside each other; empty for an open jet.
std::string walls(const analysis::Results& results);
std::string comparison(const analysis::Results& results, double level);
std::string energy_chain(const analysis::Results& results);
std::string budget(const analysis::Results& results);
/// Lines by their share, small ones together.
std::string budget_table(std::vector<analysis::BudgetLine> lines);

std::string how_it_was_measured(const Subject& subject, const analysis::Results& results);
std::string readiness(const campaign::Run& run);
std::string cautions(bool simulated);
std::string provenance(const Subject& subject);
/// What was computed how, with sources; only what this report used.
std::string method(const Subject& subject, const analysis::Results& results);
std::string all_points(const Subject& subject, const analysis::Results& results);

}  // namespace windwright::report
