// SPDX-License-Identifier: Apache-2.0
#include "publishing/post.h"

#include "base/errors.h"
#include "bench/mqtt_broker.h"
#include "devices/mqtt_client.h"

#include <fmt/format.h>

#include <algorithm>
#include <chrono>
#include <memory>
#include <stdexcept>
#include <string>
#include <utility>
#include <vector>

namespace windwright::publishing {
namespace {

constexpr std::chrono::milliseconds first_pause{50};
constexpr std::chrono::milliseconds longest_pause{2000};
constexpr std::size_t most_told = 256;
constexpr double step_s = 0.02;

}  // namespace

Post::Post(const bench::PublishDescription& described, devices::MqttWill will, Hear hear,
           devices::SteadyClock clock)
    : described_(described),
      will_(std::move(will)),
      hear_(std::move(hear)),
      clock_(std::move(clock)),
      next_try_(clock_.now()),
      away_since_(next_try_) {
  // A file that is not there is said before anything begins.
  bench::password_of(described_.broker);
  bench::require_ca_file(described_.broker);
}

double Post::since_s(Time time) const {
  return std::chrono::duration<double>(clock_.now() - time).count();
}

void Post::keep(const std::string& topic, std::string payload) {
  const auto found = std::find_if(kept_.begin(), kept_.end(),
                                  [&](const Letter& letter) { return letter.topic == topic; });
  if (found == kept_.end()) {
    kept_.push_back({.topic = topic, .payload = std::move(payload), .sent = {}, .sent_at = {}});
    return;
  }
  if (found->due) ++replaced_;
  found->payload = std::move(payload);
  found->due = true;
}

void Post::tell(const std::string& topic, std::string payload) {
  if (told_.size() >= most_told) {
    ++left_out_;
    told_.pop_front();
  }
  told_.push_back({.topic = topic, .payload = std::move(payload), .sent = {}, .sent_at = {}});
}

void Post::connect() {
  const auto take = [this](const devices::MqttMessage& message) {
    if (hear_ && !message.retained && message.topic == will_.topic) hear_(message.payload);
  };
  client_ = std::make_unique<devices::MqttClient>(described_.broker, will_, take, clock_);
  try {
    if (hear_) client_->subscribe({will_.topic});
  } catch (const base::DeviceFault&) {
    // May write here but not read, as is right for a bench: then nobody hears of another.
  }
  away_s_ += ever_connected_ ? since_s(away_since_) : 0.0;
  ever_connected_ = true;
  pause_ = {};
}

void Post::send(Letter& letter, bool retained) {
  letter.sent = client_->send(letter.topic, letter.payload, retained);
  letter.sent_at = clock_.now();
  letter.due = false;
}

void Post::send_due() {
  // One after the other: the broker may send two of a topic in another order else.
  for (Letter& letter : kept_) {
    if (letter.due && !letter.sent) send(letter, true);
  }
  for (Letter& letter : told_) {
    if (!letter.sent) send(letter, false);
  }
}

void Post::take_acknowledgements() {
  for (Letter& letter : kept_) {
    if (!letter.sent || !client_->is_acknowledged(*letter.sent)) continue;
    letter.sent.reset();
    ++acknowledged_;
  }
  while (!told_.empty() && told_.front().sent && client_->is_acknowledged(*told_.front().sent)) {
    told_.pop_front();
    ++acknowledged_;
  }
}

bool Post::is_overdue(const Letter& letter) const {
  return letter.sent && since_s(letter.sent_at) > described_.broker.timeout_s;
}

void Post::lost(const std::string& cause) {
  if (client_) {
    away_since_ = clock_.now();
    ++outages_;
  }
  client_.reset();
  last_cause_ = cause;
  for (Letter& letter : kept_) {
    letter.sent.reset();
    letter.due = true;
  }
  for (Letter& letter : told_)
    letter.sent.reset();
  next_try_ = clock_.now() + pause_;
  pause_ = std::clamp(2 * pause_, first_pause, longest_pause);
}

void Post::attend() {
  try {
    if (!client_) {
      if (clock_.now() < next_try_) return;
      connect();
    }
    send_due();
    client_->serve(0.0);
    take_acknowledgements();
    const auto overdue = [this](const Letter& letter) { return is_overdue(letter); };
    if (std::any_of(kept_.begin(), kept_.end(), overdue) ||
        std::any_of(told_.begin(), told_.end(), overdue)) {
      throw devices::LinkLost(fmt::format("{}: acknowledges nothing within {:g} s",
                                          bench::broker_text(described_.broker),
                                          described_.broker.timeout_s));
    }
  } catch (const std::runtime_error& cause) {
    lost(cause.what());  // whatever it is, the next try may go better, and nobody waits for it
  }
}

bool Post::done() const {
  return told_.empty() && std::all_of(kept_.begin(), kept_.end(), [](const Letter& letter) {
           return !letter.due && !letter.sent;
         });
}

bool Post::is_behind() const {
  return client_ &&
         std::any_of(kept_.begin(), kept_.end(), [](const Letter& letter) { return letter.due; });
}

void Post::leave(double longest_s) {
  const auto begun = clock_.now();
  next_try_ = begun;
  attend();
  while (client_ && !done() && since_s(begun) < longest_s) {
    clock_.sleep_until(clock_.now() +
                       std::chrono::duration_cast<std::chrono::steady_clock::duration>(
                           std::chrono::duration<double>(step_s)));
    attend();
  }
  if (!client_) {
    away_s_ += ever_connected_ ? since_s(away_since_) : 0.0;
    return;
  }
  if (done()) {
    client_->leave();
  } else {
    lost("not all was acknowledged in the end");  // so the will says it
  }
  client_.reset();
}

std::vector<std::string> Post::remarks() const {
  std::vector<std::string> told;
  const std::string name = bench::broker_text(described_.broker);
  if (!ever_connected_) {
    told.push_back(fmt::format("{} was never reached, nothing was published; the last because {}",
                               name, last_cause_));
    return told;
  }
  if (outages_ > 0) {
    told.push_back(fmt::format("{} was away {} time{}, {:.1f} s in all; the last because {}", name,
                               outages_, outages_ == 1 ? "" : "s", away_s_, last_cause_));
  }
  if (replaced_ > 0) {
    told.push_back(
        fmt::format("{} values were replaced by newer ones before {} took them", replaced_, name));
  }
  if (left_out_ > 0) told.push_back(fmt::format("{} events were not published", left_out_));
  return told;
}

}  // namespace windwright::publishing
