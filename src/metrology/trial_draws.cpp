// SPDX-License-Identifier: Apache-2.0
#include "metrology/trial_draws.h"

#include "base/random.h"
#include "metrology/block_program.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <limits>
#include <vector>

#undef HWY_TARGET_INCLUDE
#define HWY_TARGET_INCLUDE "metrology/trial_draws.cpp"
// What is compiled for each instruction set comes after foreach_target.h.
// clang-format off
#include <hwy/base.h>
#include <hwy/foreach_target.h>  // IWYU pragma: keep
#include <hwy/highway.h>
#include "metrology/lane_functions.h"
// clang-format on

HWY_BEFORE_NAMESPACE();
namespace windwright::metrology::HWY_NAMESPACE {

using Whole = hn::RebindToUnsigned<Lanes>;
using W = hn::Vec<Whole>;
constexpr std::uint64_t step_of_counter = 0x9e3779b97f4a7c15U;
constexpr std::uint64_t gamma_numbers = 4 * gamma_attempts;  // that one variable may use

// The lower 64 bits; three products of halves where the machine has none of the whole.
HWY_INLINE W product(W a, std::uint64_t b) {
#if HWY_TARGET == HWY_SCALAR
  return hn::Set(Whole(), hn::GetLane(a) * b);
#elif HWY_TARGET <= HWY_AVX3
  return hn::Mul(a, hn::Set(Whole(), b));
#else
  const hn::Repartition<std::uint32_t, Whole> half;
  const Whole d;
  const auto low = hn::BitCast(half, hn::Set(d, b));
  const auto high = hn::BitCast(half, hn::Set(d, b >> 32U));
  const auto a_low = hn::BitCast(half, a);
  const auto a_high = hn::BitCast(half, hn::ShiftRight<32>(a));
  const W cross = hn::Add(hn::MulEven(a_high, low), hn::MulEven(a_low, high));
  return hn::Add(hn::MulEven(a_low, low), hn::ShiftLeft<32>(cross));
#endif
}

HWY_INLINE W mixed(W z) {
  z = product(hn::Xor(z, hn::ShiftRight<30>(z)), 0xbf58476d1ce4e5b9U);
  z = product(hn::Xor(z, hn::ShiftRight<27>(z)), 0x94d049bb133111ebU);
  return hn::Xor(z, hn::ShiftRight<31>(z));
}

// In (0, 1), as base::RandomStream::uniform.
HWY_INLINE V uniform(W counter) {
  const hn::RebindToSigned<Lanes> di;
  const V whole = hn::ConvertTo(Lanes(), hn::BitCast(di, hn::ShiftRight<11>(mixed(counter))));
  return hn::Mul(hn::Add(whole, of(0.5)), of(0x1p-53));
}

// Counters of pairs of numbers: lane l has numbers 2 l and 2 l + 1 from `number` on.
class Pairs {
 public:
  HWY_INLINE Pairs(std::uint64_t key, std::uint64_t number) {
    const Whole d;
    std::array<std::uint64_t, 8> start;
    for (std::size_t l = 0; l < 8; ++l)
      start[l] = key + (number + 2 * l + 1) * step_of_counter;
    first_ = hn::LoadU(d, start.data());
  }
  HWY_INLINE V first() const { return uniform(first_); }
  HWY_INLINE V second() const {
    return uniform(hn::Add(first_, hn::Set(Whole(), step_of_counter)));
  }
  HWY_INLINE void advance() {
    first_ = hn::Add(first_, hn::Set(Whole(), 2 * hn::Lanes(Lanes()) * step_of_counter));
  }

