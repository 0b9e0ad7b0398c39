// SPDX-License-Identifier: Apache-2.0
// Simulated calibrations with known truth, 10,000 a model and kind of statement, seeds fixed: the
// stated 95 % interval of a value read with the certificate holds the truth in 94 to 96 of 100. The
// table in docs/theory/calibration.md is held to what is counted here.
#include "base/random.h"
#include "metrology/certificate.h"
#include "metrology/curve.h"
#include "metrology/curve_use.h"

#include <fmt/format.h>
#include <gtest/gtest.h>

#include <cmath>
#include <cstddef>
#include <cstdint>
#include <fstream>
#include <optional>
#include <sstream>
#include <string>
#include <vector>

namespace windwright::metrology {
namespace {

struct Truth {
  std::string model;                 // that is fitted
  std::string law;                   // that makes the readings
  std::vector<double> coefficients;  // of the law
  double low;                        // of the known inputs
  double high;
  double scatter;     // standard deviation of a reading; of a backward law, in the value's unit
  double u_standard;  // standard uncertainty of each known input, where it is stated
};

/// What goes wrong in the calibration, all of it stated but the first.
enum class Stated {
  nothing,   // readings scatter; the fit must find out by how much
  readings,  // the same, with u_reading
  both,      // known inputs are off too, each by itself: u_reading and u_reference
  common     // and all of them alike, by one standard: the whole covariance
};

// One sensor with its true curve, and the inputs that its calibration lays on.
class Sensor {
 public:
  Sensor(const Truth& truth, std::size_t inputs)
      : truth_(truth), certificate_(blank(truth)), curve_(whole()) {
    for (std::size_t i = 0; i < inputs; ++i) {
      const double share = static_cast<double>(i) / (static_cast<double>(inputs) - 1.0);
      input_.push_back(truth_.low + share * (truth_.high - truth_.low));
      reading_.push_back(curve_.reading(input_.back()));
    }
  }
  std::size_t inputs() const { return input_.size(); }
  double input(std::size_t i) const { return input_[i]; }
  double reading(std::size_t i) const { return reading_[i]; }
  double reading_at(double value) const { return curve_.reading(value); }
  double scatter(double reading) const {
    const double per_reading = curve_.is_backward() ? curve_.value_per_reading(reading) : 1.0;
    return truth_.scatter / std::abs(per_reading);
  }

 private:
  static Certificate blank(const Truth& truth) {
    Certificate certificate{};
    certificate.model = truth.law;
    certificate.fit.coefficients = truth.coefficients;
    return certificate;
  }
  // Ranges by which the curve can be turned round; of a backward law by bisection.
  const Certificate& whole() {
    certificate_.reference_range[0] = truth_.low;
    certificate_.reference_range[1] = truth_.high;
    certificate_.reading_range[0] = truth_.law == "cup" ? 1.0 : 1e3;
    certificate_.reading_range[1] = truth_.law == "cup" ? 100.0 : 1e5;
    return certificate_;
  }

  const Truth& truth_;
  Certificate certificate_;
  Curve curve_;
  std::vector<double> input_;
  std::vector<double> reading_;
};

class Trial {
 public:
  Trial(const Truth& truth, const Sensor& sensor, Stated stated, std::uint64_t seed)
      : truth_(truth),
        sensor_(sensor),
        stated_(stated),
        random_(seed, "calibration " + truth.model) {}

  /// A new reading, which nobody states an uncertainty of: the certificate has it.
  bool covers() const {
    Certificate blank{};
    blank.channel = "x";
    blank.model = truth_.model;
    const Certificate certificate = calibrate(blank, readings(), "trial");
    const double x = truth_.low + (0.1 + 0.8 * random_.uniform(2000)) * (truth_.high - truth_.low);
    const double exact = sensor_.reading_at(x);
    const double reading = exact + sensor_.scatter(exact) * random_.normal(1001);
    const Estimate got = value_of_readings(certificate, {reading}, std::nullopt, "trial");
    return std::abs(got.value() - x) <= got.expanded();
  }

 private:
  Readings readings() const {
    Readings table;
    const bool exact_inputs = stated_ == Stated::nothing || stated_ == Stated::readings;
    const double common = stated_ == Stated::common ? truth_.u_standard * random_.normal(999) : 0.0;
    for (std::size_t i = 0; i < sensor_.inputs(); ++i) {
      const double scatter = sensor_.scatter(sensor_.reading(i));
      const double own = exact_inputs ? 0.0 : truth_.u_standard * random_.normal(i + 100);
      table.reading.push_back(sensor_.reading(i) + scatter * random_.normal(i));
      table.reference.push_back(sensor_.input(i) + own + common);
      if (stated_ == Stated::readings || stated_ == Stated::both)
        table.u_reading.push_back(scatter);
      if (stated_ == Stated::both) table.u_reference.push_back(truth_.u_standard);
    }
    if (stated_ == Stated::common) table.covariance = covariance();
    return table;
  }

  // Of all known inputs, then of all readings.
  std::vector<double> covariance() const {
    const std::size_t inputs = sensor_.inputs();
    const std::size_t rows = 2 * inputs;
    const double variance = truth_.u_standard * truth_.u_standard;
    std::vector<double> result(rows * rows, 0.0);
    for (std::size_t i = 0; i < inputs; ++i) {
      for (std::size_t j = 0; j < inputs; ++j)
        result[i * rows + j] = i == j ? 2.0 * variance : variance;
      const std::size_t below = i + inputs;
      result[below * rows + below] = std::pow(sensor_.scatter(sensor_.reading(i)), 2);
    }
    return result;
  }

