// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "guard/lease.h"
#include "server/envelope.h"
#include "server/serving.h"
#include "server/sessions.h"

#include <chrono>
#include <cstddef>
#include <cstdint>
#include <deque>
#include <functional>
#include <map>
#include <memory>
#include <optional>
#include <set>
#include <string>
#include <string_view>
#include <vector>

namespace windwright::server {

/// A message on its way to viewers. Shared: one memory for all who get the same.
struct LiveMessage {
  bool binary;
  std::shared_ptr<const std::string> bytes;
};

class LiveHub;

/// One open page. It is asked for its next message whenever the one before is on its way, so that a
/// slow one costs nothing but itself: what it was too slow for is in its next envelope, and its
/// memory is bounded.
class LiveViewer {
 public:
  /// @param wake  there may be something to send
  LiveViewer(LiveHub& hub, Session session, guard::Place place, std::function<void()> wake);
  ~LiveViewer();
  LiveViewer(const LiveViewer&) = delete;
  LiveViewer& operator=(const LiveViewer&) = delete;

  /// A text message has come. A wrong one is answered in words.
  void take(std::string_view text);
  /// The next message to send; nothing for now.
  std::optional<LiveMessage> next();
  /// So far behind that it had better begin anew.
  bool is_lost() const { return lost_; }
  const Session& session() const { return session_; }

 private:
  friend class LiveHub;
  struct Wanted {
    Subscription subscription;
    std::vector<std::size_t> channels;
    std::uint16_t stream = 0;
    int level = 0;
    std::int64_t next_bin = 0;
    bool fresh = true;
    bool due = false;  // there is something newer than what was sent
  };
  void queue(std::shared_ptr<const std::string> text);

  LiveHub& hub_;
  const Session session_;
  const guard::Place place_;
  const std::function<void()> wake_;
  std::map<std::size_t, Wanted> wanted_;                             // by bench
  std::map<std::size_t, std::shared_ptr<const std::string>> state_;  // newest only
  std::map<std::size_t, std::shared_ptr<const std::string>> chain_;  // newest only
  std::map<std::size_t, std::shared_ptr<const std::string>> readings_;
  std::deque<std::shared_ptr<const std::string>> texts_;  // events, in order
  bool lost_ = false;
};

/// Shares what benches show among all viewers: one envelope for all who see the same bench at the
/// same resolution. One thread, the network's.
class LiveHub {
 public:
  explicit LiveHub(Serving& serving) : serving_(serving), benches_(serving.benches().size()) {}

  using Instant = std::chrono::steady_clock::time_point;
  /// A short block has come to a bench: its viewers are due, 20 times a second at most.
  void block_came(std::size_t bench, Instant now);
  /// An event of a bench.
  void message(std::size_t bench, std::string text);
  /// States that have changed, or are a second old. About ten times a second.
  void look(Instant now);
  /// The chain of a bench, as JSON; worked out elsewhere, it takes milliseconds.
  void chain(std::size_t bench, std::string text);
  /// What its channels say, as JSON.
  void readings(std::size_t bench, std::string text);
  bool is_watched(std::size_t bench) const;
  std::size_t viewers() const { return viewers_.size(); }

 private:
  friend class LiveViewer;
  struct Key {
    int level;
    std::vector<std::size_t> channels;
    auto operator<=>(const Key&) const = default;
  };
  struct Cached {
    std::uint32_t number = 0;  // of the bench's envelopes, when it was made
    std::map<std::int64_t, std::shared_ptr<const std::string>> by_first;
  };
  struct Bench {
    Instant last{};
    std::uint32_t number = 0;  // of envelopes
    int layout = -1;
    int epoch = -1;
    std::int64_t gaps = 0;
    bool gap = false;
    bool changed = false;  // since the last state
    Instant told{};
    std::map<Key, std::uint16_t> streams;
    std::map<Key, Cached> cached;
  };
  void subscribe(LiveViewer& viewer, const Subscription& subscription);
  void resolve(std::size_t bench, LiveViewer& viewer, LiveViewer::Wanted& wanted);
  void see_layout(std::size_t bench);
  std::shared_ptr<const std::string> envelope_for(std::size_t bench, LiveViewer::Wanted& wanted);
  void tell_state(std::size_t bench);

  Serving& serving_;
  std::vector<Bench> benches_;
  std::set<LiveViewer*> viewers_;
};

}  // namespace windwright::server