 private:
  W first_;
};

// Sine and cosine of a whole turn times u.
HWY_INLINE SineCosine turn(V u) {
  const V quarters = hn::Mul(u, of(4.0));
  const V n = hn::Round(quarters);
  return turned(n, hn::Mul(hn::Sub(quarters, n), of(1.5707963267948966)));
}

HWY_INLINE V minus_log(V u) {
  return hn::Neg(log_of_normal(u));
}

HWY_NOINLINE void fill_normal(const DrawRecipe& recipe, std::uint64_t first, double* row) {
  const Lanes d;
  Pairs pairs(recipe.key, first);
  const std::size_t width = hn::Lanes(d);
  const V value = of(recipe.value);
  const V scale = of(recipe.first);
  for (std::size_t i = 0; i < block_trials; i += 2 * width, pairs.advance()) {
    const V log = minus_log(pairs.first());
    const V radius = hn::Mul(scale, hn::Sqrt(hn::Add(log, log)));
    const SineCosine angle = turn(pairs.second());
    hn::StoreInterleaved2(hn::Add(value, hn::Mul(radius, angle.cosine)),
                          hn::Add(value, hn::Mul(radius, angle.sine)), d, row + i);
  }
}

template <class Function>
HWY_INLINE void fill_pairs(const DrawRecipe& recipe, std::uint64_t first, double* row,
                           Function function) {
  const Lanes d;
  Pairs pairs(recipe.key, 2 * first);
  for (std::size_t i = 0; i < block_trials; i += hn::Lanes(d), pairs.advance()) {
    const V error = function(pairs.first(), pairs.second());
    hn::StoreU(hn::Add(of(recipe.value), error), d, row + i);
  }
}

// From -1 to 1.
HWY_INLINE V both_ways(V u) {
  return hn::Sub(hn::Add(u, u), of(1.0));
}

HWY_NOINLINE void fill_other(const DrawRecipe& recipe, std::uint64_t first, double* row) {
  const V a = of(recipe.first);
  const V b = of(recipe.second);
  switch (recipe.kind) {
    case DrawRecipe::Kind::two_uniform:
      return fill_pairs(recipe, first, row, [&](V u, V v) {
        return hn::Add(hn::Mul(a, both_ways(u)), hn::Mul(b, both_ways(v)));
      });
    case DrawRecipe::Kind::arcsine:
      return fill_pairs(recipe, first, row, [&](V u, V) { return hn::Mul(a, turn(u).sine); });
    case DrawRecipe::Kind::curvilinear:
      return fill_pairs(recipe, first, row, [&](V u, V v) {
        return hn::Mul(hn::Sub(a, hn::Mul(b, both_ways(u))), both_ways(v));
      });
    default: {  // t: radius sqrt(dof (u^(-2 / dof) - 1))
      const V rate = of(2.0 / recipe.second);
      return fill_pairs(recipe, first, row, [&](V u, V v) {
        const V exponent = hn::Mul(rate, minus_log(u));
        const V far = exp_of(exponent);
        const V near = exp_less_one_within_40(limited(exponent, 0.0, 40.0));
        const V power = hn::IfThenElse(hn::Gt(exponent, of(40.0)), far, near);
        return hn::Mul(hn::Mul(a, hn::Sqrt(hn::Mul(b, power))), turn(v).cosine);
      });
    }
  }
}

// Marsaglia and Tsang's first attempt at a gamma variable of shape 1 or above, for each trial; NaN
// where it fails. The same numbers as gamma_variable's.
HWY_NOINLINE void try_gamma(std::uint64_t key, std::uint64_t first, double shape, double* row) {
  const Lanes d;
  const std::size_t width = hn::Lanes(d);
  std::array<std::uint64_t, 8> start;
  for (std::size_t l = 0; l < 8; ++l)
    start[l] = key + ((first + l) * gamma_numbers + 1) * step_of_counter;
  W counter = hn::LoadU(Whole(), start.data());
  const W one = hn::Set(Whole(), step_of_counter);
  const W stride = hn::Set(Whole(), width * gamma_numbers * step_of_counter);
  const double size = shape - 1.0 / 3.0;
  const V c = of(1.0 / std::sqrt(9.0 * size));
  for (std::size_t i = 0; i < block_trials; i += width, counter = hn::Add(counter, stride)) {
    const V log = minus_log(uniform(counter));
    const W second = hn::Add(counter, one);
    const V x = hn::Mul(hn::Sqrt(hn::Add(log, log)), turn(uniform(second)).cosine);
    const V root = hn::Add(of(1.0), hn::Mul(c, x));
    const V v = hn::Mul(hn::Mul(root, root), root);
    const Mask positive = hn::Gt(v, of(0.0));
    const V log_v = log_of_normal(hn::IfThenElse(positive, v, of(1.0)));
    const V bound = hn::Add(hn::Mul(of(0.5), hn::Mul(x, x)),
                            hn::Mul(of(size), hn::Add(hn::Sub(of(1.0), v), log_v)));
    const V log_u = hn::Neg(minus_log(uniform(hn::Add(second, one))));
    const Mask taken = hn::And(positive, hn::Lt(log_u, bound));
    const V none = of(std::numeric_limits<double>::quiet_NaN());
    hn::StoreU(hn::IfThenElse(taken, hn::Mul(of(size), v), none), d, row + i);
  }
}

// Rows hold independent z; what comes out is values + scale L z, each member with its own scale.
HWY_NOINLINE void correlate(const double* factor, const double* values, const double* const* scales,
                            double* const* rows, std::size_t size) {
  const Lanes d;
  const std::size_t width = hn::Lanes(d);
  // Four vectors side by side: sums do not wait for each other, and a factor is fetched once.
  for (std::size_t t = 0; t < block_trials; t += 4 * width) {
    for (std::size_t i = size; i-- > 0;) {
      V a = hn::Zero(d);
      V b = a;
      V c = a;
      V e = a;
      for (std::size_t k = 0; k <= i; ++k) {
        const V by = of(factor[i * size + k]);
        const double* z = rows[k] + t;
        a = hn::Add(a, hn::Mul(by, hn::LoadU(d, z)));
        b = hn::Add(b, hn::Mul(by, hn::LoadU(d, z + width)));
        c = hn::Add(c, hn::Mul(by, hn::LoadU(d, z + 2 * width)));
        e = hn::Add(e, hn::Mul(by, hn::LoadU(d, z + 3 * width)));
      }
      const V value = of(values[i]);
      const double* scale = scales[i] + t;
      double* to = rows[i] + t;
      hn::StoreU(hn::Add(value, hn::Mul(hn::LoadU(d, scale), a)), d, to);
      hn::StoreU(hn::Add(value, hn::Mul(hn::LoadU(d, scale + width), b)), d, to + width);
      hn::StoreU(hn::Add(value, hn::Mul(hn::LoadU(d, scale + 2 * width), c)), d, to + 2 * width);
      hn::StoreU(hn::Add(value, hn::Mul(hn::LoadU(d, scale + 3 * width), e)), d, to + 3 * width);
    }
  }
}

}  // namespace windwright::metrology::HWY_NAMESPACE
HWY_AFTER_NAMESPACE();

