// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "metrology/propagation.h"

#include <cstddef>
#include <span>
#include <vector>

namespace windwright::metrology {

/// The law of propagation for all outputs of a model.
struct SeriesPropagation {
  std::vector<SeriesResult> first_order;         // (outputs)
  std::vector<SeriesResult> second_order;        // (outputs)
  std::vector<std::vector<InputShare>> budgets;  // (outputs), by share, largest first
  std::vector<double> covariance;                // outputs x outputs, first order
};

/// propagation.h says after which clauses.
SeriesPropagation series_propagation(const MeasurementModel& model, double level);

/// Effective degrees of freedom.
/// @param parts  (inputs), sensitivity times standard uncertainty
double effective_degrees_of_freedom(const MeasurementModel& model, std::span<const double> parts);

}  // namespace windwright::metrology
