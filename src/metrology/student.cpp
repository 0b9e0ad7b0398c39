// SPDX-License-Identifier: Apache-2.0
#include "metrology/student.h"

#include <boost/math/distributions/chi_squared.hpp>
#include <boost/math/distributions/normal.hpp>
#include <boost/math/distributions/students_t.hpp>

#include <cmath>
#include <limits>

namespace windwright::metrology {

double student_factor(double level, double dof) {
  if (!(level > 0.0 && level < 1.0 && dof > 0.0)) return std::numeric_limits<double>::quiet_NaN();
  const double both_tails = 0.5 * (1.0 - level);
  if (std::isinf(dof)) {
    return boost::math::quantile(boost::math::complement(boost::math::normal(), both_tails));
  }
  return boost::math::quantile(boost::math::complement(boost::math::students_t(dof), both_tails));
}

double chi_squared_tail(double chi_squared, double dof) {
  if (!(chi_squared >= 0.0 && dof > 0.0)) return std::numeric_limits<double>::quiet_NaN();
  return boost::math::cdf(boost::math::complement(boost::math::chi_squared(dof), chi_squared));
}

double chi_squared_quantile(double level, double dof) {
  if (!(level > 0.0 && level < 1.0 && dof > 0.0)) return std::numeric_limits<double>::quiet_NaN();
  return boost::math::quantile(boost::math::chi_squared(dof), level);
}

}  // namespace windwright::metrology
