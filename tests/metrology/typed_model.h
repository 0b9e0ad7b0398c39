// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "metrology/equation.h"
#include "metrology/measurement_model.h"
#include "metrology/uncertain_input.h"

#include <string>
#include <vector>

namespace windwright::metrology {

/// One output y of an equation as a person types it.
inline MeasurementModel model_of(const std::vector<UncertainInput>& inputs,
                                 const std::string& equation,
                                 const std::vector<StatedCorrelation>& correlations = {}) {
  MeasurementModel model;
  model.inputs = inputs;
  EquationNames names;
  for (const UncertainInput& input : inputs)
    names.inputs.push_back(input.name);
  model.outputs = {"y"};
  model.equations = {equation};
  model.places = {"budget.toml:3"};
  const std::vector<Equation> equations{{.name = "y", .text = equation, .where = "budget.toml:3"}};
  model.program = compiled(equations, 1, names);
  model.groups = groups_of(inputs, correlations);
  return model;
}

}  // namespace windwright::metrology
