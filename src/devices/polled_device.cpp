// SPDX-License-Identifier: Apache-2.0
#include "devices/polled_device.h"

#include "base/clock.h"

#include <chrono>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <memory>
#include <string_view>
#include <utility>
#include <vector>

namespace windwright::devices {
namespace {

Instrument instrument_of(Polling polling, std::unique_ptr<Link>& link) {
  return {.name = std::move(polling.name),
          .open =
              [&link, connect = std::move(polling.connect)] {
                link.reset();
                link = connect();
              },
          .send =
              [&link](std::size_t actuator, double value) {
                if (!link) throw LinkLost("the connection is away");
                link->set(actuator, value);
              },
          .make_safe =
              [&link] {
                if (!link) throw LinkLost("the connection is away");
                link->make_safe();
              },
          .ask = std::move(polling.ask),
          .longest_outage_s = polling.longest_outage_s,
          .clock = std::move(polling.clock),
          .stop = std::move(polling.stop)};
}

}  // namespace

PolledDevice::PolledDevice(const bench::Bench& bench, Polling polling)
    : bench_(bench),
      connection_(bench, instrument_of(std::move(polling), link_)),
      begun_(connection_.clock().now()),
      begun_utc_(base::host_now()),
      sample_(bench.channels.size()) {}

SteadyClock::Time PolledDevice::tick(std::int64_t sample) const {
  const std::chrono::duration<double> after(static_cast<double>(sample) / bench_.sample_rate_hz);
  return begun_ + std::chrono::duration_cast<SteadyClock::Time::duration>(after);
}

base::UtcTime PolledDevice::now() const {
  return begun_utc_ +
         std::chrono::duration_cast<std::chrono::nanoseconds>(connection_.clock().now() - begun_);
}

// Ticks that are over by now were missed.
void PolledDevice::catch_up() {
  const std::chrono::duration<double> passed = connection_.clock().now() - begun_;
  const auto due = static_cast<std::int64_t>(passed.count() * bench_.sample_rate_hz + 1e-6);
  if (due <= next_) return;
  next_ = due;
  gap_ = true;
}

// False: this tick has none.
bool PolledDevice::read_sample() {
  try {
    if (!link_) throw LinkLost("closed when the bench was stopped");
    link_->read(sample_);
    connection_.seen();
    return true;
  } catch (const SampleMissed& missed) {
    connection_.missed(missed.what());
  } catch (const LinkLost& lost) {
    connection_.renew(lost.what());
  }
  return false;
}

void PolledDevice::read(bench::SampleBlock& block) {
  const auto wanted = std::llround(bench_.block_s * bench_.sample_rate_hz);
  samples_.clear();
  fault_.tell();
  std::int64_t first = next_;
  bool gap_before = gap_;
  while (next_ - first < wanted) {
    connection_.clock().sleep_until(tick(next_));
    // A tick is late where the one after it is due too.
    if (connection_.clock().now() >= tick(next_ + 1)) catch_up();
    if (gap_ && !samples_.empty()) break;
    if (gap_) {
      first = next_;
      gap_before = true;
    }
    bool came = false;
    fault_.keep_from(!samples_.empty(), [&] { came = read_sample(); });
    if (!came) {
      gap_ = true;
      ++next_;
      catch_up();
      if (!samples_.empty()) break;
      first = next_;
      gap_before = true;
      continue;
    }
    gap_ = false;
    samples_.insert(samples_.end(), sample_.begin(), sample_.end());
    ++next_;
  }
  block.first_sample = first;
  block.start =
      begun_utc_ + std::chrono::duration_cast<std::chrono::nanoseconds>(tick(first) - begun_);
  block.gap_before = gap_before;
  block.received = base::host_now();
  block.fill(samples_, bench_.channels.size());
}

void PolledDevice::apply_known_input(std::string_view channel, double value) {
  fault_.require_none();
  connection_.apply_known_input(channel, value);
  catch_up();
}

void PolledDevice::remove_known_input() {
  connection_.remove_known_input();
  catch_up();
}

void PolledDevice::ask_for(bench::HandAction action) {
  fault_.require_none();
  connection_.ask_for(action);
  catch_up();
}

}  // namespace windwright::devices
