// SPDX-License-Identifier: Apache-2.0
#include "metrology/law.h"

#include "base/errors.h"
#include "base/text.h"
#include "metrology/reference_functions.h"

#include <Eigen/Dense>
#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <limits>
#include <memory>
#include <numbers>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

namespace windwright::metrology {

namespace {

using Coefficients = std::span<const Extended>;

// Least squares of values over columns that term(argument, k) gives.
template <typename Term>
std::vector<Extended> solved(std::span<const double> arguments, std::span<const double> values,
                             std::size_t size, const Term& term) {
  using Matrix = Eigen::Matrix<Extended, Eigen::Dynamic, Eigen::Dynamic>;
  const auto rows = static_cast<Eigen::Index>(arguments.size());
  Matrix system(rows, static_cast<Eigen::Index>(size));
  Matrix target(rows, 1);
  for (Eigen::Index i = 0; i < rows; ++i) {
    const auto at = static_cast<std::size_t>(i);
    for (std::size_t k = 0; k < size; ++k)
      system(i, static_cast<Eigen::Index>(k)) = term(Extended(arguments[at]), k);
    target(i, 0) = values[at];
  }
  const Matrix solution = system.colPivHouseholderQr().solve(target);
  return {solution.data(), solution.data() + solution.size()};
}

class PolynomialLaw : public Law {
 public:
  explicit PolynomialLaw(int degree) : size_(static_cast<std::size_t>(degree) + 1) {}
  std::vector<std::string> names() const override {
    std::vector<std::string> result;
    for (std::size_t k = 0; k < size_; ++k)
      result.push_back(fmt::format("c{}", k));
    return result;
  }
  Extended evaluate(Coefficients c, Extended x, Extended& slope,
                    std::span<Extended> gradient) const override {
    Extended value = 0;
    Extended power = 1;
    slope = 0;
    for (std::size_t k = 0; k < size_; ++k) {
      gradient[k] = power;
      value += c[k] * power;
      if (k + 1 < size_) slope += static_cast<Extended>(k + 1) * c[k + 1] * power;
      power *= x;
    }
    return value;
  }
  std::vector<Extended> start(std::span<const double> x, std::span<const double> y) const override {
    return solved(x, y, size_, [](Extended at, std::size_t k) { return std::pow(at, k); });
  }

 private:
  std::size_t size_;
};

// Line of the reference over the reading.
class CupLaw : public PolynomialLaw {
 public:
  CupLaw() : PolynomialLaw(1) {}
  std::vector<std::string> names() const override { return {"offset", "slope"}; }
  bool is_backward() const override { return true; }
};

class GainLaw : public Law {
 public:
  std::vector<std::string> names() const override { return {"gain"}; }
  bool has_constant() const override { return false; }
  Extended evaluate(Coefficients c, Extended x, Extended& slope,
                    std::span<Extended> gradient) const override {
    slope = c[0];
    gradient[0] = x;
    return c[0] * x;
  }
  std::vector<Extended> start(std::span<const double> x, std::span<const double> y) const override {
    return solved(x, y, 1, [](Extended at, std::size_t) { return at; });
  }
};

// At Mach 0 as without compressibility, gain x^2; with it, static pressure p and g = gain x^2 / p,
// p ((1 + (k - 1) / k g)^(k / (k - 1)) - 1) of a perfect gas with k = 1.4.
class PitotLaw : public Law {
 public:
  explicit PitotLaw(std::optional<double> static_Pa) : static_Pa_(static_Pa) {}
  std::vector<std::string> names() const override { return {"zero", "gain"}; }
  double lowest_argument() const override { return 0.0; }
  std::string reading_unit() const override { return static_Pa_ ? "Pa" : ""; }
  Extended evaluate(Coefficients c, Extended x, Extended& slope,
                    std::span<Extended> gradient) const override {
    Extended pressure = c[1] * x * x;
    Extended steeper = 1;
    if (static_Pa_) {
      constexpr Extended k = 1.4L;
      const Extended log = std::log1p((k - 1) / k * pressure / *static_Pa_);
      pressure = *static_Pa_ * std::expm1(k / (k - 1) * log);
      steeper = std::exp(log / (k - 1));
    }
    slope = 2 * c[1] * x * steeper;
    gradient[0] = 1;
    gradient[1] = x * x * steeper;
    return c[0] + pressure;
  }
  std::vector<Extended> start(std::span<const double> x, std::span<const double> y) const override {
    return solved(x, y, 2,
                  [](Extended at, std::size_t k) { return k == 0 ? Extended(1) : at * at; });
  }

