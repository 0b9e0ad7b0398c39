// SPDX-License-Identifier: Apache-2.0
#include "campaign/driven_bench.h"

#include "base/errors.h"
#include "guard/standstill.h"

#include <boost/json.hpp>
#include <fmt/format.h>

#include <cstdint>
#include <exception>
#include <optional>
#include <string>
#include <string_view>
#include <utility>

namespace windwright::campaign {
namespace {

constexpr const char* fan = "fan_pct";
constexpr double longest_coasting_s = 120.0;

}  // namespace

DrivenBench::DrivenBench(const bench::Bench& bench, bench::Device& device,
                         const ConductOptions& options, const Bookmark& bookmark,
                         std::function<void(std::string_view)> tell)
    : bench_(bench),
      device_(device),
      options_(options),
      tell_(std::move(tell)),
      steering_(bench, certificates_of(bench), options.into),
      logbook_(options.into / logbook_file),
      recorder_(recording::Recorder::take_up(options.into / recording_file, bookmark.samples,
                                             bookmark.slow_sums)),
      recording_(recorder_, device.sample_rate_hz(), acquisition::queue_for(bench.block_s)),
      layer_(bench, device, {.other = options.guard_process}),
      recorded_(bookmark.samples) {}

double DrivenBench::seconds(std::int64_t samples) const {
  return static_cast<double>(samples) / bench_.sample_rate_hz;
}

bool DrivenBench::end(Ending ending, const std::string& cause) {
  ended_ = Outcome{
      .ending = ending, .points = done_, .cause = cause, .power_stays_on = layer_.power_stays_on()};
  try {
    recording_.flush();
  } catch (const base::DiskFault& fault) {
    ended_->cause += fmt::format("\n{}", fault.what());
  }
  writing_.wait();
  return false;
}

void DrivenBench::note_down(base::UtcTime time, std::string event, boost::json::object members,
                            std::function<void()> behind) {
  writing_.add([this, time, event = std::move(event), members = std::move(members),
                behind = std::move(behind)] {
    logbook_.add(time, event, members);
    if (behind) behind();
  });
}

guard::AcquisitionLayer::Step DrivenBench::read_block() {
  bench::SampleBlock& block = recording_.free_block();
  device_.read(block);
  if (block.samples == 0 || block.channels != bench_.channels.size()) {
    throw base::DeviceFault(device_.name(), "sent a block without samples of all channels",
                            "connection and channel list of the device");
  }
  block_ = {.first = recorded_,
            .samples = static_cast<std::int64_t>(block.samples),
            .gap_before = block.gap_before,
            .start = block.start};
  recorded_ += block_.samples;
  samples_read_ += block_.samples;
  // Before anything else, even before the block is on its way.
  const std::optional<guard::Trip> trip = steering_.judge(block);
  const guard::AcquisitionLayer::Step step =
      layer_.look(block, trip, steering_.rotor_speed_rad_s());
  recording_.hand_over(block);
  return step;
}

void DrivenBench::note(const guard::Trip& trip) {
  note_down(device_.now(), "trip",
            {{"text", guard::in_words(trip)},
             {"interlock", trip.interlock},
             {"stop_category", trip.stop_category},
             {"priority", trip.priority},
             {"consequence", trip.consequence},
             {"respond", trip.respond}});
}

// Whoever asks to end meanwhile waits for it; a harder stop does not.
bool DrivenBench::stop_after(const guard::Trip& trip) {
  // The note first: it is what keeps a trip latched, and there is room reserved for it. A disk that
  // takes its time does not hold the stop back.
  note(trip);
  while (layer_.is_stopping()) {
    tell_("stopping");
    if (const auto step = read_block(); step.trip) note(*step.trip);
  }
  // One first cause and one line for what came of it.
  const std::string followers = guard::in_words(steering_.followers());
  if (!followers.empty())
    note_down(device_.now(), "followers", {{"text", followers}, {"after", trip.interlock}});
  end(Ending::tripped, guard::in_words(trip) + (followers.empty() ? "" : "\n" + followers));
  ended_->trip = trip;
  return false;
}

bool DrivenBench::go_on() {
  if (options_.stop.stop_requested()) return interrupt();
  const guard::AcquisitionLayer::Step step = read_block();
  return step.trip ? stop_after(*step.trip) : true;
}

bool DrivenBench::interrupt() {
  if (!come_down()) return false;
  device_.stop();
  const std::string cause = fmt::format(
      "interrupted after {} of {} test points; the bench is in its safe state: "
      "go on with --resume",
      done_, points_);
  note_down(device_.now(), "interruption", {{"text", cause}});
  return end(Ending::interrupted, cause);
}

bool DrivenBench::come_down() {
  layer_.ask_end();
  while (layer_.is_stopping()) {
    tell_("stopping");
    if (const auto step = read_block(); step.trip) return stop_after(*step.trip);
  }
  return true;
}

bool DrivenBench::start() {
  // A start is judged by what is now, and a change by hand takes its time.
  if (!guard::permits_fan(layer_.state()) && !go_on()) return false;
  go_on_running();
  // The guard's consent may take its time, and nothing is driven yet.
  return !options_.stop.stop_requested() || interrupt();
}

bool DrivenBench::take_over(const std::map<std::string, double>& commanded) {
  layer_.take_over(commanded);
  if (fan_stands()) return true;
  // A guard process wants to see it first; alone it runs on as it would have run.
  const auto& is_there = options_.guard_process.is_there;
  if (is_there && is_there() && !go_on()) return false;
  go_on_running();
  return true;
}

void DrivenBench::go_on_running() {
  if (const auto why = layer_.start(steering_.standing())) {
    throw base::DeviceFault("the guard", *why, "the bench, and the guard process");
  }
}

bool DrivenBench::fan_stands() const {
  return commanded(fan).value_or(0.0) == 0.0;
}

bool DrivenBench::come_to_standstill() {
  layer_.ask_end();
  set(fan, 0.0);
  const double span_V = steering_.span("dc_voltage_V");
  std::int64_t waited = 0;
  std::int64_t quiet = 0;
  while (seconds(quiet) < guard::shortest_rest_s || layer_.is_stopping()) {
    tell_("waiting for the rotor to stand still");
    if (!go_on()) return false;
    const bool still =
        guard::is_seen_to_stand(steering_.rotor_speed_rad_s(), steering_.dc_voltage_V(), span_V);
    quiet = still ? quiet + block_.samples : 0;
    waited += block_.samples;
    if (!still && seconds(waited) > longest_coasting_s) {
      throw base::DeviceFault(
          device_.name(),
          fmt::format("the rotor does not stand still {:.0f} s after the fan was stopped: {:.1f} "
                      "rad/s, {:.2f} V",
                      longest_coasting_s, steering_.rotor_speed_rad_s(), steering_.dc_voltage_V()),
          "fan, speed sensor and voltage sensor; nobody goes near the blades before they stand "
          "still");
    }
  }
  return true;
}

// A device that is lost while it is driven is a trip; one that is lost at rest has nothing to stop.
void DrivenBench::fail(const std::exception& fault, bool device_lost) {
  const bool latched = device_lost && layer_.state() != guard::State::safe;
  device_.stop();  // first: all else may take its time
  if (latched) layer_.lose_device(fault.what());
  note_down(device_.now(), "fault", {{"text", fault.what()}, {"latched", latched}});
  writing_.wait();
}

}  // namespace windwright::campaign
