// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <algorithm>
#include <chrono>
#include <cstddef>
#include <map>
#include <mutex>
#include <string>
#include <string_view>

namespace windwright::server {

/// So many at once, and so many a second in the long run, for each key (an address, a name). Pure:
/// time is passed in. Any thread may call.
class RateLimit {
 public:
  using Instant = std::chrono::steady_clock::time_point;
  RateLimit(double burst, double each_s) : burst_(burst), each_s_(each_s) {}

  /// @return  whether it may; counts it where it may
  bool allows(std::string_view key, Instant now) {
    const std::scoped_lock lock(mutex_);
    if (buckets_.size() > most_keys) forget(now);
    const auto [place, is_new] = buckets_.try_emplace(std::string(key), Bucket{burst_, now});
    Bucket& bucket = place->second;
    const std::chrono::duration<double> passed = now - bucket.at;
    bucket.left = std::min(burst_, bucket.left + std::max(0.0, passed.count()) / each_s_);
    bucket.at = now;
    if (bucket.left < 1.0) return false;
    bucket.left -= 1.0;
    return true;
  }
  /// Until there is room for one.
  double wait_s() const { return each_s_; }

 private:
  struct Bucket {
    double left;
    Instant at;
  };
  static constexpr std::size_t most_keys = 10'000;
  // Whoever has waited long enough is as good as new; if all are busy, all begin anew.
  void forget(Instant now) {
    std::erase_if(buckets_, [&](const auto& entry) {
      return std::chrono::duration<double>(now - entry.second.at).count() > burst_ * each_s_;
    });
    if (buckets_.size() > most_keys) buckets_.clear();
  }

  double burst_;
  double each_s_;
  std::mutex mutex_;
  std::map<std::string, Bucket, std::less<>> buckets_;
};

}  // namespace windwright::server
