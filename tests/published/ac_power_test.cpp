// SPDX-License-Identifier: Apache-2.0
#include "signal/ac_power.h"

#include "base/json.h"
#include "base/table.h"
#include "published/waveforms.h"
#include "signal/power_terms.h"

#include <boost/json.hpp>
#include <gtest/gtest.h>

#include <array>
#include <cmath>
#include <complex>
#include <cstddef>
#include <functional>
#include <numbers>
#include <string>
#include <vector>

namespace windwright::signal {
namespace {

namespace json = boost::json;

constexpr double pi = std::numbers::pi;
const std::string data = SOURCE_FOLDER "/tests/published/data/";

std::vector<double> numbers(const json::value& array) {
  std::vector<double> result;
  for (const json::value& entry : array.as_array())
    result.push_back(entry.is_null() ? 0.0 : entry.to_number<double>());
  return result;
}

// One waveform as voltage and current alike.
PairPower power_of_waveform(const std::function<double(double)>& of_cycles, double rate_hz) {
  const std::vector<double> x = sampled(of_cycles, rate_hz, 50.0, 0.3);
  return pair_power(std::array{PairStretch{x, x}}, rate_hz, {}, "waveform");
}

// A sum of sines as the standard's annex gives it, sampled.
struct Sines {
  std::vector<double> order;
  std::vector<double> rms;
  std::vector<double> phase_deg;
  double operator()(double cycles) const {
    double sum = 0.0;
    for (std::size_t k = 0; k < order.size(); ++k) {
      sum += std::numbers::sqrt2 * rms[k] *
             std::sin(2.0 * pi * order[k] * cycles + phase_deg[k] * pi / 180.0);
    }
    return sum;
  }
};

double angle_between_deg(double a_rad, double b_deg) {
  return std::remainder(a_rad * 180.0 / pi - b_deg, 360.0);
}

// IEEE Std 1459-2000/2010, Annex B; also Emanuel, IEEE Trans. Ind. Appl. 40 (2004) 869. Sources and
// tolerance stand in the file: 1e-7 with a whole number of periods.
void expect_annex_b(const json::value& example, double rate_hz, double seconds, double offset) {
  const json::value& in = example.at("inputs");
  const Sines v{numbers(in.at("h")), numbers(in.at("V")), numbers(in.at("alpha_deg"))};
  const Sines i{numbers(in.at("h")), numbers(in.at("I")), numbers(in.at("beta_deg"))};
  const auto voltage_V = sampled(v, rate_hz, 50.0, seconds, offset);
  const auto current_A = sampled(i, rate_hz, 50.0, seconds, offset);
  const PairPower got =
      pair_power(std::array{PairStretch{voltage_V, current_A}}, rate_hz, {}, "annex B");
  const auto expected = [&](const char* key) {
    return example.at("crosscheck").at(key).to_number<double>();
  };
  const auto expect = [&](double value, const char* key) {
    EXPECT_NEAR(value / expected(key), 1.0, 1e-7) << key;
  };
  ASSERT_TRUE(got.alternating);
  const PowerTerms& terms = got.alternating->terms;
  expect(got.voltage.rms, "V");
  expect(got.current.rms, "I");
  expect(got.active_power_W, "P");
  expect(got.apparent_power_VA, "S");
  expect(terms.apparent_power_VA, "S");
  expect(got.alternating->parts.fundamental_active_power_W, "P_1");
  expect(got.alternating->parts.fundamental_reactive_power_var, "Q_1");
  expect(terms.fundamental_apparent_power_VA, "S_1");
  expect(terms.non_fundamental_apparent_power_VA, "S_N");
  expect(terms.current_distortion_power_var, "D_I");
  expect(terms.voltage_distortion_power_var, "D_V");
  expect(terms.harmonic_apparent_power_VA, "S_H");
  // A difference of two powers, each to 1e-7; printed to seven digits.
  EXPECT_NEAR(terms.harmonic_active_power_W, expected("P_H"), 1e-7 * 8660.0);
  expect(terms.harmonic_distortion_power_var, "D_H");
  expect(terms.nonactive_power_var, "N");
  expect(terms.voltage_distortion, "THD_V");
  expect(terms.current_distortion, "THD_I");
  expect(got.alternating->voltage_distortion->thd, "THD_V");
  expect(got.alternating->current_distortion->thd, "THD_I");
  expect(terms.power_factor, "PF");
  expect(terms.displacement_factor, "PF_1");
  EXPECT_NEAR(got.alternating->frequency_Hz, 50.0, 1e-7);
  for (std::size_t k = 0; k < v.order.size(); ++k) {
    const auto order = static_cast<std::size_t>(v.order[k]);
    const PairHarmonic& harmonic = got.alternating->harmonics.at(order);
    EXPECT_NEAR(harmonic.voltage_V, v.rms[k], 1e-7 * 100.0) << order;
    EXPECT_NEAR(harmonic.current_A, i.rms[k], 1e-7 * 100.0) << order;
    EXPECT_NEAR(angle_between_deg(harmonic.voltage_phase_rad, v.phase_deg[k]), 0.0, 1e-5) << order;
    EXPECT_NEAR(angle_between_deg(harmonic.current_phase_rad, i.phase_deg[k]), 0.0, 1e-5) << order;
    const double p = std::real(std::polar(harmonic.voltage_V, harmonic.voltage_phase_rad) *
                               std::polar(harmonic.current_A, -harmonic.current_phase_rad));
    EXPECT_NEAR(p, numbers(example.at("crosscheck").at("P_h"))[k], 1e-7 * 8660.0) << order;
  }
}

TEST(PublishedAcPower, NonsinusoidalExampleOfIeee1459AnnexB) {
  const json::value file = base::json_from_file(data + "ieee1459_nonsinusoidal_annex_b.json");
  for (const json::value& example : file.at("cases").as_array()) {
    SCOPED_TRACE(example.at("name").as_string().c_str());
    expect_annex_b(example, 10000.0, 0.2, 0.0);   // one window, to the sample
    expect_annex_b(example, 10000.0, 1.03, 3.7);  // several, begun anywhere
    expect_annex_b(example, 250000.0, 0.6, 0.3);  // thinned out
    expect_annex_b(example, 6250.7, 0.9, 0.0);    // no whole number of samples in a window
  }
}

// The figures that the standard prints (from memory): its sums are formed from rounded parts, so P
// is within 0.3 W and S within 0.1 VA.
TEST(PublishedAcPower, PrintedPowersOfIeee1459AnnexB) {
  const Sines v{{1, 3, 5, 7}, {100, 8, 15, 5}, {0, -70, 140, 20}};
  const Sines i{{1, 3, 5, 7}, {100, 20, 15, 10}, {-30, -165, 233, 288}};
  const auto voltage_V = sampled(v, 20000.0, 60.0, 1.0);
  const auto current_A = sampled(i, 20000.0, 60.0, 1.0);
  const PairPower got = pair_power(std::array{PairStretch{voltage_V, current_A}}, 20000.0, {}, "");
  ASSERT_TRUE(got.alternating);
  EXPECT_EQ(got.alternating->cycles, 12);
  EXPECT_NEAR(got.active_power_W, 8632.54, 0.3);
  EXPECT_NEAR(got.apparent_power_VA, 10517.55, 0.1);
  EXPECT_NEAR(got.alternating->terms.non_fundamental_apparent_power_VA, 3258.6, 0.15);
  EXPECT_NEAR(got.alternating->terms.current_distortion_power_var, 2692.6, 0.05);
  EXPECT_NEAR(got.alternating->terms.voltage_distortion_power_var, 1772.0, 0.05);
  EXPECT_NEAR(got.alternating->terms.harmonic_apparent_power_VA, 477.1, 0.05);
}

// IEEE Std 1459-2010, 3.2.2 on a resistor between two phases; sources and tolerance in the file.
TEST(PublishedAcPower, UnbalancedThreePhasesOfIeee1459) {
  const json::value file = base::json_from_file(data + "ieee1459_three_phase_unbalanced.json");
  const json::value& in = file.at("inputs");
  const auto volts_deg = numbers(in.at("V_angles_deg"));
  const auto amperes = numbers(in.at("I"));
  const auto amperes_deg = numbers(in.at("I_angles_deg"));
  ThreePhases phases{};
  for (std::size_t k = 0; k < 3; ++k) {
    phases.voltage_V[k] = std::polar(in.at("V_phase").to_number<double>(), volts_deg[k] * pi / 180);
    phases.current_A[k] = std::polar(amperes[k], amperes_deg[k] * pi / 180);
  }
  const ThreePhasePower got = three_phase_power(phases);
  const auto expect = [&](double value, const char* key) {
    EXPECT_NEAR(value / file.at("crosscheck").at(key).to_number<double>(), 1.0, 1e-8) << key;
  };
  expect(got.active_power_W, "P");
  expect(got.effective_voltage_V, "V_e");
  expect(got.effective_current_A, "I_e");
  expect(got.effective_apparent_power_VA, "S_e");
  expect(got.effective_power_factor, "PF_e");
  expect(got.positive_current_A, "I_positive");
  expect(got.negative_current_A, "I_negative");
  expect(got.positive_apparent_power_VA, "S_1_plus");
  expect(got.positive_active_power_W, "P_1_plus");
}

// IEC 61000-4-7:2002+A1:2008, 5.5; sources and tolerance in the file.
TEST(PublishedAcPower, GroupsOfIec61000_4_7) {
  const json::value file = base::json_from_file(data + "iec61000_4_7_groups.json");
  const json::value& expected = file.at("exact_test").at("expected");
  const auto signal = [](double cycles) {
    return 325.27 * std::sin(2.0 * pi * cycles) + 10.0 * std::sin(6.0 * pi * cycles) +
           4.0 * std::sin(10.0 * pi * cycles) + 2.0 * std::sin(7.0 * pi * cycles);
  };
  for (const double seconds : {0.2, 1.5}) {
    const auto x = sampled(signal, 10000.0, 50.0, seconds, 0.0);
    const PairPower got = pair_power(std::array{PairStretch{x, x}}, 10000.0, {}, "groups");
    ASSERT_TRUE(got.alternating);
    const auto& groups = got.alternating->current_groups;
    // The file prints eight digits; what they are rounded from is plain here.
    const auto expect = [&](double value, const char* key, double exact) {
      EXPECT_NEAR(value / expected.at(key).to_number<double>(), 1.0, 5e-8) << key;
      EXPECT_NEAR(value / exact, 1.0, 1e-8) << key << " in " << seconds << " s";
    };
    const double root = std::numbers::sqrt2;
    expect(groups[1].harmonic, "V1", 325.27 / root);
    expect(groups[3].harmonic, "V3", 10.0 / root);
    expect(groups[5].harmonic, "V5", 4.0 / root);
    expect(got.alternating->current_distortion->thd, "THD", std::hypot(10.0, 4.0) / 325.27);
    expect(groups[3].group, "group_3", std::sqrt(50.0 + 1.0));
    expect(groups[4].group, "group_4", 1.0);
    expect(groups[3].subgroup, "subgroup_3", 10.0 / root);
    expect(groups[3].interharmonic_subgroup, "interharmonic_subgroup_3", 2.0 / root);
  }
}

TEST(PublishedAcPower, GroupAndSubgroupOfAMadeSpectrum) {
  const json::value file = base::json_from_file(data + "iec61000_4_7_groups.json");
  const auto about = numbers(file.at("example").at("bins_offsets_-5_to_5"));
  std::vector<double> squares(36, 0.0);
  for (std::size_t k = 0; k < about.size(); ++k)
    squares[15 + k] = about[k] * about[k];
  const auto groups = harmonic_groups(squares, 10);
  EXPECT_NEAR(groups[2].group, file.at("example").at("expected_group").to_number<double>(), 5e-8);
  EXPECT_NEAR(groups[2].subgroup, file.at("example").at("expected_subgroup").to_number<double>(),
              5e-8);
}

double sign(double x) {
  return x < 0.0 ? -1.0 : 1.0;
}

// Fourier series; Bimbhra, Power Electronics, example 8.9. Sources and tolerance, 1e-4 with enough
// samples and harmonics, in the file. Its thd is that of all orders.
TEST(PublishedAcPower, WaveformsHaveTheirClosedForms) {
  const auto part = [](double cycles) { return cycles - std::floor(cycles); };
  const std::vector<std::pair<const char*, std::function<double(double)>>> waveforms{
      {"sine", [](double c) { return std::sin(2.0 * pi * c); }},
      {"square", [&](double c) { return sign(0.5 - part(c)); }},
      {"triangle", [&](double c) { return 4.0 * std::abs(part(c) - 0.5) - 1.0; }},
      {"sawtooth", [&](double c) { return 2.0 * part(c) - 1.0; }},
      {"half-wave rectified sine", [](double c) { return std::max(0.0, std::sin(2.0 * pi * c)); }},
      {"full-wave rectified sine", [](double c) { return std::abs(std::sin(2.0 * pi * c)); }}};
  const auto table = base::Table::from_file(data + "waveform_closed_forms.csv");
  ASSERT_EQ(table.rows(), waveforms.size());
  for (std::size_t row = 0; row < table.rows(); ++row) {
    const auto& [name, waveform] = waveforms[row];
    ASSERT_EQ(table.text(row, 0), name);
    SCOPED_TRACE(name);
    const PairPower got = power_of_waveform(waveform, 2e6);
    const auto closed = [&](const char* column) {
      return table.number(row, table.required_column(column));
    };
    EXPECT_NEAR(got.voltage.rms, closed("rms"), 1e-4);
    EXPECT_NEAR(got.voltage.rectified_mean, closed("rectified_mean"), 1e-4);
    EXPECT_NEAR(got.voltage.rms / got.voltage.rectified_mean, closed("form_factor"), 1e-4);
    EXPECT_NEAR(got.voltage.crest_factor.value(), closed("crest_factor"), 1e-4);
    ASSERT_TRUE(got.alternating);
    if (!table.text(row, table.required_column("thd")).empty()) {
      EXPECT_NEAR(got.alternating->terms.voltage_distortion, closed("thd"), 1e-4);
    }
  }
}

// Closed forms of the modified sine of an inverter; sources in the file. At 250 kS/s an edge lies
// within 4 us, 2e-4 of a cycle, of its place.
TEST(PublishedAcPower, QuasiSquareWavesHaveTheirClosedForms) {
  const auto table = base::Table::from_file(data + "quasi_square_inverter.csv");
  for (std::size_t row = 0; row < table.rows(); ++row) {
    const auto closed = [&](const char* column) {
      return table.number(row, table.required_column(column));
    };
    const double zero = closed("alpha_deg") / 360.0;
    SCOPED_TRACE(closed("alpha_deg"));
    const PairPower got = power_of_waveform(
        [zero](double c) {
          const double half = c * 2.0 - std::floor(c * 2.0);
          const bool on = half > 2.0 * zero && half < 1.0 - 2.0 * zero;
          return on ? sign(std::sin(2.0 * pi * c)) : 0.0;
        },
        250000.0);
    EXPECT_NEAR(got.voltage.rms, closed("rms"), 4e-4);
    ASSERT_TRUE(got.alternating);
    EXPECT_NEAR(got.alternating->harmonics[1].voltage_V, closed("V1_rms"), 4e-4);
    EXPECT_NEAR(got.alternating->terms.voltage_distortion, closed("THD"), 1e-3);
    const double first_V = got.alternating->harmonics[1].voltage_V;
    EXPECT_NEAR(got.alternating->harmonics[3].voltage_V / first_V, closed("V3_over_V1"), 1e-3);
    EXPECT_NEAR(got.alternating->harmonics[5].voltage_V / first_V, closed("V5_over_V1"), 1e-3);
  }
}

}  // namespace
}  // namespace windwright::signal