#if HWY_ONCE

namespace windwright::metrology {

namespace {

HWY_EXPORT(fill_normal);
HWY_EXPORT(fill_other);
HWY_EXPORT(correlate);
HWY_EXPORT(try_gamma);

DrawRecipe recipe_of(const UncertainInput& input, std::uint64_t key) {
  using Kind = DrawRecipe::Kind;
  DrawRecipe recipe{.kind = Kind::normal,
                    .value = input.value,
                    .first = input.standard_uncertainty,
                    .second = 0.0,
                    .key = key};
  if (input.distribution == Distribution::normal) {
    if (std::isfinite(input.degrees_of_freedom)) {
      recipe.kind = Kind::student;
      recipe.second = input.degrees_of_freedom;
    }
    return recipe;
  }
  recipe.first = input.half_width;
  if (input.distribution == Distribution::arcsine) {
    recipe.kind = Kind::arcsine;
  } else if (input.distribution == Distribution::curvilinear_trapezoid) {
    recipe.kind = Kind::curvilinear;
    recipe.second = input.half_width_inexactness;
  } else {
    recipe.kind = Kind::two_uniform;
    const double top = input.distribution == Distribution::rectangular  ? input.half_width
                       : input.distribution == Distribution::triangular ? 0.0
                                                                        : input.top_half_width;
    recipe.first = 0.5 * (input.half_width + top);
    recipe.second = 0.5 * (input.half_width - top);
  }
  return recipe;
}

}  // namespace

double gamma_variable(const base::RandomStream& stream, std::uint64_t n, double shape) {
  constexpr std::uint64_t numbers = 4 * gamma_attempts;
  if (shape < 1.0) {
    const double u = stream.uniform(n * numbers + numbers - 1);
    return gamma_variable(stream, n, shape + 1.0) * std::pow(u, 1.0 / shape);
  }
  const double d = shape - 1.0 / 3.0;
  const double c = 1.0 / std::sqrt(9.0 * d);
  for (std::uint64_t attempt = 0; attempt + 1 < gamma_attempts; ++attempt) {
    const double x = stream.normal(n * numbers + 4 * attempt);
    const double v = std::pow(1.0 + c * x, 3);
    const double u = stream.uniform(n * numbers + 4 * attempt + 2);
    if (v > 0.0 && std::log(u) < 0.5 * x * x + d - d * v + d * std::log(v)) return d * v;
  }
  return d;
}

TrialDraws::TrialDraws(const MeasurementModel& model, std::uint64_t seed) {
  for (const UncertainInput& input : model.inputs)
    recipes_.push_back(recipe_of(input, base::RandomStream(seed, input.name).key()));
  for (const InputGroup& group : model.groups) {
    const std::size_t size = group.members.size();
    Joint joint{.members = group.members,
                .factor = factor_of(group),
                .values = {},
                .shared = group.shared_degrees_of_freedom > 0.0,
                .degrees_of_freedom = {},
                .streams = {}};
    for (std::size_t i = 0; i < size; ++i) {
      const UncertainInput& input = model.inputs[group.members[i]];
      joint.values.push_back(input.value);
      joint.degrees_of_freedom.push_back(input.degrees_of_freedom);
      joint.streams.emplace_back(seed, input.name + " scatter");
      for (std::size_t k = 0; k < size; ++k)
        joint.factor[i * size + k] *= input.standard_uncertainty;
      DrawRecipe& recipe = recipes_[group.members[i]];
      recipe = {.kind = DrawRecipe::Kind::normal,
                .value = 0.0,
                .first = 1.0,
                .second = 0.0,
                .key = recipe.key};
    }
    joints_.push_back(joint);
  }
}

// sqrt(dof / chi-squared): what makes normal numbers t-distributed.
void TrialDraws::fill_scatter(const base::RandomStream& stream, double degrees_of_freedom,
                              std::uint64_t first_trial, double* row) {
  const double half = 0.5 * degrees_of_freedom;
  std::fill_n(row, block_trials, std::numeric_limits<double>::quiet_NaN());
  if (half >= 1.0) HWY_DYNAMIC_DISPATCH(try_gamma)(stream.key(), first_trial, half, row);
  for (std::size_t t = 0; t < block_trials; ++t) {
    if (std::isnan(row[t])) row[t] = gamma_variable(stream, first_trial + t, half);
    row[t] = std::sqrt(half / row[t]);
  }
}

void TrialDraws::join(const Joint& joint, std::uint64_t first_trial, double* rows) {
  static const std::vector<double> ones(block_trials, 1.0);
  const std::size_t size = joint.members.size();
  std::vector<double> scatter;
  scatter.reserve(size * block_trials);  // pointers into it stay
  std::vector<const double*> scales(size, ones.data());
  std::vector<double*> members;
  for (std::size_t i = 0; i < size; ++i) {
    members.push_back(rows + joint.members[i] * block_trials);
    if (!std::isfinite(joint.degrees_of_freedom[i])) continue;
    if (joint.shared && i > 0) {
      scales[i] = scales[0];
      continue;
    }
    scatter.resize(scatter.size() + block_trials);
    double* row = scatter.data() + scatter.size() - block_trials;
    fill_scatter(joint.streams[i], joint.degrees_of_freedom[i], first_trial, row);
    scales[i] = row;
  }
  HWY_DYNAMIC_DISPATCH(correlate)
  (joint.factor.data(), joint.values.data(), scales.data(), members.data(), size);
}

void TrialDraws::fill(std::uint64_t first_trial, double* rows) const {
  for (std::size_t i = 0; i < recipes_.size(); ++i) {
    double* row = rows + i * block_trials;
    if (recipes_[i].kind == DrawRecipe::Kind::normal) {
      HWY_DYNAMIC_DISPATCH(fill_normal)(recipes_[i], first_trial, row);
    } else {
      HWY_DYNAMIC_DISPATCH(fill_other)(recipes_[i], first_trial, row);
    }
  }
  for (const Joint& joint : joints_)
    join(joint, first_trial, rows);
}

}  // namespace windwright::metrology

#endif