 private:
  std::optional<double> static_Pa_;
};

// The fit is of the reading, not of its square: the square would give the fast readings more
// weight than they have.
class KingLaw : public Law {
 public:
  explicit KingLaw(std::optional<double> exponent) : exponent_(exponent) {}
  std::vector<std::string> names() const override {
    if (exponent_) return {"A", "B"};
    return {"A", "B", "n"};
  }
  double lowest_argument() const override { return 0.0; }
  Extended evaluate(Coefficients c, Extended x, Extended& slope,
                    std::span<Extended> gradient) const override {
    const Extended n = exponent_ ? Extended(*exponent_) : c[2];
    const Extended log = x > 0 ? std::log(x) : 0;
    const Extended power = x > 0 ? std::exp(n * log) : 0;
    const Extended value = std::sqrt(c[0] + c[1] * power);
    gradient[0] = 1 / (2 * value);
    gradient[1] = power / (2 * value);
    if (!exponent_) gradient[2] = x > 0 ? c[1] * power * log / (2 * value) : 0;
    slope = x > 0 ? c[1] * n * power / x / (2 * value) : std::numeric_limits<Extended>::infinity();
    return value;
  }
  // Straight in A and B for a given n: the best of a row of n.
  std::vector<Extended> start(std::span<const double> x, std::span<const double> y) const override {
    std::vector<double> squares;
    for (const double reading : y)
      squares.push_back(reading * reading);
    std::vector<Extended> best;
    Extended least = std::numeric_limits<Extended>::infinity();
    for (const double guess : {0.45, 0.3, 0.6, 0.8, 1.0, 0.15}) {
      const Extended n = exponent_ ? *exponent_ : guess;
      const auto line = solved(x, squares, 2, [n](Extended at, std::size_t k) {
        if (k == 0) return Extended(1);
        return at > 0 ? std::exp(n * std::log(at)) : Extended(0);
      });
      std::vector<Extended> coefficients = line;
      if (!exponent_) coefficients.push_back(n);
      const Extended sum = squares_left(coefficients, x, y);
      if (best.empty() || sum < least) {
        best = std::move(coefficients);
        least = sum;
      }
      if (exponent_) break;
    }
    return best;
  }

 private:
  Extended squares_left(Coefficients c, std::span<const double> x,
                        std::span<const double> y) const {
    Extended sum = 0;
    Extended slope = 0;
    Extended gradient[3];
    for (std::size_t i = 0; i < x.size(); ++i)
      sum += std::pow(evaluate(c, x[i], slope, gradient) - y[i], 2);
    return std::isfinite(sum) ? sum : std::numeric_limits<Extended>::infinity();
  }

  std::optional<double> exponent_;
};

class PlatinumLaw : public Law {
 public:
  explicit PlatinumLaw(std::size_t free) : free_(free) {}
  std::vector<std::string> names() const override {
    std::vector<std::string> all{"R0", "A", "B", "C"};
    all.resize(free_);
    return all;
  }
  bool has_constant() const override { return free_ > 1; }
  std::string reference_unit() const override { return "degC"; }
  std::string reading_unit() const override { return "ohm"; }
  Extended evaluate(Coefficients c, Extended t, Extended& slope,
                    std::span<Extended> gradient) const override {
    const Extended a = free_ > 1 ? c[1] : Extended(platinum_a);
    const Extended b = free_ > 2 ? c[2] : Extended(platinum_b);
    const Extended below = t < 0 ? (free_ > 3 ? c[3] : Extended(platinum_c)) : 0;
    const Extended cubic = (t - 100) * t * t * t;
    const Extended ratio = 1 + t * (a + t * b) + below * cubic;
    slope = c[0] * (a + 2 * b * t + below * (4 * t - 300) * t * t);
    gradient[0] = ratio;
    if (free_ > 1) gradient[1] = c[0] * t;
    if (free_ > 2) gradient[2] = c[0] * t * t;
    if (free_ > 3) gradient[3] = t < 0 ? c[0] * cubic : 0;
    return c[0] * ratio;
  }
  std::vector<Extended> start(std::span<const double> /*t*/,
                              std::span<const double> /*r*/) const override {
    std::vector<Extended> all{100, platinum_a, platinum_b, platinum_c};
    all.resize(free_);
    return all;
  }

 private:
  std::size_t free_;
};

class ThermocoupleLaw : public Law {
 public:
  explicit ThermocoupleLaw(char type) : type_(type) {}
  std::vector<std::string> names() const override { return {"offset", "gain"}; }
  std::string reference_unit() const override { return "degC"; }
  std::string reading_unit() const override { return "mV"; }
  Extended evaluate(Coefficients c, Extended t, Extended& slope,
                    std::span<Extended> gradient) const override {
    const Emf emf = thermocouple_emf(type_, static_cast<double>(t));
    constexpr Extended milli = 1e3L;
    slope = c[1] * milli * emf.slope_V_K;
    gradient[0] = 1;
    gradient[1] = milli * emf.emf_V;
    return c[0] + c[1] * gradient[1];
  }
  std::vector<Extended> start(std::span<const double> /*t*/,
                              std::span<const double> /*emf*/) const override {
    return {0, 1};
  }

