// SPDX-License-Identifier: Apache-2.0
#include "devices/polled_device.h"

#include "base/errors.h"

#include <fmt/format.h>

#include <algorithm>
#include <chrono>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <memory>
#include <string>
#include <string_view>
#include <utility>

namespace windwright::devices {
namespace {

constexpr std::chrono::milliseconds first_pause{50};
constexpr std::chrono::milliseconds longest_pause{2000};
/// A bench that was driven for longer without anybody seeing it is stopped (common practice, no
/// source: the time within which a person is not at the guard yet).
constexpr double longest_unwatched_s = 1.0;

constexpr int most_attempts = 3;

/// What makes a bench safe, in this order; a load keeps the rotor from running away.
constexpr std::string_view switched_off[] = {"fan_pct", "inverter_switch", "mains_charger_switch"};
constexpr std::string_view load = "load_selector";

}  // namespace

PolledDevice::PolledDevice(const bench::Bench& bench, Polling polling)
    : bench_(bench), polling_(std::move(polling)), sample_(bench.channels.size()) {
  try {
    link_ = polling_.connect();
  } catch (const LinkLost& lost) {
    throw base::DeviceFault(polling_.name, lost.what(),
                            "that it is switched on and connected, and its address in [device]");
  }
  begun_ = polling_.clock.now();
  begun_utc_ = base::host_now();
}

SteadyClock::Time PolledDevice::tick(std::int64_t sample) const {
  const std::chrono::duration<double> after(static_cast<double>(sample) / bench_.sample_rate_hz);
  return begun_ + std::chrono::duration_cast<SteadyClock::Time::duration>(after);
}

base::UtcTime PolledDevice::now() const {
  return begun_utc_ +
         std::chrono::duration_cast<std::chrono::nanoseconds>(polling_.clock.now() - begun_);
}

void PolledDevice::reconnect(const std::string& cause) {
  link_.reset();
  const auto since = polling_.clock.now();
  auto pause = first_pause;
  std::string last = cause;
  while (true) {
    try {
      link_ = polling_.connect();
      break;
    } catch (const LinkLost& lost) {
      last = lost.what();
      link_.reset();
    }
    const std::chrono::duration<double> away = polling_.clock.now() - since;
    if (away.count() > polling_.longest_outage_s) {
      throw base::DeviceFault(
          polling_.name,
          fmt::format("the connection was lost ({}) and could not be made again within {:.0f} s "
                      "({})",
                      cause, polling_.longest_outage_s, last),
          "cable, power and address of the instrument; what state it is in is not known");
    }
    polling_.clock.sleep_until(polling_.clock.now() + pause);
    pause = std::min(2 * pause, longest_pause);
  }
  const std::chrono::duration<double> away = polling_.clock.now() - since;
  if (commanded_.empty() || away.count() <= longest_unwatched_s) return;
  // Somebody may stand at a bench whose own watchdog has stopped it.
  stop();
  throw base::DeviceFault(
      polling_.name,
      fmt::format("the connection was away for {:.1f} s ({}) while the bench was driven; it was "
                  "told to stop",
                  away.count(), cause),
      "the cable, then the bench; go on when it is as it should be");
}

// Ticks that are over by now were missed.
void PolledDevice::catch_up() {
  const std::chrono::duration<double> passed = polling_.clock.now() - begun_;
  const auto due = static_cast<std::int64_t>(passed.count() * bench_.sample_rate_hz + 1e-6);
  if (due <= next_) return;
  next_ = due;
  gap_ = true;
}

void PolledDevice::read(bench::SampleBlock& block) {
  const auto wanted = std::llround(bench_.block_s * bench_.sample_rate_hz);
  const std::size_t channels = bench_.channels.size();
  samples_.clear();
  std::int64_t first = next_;
  bool gap_before = gap_;
  while (next_ - first < wanted) {
    polling_.clock.sleep_until(tick(next_));
    // A tick is late where the one after it is due too.
    if (polling_.clock.now() >= tick(next_ + 1)) catch_up();
    if (gap_ && next_ > first && !samples_.empty()) break;
    if (gap_) {
      first = next_;
      gap_before = true;
    }
    try {
      if (!link_) throw LinkLost("closed when the bench was stopped");
      link_->read(sample_);
    } catch (const LinkLost& lost) {
      reconnect(lost.what());
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
  block.channels = channels;
  block.samples = samples_.size() / channels;
  block.counts.resize(samples_.size());
  for (std::size_t i = 0; i < block.samples; ++i) {
    for (std::size_t c = 0; c < channels; ++c)
      block.counts[c * block.samples + i] = samples_[i * channels + c];
  }
}

void PolledDevice::command(std::size_t actuator, double value) {
  commanded_[actuator] = value;
  for (int attempt = 0;; ++attempt) {
    try {
      if (!link_) throw LinkLost("closed when the bench was stopped");
      link_->set(actuator, value);
      return;
    } catch (const LinkLost& lost) {
      reconnect(lost.what());
      gap_ = true;
      if (attempt < most_attempts) continue;
      throw base::DeviceFault(polling_.name,
                              fmt::format("loses the connection whenever {} is set ({})",
                                          bench_.actuators[actuator].name, lost.what()),
                              "the address of this actuator in the bench's file");
    }
  }
}

void PolledDevice::set(std::string_view actuator, double value) {
  const bench::Actuator& described = bench_.actuator(actuator);
  if (!(value >= described.lowest && value <= described.highest)) {
    throw base::DeviceFault(polling_.name, fmt::format("{} cannot be set to {:g}", actuator, value),
                            fmt::format("{:g} to {:g}, its limits in the bench's file",
                                        described.lowest, described.highest));
  }
  if (described.manual) {
    polling_.ask(
        fmt::format("set {} ({}) to {:g}: the rotor at rest, nobody near it while it turns",
                    described.long_name, actuator, value));
    return;
  }
  command(static_cast<std::size_t>(&described - bench_.actuators.data()), value);
}

void PolledDevice::apply_known_input(std::string_view channel, double value) {
  const bench::Channel& described = bench_.channels[bench_.channel_index(channel)];
  known_input_ = channel;
  polling_.ask(
      fmt::format("lay {:g} {} on {} ({})", value, described.unit, described.long_name, channel));
  catch_up();
}

void PolledDevice::remove_known_input() {
  if (known_input_.empty()) return;
  polling_.ask(
      fmt::format("take the known input off {} and connect its sensor again", known_input_));
  known_input_.clear();
  catch_up();
}

void PolledDevice::stop() noexcept {
  const auto each = [&](std::string_view name, double value) {
    for (std::size_t i = 0; i < bench_.actuators.size(); ++i) {
      if (bench_.actuators[i].name != name) continue;
      commanded_[i] = value;
      link_->set(i, value);
    }
  };
  for (int attempt = 0; attempt < 2; ++attempt) {
    try {
      if (!link_) link_ = polling_.connect();
      for (const std::string_view name : switched_off)
        each(name, 0.0);
      for (const auto& [actuator, value] : std::map(commanded_)) {
        if (bench_.actuators[actuator].name == load && value == 0.0) each(load, 1.0);
      }
      return;
    } catch (const std::exception&) {
      link_.reset();
    }
  }
}

}  // namespace windwright::devices
