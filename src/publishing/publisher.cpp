// SPDX-License-Identifier: Apache-2.0
#include "publishing/publisher.h"

#include "base/clock.h"
#include "base/host_name.h"
#include "base/json.h"
#include "devices/mqtt_client.h"
#include "publishing/interval_values.h"
#include "publishing/post.h"

#include <boost/json.hpp>
#include <boost/lockfree/spsc_queue.hpp>
#include <fmt/format.h>
#include <pthread.h>
#include <unistd.h>

#include <algorithm>
#include <atomic>
#include <chrono>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <memory>
#include <mutex>
#include <optional>
#include <semaphore>
#include <set>
#include <string>
#include <string_view>
#include <thread>
#include <utility>
#include <vector>

namespace windwright::publishing {

namespace json = boost::json;
using bench::SampleBlock;
using Clock = std::chrono::steady_clock;

namespace {

constexpr std::size_t fewest_blocks = 8;
constexpr std::size_t most_blocks = 64;
constexpr std::size_t most_bytes = 16'000'000;  // of them, where that is more than the fewest
constexpr std::chrono::milliseconds longest_nap{20};
constexpr std::size_t most_others = 8;    // that are told of
constexpr std::size_t most_orders = 512;  // from the measuring thread, not yet seen

// So many lie between the device's thread and this one.
std::size_t blocks_for(const bench::Bench& bench) {
  const double bytes = bench.block_s * bench.sample_rate_hz *
                       static_cast<double>(bench.channels.size() * sizeof(std::int32_t));
  const auto fitting = static_cast<std::size_t>(most_bytes / std::max(1.0, bytes));
  return std::clamp(fitting, fewest_blocks, most_blocks);
}

// Tells programs apart, and people where to look.
std::string this_publisher() {
  return fmt::format("{}, process {}", base::host_name(), ::getpid());
}

devices::MqttWill will_of(const bench::Bench& bench, const std::string& publisher) {
  return {.topic = bench.publish->topic + "/state",
          .payload = base::json_line(json::object{
              {"state", "lost"},
              {"bench", bench.name},
              {"publisher", publisher},
              {"connected", base::utc_text(base::host_now())},
              {"cause", "the connection ended without leave: program, computer or network"}})};
}

}  // namespace

class Publisher::Thread {
 public:
  Thread(const bench::Bench& bench,
         const std::vector<std::optional<metrology::Certificate>>& certificates, Doing doing);
  ~Thread() { end(); }
  Thread(const Thread&) = delete;
  Thread& operator=(const Thread&) = delete;

  void hear(const SampleBlock& block);
  /// Something for the post: kept, or told as it is.
  struct Order {
    std::string topic;
    json::object payload;
    bool kept;
  };
  void order(Order order);
  void finish(const Ended& ended);
  void end();
  std::vector<std::string> remarks() const;

  const std::string topic;
  std::int64_t messages() const { return post_.acknowledged(); }

 private:
  struct Heard {
    SampleBlock block;
    Clock::time_point came;
  };

  void run();
  void take_blocks();
  void take_orders();
  void tell_gaps();
  void keep(const std::string& below, json::object payload);
  void keep_values();
  void say_goodbye();
  json::object state_now(std::string_view state) const;
  void hear_own_state(std::string_view payload);
  std::string words_about(const std::string& other) const;

  const std::string bench_name_;
  const std::string publisher_ = this_publisher();
  const Doing doing_;
  const double interval_s_;
  const double longest_leave_s_;
  IntervalValues values_;
  Post post_;
  std::set<std::string> others_;  // that publish under the same name
  Clock::time_point newest_came_;
  json::object progress_;
  std::int64_t samples_ = 0;  // heard of, by the thread
  std::int64_t gaps_told_ = 0;

  std::vector<Heard> blocks_;
  boost::lockfree::spsc_queue<Heard*> free_;
  boost::lockfree::spsc_queue<Heard*> full_;
  std::counting_semaphore<> awake_{0};
  std::atomic<std::int64_t> gaps_ = 0;
  std::atomic<std::int64_t> left_out_ = 0;
  std::atomic<bool> ending_ = false;

