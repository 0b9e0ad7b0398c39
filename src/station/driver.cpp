// SPDX-License-Identifier: Apache-2.0
#include "station/driver.h"

#include "base/errors.h"
#include "bench/certificates.h"
#include "bench/safe_state.h"
#include "campaign/guard_logbook.h"
#include "devices/open_device.h"
#include "station/refusal.h"

#include <boost/json.hpp>
#include <fmt/format.h>

#include <chrono>
#include <exception>
#include <memory>
#include <mutex>
#include <optional>
#include <stop_token>
#include <string>
#include <string_view>
#include <utility>
#include <variant>
#include <vector>

namespace windwright::station {

namespace json = boost::json;

namespace {

constexpr std::chrono::seconds try_again{2};      // to open a device that was lost
constexpr std::chrono::seconds longest_wish{10};  // a command that takes longer is a lost device
constexpr std::chrono::minutes longest_hand{30};  // for what a person does at the bench
constexpr double oldest_s = 1.0;                  // of data that may still be trusted

Refusal busy(const std::string& activity) {
  return Refusal(409, fmt::format("the bench is {}", activity), "end that first, or wait for it")
      .as("busy");
}
Refusal no_device(const std::string& why) {
  return Refusal(409, why, "a device that answers").as("no_device");
}

}  // namespace

Driver::Driver(const StationOptions& options, StationListener listener)
    : options_(options),
      bench_(bench::bench_from_file(options.bench_file)),
      short_bench_(with_short_blocks(bench_)),
      listener_(std::move(listener)) {
  const std::string tripped =
      options.tripped.empty() ? campaign::unreset_trip(bench_) : options.tripped;
  if (!tripped.empty()) {
    trip_ = guard::Trip{.interlock = "before this server began",
                        .stop_category = 0,
                        .cause = tripped,
                        .check = "the bench, before it is reset",
                        .time = base::host_now()};
  }
  for (const bench::Actuator& actuator : bench_.actuators) {
    if (bench::is_switched_off(actuator.name)) shown_.commanded[actuator.name] = 0.0;
  }
  make_laws();
  show();
  thread_ = std::jthread([this](const std::stop_token& over) { run(over); });
}

Driver::~Driver() {
  close();
}

void Driver::close() {
  {
    const std::scoped_lock lock(mutex_);
    over_ = true;
    task_stop_.request_stop();
  }
  thread_.request_stop();
  changed_.notify_all();
  if (thread_.joinable()) thread_.join();
}

Snapshot Driver::snapshot() const {
  const std::scoped_lock lock(mutex_);
  Snapshot snapshot = shown_;
  const std::chrono::duration<double> age = base::host_now() - shown_.host_time;
  snapshot.age_s = shown_.samples == 0 ? 0.0 : std::max(0.0, age.count());
  const bool in_state = shown_.state != guard::State::safe && shown_.state != guard::State::tripped;
  snapshot.driven = in_state || (task_ && task_->drives);
  snapshot.attended = snapshot.driven || (task_ && task_->attended);
  snapshot.stopping =
      guard::is_under_way(shown_.state) || stop_wanted_ || (task_ && task_stop_.stop_requested());
  snapshot.stale = shown_.samples == 0 || snapshot.age_s > std::max(oldest_s, 3.0 * bench_.block_s);
  return snapshot;
}

std::vector<acquisition::LiveChannel> Driver::channels() const {
  const std::scoped_lock lock(mutex_);
  return live_->channels();
}

std::vector<acquisition::Figures> Driver::newest() const {
  const std::scoped_lock lock(mutex_);
  return figures_;
}

LiveMeans Driver::means() const {
  const std::scoped_lock lock(mutex_);
  return means_;
}

std::vector<double> Driver::tail(std::size_t channel) const {
  const std::scoped_lock lock(mutex_);
  return tail_->samples(channel);
}

void Driver::look(const std::function<void(const Station::Seen&)>& look) const {
  const std::scoped_lock lock(mutex_);
  look({.bins = *bins_,
        .newest = newest_,
        .device_time = shown_.device_time.value_or(base::UtcTime{}),
        .host_time = shown_.host_time,
        .gaps = shown_.gaps,
        .layout = layout_});
}

void Driver::stop_bench(int category, std::string_view person) {
  std::unique_lock lock(mutex_);
  stop_wanted_ = std::min(category, stop_wanted_.value_or(category));
  stop_person_ = person;
  task_stop_.request_stop();
  changed_.notify_all();
  // Nobody waits for longer than a bench may take: what is on the way arrives without being seen.
  changed_.wait_for(lock, std::chrono::seconds(1), [&] { return !stop_wanted_; });
}

void Driver::trip_bench(const guard::Trip& trip) {
  const std::scoped_lock lock(mutex_);
  trip_wanted_ = trip;
  task_stop_.request_stop();
  changed_.notify_all();
}

void Driver::call(std::function<void(HeardDevice&)> work) {
  std::future<void> done;
  const auto dropped = std::make_shared<std::atomic<bool>>(false);
  {
    const std::scoped_lock lock(mutex_);
    if (task_) throw busy(task_->activity);
    if (!shown_.fault.empty()) throw no_device(shown_.fault);
    wishes_.push_back({.work = std::move(work), .done = {}, .dropped = dropped});
    done = wishes_.back().done.get_future();
  }
  changed_.notify_all();
  if (done.wait_for(longest_wish) != std::future_status::ready) {
    dropped->store(true);
    throw Refusal(409, "the device has not answered yet", "look at the bench's state")
        .as("no_answer");
  }
  done.get();
}

void Driver::begin(Task task) {
  const Snapshot now = snapshot();
  {
    const std::scoped_lock lock(mutex_);
    if (task_) throw busy(task_->activity);
    if (!shown_.fault.empty()) throw no_device(shown_.fault);
    if (task.drives && (now.samples == 0 || now.age_s > longest_wait().count()))
      throw no_device("no fresh samples come from the bench");
    if (stop_wanted_) {
      throw Refusal(409, "a stop is on its way", "wait until the bench stands still")
          .as("stopping");
    }
    const bool stands = shown_.state == guard::State::safe ||
                        (!task.drives && shown_.state == guard::State::tripped);
    if (!stands) {
      throw Refusal(409, fmt::format("the bench is {}", guard::name(shown_.state)),
                    shown_.tripped ? "reset the trip first" : "stop it first")
          .as(shown_.tripped ? "tripped" : "driven");
    }
    task_ = std::move(task);
    task_begun_ = std::chrono::steady_clock::now();
    task_stop_ = {};
  }
  changed_.notify_all();
}

void Driver::end_task() {
  const std::scoped_lock lock(mutex_);
  task_stop_.request_stop();
  changed_.notify_all();
}

void Driver::answer(int number) {
  const std::scoped_lock lock(mutex_);
  if (!shown_.ask || shown_.ask->number != number) {
    throw Refusal(409, "nobody asked for that", "the number of what is asked now");
  }
  shown_.ask.reset();
  changed_.notify_all();
}

// A person does what the device cannot; called by the device, on its thread.
void Driver::ask(const std::string& what) {
  std::unique_lock lock(mutex_);
  shown_.ask = PersonAsked{.number = ++asks_, .what = what};
  lock.unlock();
  tell("ask", {{"text", what}});
  lock.lock();
  changed_.wait_for(lock, longest_hand, [&] {
    return !shown_.ask || over_ || stop_wanted_ || task_stop_.stop_requested();
  });
  if (!shown_.ask) return;
  shown_.ask.reset();
  throw base::DeviceFault("bench", "needed a person, and nobody did it: " + what,
                          "the bench; then try again");
}

void Driver::tell(std::string_view event, json::object members) const {
  if (listener_.on_event) listener_.on_event(event, std::move(members));
}

void Driver::keep(std::unique_ptr<const acquisition::Ring> ring) const {
  if (ring && listener_.on_trip_ring) listener_.on_trip_ring(std::move(ring));
}

// Without a memory: the time of another device, say, is nothing to this one's.
void Driver::make_interlocks() {
  std::vector<metrology::Certificate> all;
  for (const auto& certificate : certificates_) {
    if (certificate) all.push_back(*certificate);
  }
  interlocks_ = all.size() == bench_.channels.size()
                    ? std::make_unique<guard::Interlocks>(
                          bench_, all, guard::Interlocks::Options{.folder = options_.folder})
                    : nullptr;
}

// Certificates turn counts into values; without all of them nothing can be judged.
void Driver::make_laws() {
  certificates_ = bench::certificates_there_are(bench_);
  auto live = std::make_unique<acquisition::LiveValues>(bench_, certificates_);
  make_interlocks();
  const std::scoped_lock lock(mutex_);
  const std::size_t channels = live->channels().size();
  live_ = std::move(live);
  bins_ = std::make_unique<LiveBins>(channels, bench_.sample_rate_hz);
  tail_ = std::make_unique<LiveTail>(channels, bench_.sample_rate_hz);
  ++layout_;
  newest_.assign(channels, std::numeric_limits<float>::quiet_NaN());
  figures_.clear();
  running_means_ = std::make_unique<RunningMeans>(channels, bench_.sample_rate_hz);
}

void Driver::show() {
  const std::scoped_lock lock(mutex_);
  if (layer_) {
    shown_.state = layer_->state();
    driven_ = (in_task_ && task_drives_) ||
              (layer_->state() != guard::State::safe && !layer_->is_tripped());
  }
  // A task drives by a layer of its own; what it makes of a trip follows from the trip.
  if (in_task_ && task_drives_) {
    shown_.state = !trip_                      ? guard::State::running
                   : trip_->stop_category == 0 ? guard::State::tripped
                                               : guard::State::tripping_1;
  }
  if (!layer_ && trip_) shown_.state = guard::State::tripped;
  shown_.tripped = trip_;
  shown_.standing = interlocks_ ? interlocks_->standing() : std::vector<std::string>();
  changed_.notify_all();
}

void Driver::lose(const std::string& why) {
  // A bench that was driven and cannot be reached any more has tripped, whatever it does now.
  // It was last seen before the layer went with the device.
  in_task_ = false;
  if (std::exchange(driven_, false) && !trip_) {
    latch({.interlock = "device",
           .stop_category = 0,
           .cause = why,
           .check = "the bench itself: nobody knows its state from here",
           .time = base::host_now()});
  }
  if (trip_ring_) keep(trip_ring_->end());
  trip_ring_.reset();
  show();
  std::optional<Task> dropped;  // one that was waiting for the device
  {
    const std::scoped_lock lock(mutex_);
    dropped = std::exchange(task_, std::nullopt);
    shown_.fault = why;
    shown_.activity = "lost";  // a stop that is wanted stays so until there is a device again
    for (Wish& wish : wishes_)
      wish.done.set_exception(std::make_exception_ptr(no_device(why)));
    wishes_.clear();
    changed_.notify_all();
  }
  if (dropped && dropped->refused) dropped->refused(why);
  tell("fault", {{"text", why}});
}

void Driver::run(const std::stop_token& over) {
  while (!over.stop_requested()) {
    try {
      drive(over);
    } catch (const base::DeviceFault& fault) {
      lose(fault.what());
    } catch (const base::BadInput& refused) {
      lose(refused.what());
    } catch (const std::exception& error) {
      // The top of this thread: another bench goes on whatever happens here.
      lose(fmt::format("internal error: {}: please report it", error.what()));
    }
    std::unique_lock lock(mutex_);
    changed_.wait_for(lock, try_again, [&] { return over_; });
  }
}

void Driver::drive(const std::stop_token& over) {
  layer_.reset();
  watch_.reset();  // one at a time
  watch_ = std::make_unique<guard::AcquisitionWatch>(bench_);
  begun_ = false;
  known_input_ = false;
  // A simulated bench is in this program alone; any other may have only one that drives it.
  if (!only_one_ && !std::holds_alternative<bench::SimulatedDevice>(bench_.device)) {
    only_one_.emplace(bench_, "windwright serve");
  }
  const auto inner = devices::open_device(
      short_bench_, options_.pace, [this](const std::string& what) { ask(what); }, over);
  HeardDevice device(bench_, *inner, *this);
  trip_ring_ = std::make_unique<TripRing>(bench_, device.name());
  bench::SafeAtTheEnd safe(device);
  device.stop();  // whatever it did while nobody here saw it
  make_interlocks();
  stands_for_s_ = 0.0;
  layer_ = std::make_unique<guard::AcquisitionLayer>(
      bench_, device,
      guard::AcquisitionLayer::Options{.other = guard::guard_process(*watch_),
                                       .tripped = trip_ ? trip_->cause : std::string()});
  const struct LayerEnds {  // before the device that it drives
    std::unique_ptr<guard::AcquisitionLayer>& layer;
    ~LayerEnds() { layer.reset(); }
  } ends{layer_};
  {
    const std::scoped_lock lock(mutex_);
    shown_.device = device.name();
    shown_.fault.clear();
    shown_.activity = "watching";
  }
  tell("device", {{"text", device.name()}});
  bench::SampleBlock block;
  while (!over.stop_requested()) {
    serve_wishes(device);
    run_task(device);
    device.read(block);
    if (block.samples == 0 || block.channels != bench_.channels.size()) {
      throw base::DeviceFault(device.name(), "sent a block without samples of all channels",
                              "connection and channel list of the device");
    }
    after_block(device, block);
  }
}

void Driver::serve_wishes(HeardDevice& device) {
  for (;;) {
    Wish wish;
    {
      const std::scoped_lock lock(mutex_);
      if (wishes_.empty()) return;
      wish = std::move(wishes_.front());
      wishes_.pop_front();
    }
    if (wish.dropped->load()) continue;
    try {
      wish.work(device);
      wish.done.set_value();
    } catch (...) {
      wish.done.set_exception(std::current_exception());  // whoever wished it is told
    }
  }
}

// Before anything is driven. @throws DeviceFault  the guard process does not let it
void Driver::begin_watch() {
  if (begun_) return;
  watch_->begin(std::chrono::steady_clock::now());
  begun_ = true;
}

// One that another program left, or the guard process while nothing was driven from here.
// @throws DeviceFault
void Driver::require_no_trip_elsewhere() {
  const std::string cause = campaign::unreset_trip(bench_);
  if (cause.empty()) return;
  const guard::Trip trip{.interlock = "before",
                         .stop_category = 0,
                         .cause = cause,
                         .check = "the bench, before it is reset",
                         .time = base::host_now()};
  layer_->take(guard::Event::violation_0, trip);
  latch(trip);
  show();
  throw base::DeviceFault("the guard",
                          fmt::format("has tripped, and nobody has reset it ({})", cause),
                          "the bench; then reset it there");
}

guard::OtherLayer Driver::guard_process() {
  return guard::guard_process(*watch_);
}

// What was asked for a while ago may surprise whoever is at the bench by now.
std::chrono::duration<double> Driver::longest_wait() const {
  return std::chrono::duration<double>(std::max(3.0, 3.0 * bench_.block_s));
}

// A command that was under way when it was begun may have started the bench since.
// @throws DeviceFault
void Driver::require_rest_for(const Task& task) {
  const guard::State state = layer_->state();
  if (state != guard::State::safe && (task.drives || state != guard::State::tripped)) {
    throw base::DeviceFault("the bench", fmt::format("is {}", guard::name(state)),
                            "reset the trip, or wait until it stands still");
  }
  if (task.drives && std::chrono::steady_clock::now() - task_begun_ > longest_wait()) {
    throw base::DeviceFault(
        "the bench",
        fmt::format("gave no sample for {:g} s behind the start", longest_wait().count()),
        "its device; then start it anew");
  }
}

void Driver::run_task(HeardDevice& device) {
  Task task{.activity = {}, .drives = false, .run = {}};
  std::stop_token stop;
  {
    const std::scoped_lock lock(mutex_);
    if (!task_) return;
    task = *task_;
    shown_.activity = task.activity;
    stop = task_stop_.get_token();
  }
  const auto ended = [&](bool has_run) {
    in_task_ = false;
    const std::scoped_lock lock(mutex_);
    task_.reset();
    if (has_run) stop_wanted_.reset();  // else it is still to be carried out
    shown_.activity = "watching";
    changed_.notify_all();
  };
  try {
    require_rest_for(task);
    if (task.drives) {
      require_no_trip_elsewhere();
      begin_watch();
    }
  } catch (const base::DeviceFault& refused) {  // its own to tell, and the bench is not lost
    ended(false);
    if (task.refused) task.refused(refused.what());
    return;
  }
  task_drives_ = task.drives;
  in_task_ = true;
  told_.clear();
  show();
  try {
    task.run(device, stop);
  } catch (...) {
    device.stop();
    // `in_task_` stays for whoever loses the device
    const std::scoped_lock lock(mutex_);
    task_.reset();
    throw;
  }
  ended(true);
  layer_->take_over({});  // whoever had the device meanwhile commanded it past this layer
  // What tripped a run keeps this bench from being driven until somebody resets it here.
  if (trip_ && !layer_->is_tripped()) layer_->take(guard::Event::violation_0, *trip_);
  show();
}

}  // namespace windwright::station
