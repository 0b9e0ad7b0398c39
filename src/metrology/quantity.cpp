// SPDX-License-Identifier: Apache-2.0
#include "metrology/quantity.h"

#include <boost/json.hpp>

#include <cmath>
#include <string_view>

namespace windwright::metrology {

boost::json::value quantity(const Estimate& estimate, std::string_view unit) {
  const double dof = estimate.dof();
  return boost::json::object{
      {"value", estimate.value()},
      {"u", estimate.u()},
      {"dof", std::isfinite(dof) ? boost::json::value(dof) : boost::json::value(nullptr)},
      {"unit", unit}};
}

}  // namespace windwright::metrology
