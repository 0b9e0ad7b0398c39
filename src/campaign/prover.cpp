// SPDX-License-Identifier: Apache-2.0
#include "campaign/prover.h"

#include "base/errors.h"
#include "base/text.h"
#include "bench/interlock.h"
#include "bench/protection_table.h"
#include "bench/safe_state.h"
#include "campaign/known_input.h"
#include "campaign/run_folder.h"
#include "guard/acquisition_layer.h"
#include "guard/interlocks.h"
#include "guard/standstill.h"
#include "metrology/certificate.h"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <chrono>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <filesystem>
#include <functional>
#include <limits>
#include <memory>
#include <optional>
#include <string>
#include <utility>
#include <vector>

namespace windwright::campaign {
namespace {

using bench::Interlock;
using Kind = Interlock::Kind;

constexpr double longest_coasting_s = 120.0;
constexpr double rest_s = 0.3;       // for a sensor, after an input was laid on or taken off
constexpr double patience_s = 3.0;   // beyond the hold time, for a trip, or for a cause to go
constexpr double stays_off_s = 1.0;  // without a reset, then nothing has come on again
constexpr double margin_part = 0.02;
constexpr double past_the_end = 0.05;  // of a converter's range
constexpr double end_part = 1e-3;      // of its range: no value there is sure

class Prover {
 public:
  Prover(const bench::Bench& bench, bench::Device& device, const ProveOptions& options)
      : bench_(bench), device_(device), options_(options), certificates_(certificates_of(bench)) {}

  Proof prove();

 private:
  /// What makes an interlock trip, and takes that back.
  struct Stimulus {
    std::function<void()> begin = [] {};
    std::function<void()> end = [] {};
    /// Of every block, in front of the judge.
    std::function<void(bench::SampleBlock& block)> change = [](bench::SampleBlock&) {};
    /// In place of the interlock as it is, until the end.
    std::optional<Interlock> moved = {};
  };
  /// One interlock alone, and all of the bench beside it.
  struct Judges {
    Judges(const Prover& prover, const Interlock& interlock);
    std::optional<guard::Trip> judge(const bench::SampleBlock& block);
    bench::Bench bench;
    guard::Interlocks alone;
    guard::Interlocks all;
  };

  double read(const Stimulus& stimulus);
  void rest(const Stimulus& stimulus);
  void come_to_rest();
  void disconnect_load(guard::AcquisitionLayer& layer) const;
  double mean_value(const std::string& channel) const;
  double judged_value(const Interlock& interlock) const;
  double expanded_at(const std::string& channel, double value) const;
  bool is_measurable(const std::string& channel, double value) const;
  bool shows(const Interlock& interlock) const;
  Stimulus laid_on(const std::string& channel, double value);

  bool stays_quiet(const Interlock& interlock, const Stimulus& stimulus, ProvedInterlock& proved);
  void trip(const Interlock& interlock, const Stimulus& stimulus, ProvedBound bound,
            ProvedInterlock& proved);
  void come_down(guard::AcquisitionLayer& layer, Judges& judges);
  void read_back(const std::string& when, ProvedInterlock& proved);
  void let_go(guard::AcquisitionLayer& layer, Judges& judges, ProvedInterlock& proved);

  ProvedInterlock prove(const Interlock& interlock);
  void prove_by_hand(const Interlock& interlock, ProvedInterlock& proved);
  void prove_bound(const Interlock& interlock, bool upper, ProvedInterlock& proved);
  void prove_moved(const Interlock& interlock, bool upper, double margin, ProvedInterlock& proved);
  void prove_lost(const Interlock& interlock, ProvedInterlock& proved);
  void prove_stuck(const Interlock& interlock, ProvedInterlock& proved);
  void prove_clock(const Interlock& interlock, ProvedInterlock& proved);
  void prove_disk(const Interlock& interlock, ProvedInterlock& proved);

