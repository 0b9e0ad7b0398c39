// SPDX-License-Identifier: Apache-2.0
// NIST/ITL Statistical Reference Datasets, Nonlinear Regression (US Government work): every set of
// the folder from both of its starts. Certified values carry 11 digits.
#include "base/json.h"
#include "base/text.h"
#include "metrology/nonlinear_least_squares.h"

#include <boost/json.hpp>
#include <ceres/jet.h>
#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <cstdlib>
#include <numbers>
#include <span>
#include <string>
#include <utility>
#include <vector>

namespace windwright::metrology {
namespace {

namespace json = boost::json;

// The decimals of the file, not the doubles nearest to them: a double's shortest decimal is what
// was written.
std::vector<Extended> numbers(const json::value& value) {
  std::vector<Extended> result;
  for (const json::value& entry : value.as_array())
    result.push_back(std::strtold(base::number_text(entry.to_number<double>()).c_str(), nullptr));
  return result;
}

// The models, of parameters b (counted from 0) and x; T is a number or a Jet.
template <typename T>
T bennett5(const T* b, Extended x) {
  return b[0] * pow(b[1] + x, -1.0L / b[2]);
}
template <typename T>
T boxbod(const T* b, Extended x) {
  return b[0] * (1.0L - exp(-b[1] * x));
}
template <typename T>
T chwirut2(const T* b, Extended x) {
  return exp(-b[0] * x) / (b[1] + b[2] * x);
}
template <typename T>
T danwood(const T* b, Extended x) {
  return b[0] * pow(T(x), b[1]);
}
template <typename T>
T eckerle4(const T* b, Extended x) {
  const T z = (x - b[2]) / b[1];
  return b[0] / b[1] * exp(-0.5L * z * z);
}
template <typename T>
T enso(const T* b, Extended x) {
  const Extended turn = 2 * std::numbers::pi_v<Extended> * x;
  return b[0] + b[1] * std::cos(turn / 12) + b[2] * std::sin(turn / 12) + b[4] * cos(turn / b[3]) +
         b[5] * sin(turn / b[3]) + b[7] * cos(turn / b[6]) + b[8] * sin(turn / b[6]);
}
template <typename T>
T bell(const T& place, const T& width, Extended x) {
  const T z = (x - place) / width;
  return exp(-z * z);
}
template <typename T>
T gauss(const T* b, Extended x) {
  return b[0] * exp(-b[1] * x) + b[2] * bell(b[3], b[4], x) + b[5] * bell(b[6], b[7], x);
}
template <typename T>
T kirby2(const T* b, Extended x) {
  return (b[0] + b[1] * x + b[2] * x * x) / (1.0L + b[3] * x + b[4] * x * x);
}
template <typename T>
T lanczos(const T* b, Extended x) {
  return b[0] * exp(-b[1] * x) + b[2] * exp(-b[3] * x) + b[4] * exp(-b[5] * x);
}
template <typename T>
T mgh10(const T* b, Extended x) {
  return b[0] * exp(b[1] / (x + b[2]));
}
template <typename T>
T mgh17(const T* b, Extended x) {
  return b[0] + b[1] * exp(-b[3] * x) + b[2] * exp(-b[4] * x);
}
template <typename T>
T misra1b(const T* b, Extended x) {
  const T base = 1.0L + b[1] * x / 2.0L;
  return b[0] * (1.0L - 1.0L / (base * base));
}
template <typename T>
T misra1d(const T* b, Extended x) {
  return b[0] * b[1] * x / (1.0L + b[1] * x);
}
template <typename T>
T rat43(const T* b, Extended x) {
  return b[0] / pow(1.0L + exp(b[1] - b[2] * x), 1.0L / b[3]);
}
template <typename T>
T thurber(const T* b, Extended x) {
  return (b[0] + x * (b[1] + x * (b[2] + x * b[3]))) / (1.0L + x * (b[4] + x * (b[5] + x * b[6])));
}

struct Set {
  std::string name;
  json::value file;
  std::vector<Extended> x;
  std::vector<Extended> y;
};

Set set_of(const std::string& name) {
  json::value file =
      base::json_from_file(SOURCE_FOLDER "/tests/published/data/nist_strd_nls_" + name + ".json");
  std::vector<Extended> x = numbers(file.at_pointer("/data/x"));
  std::vector<Extended> y = numbers(file.at_pointer("/data/y"));
  return {name, std::move(file), std::move(x), std::move(y)};
}

template <int N, typename Model>
NonlinearProblem problem_of(const Set& set, Model model) {
  return {.residuals = set.x.size(),
          .parameters = N,
          .evaluate = [&set, model](std::span<const Extended> b, std::span<Extended> residuals,
                                    std::span<Extended> derivatives) {
            using Jet = ceres::Jet<Extended, N>;
            Jet parameters[N];
            for (int k = 0; k < N; ++k)
              parameters[k] = Jet(b[static_cast<std::size_t>(k)], k);
            for (std::size_t i = 0; i < set.x.size(); ++i) {
              const Jet value = model(parameters, set.x[i]);
              residuals[i] = value.a - set.y[i];
              for (int k = 0; k < N; ++k)
                derivatives[i * N + static_cast<std::size_t>(k)] = value.v[k];
            }
          }};
}

double relative(Extended got, double wanted) {
  return static_cast<double>(std::abs(got / wanted - 1));
}

struct Distance {
  double of_parameters = 0.0;  // relative, the largest
  double of_spreads = 0.0;     // of the standard and residual standard deviations
};

template <int N, typename Model>
Distance distance(const Set& set, Model model, const char* start) {
  const NonlinearResult got =
      least_squares(problem_of<N>(set, model), numbers(set.file.at(start)), set.name);
  EXPECT_EQ(got.end, NonlinearEnd::at_rest) << set.name << ' ' << start;
  const Extended variance =
      got.sum_of_squares / set.file.at("degrees_of_freedom").to_number<double>();
  const json::array& certified = set.file.at("certified").as_array();
  EXPECT_EQ(certified.size(), std::size_t{N});
  Distance result{.of_parameters = 0.0,
                  .of_spreads = relative(std::sqrt(variance),
                                         set.file.at("certified_residual_sd").to_number<double>())};
  for (std::size_t k = 0; k < N; ++k) {
    result.of_parameters =
        std::max(result.of_parameters,
                 relative(got.parameters[k], certified[k].at("value").to_number<double>()));
    result.of_spreads =
        std::max(result.of_spreads, relative(std::sqrt(variance * got.inverse[k * N + k]),
                                             certified[k].at("sd").to_number<double>()));
  }
  return result;
}

// 9 digits of every parameter, its standard deviation and the residual standard deviation.
template <int N, typename Model>
void expect_certified(const std::string& name, Model model) {
  const Set set = set_of(name);
  for (const char* start : {"start1", "start2"}) {
    const Distance got = distance<N>(set, model, start);
    EXPECT_LE(got.of_parameters, 1e-9) << name << ' ' << start;
    EXPECT_LE(got.of_spreads, 1e-9) << name << ' ' << start;
  }
}

#define MODEL(f) [](const auto* b, Extended x) { return f(b, x); }

TEST(PublishedNonlinearFit, LowerDifficulty) {
  expect_certified<2>("misra1a", MODEL(boxbod));
  expect_certified<2>("misra1b", MODEL(misra1b));
  expect_certified<3>("chwirut2", MODEL(chwirut2));
  expect_certified<6>("lanczos3", MODEL(lanczos));
  expect_certified<8>("gauss1", MODEL(gauss));
  expect_certified<8>("gauss2", MODEL(gauss));
  expect_certified<2>("danwood", MODEL(danwood));
}

TEST(PublishedNonlinearFit, AverageDifficulty) {
  expect_certified<5>("kirby2", MODEL(kirby2));
  expect_certified<2>("misra1d", MODEL(misra1d));
  expect_certified<9>("enso", MODEL(enso));
}

TEST(PublishedNonlinearFit, HigherDifficulty) {
  expect_certified<5>("mgh17", MODEL(mgh17));
  expect_certified<3>("mgh10", MODEL(mgh10));
  expect_certified<7>("thurber", MODEL(thurber));
  expect_certified<2>("boxbod", MODEL(boxbod));
  expect_certified<4>("rat43", MODEL(rat43));
  expect_certified<3>("eckerle4", MODEL(eckerle4));
  expect_certified<3>("bennett5", MODEL(bennett5));
}

// Data made from the model and rounded to 14 digits: residuals of 1e-13 beside readings of 1. Its
// parameters come out to 9 digits; a double holds a reading to 2^-53 of it, which moves the length
// of the residuals by up to the length of these roundings. That is the limit of double precision.
TEST(PublishedNonlinearFit, Lanczos1ToTheLimitOfDoubles) {
  Set set = set_of("lanczos1");
  Extended roundings = 0;
  for (Extended& y : set.y) {
    y = static_cast<double>(y);
    roundings += std::pow(std::ldexp(y, -53), 2);
  }
  const double limit =
      static_cast<double>(std::sqrt(roundings)) /
      std::sqrt(set.file.at("certified_residual_sum_of_squares").to_number<double>());
  EXPECT_LT(limit, 2e-3);
  for (const char* start : {"start1", "start2"}) {
    const Distance got = distance<6>(set, MODEL(lanczos), start);
    EXPECT_LE(got.of_parameters, 1e-9) << start;
    EXPECT_LE(got.of_spreads, limit) << start;
  }
  // With the readings in extended precision the digits that doubles cannot hold come back.
  const Set whole = set_of("lanczos1");
  for (const char* start : {"start1", "start2"})
    EXPECT_LE(distance<6>(whole, MODEL(lanczos), start).of_spreads, 1e-6) << start;
}

}  // namespace
}  // namespace windwright::metrology
