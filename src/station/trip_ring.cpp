// SPDX-License-Identifier: Apache-2.0
#include "station/trip_ring.h"

#include <cmath>
#include <functional>
#include <future>
#include <memory>
#include <string>
#include <utility>

namespace windwright::station {

TripRing::TripRing(const bench::Bench& bench, std::string device)
    : bench_(bench), device_(std::move(device)), ring_(fresh(bench_, device_)) {}

std::unique_ptr<acquisition::Ring> TripRing::fresh(const bench::Bench& bench,
                                                   const std::string& device) {
  return std::make_unique<acquisition::Ring>(bench, device, seconds);
}

void TripRing::tripped() {
  if (left_) return;
  left_ = std::llround(after_s * bench_.sample_rate_hz);
  next_ = std::async(std::launch::async, fresh, std::cref(bench_), device_);
}

std::unique_ptr<const acquisition::Ring> TripRing::append(const bench::SampleBlock& block) {
  ring_->append(block);
  if (!left_) return nullptr;
  *left_ -= static_cast<std::int64_t>(block.samples);
  return *left_ <= 0 ? give() : nullptr;
}

std::unique_ptr<const acquisition::Ring> TripRing::end() {
  return left_ && ring_->end() > 0 ? give() : nullptr;
}

std::unique_ptr<const acquisition::Ring> TripRing::give() {
  left_.reset();
  return std::exchange(ring_, next_.get());
}

}  // namespace windwright::station
