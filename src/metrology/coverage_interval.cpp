// SPDX-License-Identifier: Apache-2.0
#include "metrology/coverage_interval.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <span>
#include <utility>
#include <vector>

namespace windwright::metrology {

namespace {

constexpr std::size_t sampled = 8192;  // trials that show where the tails begin

// The `count` smallest trials in order. They are what a coverage interval leaves out: selecting
// them and sorting them alone is several times faster than sorting all.
class Tail {
 public:
  Tail(std::span<const double> trials, std::size_t count, bool upper)
      : trials_(trials), count_(count), sign_(upper ? -1.0 : 1.0) {}

  std::vector<double> sorted() {
    if (trials_.size() > 4 * sampled) collect(threshold());
    if (kept_.size() < count_) {
      kept_.assign(trials_.begin(), trials_.end());
      for (double& value : kept_)
        value *= sign_;
    }
    std::ranges::nth_element(kept_, kept_.begin() + static_cast<std::ptrdiff_t>(count_ - 1));
    kept_.resize(count_);
    spread();
    for (double& value : kept_)
      value *= sign_;
    return std::move(kept_);
  }

 private:
  // A value that hardly ever fewer than `count` trials lie below: four standard deviations of the
  // sample's own count are allowed.
  double threshold() const {
    std::vector<double> sample;
    const std::size_t stride = trials_.size() / sampled;
    for (std::size_t k = 0; k < sampled; ++k)
      sample.push_back(sign_ * trials_[k * stride]);
    const double expected = static_cast<double>(sampled) * static_cast<double>(count_) /
                            static_cast<double>(trials_.size());
    const double safe = expected + 4.0 * std::sqrt(expected) + 4.0;
    const auto at = std::min(static_cast<std::size_t>(safe), sampled - 1);
    std::ranges::nth_element(sample, sample.begin() + static_cast<std::ptrdiff_t>(at));
    return sample[at];
  }

  void collect(double limit) {
    // A little room over what the threshold lets through; where many trials are equal that may not
    // do, and all are taken instead.
    const std::size_t room = std::min(trials_.size(), 2 * count_ + sampled);
    kept_.resize(room);
    std::size_t count = 0;
    for (const double trial : trials_) {
      const double value = sign_ * trial;
      kept_[count] = value;
      count += value <= limit ? 1U : 0U;
      if (count == room) break;
    }
    kept_.resize(count == room ? 0 : count);
  }

  // Sorts by laying each value into its place on a line of narrow bins first.
  void spread() {
    const auto [least, largest] = std::ranges::minmax(kept_);
    const auto bins = static_cast<double>(kept_.size() / 4 + 1);
    const double scale = bins / (largest - least);
    if (!(std::isfinite(scale) && largest > least)) {
      std::ranges::sort(kept_);
      return;
    }
    const auto bin_of = [&, low = least](double value) {
      return static_cast<std::size_t>(std::min((value - low) * scale, bins - 1.0));
    };
    std::vector<std::size_t> ends(static_cast<std::size_t>(bins) + 1);
    for (const double value : kept_)
      ++ends[bin_of(value) + 1];
    for (std::size_t k = 1; k < ends.size(); ++k)
      ends[k] += ends[k - 1];
    std::vector<double> laid(kept_.size());
    for (const double value : kept_)
      laid[ends[bin_of(value)]++] = value;
    // Each end has moved on to the end of its own bin.
    std::size_t start = 0;
    for (std::size_t k = 0; k + 1 < ends.size(); ++k) {
      std::sort(laid.begin() + static_cast<std::ptrdiff_t>(start),
                laid.begin() + static_cast<std::ptrdiff_t>(ends[k]));
      start = ends[k];
    }
    kept_ = std::move(laid);
  }

  std::span<const double> trials_;
  std::size_t count_;
  double sign_;
  std::vector<double> kept_;
};

std::size_t whole_or_rounded(double x) {
  // Levels such as 0.95 are no binary fractions: what is whole but for rounding counts as whole.
  return static_cast<std::size_t>(std::floor(x + 0.5));
}

// Standard error of the k-th order statistic of n (from 1): half the distance between those one
// standard deviation of a binomial count below and above.
double standard_error(const std::vector<double>& tail, std::size_t k, double share, double n) {
  const double reach = std::max(1.0, std::sqrt(n * share * (1.0 - share)));
  const auto at = [&tail](double place) {
    const double last = static_cast<double>(tail.size() - 1);
    return tail[static_cast<std::size_t>(std::clamp(std::round(place), 0.0, last))];
  };
  const auto middle = static_cast<double>(k - 1);
  return 0.5 * std::abs(at(middle + reach) - at(middle - reach));
}

}  // namespace

CoverageIntervals coverage_intervals(std::span<const double> trials, double level) {
  const std::size_t n = trials.size();
  const std::size_t inside =
      std::min(whole_or_rounded(level * static_cast<double>(n)), n - 1);  // q of the standard
  const std::size_t outside = n - inside;
  // low[r - 1] is the r-th smallest trial, high[r - 1] the r-th largest.
  const std::vector<double> low = Tail(trials, outside, false).sorted();
  const std::vector<double> high = Tail(trials, outside, true).sorted();
  const auto ends = [&](std::size_t r) {  // from the r-th smallest, r from 1 to outside
    return Interval{low[r - 1], high[outside - r]};
  };
  const std::size_t r = (outside + 1) / 2;
  CoverageIntervals result{.symmetric = ends(r),
                           .shortest = ends(1),
                           .low_standard_error = 0.0,
                           .high_standard_error = 0.0};
  for (std::size_t k = 2; k <= outside; ++k) {
    const Interval candidate = ends(k);
    if (candidate.high - candidate.low < result.shortest.high - result.shortest.low)
      result.shortest = candidate;
  }
  const double share = 0.5 * (1.0 - level);
  const auto count = static_cast<double>(n);
  result.low_standard_error = standard_error(low, r, share, count);
  result.high_standard_error = standard_error(high, outside - r + 1, share, count);
  return result;
}

TrialMoments moments_of(std::span<const double> trials) {
  // Eight sums side by side, about the first trial: what vector lanes of any width can do.
  const double about = trials.front();
  std::array<double, 8> first{};
  std::array<double, 8> second{};
  std::size_t k = 0;
  for (; k + 8 <= trials.size(); k += 8) {
    for (std::size_t l = 0; l < 8; ++l) {
      const double d = trials[k + l] - about;
      first[l] += d;
      second[l] += d * d;
    }
  }
  for (; k < trials.size(); ++k) {
    const double d = trials[k] - about;
    first[k % 8] += d;
    second[k % 8] += d * d;
  }
  const auto total = [](const std::array<double, 8>& s) {
    return ((s[0] + s[1]) + (s[2] + s[3])) + ((s[4] + s[5]) + (s[6] + s[7]));
  };
  const auto n = static_cast<double>(trials.size());
  const double shift = total(first) / n;
  const double deviation =
      std::sqrt(std::max(0.0, (total(second) - n * shift * shift) / (n - 1.0)));
  return {.mean = about + shift,
          .standard_deviation = deviation,
          .mean_standard_error = deviation / std::sqrt(n),
          .deviation_standard_error = deviation / std::sqrt(2.0 * n)};
}

}  // namespace windwright::metrology