  const Truth& truth_;
  const Sensor& sensor_;
  Stated stated_;
  base::RandomStream random_;
};

// Share of the table row of a model in the page, in percent: one of `nothing`, `readings` ...
std::optional<double> in_page(const std::string& model, Stated stated) {
  std::ifstream page(SOURCE_FOLDER "/docs/theory/calibration.md");
  const std::string start = "| `" + model + "` | ";
  for (std::string line; std::getline(page, line);) {
    if (!line.starts_with(start)) continue;
    std::istringstream row(line.substr(start.size()));
    std::string cell;
    for (int column = 0; column <= static_cast<int>(stated); ++column)
      std::getline(row, cell, '|');
    std::istringstream number(cell);
    if (double percent = 0.0; number >> percent) return percent;
  }
  return std::nullopt;
}

void expect_honest(const Truth& truth, const std::vector<Stated>& kinds) {
  constexpr int trials = 10000;
  std::string row;
  for (const Stated stated : kinds) {
    // The fit of a whole covariance takes its time.
    const Sensor sensor(truth, stated == Stated::common ? 5 : 9);
    int covered = 0;
    for (std::uint64_t seed = 0; seed < trials; ++seed)
      covered += Trial(truth, sensor, stated, seed).covers() ? 1 : 0;
    EXPECT_GE(covered, 9400) << truth.model << ' ' << static_cast<int>(stated);
    EXPECT_LE(covered, 9600) << truth.model << ' ' << static_cast<int>(stated);
    const double percent = covered / 100.0;
    row += fmt::format(" {:.1f} |", percent);
    EXPECT_NEAR(in_page(truth.model, stated).value_or(0.0), percent, 0.0501)
        << "the page's table should read | `" << truth.model << "` |" << row;
  }
}

const std::vector<Stated> each{Stated::nothing, Stated::readings, Stated::both};
const std::vector<Stated> all{Stated::nothing, Stated::readings, Stated::both, Stated::common};

std::vector<double> curved(std::size_t degree) {
  // A voltage over a speed from 2 to 20 m/s that rises all the way, whatever the degree.
  const std::vector<double> c{0.5, 0.4, -4e-3, 1.2e-4, -2e-6, 3e-8, 1e-10};
  return {c.begin(), c.begin() + static_cast<std::ptrdiff_t>(degree) + 1};
}
Truth polynomial_of(std::size_t degree) {
  const std::string name = "polynomial:" + std::to_string(degree);
  return {name, name, curved(degree), 2.0, 20.0, 0.01, 0.02};
}

TEST(CalibrationCoverage, Line) {
  expect_honest({"line", "line", {0.5, 0.4}, 2.0, 20.0, 0.01, 0.05}, all);
}
TEST(CalibrationCoverage, Polynomial) {
  for (std::size_t degree = 1; degree <= 6; ++degree)
    expect_honest(polynomial_of(degree), degree == 2 ? all : each);
}
TEST(CalibrationCoverage, PolynomialOfChosenDegree) {
  Truth chosen = polynomial_of(2);
  chosen.model = "polynomial:auto";
  expect_honest(chosen, {Stated::nothing, Stated::readings});
}
TEST(CalibrationCoverage, King) {
  const std::vector<double> wire{1.396, 0.895, 0.45};
  expect_honest({"king", "king", wire, 1.0, 20.0, 0.003, 0.02}, all);
  expect_honest({"king:0.45", "king:0.45", {1.396, 0.895}, 1.0, 20.0, 0.003, 0.02},
                {Stated::nothing, Stated::readings});
}
TEST(CalibrationCoverage, Pitot) {
  expect_honest({"pitot", "pitot", {0.1, 0.6}, 4.0, 20.0, 0.3, 0.03}, all);
  expect_honest({"pitot:99800", "pitot:99800", {2.0, 0.595}, 30.0, 120.0, 6.0, 0.03}, all);
}
TEST(CalibrationCoverage, Cup) {
  expect_honest({"cup", "cup", {0.35, 0.765}, 4.0, 16.0, 0.02, 0.03}, all);
}
TEST(CalibrationCoverage, PlatinumThermometer) {
  const std::vector<double> c{100.02, 3.9083e-3, -5.775e-7, -4.183e-12};
  expect_honest({"pt100", "pt100", {c[0], c[1], c[2]}, 0.0, 120.0, 0.01, 0.02}, all);
  expect_honest({"pt100:1", "pt100:1", {c[0]}, 0.0, 120.0, 0.01, 0.02}, each);
  expect_honest({"pt100:4", "pt100:4", c, -80.0, 120.0, 0.01, 0.02}, each);
}
TEST(CalibrationCoverage, Thermocouples) {
  for (const char type : std::string("EJKNRST")) {
    const std::string name = std::string("thermocouple:") + type;
    expect_honest({name, name, {0.01, 1.002}, 20.0, 200.0, 0.004, 0.1},
                  type == 'K' ? each : std::vector<Stated>{Stated::both});
  }
  expect_honest({"thermocouple:B", "thermocouple:B", {0.01, 1.002}, 600.0, 1200.0, 0.004, 0.3},
                {Stated::both});
}
TEST(CalibrationCoverage, Thermistor) {
  const std::vector<double> c{1.12924e-3, 2.34108e-4, 8.7755e-8};
  expect_honest({"ntc", "ntc", c, 0.0, 60.0, 0.02, 0.02}, all);
}
TEST(CalibrationCoverage, GainAlone) {
  expect_honest({"tachometer", "tachometer", {60.0 / 6.2831853}, 5.0, 150.0, 0.4, 0.05}, each);
  expect_honest({"shunt", "shunt", {7.5e-3}, 0.5, 10.0, 2e-5, 0.004}, each);
  expect_honest({"divider", "divider", {0.0909}, 1.0, 30.0, 1e-3, 0.01}, all);
}

}  // namespace
}  // namespace windwright::metrology
