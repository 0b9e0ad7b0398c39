// SPDX-License-Identifier: Apache-2.0
// The fault campaign's parts: what can go wrong with the protection, what the bench has to be saved
// from, what of it no layer can cover, and the page that tells what came of it.
#pragma once

#include "end_to_end/fault_world.h"

#include <cstddef>
#include <cstdint>
#include <functional>
#include <optional>
#include <random>
#include <string>
#include <vector>

namespace windwright::end_to_end {

/// Uniform from 0 to 1; the same everywhere.
class Draws {
 public:
  explicit Draws(std::uint64_t seed) : engine_(seed) {}
  double uniform() { return static_cast<double>(engine_() >> 11) * 0x1p-53; }
  double between(double lowest, double highest) { return lowest + (highest - lowest) * uniform(); }

 private:
  std::mt19937_64 engine_;
};

/// What a fault takes away from the protection.
struct Loss {
  bool blinds_acquisition = false;  // its interlocks
  bool stops_acquisition = false;   // the process or its link
  bool blinds_guard = false;
  bool stops_guard = false;
  bool kills_watchdog = false;
  bool holds_fan = false;
  bool holds_contactor = false;
  bool hides_chain = false;
  bool holds_load = false;
  bool fills_disk = false;
};
Loss operator|(const Loss& a, const Loss& b);

struct Mishap {
  std::string name;
  std::function<void(FaultWorld&)> begin;
  Loss loss = {};
  /// Words of the first causes that fit it; empty: nobody notices it by itself...
  std::vector<std::string> causes = {};
  std::string unnoticed = {};  // ...and why
  std::string sensor = {};     // has one fault at a time
};
std::vector<Mishap> all_mishaps();

/// What the bench has to be saved from.
struct Danger {
  std::string name;
  /// Whether there is one then. The draws are of the case's seed.
  std::function<bool(FaultWorld&, Draws&)> begin;
  std::vector<std::string> causes = {};
  bool opens_chain = false;    // the hard-wired chain sees it by itself
  bool cuts_load = false;      // by the load selector
  bool opens_circuit = false;  // no load of the bench is left
  bool is_hidden = false;      // shows in the hard-wired chain only
  bool runs_away = false;      // the rotor, if nobody stops it
  double lasts_s = 0.0;
};
std::vector<Danger> all_dangers();

struct Campaign {
  std::vector<Mishap> mishaps = all_mishaps();
  std::vector<Danger> dangers = all_dangers();
};

struct Case {
  std::vector<std::size_t> mishaps;  // one or two
  std::size_t danger;
  std::uint64_t seed;
};
std::vector<Case> all_cases(const Campaign& campaign);
std::string words_of(const Campaign& campaign, const Case& one);

/// How a history ended.
struct Ending {
  double highest_of_limit = 0.0;  // speed of the rotor
  bool in_danger = false;         // the danger was there
  bool violated = false;          // a bound of an interlock, in truth
  bool fan_power = true;          // at the end, as the next two
  bool loaded = false;
  bool stands = false;
  std::string cause = {};  // the first, with the layer that told it

  /// The safe state, in time.
  bool is_safe() const;
  /// Nothing that hurts has come about, and no layer has seen any reason to do something.
  bool is_quiet() const { return in_danger && !violated && cause.empty(); }
};

enum class Kind {
  nothing_to_notice,  // no danger, and no fault that shows by itself
  uncovered,          // by what is left of the layers
  held_anyway,        // by the hard-wired chain alone, or as nothing that hurts came about
  counted,            // lost without the layers
};

struct Result {
  Ending ending;
  Ending control;  // the same with all software dead from the start
  Kind kind;
  std::string why;  // nothing to notice, or uncovered
  bool cause_fits;

  /// What has to be so: the safe state and a first cause that fits. Where nothing hurt, or nothing
  /// was to be noticed, a bench that nobody has stopped will do.
  bool held() const;
};
Result result_of(const Campaign& campaign, const Case& one, FaultBench& bench);

std::string page(const Campaign& campaign, const std::vector<Case>& cases,
                 const std::vector<Result>& results);

inline constexpr double most_of_limit = 1.10;
/// The overspeed interlock of the campaign's bench.
inline constexpr double overspeed_of_limit = 0.92;

}  // namespace windwright::end_to_end
