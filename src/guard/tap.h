// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "bench/device.h"
#include "guard/stop_logic.h"

#include <chrono>
#include <cstddef>
#include <cstdint>
#include <memory>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

namespace windwright::guard {

/// CLOCK_MONOTONIC: the same in all processes of a computer; setting the computer's clock does not
/// move it.
using Instant = std::chrono::steady_clock::time_point;

enum class Side : std::uint8_t { acquisition, guard };
constexpr Side other(Side side) {
  return side == Side::guard ? Side::acquisition : Side::guard;
}

/// What a process says about itself.
enum class Activity : std::uint8_t {
  standing,  // drives nothing; a person may be at the bench, and no heartbeat is due
  running,   // a heartbeat is due
  ended,     // in order: nothing is driven any more
};

/// What a layer says of itself with each heartbeat.
struct Words {
  Activity activity;
  State state = State::safe;  // of its stop logic
  bool driven = false;     // acquisition: the fan is commanded on, or was and its stop is not over
  bool holds_off = false;  // it has removed power, or wants it removed

  bool content() const { return !is_latched(state); }
};

/// A heartbeat.
struct Pulse {
  std::uint64_t number;  // counts up, over all processes there ever were on this side
  Instant time;
  Words words;
};

/// What acquisition and guard know of each other: POSIX shared memory, written by each side without
/// locks and, once it is open, without allocation. The acquisition puts every block there; the
/// guard reads it at its leisure, and what it was too slow for it is told. Each side is one process
/// at most: it holds a lock that the kernel takes back when the process ends, however it ends, so
/// that nothing stale is taken for alive. A side may be in one process twice in tests only.
///
/// What is read may be torn by a process that died while it wrote; that is found out and counts as
/// not there. Memory survives the processes and holds 16 blocks.
class Tap {
 public:
  /// The largest block: what a bench description says.
  struct Shape {
    std::size_t channels;
    std::size_t samples;
    /// The channels that the guard judges, ascending: only these are there, the others of a block
    /// that is read are 0. Empty: all.
    std::vector<std::size_t> judged = {};
    std::size_t kept() const { return judged.empty() ? channels : judged.size(); }
    std::size_t channel(std::size_t place) const { return judged.empty() ? place : judged[place]; }
  };
  /// @param name           `/` and a file name: tap_name of guard/configuration.h
  /// @param configuration  64 hexadecimal digits of what this side works by
  /// @return  nothing where another process has this side
  /// @throws DiskFault  no shared memory
  static std::optional<Tap> open(const std::string& name, const Shape& shape, Side side,
                                 std::string_view configuration);
  /// Forgets what is there. For tests: processes that use it do not notice.
  static void remove(const std::string& name);

  Tap(Tap&& other) noexcept;
  Tap& operator=(Tap&& other) noexcept;
  ~Tap();

  /// Whether a process has this side, be it frozen.
  static bool lives(const std::string& name, Side side);
  bool other_lives() const;
  /// The last heartbeat of the last process on the other side, whether it lives or not; nothing
  /// where it has not given one.
  std::optional<Pulse> other_pulse() const;
  /// Which process on the other side is or was the last: they are counted from 1; 0: nobody yet.
  /// Asked after other_pulse it is not older than that.
  std::uint64_t other_life() const;
  /// The last of them that has had a successor and, having said anything, did not say that it had
  /// ended, be it killed in the middle of a heartbeat; 0: none.
  std::uint64_t last_died() const;
  /// The same process's configuration.
  std::string other_configuration() const;
  /// Its last words: why it is not content.
  std::string other_cause() const;

  void beat(Instant now, const Words& words);
  /// Before the heartbeat that is not content. Cut off after 240 bytes.
  void set_cause(std::string_view cause);

  /// Acquisition: puts a block there and wakes the guard. A block beyond the shape is left out.
  void write(const bench::SampleBlock& block);
  /// Guard: the next block, oldest first. What the other side wrote before this side was opened is
  /// left out. False where there is none.
  bool read(bench::SampleBlock& block);
  /// Which acquisition, as other_life counts them, has written the block that was read last.
  std::uint64_t block_life() const;
  /// Blocks that were overwritten before they were read, since the last call.
  std::uint64_t missed();
  /// Guard: returns when the acquisition has written or beaten, or the time is over.
  void wait(std::chrono::nanoseconds longest) const;

  /// A person's wish to reset, and what the guard answers.
  /// @return  the wish's number
  static std::optional<std::uint64_t> ask_reset(const std::string& name, std::string_view reason);
  static std::optional<std::string> answer_to_reset(const std::string& name, std::uint64_t number);
  /// Guard: a wish that is not answered yet. @return its reason
  std::optional<std::string> reset_asked() const;
  void answer_reset(std::string_view answer);

 private:
  struct Open;
  explicit Tap(std::unique_ptr<Open> open);
  std::unique_ptr<Open> open_;
};

}  // namespace windwright::guard
