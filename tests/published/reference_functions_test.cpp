// SPDX-License-Identifier: Apache-2.0
#include "metrology/reference_functions.h"

#include "base/json.h"
#include "base/table.h"
#include "metrology/curve_use.h"
#include "metrology/law.h"

#include <boost/json.hpp>
#include <gtest/gtest.h>

#include <cmath>
#include <string>

namespace windwright::metrology {
namespace {

namespace json = boost::json;

const std::string folder = SOURCE_FOLDER "/tests/published/data/";

double number(const json::value& value) {
  return value.to_number<double>();
}

// IEC 60751:2008, 4.2 and its table: resistances to 0.01 ohm, and the equation to 8 digits.
TEST(ReferenceFunctions, Pt100ToThePrintedHundredthOfAnOhm) {
  const base::Table table = base::Table::from_file(folder + "pt100_iec60751.csv");
  ASSERT_GT(table.rows(), 60U);
  for (std::size_t row = 0; row < table.rows(); ++row) {
    const double t = table.number(row, 0);
    const double resistance = platinum_resistance_ohm(t);
    EXPECT_NEAR(resistance / table.number(row, 1), 1.0, 1e-7) << t;
    EXPECT_LE(std::abs(resistance - table.number(row, 2)), 0.005 + 1e-9) << t;
    EXPECT_NEAR(platinum_temperature_C(resistance), t, 1e-9) << t;
  }
}

// IEC 60751:2008, Table 3 (from memory): class A within 0.15 + 0.002 |t|.
TEST(ReferenceFunctions, ClassOfAPt100) {
  EXPECT_DOUBLE_EQ(platinum_tolerance_K("A", -100.0), 0.35);
  EXPECT_DOUBLE_EQ(platinum_tolerance_K("B", 100.0), 0.8);
  EXPECT_TRUE(std::isnan(platinum_tolerance_K("D", 0.0)));
}

// Burns et al., NIST Monograph 175 (1993): tables to 1 uV; more digits by the same functions in
// another program.
TEST(ReferenceFunctions, ThermocouplesToThePrintedMicrovolt) {
  const json::value set = base::json_from_file(folder + "thermocouple_its90.json");
  for (const auto& [type, points] : set.at("check_points_mV_printed").as_object()) {
    for (const json::value& point : points.as_array()) {
      const double t = number(point.at(0));
      EXPECT_NEAR(1e3 * thermocouple_emf(type[0], t).emf_V, number(point.at(1)), 0.0005 + 1e-9)
          << type << ' ' << t;
    }
  }
  for (const auto& [type, points] : set.at("crosscheck_mV").as_object()) {
    for (const json::value& point : points.as_array()) {
      const double t = number(point.at(0));
      const double emf = 1e3 * thermocouple_emf(type[0], t).emf_V;
      EXPECT_NEAR(emf, number(point.at(1)), 1e-6 * std::max(1.0, std::abs(emf))) << type << t;
    }
  }
}

// The other types at fixed points of their tables in the same monograph (from memory).
TEST(ReferenceFunctions, FurtherTypesAtPrintedPoints) {
  struct Point {
    char type;
    double t;
    double emf_mV;
  };
  for (const auto& [type, t, emf_mV] :
       {Point{'E', 100.0, 6.319}, Point{'E', 1000.0, 76.373}, Point{'E', -200.0, -8.825},
        Point{'N', 100.0, 2.774}, Point{'N', 1300.0, 47.513}, Point{'N', -200.0, -3.990},
        Point{'R', 1000.0, 10.506}, Point{'S', 1000.0, 9.587}, Point{'B', 1000.0, 4.834},
        Point{'J', 760.0, 42.919}, Point{'J', 1200.0, 69.553}, Point{'R', 1768.0, 21.101},
        Point{'S', 1768.0, 18.693}, Point{'B', 1820.0, 13.820}}) {
    EXPECT_NEAR(1e3 * thermocouple_emf(type, t).emf_V, emf_mV, 0.0005 + 1e-9) << type << ' ' << t;
  }
}

// Inverse: back to the temperature to rounding, everywhere on the rising branch.
TEST(ReferenceFunctions, ThermocouplesThereAndBack) {
  for (const char type : thermocouple_types()) {
    const auto [lowest, highest] = thermocouple_range(type);
    const double from = type == 'B' ? 60.0 : lowest + 5.0;
    for (double t = from; t <= highest; t += 7.3) {
      const Emf at = thermocouple_emf(type, t);
      EXPECT_NEAR(thermocouple_temperature_C(type, at.emf_V), t, 1e-7) << type << ' ' << t;
      const double step = 1e-3;
      const double slope =
          (thermocouple_emf(type, t + step).emf_V - thermocouple_emf(type, t - step).emf_V) /
          (2.0 * step);
      EXPECT_NEAR(at.slope_V_K / slope, 1.0, 2e-4) << type << ' ' << t;
    }
  }
}

// The monograph's inverse polynomials of type K agree with our inverse within their stated error.
TEST(ReferenceFunctions, InversePolynomialsOfTypeKWithinTheirError) {
  const json::value set = base::json_from_file(folder + "thermocouple_its90.json");
  for (const json::value& piece : set.at("inverse_K").as_array()) {
    const double low = number(piece.at("emf_mV").at(0));
    const double high = number(piece.at("emf_mV").at(1));
    for (int place = 0; place <= 20; ++place) {
      const double emf = low + (high - low) * place / 20.0;
      double t = 0.0;
      double power = 1.0;
      for (const json::value& d : piece.at("d").as_array()) {
        t += number(d) * power;
        power *= emf;
      }
      EXPECT_NEAR(thermocouple_temperature_C('K', 1e-3 * emf), t, 0.06) << emf;
    }
  }
}

// Steinhart and Hart, Deep-Sea Res. 15 (1968) 497; coefficients of a common 10 kohm thermistor.
TEST(ReferenceFunctions, ThermistorToAMillionthOfADegree) {
  const json::value set = base::json_from_file(folder + "thermistor_steinhart_hart.json");
  const json::value& c = set.at("coefficients");
  const Certificate certificate = nominal_certificate(
      {.model = "ntc", .coefficients = {number(c.at("a")), number(c.at("b")), number(c.at("c"))}},
      "test");
  for (const json::value& point : set.at("table").as_array()) {
    // The table's resistances have 8 digits.
    EXPECT_NEAR(value_of(certificate, number(point.at(1))), number(point.at(0)), 2e-6);
    EXPECT_NEAR(reading_of(certificate, number(point.at(0))) / number(point.at(1)), 1.0, 1e-7);
  }
  EXPECT_NEAR(value_of(certificate, 1e4), number(set.at("T_at_10000_ohm")), 5e-6);
}

// Anderson, Fundamentals of Aerodynamics, examples 3.7, 3.9 and 8 (compressible: computed);
// Doebelin and Manik, Measurement Systems, example 7.1.
TEST(ReferenceFunctions, SpeedFromPitotStaticPressure) {
  const json::value set = base::json_from_file(folder + "pitot_static_examples.json");
  const json::array& cases = set.at("cases").as_array();
  for (const int index : {0, 1}) {
    const json::value& in = cases[static_cast<std::size_t>(index)].at("inputs");
    const double wanted = number(cases[static_cast<std::size_t>(index)].at("expected").at("V"));
    const double speed =
        pitot_speed_m_s(number(in.at("p0")) - number(in.at("p")), number(in.at("rho")));
    EXPECT_NEAR(speed / wanted, 1.0, 1e-6) << index;
  }
  const json::value& compressible = cases[5].at("inputs");
  EXPECT_NEAR(
      pitot_speed_compressible_m_s(number(compressible.at("p0")) - number(compressible.at("p")),
                                   number(compressible.at("p")), number(compressible.at("T_K"))) /
          number(cases[5].at("expected").at("V")),
      1.0, 1e-6);
  const json::value& in = cases[4].at("inputs");
  const double density = number(in.at("p")) / (number(in.at("R")) * number(in.at("T_K")));
  const Certificate tube =
      nominal_certificate({.model = "pitot", .density_kg_m3 = density}, "test");
  const double speed = number(in.at("V"));
  const Estimate value =
      value_of_readings(tube, {0.5 * density * speed * speed}, number(in.at("u_dp")), "test");
  EXPECT_NEAR(value.value(), speed, 1e-9);
  EXPECT_NEAR(100.0 * value.u() / speed, number(cases[4].at("expected").at("u_V_percent")), 1e-5);
}

}  // namespace
}  // namespace windwright::metrology
