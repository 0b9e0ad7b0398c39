// SPDX-License-Identifier: Apache-2.0
#include "devices/connection.h"

#include "base/errors.h"
#include "bench/device.h"
#include "bench/safe_state.h"

#include <fmt/format.h>

#include <algorithm>
#include <chrono>
#include <cstddef>
#include <exception>
#include <map>
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
/// A link that comes back sooner does not end the way down of a bench that is being stopped.
constexpr double shortest_stopped_outage_s = 1.0;

constexpr int most_attempts = 3;

}  // namespace

Connection::Connection(const bench::Bench& bench, Instrument instrument)
    : bench_(bench), instrument_(std::move(instrument)) {
  try {
    instrument_.open();
  } catch (const LinkLost& lost) {
    throw base::DeviceFault(instrument_.name, lost.what(),
                            "that it is switched on and connected, and its address in [device]");
  }
}

double Connection::blind_s() const {
  const std::chrono::duration<double> away = instrument_.clock.now() - *blind_since_;
  return away.count();
}

void Connection::seen() {
  blind_since_.reset();
  pause_ = {};
}

// Somebody may stand at a bench whose own watchdog has stopped it.
void Connection::require_watched(const std::string& cause) {
  const double away_s = blind_s();
  if (commanded_.empty() || away_s <= longest_unwatched_s) return;
  stop();
  throw base::DeviceFault(
      instrument_.name,
      fmt::format("no sample came for {:.1f} s ({}) while the bench was driven; it was told to "
                  "stop",
                  away_s, cause),
      "the connection, then the bench; go on when it is as it should be");
}

void Connection::require_wanted(const std::string& cause) {
  const double away_s = blind_s();
  if (!instrument_.stop.stop_requested() || away_s <= shortest_stopped_outage_s) return;
  if (!commanded_.empty()) stop();
  throw base::DeviceFault(
      instrument_.name,
      fmt::format("interrupted while no sample came for {:.1f} s ({})", away_s, cause),
      "cable, power and address of the instrument; what state it is in is not known");
}

void Connection::missed(const std::string& cause) {
  if (!blind_since_) blind_since_ = instrument_.clock.now();
  require_watched(cause);
  require_wanted(cause);
  if (blind_s() <= instrument_.longest_outage_s) return;
  throw base::DeviceFault(
      instrument_.name,
      fmt::format("no sample came for {:.0f} s ({})", instrument_.longest_outage_s, cause),
      "that the instrument sends what [device] and the channels of the bench's file name");
}

void Connection::renew(const std::string& cause) {
  if (!blind_since_) blind_since_ = instrument_.clock.now();
  std::string last = cause;
  while (true) {
    if (blind_s() > instrument_.longest_outage_s) {
      throw base::DeviceFault(
          instrument_.name,
          fmt::format("the connection was lost ({}) and could not be made again within {:.0f} s "
                      "({})",
                      cause, instrument_.longest_outage_s, last),
          "cable, power and address of the instrument; what state it is in is not known");
    }
    require_wanted(last);
    // At once the first time, then later and later until a sample has come.
    if (pause_.count() > 0) instrument_.clock.sleep_until(instrument_.clock.now() + pause_);
    pause_ = std::clamp(2 * pause_, first_pause, longest_pause);
    try {
      instrument_.open();
      break;
    } catch (const LinkLost& lost) {
      last = lost.what();
    }
  }
  require_watched(cause);
}

void Connection::command(std::size_t actuator, double value) {
  commanded_[actuator] = value;
  for (int attempt = 0;; ++attempt) {
    try {
      instrument_.send(actuator, value);
      return;
    } catch (const LinkLost& lost) {
      renew(lost.what());
      if (attempt < most_attempts) continue;
      throw base::DeviceFault(instrument_.name,
                              fmt::format("loses the connection whenever {} is set ({})",
                                          bench_.actuators[actuator].name, lost.what()),
                              "the address of this actuator in the bench's file");
    }
  }
}

void Connection::ask(const std::string& what) {
  disturbed_ = true;
  instrument_.ask(what);
}

void Connection::set(std::string_view actuator, double value) {
  const bench::Actuator& described = bench_.actuator(actuator);
  if (!(value >= described.lowest && value <= described.highest)) {
    throw base::DeviceFault(instrument_.name,
                            fmt::format("{} cannot be set to {:g}", actuator, value),
                            fmt::format("{:g} to {:g}, its limits in the bench's file",
                                        described.lowest, described.highest));
  }
  if (described.manual) {
    ask(fmt::format("set {} ({}) to {:g}: the rotor at rest, nobody near it while it turns",
                    described.long_name, actuator, value));
    return;
  }
  command(static_cast<std::size_t>(&described - bench_.actuators.data()), value);
}

void Connection::apply_known_input(std::string_view channel, double value) {
  const bench::Channel& described = bench_.channels[bench_.channel_index(channel)];
  known_input_ = channel;
  ask(fmt::format("lay {:g} {} on {} ({})", value, described.unit, described.long_name, channel));
}

void Connection::remove_known_input() {
  if (known_input_.empty()) return;
  ask(fmt::format("take the known input off {} and connect its sensor again", known_input_));
  known_input_.clear();
}

void Connection::ask_for(bench::HandAction action) {
  ask(std::string(bench::in_words(action)));
}

void Connection::make_safe_by_itself() {
  if (!instrument_.make_safe) return;
  try {
    instrument_.make_safe();
  } catch (const base::DeviceFault&) {
    // Refused. All is still to be switched.
  }
}

void Connection::stop() noexcept {
  const auto each = [&](std::string_view name, double value) {
    for (std::size_t i = 0; i < bench_.actuators.size(); ++i) {
      if (bench_.actuators[i].name != name || bench_.actuators[i].manual) continue;
      commanded_[i] = value;
      try {
        instrument_.send(i, value);
      } catch (const base::DeviceFault&) {
        // Refused. The others are still to be switched.
      }
    }
  };
  for (int attempt = 0; attempt < 2; ++attempt) {
    try {
      if (attempt > 0) instrument_.open();
      // The fan does not wait a second time for an answer that did not come.
      if (attempt == 0) make_safe_by_itself();
      for (const std::string_view name : bench::switched_off)
        each(name, 0.0);
      for (const auto& [actuator, value] : std::map(commanded_)) {
        if (bench_.actuators[actuator].name == bench::load_selector && value == 0.0)
          each(bench::load_selector, bench::loaded_position(bench_.actuators[actuator]));
      }
      if (attempt > 0) make_safe_by_itself();
      return;
    } catch (const std::exception&) {
      // Opened anew, once; then there is nothing more to try.
    }
  }
}

}  // namespace windwright::devices