 private:
  char type_;
};

class NtcLaw : public Law {
 public:
  std::vector<std::string> names() const override { return {"a", "b", "c"}; }
  bool is_backward() const override { return true; }
  double lowest_argument() const override { return std::numeric_limits<double>::min(); }
  std::string reference_unit() const override { return "degC"; }
  std::string reading_unit() const override { return "ohm"; }
  Extended evaluate(Coefficients c, Extended r, Extended& slope,
                    std::span<Extended> gradient) const override {
    const Extended log = std::log(r);
    const Extended cube = log * log * log;
    const Extended inverse = c[0] + c[1] * log + c[2] * cube;
    if (!(inverse > 0)) return std::numeric_limits<Extended>::quiet_NaN();
    const Extended per_inverse = -1 / (inverse * inverse);
    slope = per_inverse * (c[1] + 3 * c[2] * log * log) / r;
    gradient[0] = per_inverse;
    gradient[1] = per_inverse * log;
    gradient[2] = per_inverse * cube;
    return 1 / inverse - ice_point_K;
  }
  std::vector<Extended> start(std::span<const double> r, std::span<const double> t) const override {
    std::vector<double> inverse;
    for (const double celsius : t)
      inverse.push_back(static_cast<double>(1 / (celsius + ice_point_K)));
    return solved(r, inverse, 3, [](Extended at, std::size_t k) {
      const Extended log = std::log(at);
      return k == 0 ? 1 : k == 1 ? log : log * log * log;
    });
  }

 private:
  static constexpr Extended ice_point_K = 273.15L;
};

// What stands behind `prefix` in a model's name.
std::optional<std::string_view> after(std::string_view model, std::string_view prefix) {
  if (!model.starts_with(prefix)) return std::nullopt;
  return model.substr(prefix.size());
}

std::unique_ptr<const Law> law_with_option(std::string_view model) {
  if (const auto text = after(model, "king:")) {
    const auto exponent = base::number_from_text(*text);
    if (exponent && *exponent > 0.0 && *exponent <= 2.0)
      return std::make_unique<KingLaw>(*exponent);
  }
  if (const auto text = after(model, "pitot:")) {
    const auto static_Pa = base::number_from_text(*text);
    if (static_Pa && *static_Pa >= 1e3 && *static_Pa <= 1e7)
      return std::make_unique<PitotLaw>(*static_Pa);
  }
  if (const auto text = after(model, "pt100:")) {
    if (*text == "1" || *text == "3" || *text == "4")
      return std::make_unique<PlatinumLaw>(static_cast<std::size_t>((*text)[0] - '0'));
  }
  if (const auto text = after(model, "thermocouple:")) {
    if (text->size() == 1 && thermocouple_types().find((*text)[0]) != std::string_view::npos)
      return std::make_unique<ThermocoupleLaw>((*text)[0]);
  }
  return nullptr;
}

}  // namespace

std::optional<double> speed_of_one_turn_a_second(std::string_view unit) {
  if (unit == "rad s-1") return 2.0 * std::numbers::pi;
  if (unit == "rpm") return 60.0;
  if (unit == "s-1" || unit == "Hz") return 1.0;
  return std::nullopt;
}

int degree_of(std::string_view model) {
  if (model == "line") return 1;
  const auto text = after(model, "polynomial:");
  if (!text || text->size() != 1 || (*text)[0] < '1' || (*text)[0] > '6') return 0;
  return (*text)[0] - '0';
}

std::string_view model_names() {
  return "line, polynomial:1 to 6, polynomial:auto, king[:EXPONENT], pitot[:STATIC_Pa], cup, "
         "pt100[:1, 3 or 4], "
         "thermocouple:TYPE (B E J K N R S T), ntc, tachometer, shunt or divider";
}

std::unique_ptr<const Law> law_of_model(std::string_view model, std::string_view where) {
  if (const int degree = degree_of(model); degree > 0)
    return std::make_unique<PolynomialLaw>(degree);
  if (model == "king") return std::make_unique<KingLaw>(std::nullopt);
  if (model == "pitot") return std::make_unique<PitotLaw>(std::nullopt);
  if (model == "cup") return std::make_unique<CupLaw>();
  if (model == "pt100") return std::make_unique<PlatinumLaw>(3);
  if (model == "ntc") return std::make_unique<NtcLaw>();
  if (model == "tachometer" || model == "shunt" || model == "divider")
    return std::make_unique<GainLaw>();
  if (auto law = law_with_option(model)) return law;
  throw base::BadInput(where, fmt::format("model '{}'", model), model_names());
}

}  // namespace windwright::metrology
