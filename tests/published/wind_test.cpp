// SPDX-License-Identifier: Apache-2.0
#include "base/errors.h"
#include "base/json.h"
#include "base/table.h"
#include "site/wind_distribution.h"

#include <boost/json.hpp>
#include <gtest/gtest.h>

#include <cmath>
#include <cstddef>
#include <string>
#include <vector>

namespace windwright::site {
namespace {

namespace json = boost::json;

const std::string data = SOURCE_FOLDER "/tests/published/data/";

class Rows {
 public:
  explicit Rows(const std::string& file) : table_(base::Table::from_file(data + file)) {}
  std::size_t count() const { return table_.rows(); }
  double at(std::size_t row, const char* name) const {
    return table_.number(row, table_.required_column(name));
  }

 private:
  base::Table table_;
};

// Closed forms of the Weibull distribution, worked out outside this project; J. F. Manwell et al.,
// Wind Energy Explained, chapter 2.
TEST(PublishedWind, MomentsOfTheWeibullDistribution) {
  const Rows rows("weibull_closed_forms.csv");
  for (std::size_t row = 0; row < rows.count(); ++row) {
    const double shape = rows.at(row, "k");
    const Weibull wind{.scale_m_s = 1.0, .shape = shape};
    EXPECT_NEAR(mean_m_s(wind), rows.at(row, "gamma_1p1k"), 1e-8) << shape;
    EXPECT_NEAR(standard_deviation_m_s(wind) / mean_m_s(wind), rows.at(row, "sd_over_mean"), 1e-7);
    EXPECT_NEAR(energy_pattern_factor(wind), rows.at(row, "energy_pattern_factor"), 1e-6);
    EXPECT_NEAR(power_density_W_m2(wind, 2.0), rows.at(row, "gamma_1p3k"), 1e-7);
    const double deviation = standard_deviation_m_s(wind);
    EXPECT_NEAR(weibull_by_justus(mean_m_s(wind), deviation).shape,
                rows.at(row, "k_justus_from_sd_over_mean"), 1e-5);
    EXPECT_NEAR(weibull_by_moments(mean_m_s(wind), deviation).shape, shape, 1e-9);
  }
}

// P. Jain, Wind Energy Engineering, McGraw-Hill 2011, Table 3-1: mean to three digits after the
// point; the last digit of the printed modes is cut, not rounded.
TEST(PublishedWind, MeanAndModeOfATextbook) {
  const Rows rows("weibull_mean_mode_jain.csv");
  for (std::size_t row = 0; row < rows.count(); ++row) {
    const Weibull wind{.scale_m_s = rows.at(row, "A_m_s"), .shape = rows.at(row, "k")};
    EXPECT_NEAR(mean_m_s(wind), rows.at(row, "mean_m_s"), 0.00051) << wind.shape;
    EXPECT_NEAR(mode_m_s(wind), rows.at(row, "mode_m_s"), 0.0011) << wind.shape;
  }
}

// Closed forms of the Rayleigh distribution at 1.225 kg/m3.
TEST(PublishedWind, PowerDensityOfRayleighWinds) {
  const Rows rows("rayleigh_power_density.csv");
  for (std::size_t row = 0; row < rows.count(); ++row) {
    const double mean = rows.at(row, "mean_m_s");
    const Weibull wind = rayleigh(mean);
    EXPECT_NEAR(power_density_W_m2(wind, 1.225) / rows.at(row, "mean_power_W_m2"), 1.0, 1e-6);
    EXPECT_NEAR(wind.scale_m_s, rows.at(row, "scale_m_s"), 1e-6);
    EXPECT_NEAR(cumulative(wind, mean), rows.at(row, "p_below_mean"), 1e-6);
    EXPECT_NEAR(1.0 - cumulative(wind, 2.0 * mean), rows.at(row, "p_above_twice_mean"), 1e-7);
  }
}

// M. L. Delignette-Muller, C. Dutang, fitdistrplus, J. Stat. Softw. 64(4) (2015), the groundbeef
// set: the true maximum of the likelihood to its printed digits; standard uncertainties and
// correlation of the paper's program, whose optimiser stops 1.2e-4 before it.
TEST(PublishedWind, LargestLikelihoodOfAWeibullSample) {
  const json::value set = base::json_from_file(data + "weibull_mle_groundbeef.json");
  std::vector<double> values;
  for (const json::value& value : set.at_pointer("/inputs/x").as_array())
    values.push_back(value.to_number<double>());
  const auto number = [&](const char* at) { return set.at_pointer(at).to_number<double>(); };
  const WeibullFit fit = weibull_by_likelihood(values);
  EXPECT_NEAR(fit.wind.shape, number("/crosscheck/shape"), 1e-8);
  EXPECT_NEAR(fit.wind.scale_m_s, number("/crosscheck/scale"), 1e-7);
  EXPECT_NEAR(fit.log_likelihood, number("/crosscheck/log_likelihood"), 0.5e-5);
  EXPECT_NEAR(fit.u_shape / number("/expected/u_shape"), 1.0, 5e-4);
  EXPECT_NEAR(fit.u_scale_m_s / number("/expected/u_scale"), 1.0, 5e-4);
  EXPECT_NEAR(fit.correlation, number("/expected/correlation"), 5e-4);
  const double mean = number("/crosscheck/mean");
  const double deviation = number("/crosscheck/sd");
  EXPECT_NEAR(weibull_by_moments(mean, deviation).shape, number("/crosscheck/k_moments"), 1e-7);
  EXPECT_NEAR(weibull_by_moments(mean, deviation).scale_m_s, number("/crosscheck/c_moments"), 1e-6);
  EXPECT_NEAR(weibull_by_justus(mean, deviation).shape, number("/crosscheck/k_justus_empirical"),
              1e-6);
}

TEST(PublishedWind, RefusesWhatIsNoWind) {
  EXPECT_THROW(rayleigh(0.0), base::BadInput);
  EXPECT_THROW(weibull_by_moments(5.0, 500.0), base::BadInput);
  EXPECT_THROW(weibull_by_likelihood(std::vector{3.0, 3.0, 3.0}), base::BadInput);
  EXPECT_THROW(weibull_by_likelihood(std::vector{3.0, 0.0}), base::BadInput);
}

}  // namespace
}  // namespace windwright::site