  std::mutex orders_mutex_;
  std::vector<Order> orders_;
  std::optional<Ended> ended_;  // read by the thread after ending_
  std::thread thread_;
};

Publisher::Thread::Thread(const bench::Bench& bench,
                          const std::vector<std::optional<metrology::Certificate>>& certificates,
                          Doing doing)
    : topic(bench.publish->topic),
      bench_name_(bench.name),
      doing_(std::move(doing)),
      interval_s_(bench.publish->interval_s),
      longest_leave_s_(2.0 * bench.publish->broker.timeout_s),
      values_(bench, certificates),
      post_(*bench.publish, will_of(bench, publisher_),
            [this](std::string_view payload) { hear_own_state(payload); }),
      blocks_(blocks_for(bench)),
      free_(blocks_.size()),
      full_(blocks_.size()) {
  const auto samples = static_cast<std::size_t>(bench.block_s * bench.sample_rate_hz + 1.0);
  for (Heard& heard : blocks_) {
    heard.block.counts.reserve(samples * bench.channels.size());
    free_.push(&heard);
  }
  keep("state", state_now(doing_.state));
  thread_ = std::thread([this] { run(); });
  pthread_setname_np(thread_.native_handle(), "publishing");
}

void Publisher::Thread::hear(const SampleBlock& block) {
  if (block.gap_before) gaps_.fetch_add(1, std::memory_order_relaxed);
  Heard* heard = nullptr;
  if (!free_.pop(heard)) {
    left_out_.fetch_add(1, std::memory_order_relaxed);
    return;
  }
  heard->block = block;
  heard->came = Clock::now();
  full_.push(heard);
  awake_.release();
}

void Publisher::Thread::order(Order order) {
  const std::scoped_lock lock(orders_mutex_);
  if (order.kept) {
    const auto found = std::find_if(orders_.begin(), orders_.end(), [&](const Order& other) {
      return other.kept && other.topic == order.topic;
    });
    if (found != orders_.end()) {
      *found = std::move(order);
      return;
    }
  }
  if (orders_.size() < most_orders) orders_.push_back(std::move(order));
}

void Publisher::Thread::finish(const Ended& ended) {
  ended_ = ended;
  end();
}

void Publisher::Thread::end() {
  if (!thread_.joinable()) return;
  ending_.store(true, std::memory_order_release);
  awake_.release();
  thread_.join();
}

std::vector<std::string> Publisher::Thread::remarks() const {
  std::vector<std::string> told = post_.remarks();
  for (const std::string& other : others_)
    told.push_back(words_about(other));
  if (const std::int64_t left_out = left_out_; left_out > 0) {
    told.push_back(fmt::format(
        "{} blocks came too fast for publishing, and are in no published value", left_out));
  }
  return told;
}

// Two programs under one name write over each other's values, and neither would know.
void Publisher::Thread::hear_own_state(std::string_view payload) {
  boost::system::error_code error;
  const json::value document = json::parse(payload, error);
  const json::object* told = error ? nullptr : document.if_object();
  if (told == nullptr) return;
  const auto text_of = [&](const char* member) {
    const json::value* found = told->if_contains(member);
    return found != nullptr && found->is_string() ? std::string(found->as_string())
                                                  : std::string("unknown");
  };
  // A will is of one that is gone.
  if (text_of("state") == "lost" || text_of("publisher") == publisher_) return;
  if (others_.size() >= most_others || !others_.insert(text_of("publisher")).second) return;
  post_.tell(topic + "/event",
             base::json_line(json::object{{"event", "remark"},
                                          {"time", base::utc_text(base::host_now())},
                                          {"text", words_about(text_of("publisher"))}}));
}

std::string Publisher::Thread::words_about(const std::string& other) const {
  return fmt::format(
      "another program ({}) publishes as {} too, and they write over each other: "
      "give every bench its own name in [publish]",
      other, topic);
}

json::object Publisher::Thread::state_now(std::string_view state) const {
  return {{"state", state},
          {"bench", bench_name_},
          {"publisher", publisher_},
          {"time", base::utc_text(base::host_now())},
          {"into", doing_.into},
          {"interval_s", interval_s_},
          {"software_version", doing_.software_version}};
}

void Publisher::Thread::keep(const std::string& below, json::object payload) {
  post_.keep(topic + '/' + below, base::json_line(payload));
}

void Publisher::Thread::take_blocks() {
  Heard* heard = nullptr;
  while (full_.pop(heard)) {
    samples_ += static_cast<std::int64_t>(heard->block.samples);
    if (heard->block.samples > 0) values_.take(heard->block);
    newest_came_ = heard->came;
    free_.push(heard);
  }
}

void Publisher::Thread::take_orders() {
  std::vector<Order> orders;
  {
    const std::scoped_lock lock(orders_mutex_);
    orders.swap(orders_);
  }
  for (Order& order : orders) {
    if (order.topic == "progress") {
      progress_ = std::move(order.payload);
    } else if (order.kept) {
      keep(order.topic, std::move(order.payload));
    } else {
      post_.tell(topic + '/' + order.topic, base::json_line(order.payload));
    }
  }
}

void Publisher::Thread::tell_gaps() {
  const std::int64_t gaps = gaps_;
  if (gaps == gaps_told_) return;
  post_.tell(topic + "/event", base::json_line(json::object{
                                   {"event", "gap"},
                                   {"time", base::utc_text(base::host_now())},
                                   {"text", fmt::format("{} gaps so far: samples are missing "
                                                        "in the recording",
                                                        gaps)},
                                   {"gaps", gaps}}));
  gaps_told_ = gaps;
}

// The state with them: its time tells that somebody is still there.
void Publisher::Thread::keep_values() {
  if (values_.samples() > 0) {
    const double age_s = std::chrono::duration<double>(Clock::now() - newest_came_).count();
    for (auto& [below, payload] : values_.payloads(age_s))
      keep(below, std::move(payload));
    values_.begin_anew();
  }
  json::object progress{{"samples", samples_}, {"gaps", gaps_.load()}};
  for (const auto& [key, value] : progress_)
    progress[key] = value;
  progress["time"] = base::utc_text(base::host_now());
  keep("progress", std::move(progress));
}

void Publisher::Thread::say_goodbye() {
  keep_values();
  json::object end{{"ending", ended_->ending}, {"cause", ended_->cause}};
  json::object event{{"event", "end"}, {"time", base::utc_text(base::host_now())}};
  for (const std::string& remark : ended_->remarks) {
    post_.tell(
        topic + "/event",
        base::json_line(json::object{
            {"event", "remark"}, {"time", base::utc_text(base::host_now())}, {"text", remark}}));
  }
  json::object state = state_now("ended");
  for (const auto& [key, value] : end) {
    event[key] = value;
    state[key] = value;
  }
  post_.tell(topic + "/event", base::json_line(event));
  keep("state", std::move(state));
  post_.leave(longest_leave_s_);
}

void Publisher::Thread::run() {
  const auto interval =
      std::chrono::duration_cast<Clock::duration>(std::chrono::duration<double>(interval_s_));
  auto next = Clock::now() + interval;
  while (!ending_.load(std::memory_order_acquire)) {
    take_blocks();
    take_orders();
    tell_gaps();
    // Behind a broker that takes its time the stretch grows, so that no sample is lost to the mean.
    if (Clock::now() >= next && !post_.is_behind()) {
      keep("state", state_now(doing_.state));
      keep_values();
      next = std::max(next + interval, Clock::now());
    }
    post_.attend();
    static_cast<void>(awake_.try_acquire_for(longest_nap));
  }
  take_blocks();
  take_orders();
  tell_gaps();
  if (ended_) say_goodbye();
}

Publisher::Publisher(const bench::Bench& bench,
                     const std::vector<std::optional<metrology::Certificate>>& certificates,
                     Doing doing)
    : thread_(std::make_unique<Thread>(bench, certificates, std::move(doing))) {}

Publisher::~Publisher() = default;

void Publisher::hear(const SampleBlock& block) {
  thread_->hear(block);
}

void Publisher::commanded(const bench::Actuator& actuator, double value) {
  json::object payload{{"value", value}, {"time", base::utc_text(base::host_now())}};
  if (!actuator.positions.empty()) {
    const auto index = static_cast<std::size_t>(std::llround(value));
    if (index < actuator.positions.size()) payload["position"] = actuator.positions[index];
  }
  thread_->order(
      {.topic = "actuator/" + actuator.name, .payload = std::move(payload), .kept = true});
}

void Publisher::tell_progress(json::object members) {
  thread_->order({.topic = "progress", .payload = std::move(members), .kept = true});
}

void Publisher::tell_event(std::string_view event, json::object members) {
  json::object payload{{"event", event}, {"time", base::utc_text(base::host_now())}};
  for (auto& [key, value] : members)
    payload[key] = std::move(value);
  thread_->order({.topic = "event", .payload = std::move(payload), .kept = false});
}

void Publisher::finish(const Ended& ended) {
  thread_->finish(ended);
}

const std::string& Publisher::topic() const {
  return thread_->topic;
}

std::int64_t Publisher::messages() const {
  return thread_->messages();
}

std::vector<std::string> Publisher::remarks() const {
  return thread_->remarks();
}

}  // namespace windwright::publishing