  const bench::Bench& bench_;
  bench::Device& device_;
  const ProveOptions& options_;
  std::vector<metrology::Certificate> certificates_;
  bench::SampleBlock block_;
};

// What was found first is told: the rest may follow from it.
void note(ProvedInterlock& proved, std::string remark) {
  if (proved.remark.empty()) proved.remark = std::move(remark);
}

bench::Bench with_alone(bench::Bench bench, const Interlock& interlock) {
  bench.interlocks = {interlock};
  return bench;
}

guard::Interlocks::Options options_of(const bench::Bench& bench) {
  return {.also = {"rotor_speed_rad_s"}, .folder = bench.file.parent_path()};
}

Prover::Judges::Judges(const Prover& prover, const Interlock& interlock)
    : bench(with_alone(prover.bench_, interlock)),
      alone(bench, prover.certificates_, options_of(bench)),
      all(prover.bench_, prover.certificates_, options_of(prover.bench_)) {}

std::optional<guard::Trip> Prover::Judges::judge(const bench::SampleBlock& block) {
  all.judge(block);
  return alone.judge(block);
}

double Prover::read(const Stimulus& stimulus) {
  device_.read(block_);
  if (block_.samples == 0 || block_.channels != bench_.channels.size()) {
    throw base::DeviceFault(device_.name(), "sent a block without samples of all channels",
                            "connection and channel list of the device");
  }
  stimulus.change(block_);
  return static_cast<double>(block_.samples) / bench_.sample_rate_hz;
}

void Prover::rest(const Stimulus& stimulus) {
  for (double gone_s = 0.0; gone_s < rest_s;)
    gone_s += read(stimulus);
}

double Prover::mean_value(const std::string& channel) const {
  const std::size_t index = bench_.channel_index(channel);
  double sum = 0.0;
  for (const std::int32_t count : block_.channel(index))
    sum += bench::volts(bench_.channels[index].converter, count);
  return metrology::value_of(certificates_[index], sum / static_cast<double>(block_.samples));
}

// The judge has its own way to it, sample by sample; this one is for the proof alone.
double Prover::judged_value(const Interlock& interlock) const {
  const double value = mean_value(interlock.channel);
  return interlock.with.empty() ? value : value - interlock.factor * mean_value(interlock.with);
}

double Prover::expanded_at(const std::string& channel, double value) const {
  const metrology::Certificate& certificate = certificates_[bench_.channel_index(channel)];
  return metrology::estimate_of(certificate, metrology::reading_of(certificate, value)).expanded();
}

bool Prover::is_measurable(const std::string& channel, double value) const {
  const std::size_t index = bench_.channel_index(channel);
  const bench::Converter& converter = bench_.channels[index].converter;
  const double reading_V = metrology::reading_of(certificates_[index], value);
  const double edge_V = end_part * (converter.upper_V - converter.lower_V);
  return reading_V > converter.lower_V + edge_V && reading_V < converter.upper_V - edge_V;
}

// Whether the block is one that the interlock ought to see.
bool Prover::shows(const Interlock& interlock) const {
  if (interlock.kind != Kind::bound) return true;
  const double value = judged_value(interlock);
  return !(value >= interlock.lowest && value <= interlock.highest);
}

Prover::Stimulus Prover::laid_on(const std::string& channel, double value) {
  // shared: a stimulus is copied about as functions
  auto input = std::make_shared<std::unique_ptr<KnownInput>>();
  return {.begin = [this, input, channel,
                    value] { *input = std::make_unique<KnownInput>(device_, channel, value); },
          .end =
              [input] {
                (*input)->remove();
                input->reset();
              }};
}

void Prover::come_to_rest() {
  device_.stop();
  const bench::Channel& voltage = bench_.channels[bench_.channel_index("dc_voltage_V")];
  const auto& certificate = certificates_[bench_.channel_index("dc_voltage_V")];
  const double span_V = std::abs(metrology::value_of(certificate, voltage.converter.upper_V) -
                                 metrology::value_of(certificate, voltage.converter.lower_V));
  double waited_s = 0.0;
  for (double quiet_s = 0.0; quiet_s < guard::shortest_rest_s;) {
    const double block_s = read({});
    const bool still = guard::is_seen_to_stand(mean_value("rotor_speed_rad_s"),
                                               mean_value("dc_voltage_V"), span_V);
    quiet_s = still ? quiet_s + block_s : 0.0;
    waited_s += block_s;
    if (still || waited_s < longest_coasting_s) continue;
    throw base::DeviceFault(
        device_.name(),
        fmt::format("the rotor does not stand still {:.0f} s after the fan was stopped: {:.1f} "
                    "rad/s, {:.2f} V",
                    longest_coasting_s, mean_value("rotor_speed_rad_s"),
                    mean_value("dc_voltage_V")),
        "fan, speed sensor and voltage sensor: interlocks are proved with the rotor at rest");
  }
}

// So that the safe state has something to do; the rotor stands.
void Prover::disconnect_load(guard::AcquisitionLayer& layer) const {
  for (const bench::Actuator& actuator : bench_.actuators) {
    if (actuator.name != bench::load_selector) continue;
    if (const auto none = actuator.position("none")) layer.set(actuator.name, *none);
  }
}

bool Prover::stays_quiet(const Interlock& interlock, const Stimulus& stimulus,
                         ProvedInterlock& proved) {
  Judges judges(*this, interlock);
  const double long_enough_s = interlock.hold_s + 2.0 * bench_.block_s;
  for (double gone_s = 0.0; gone_s <= long_enough_s;) {
    gone_s += read(stimulus);
    if (const auto tripped = judges.judge(block_)) {
      proved.remark = fmt::format("it trips where it should not: {}", tripped->cause);
      return false;
    }
  }
  return true;
}

// A controlled stop, as in a run; a known input is off by now, so the speed is the rotor's.
void Prover::come_down(guard::AcquisitionLayer& layer, Judges& judges) {
  while (layer.is_stopping()) {
    read({});
    judges.judge(block_);
    layer.look(block_, std::nullopt, mean_value("rotor_speed_rad_s"));
  }
}

void Prover::read_back(const std::string& when, ProvedInterlock& proved) {
  proved.read_back.clear();
  for (const bench::Actuator& actuator : bench_.actuators) {
    const bool off = bench::is_switched_off(actuator.name);
    if (!off && actuator.name != bench::load_selector) continue;
    const std::optional<double> setting = device_.setting(actuator.name);
    const bool safe = !setting || (off ? *setting == 0.0 : setting != actuator.position("none"));
    proved.read_back.push_back({.actuator = actuator.name, .setting = setting, .safe = safe});
    if (!safe) {
      note(proved,
           fmt::format("{} {} is at {:g}: look at the actuator", when, actuator.name, *setting));
    }
  }
}

// Its cause is taken away, and nobody has reset it: nothing comes on by itself.
void Prover::let_go(guard::AcquisitionLayer& layer, Judges& judges, ProvedInterlock& proved) {
  double gone_for_s = 0.0;
  for (double waited_s = 0.0; gone_for_s < stays_off_s && waited_s < patience_s + stays_off_s;) {
    const double block_s = read({});
    waited_s += block_s;
    judges.judge(block_);
    const bool gone = judges.alone.standing().empty();
    gone_for_s = gone ? gone_for_s + block_s : 0.0;
    if (gone) read_back("when its cause has gone, before the reset,", proved);
  }
  if (layer.reset(judges.alone.standing(), true))
    note(proved, "it cannot be reset when its cause is gone: look at hysteresis and sensor");
}

// From the first block that shows it to the trip, by the stop logic of a run, but that the fan,
// which might be commanded, is not.
void Prover::trip(const Interlock& interlock, const Stimulus& stimulus, ProvedBound bound,
                  ProvedInterlock& proved) {
  Judges judges(*this, interlock);
  guard::AcquisitionLayer layer(bench_, device_, {});
  disconnect_load(layer);
  layer.start({});
  read({});
  judges.judge(block_);
  const Interlock& judged = stimulus.moved ? *stimulus.moved : interlock;
  judges.bench.interlocks.front() = judged;
  stimulus.begin();
  if (interlock.kind == Kind::bound || interlock.kind == Kind::lost) rest(stimulus);
  std::optional<guard::Trip> tripped;
  bound.held_s = 0.0;
  for (double gone_s = 0.0; !tripped && gone_s <= interlock.hold_s + patience_s;) {
    const double block_s = read(stimulus);
    gone_s += block_s;
    tripped = judges.judge(block_);
    layer.look(block_, tripped, mean_value("rotor_speed_rad_s"));
    bound.held_s = shows(judged) ? bound.held_s + block_s : 0.0;
  }
  if (interlock.kind == Kind::bound) bound.seen = judged_value(judged);
  const std::vector<std::string> standing = judges.alone.standing();
  stimulus.end();
  judges.bench.interlocks.front() = interlock;
  proved.bounds.push_back(bound);
  if (!tripped) {
    device_.stop();
    note(proved, fmt::format("it does not trip within {:g} s: look at the sensor, the bound "
                             "and the hold time",
                             interlock.hold_s + patience_s));
    read_back("after a stop without a trip", proved);
    return;
  }
  come_down(layer, judges);
  // Behind the stop: while that is under way no reset is taken, whatever stands.
  const bool latches = layer.reset(standing, true).has_value();
  proved.cause = tripped->cause;
  const auto& first = judges.all.first_out();
  proved.first_out = first ? first->interlock : "";
  if (!latches) note(proved, "it lets itself be reset while its cause stands");
  if (bound.held_s <= interlock.hold_s - 1e-9 ||
      bound.held_s > interlock.hold_s + 1.5 * bench_.block_s) {
    note(proved, fmt::format("it trips after {:.3g} s, set are {:g} and up to a block more",
                             bound.held_s, interlock.hold_s));
  }
  read_back("after the trip", proved);
  let_go(layer, judges, proved);
}

void Prover::prove_by_hand(const Interlock& interlock, ProvedInterlock& proved) {
  using enum bench::HandAction;
  constexpr std::array<std::pair<bench::HandAction, bench::HandAction>, 3> actions{
      {{press_emergency_stop, release_emergency_stop},
       {open_cover, close_cover},
       {open_fuse, close_fuse}}};
  const auto tap =
      std::find(bench::loop_channels.begin(), bench::loop_channels.end(), interlock.channel);
  const auto [open, close] =
      actions.at(static_cast<std::size_t>(tap - bench::loop_channels.begin()));
  proved.method = ProofMethod::by_hand;
  if (!stays_quiet(interlock, {}, proved)) return;
  trip(interlock,
       {.begin = [this, action = open] { device_.ask_for(action); },
        .end = [this, action = close] { device_.ask_for(action); }},
       {.bound = interlock.lowest}, proved);
  if (proved.remark.empty() && proved.first_out != interlock.name) {
    proved.remark = fmt::format(
        "with all interlocks '{}' is told as the first cause: put them in the chain's order",
        proved.first_out);
  }
}

void Prover::prove_bound(const Interlock& interlock, bool upper, ProvedInterlock& proved) {
  const double bound = upper ? interlock.highest : interlock.lowest;
  const double side = upper ? 1.0 : -1.0;
  read({});
  const double offset =
      interlock.with.empty() ? 0.0 : interlock.factor * mean_value(interlock.with);
  const double margin = std::max({margin_part * std::abs(bound), interlock.hysteresis * 0.1,
                                  2.0 * expanded_at(interlock.channel, bound + offset)});
  const double inside = bound + offset - side * margin;
  const double beyond = bound + offset + side * margin;
  if (options_.moved_bounds || !is_measurable(interlock.channel, inside) ||
      !is_measurable(interlock.channel, beyond))
    return prove_moved(interlock, upper, margin, proved);
  const Stimulus quiet = laid_on(interlock.channel, inside);
  quiet.begin();
  rest(quiet);
  const bool passed = stays_quiet(interlock, quiet, proved);
  quiet.end();
  rest({});
  if (!passed) return;
  trip(interlock, laid_on(interlock.channel, beyond),
       {.bound = bound, .inside = inside, .beyond = beyond}, proved);
}

void Prover::prove_moved(const Interlock& interlock, bool upper, double margin,
                         ProvedInterlock& proved) {
  proved.method = ProofMethod::moved_bound;
  if (!stays_quiet(interlock, {}, proved)) return;
  const double value = judged_value(interlock);
  Interlock moved = interlock;
  (upper ? moved.highest : moved.lowest) = upper ? value - margin : value + margin;
  (upper ? moved.lowest : moved.highest) =
      (upper ? -1.0 : 1.0) * std::numeric_limits<double>::infinity();
  trip(interlock, {.moved = moved}, {.bound = upper ? moved.highest : moved.lowest}, proved);
}

void Prover::prove_lost(const Interlock& interlock, ProvedInterlock& proved) {
  const std::size_t index = bench_.channel_index(interlock.channel);
  const bench::Converter& converter = bench_.channels[index].converter;
  const double past_V = converter.upper_V + past_the_end * (converter.upper_V - converter.lower_V);
  const double beyond = metrology::value_of(certificates_[index], past_V);
  if (!stays_quiet(interlock, {}, proved)) return;
  trip(interlock, laid_on(interlock.channel, beyond), {.beyond = beyond}, proved);
}

void Prover::prove_stuck(const Interlock& interlock, ProvedInterlock& proved) {
  proved.method = ProofMethod::changed_data;
  if (!stays_quiet(interlock, {}, proved)) return;
  const std::size_t index = bench_.channel_index(interlock.channel);
  const auto hold = [index, count = block_.channel(index).back()](bench::SampleBlock& block) {
    const auto first = block.counts.begin() + static_cast<std::ptrdiff_t>(index * block.samples);
    std::fill_n(first, block.samples, count);
  };
  trip(interlock, {.change = hold}, {}, proved);
}

void Prover::prove_clock(const Interlock& interlock, ProvedInterlock& proved) {
  proved.method = ProofMethod::changed_data;
  if (!stays_quiet(interlock, {}, proved)) return;
  const double step_s = 2.0 * interlock.highest;
  const auto step =
      std::chrono::duration_cast<std::chrono::nanoseconds>(std::chrono::duration<double>(step_s));
  trip(interlock, {.change = [step](bench::SampleBlock& block) { block.start += step; }},
       {.bound = interlock.highest, .beyond = step_s}, proved);
}

void Prover::prove_disk(const Interlock& interlock, ProvedInterlock& proved) {
  constexpr double bytes_per_MB = 1e6;
  proved.method = ProofMethod::moved_bound;
  if (!stays_quiet(interlock, {}, proved)) return;
  const auto space = std::filesystem::space(bench_.file.parent_path());
  Interlock moved = interlock;
  moved.lowest = 2.0 * static_cast<double>(space.available) / bytes_per_MB;
  trip(interlock, {.moved = moved}, {.bound = moved.lowest}, proved);
}

std::string unit_of(const bench::Bench& bench, const Interlock& interlock) {
  if (interlock.kind == Kind::clock) return "s";
  if (interlock.kind == Kind::disk) return "MB";
  return bench.channels[bench.channel_index(interlock.channel)].unit;
}

ProvedInterlock Prover::prove(const Interlock& interlock) {
  if (options_.progress) options_.progress(interlock.name);
  ProvedInterlock proved{.name = interlock.name,
                         .unit = unit_of(bench_, interlock),
                         .configuration = configuration_digest(bench_, interlock),
                         .calibration = calibration_digest(bench_, interlock),
                         .stop_category = interlock.stop_category,
                         .hold_s = interlock.hold_s};
  const auto& taps = bench::loop_channels;
  switch (interlock.kind) {
    case Kind::bound:
      if (std::find(taps.begin(), taps.end(), interlock.channel) != taps.end()) {
        prove_by_hand(interlock, proved);
        break;
      }
      if (std::isfinite(interlock.highest)) prove_bound(interlock, true, proved);
      if (std::isfinite(interlock.lowest) && proved.passed()) prove_bound(interlock, false, proved);
      break;
    case Kind::lost:
      prove_lost(interlock, proved);
      break;
    case Kind::stuck:
      prove_stuck(interlock, proved);
      break;
    case Kind::clock:
      prove_clock(interlock, proved);
      break;
    case Kind::disk:
      prove_disk(interlock, proved);
      break;
  }
  return proved;
}

Proof Prover::prove() {
  const bench::SafeAtTheEnd safe(device_);
  come_to_rest();
  Proof proof{.bench = bench_.name,
              .device = device_.name(),
              .person = options_.person,
              .date = device_.now(),
              .valid_until = device_.now() + std::chrono::days(bench_.proof_valid_days),
              .interlocks = {},
              .not_proved = {}};
  for (const Interlock& interlock : bench_.interlocks) {
    proof.interlocks.push_back(prove(interlock));
    if (options_.proved) options_.proved(proof.interlocks.back());
  }
  proof.not_proved = not_proved_by(proof, bench_);
  return proof;
}

}  // namespace

Proof prove_interlocks(const bench::Bench& bench, bench::Device& device,
                       const ProveOptions& options) {
  return Prover(bench, device, options).prove();
}

}  // namespace windwright::campaign
