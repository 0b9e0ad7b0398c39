// SPDX-License-Identifier: Apache-2.0
#include "server/live_hub.h"

#include "base/json.h"
#include "server/exchange.h"

#include <boost/json.hpp>
#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <chrono>
#include <memory>
#include <optional>
#include <string>
#include <string_view>
#include <utility>

namespace windwright::server {

namespace json = boost::json;

namespace {

constexpr std::chrono::milliseconds shortest_pause{45};  // 20 a second, blocks may come unevenly
constexpr std::chrono::seconds state_every{1};
constexpr std::size_t most_texts = 256;
constexpr std::size_t most_cached = 8;  // of one stream: viewers that were late by different bins

std::shared_ptr<const std::string> shared(const json::value& message) {
  return std::make_shared<const std::string>(base::json_line(message));
}

}  // namespace

LiveViewer::LiveViewer(LiveHub& hub, Session session, guard::Place place,
                       std::function<void()> wake)
    : hub_(hub), session_(std::move(session)), place_(place), wake_(std::move(wake)) {
  hub_.viewers_.insert(this);
}

LiveViewer::~LiveViewer() {
  hub_.viewers_.erase(this);
}

void LiveViewer::queue(std::shared_ptr<const std::string> text) {
  if (texts_.size() >= most_texts) {
    lost_ = true;
  } else {
    texts_.push_back(std::move(text));
  }
  wake_();
}

void LiveViewer::take(std::string_view text) {
  try {
    const ViewerMessage message = viewer_message(text);
    if (message.subscribes) {
      hub_.subscribe(*this, message.subscription);
      return;
    }
    std::erase_if(wanted_, [&](const auto& entry) {
      return entry.second.subscription.bench == message.subscription.bench;
    });
  } catch (const station::Refusal& refusal) {
    queue(shared(
        json::object{{"type", "refused"}, {"what", refusal.what()}, {"right", refusal.right()}}));
  }
}

std::optional<LiveMessage> LiveViewer::next() {
  if (!texts_.empty()) {
    LiveMessage message{.binary = false, .bytes = std::move(texts_.front())};
    texts_.pop_front();
    return message;
  }
  for (auto* newest : {&state_, &chain_, &readings_}) {
    if (newest->empty()) continue;
    LiveMessage message{.binary = false, .bytes = std::move(newest->begin()->second)};
    newest->erase(newest->begin());
    return message;
  }
  for (auto& [bench, wanted] : wanted_) {
    if (!wanted.due) continue;
    wanted.due = false;
    return LiveMessage{.binary = true, .bytes = hub_.envelope_for(bench, wanted)};
  }
  return std::nullopt;
}

void LiveHub::subscribe(LiveViewer& viewer, const Subscription& subscription) {
  BenchDesk* desk = serving_.find(subscription.bench);
  if (desk == nullptr) {
    throw station::Refusal(422,
                           fmt::format("there is no bench '{}'", subscription.bench.substr(0, 80)),
                           "GET /api/v1/benches");
  }
  LiveViewer::Wanted wanted{.subscription = subscription, .channels = {}};
  see_layout(desk->index);
  resolve(desk->index, viewer, wanted);
  viewer.wanted_[desk->index] = std::move(wanted);
  benches_[desk->index].changed = true;
}

// What the names of a subscription are now, and the stream that shows them.
void LiveHub::resolve(std::size_t bench, LiveViewer& viewer, LiveViewer::Wanted& wanted) {
  BenchDesk& desk = *serving_.benches()[bench];
  const auto known = desk.station.channels();
  wanted.channels.clear();
  json::array names;
  json::array units;
  const auto add = [&](std::size_t index) {
    wanted.channels.push_back(index);
    names.emplace_back(known[index].name);
    units.emplace_back(known[index].unit);
  };
  for (std::size_t i = 0; i < known.size() && wanted.subscription.channels.empty(); ++i)
    add(i);
  for (const std::string& name : wanted.subscription.channels) {
    const auto found = std::find_if(known.begin(), known.end(),
                                    [&](const auto& each) { return each.name == name; });
    if (found == known.end()) {
      throw station::Refusal(422, fmt::format("the bench has no channel '{}'", name.substr(0, 80)),
                             "its channels and powers");
    }
    add(static_cast<std::size_t>(found - known.begin()));
  }
  json::object message{{"type", "subscribed"}, {"bench", desk.id}};
  desk.station.look([&](const station::Station::Seen& seen) {
    wanted.level = seen.bins.level_for(wanted.subscription.window_s / wanted.subscription.bins);
    const double bin_s = seen.bins.bin_s(wanted.level);
    const auto bins = static_cast<std::int64_t>(wanted.subscription.window_s / bin_s) + 1;
    wanted.next_bin =
        std::max(seen.bins.oldest_bin(wanted.level),
                 seen.bins.newest_bin(wanted.level) - std::min(bins, station::LiveBins::kept) + 1);
    message["bin_s"] = bin_s;
    message["bins"] = bins;
    message["origin_s"] =
        std::chrono::duration<double>(seen.bins.origin().time_since_epoch()).count();
  });
  Bench& here = benches_[bench];
  const auto number = static_cast<std::uint16_t>(here.streams.size() + 1 + 256 * bench);
  wanted.stream =
      here.streams.try_emplace(Key{wanted.level, wanted.channels}, number).first->second;
  wanted.fresh = true;
  wanted.due = true;
  message["stream"] = wanted.stream;
  message["channels"] = std::move(names);
  message["units"] = std::move(units);
  viewer.queue(shared(message));
}

// Channels that have changed, and a device that counts anew, begin everything anew.
void LiveHub::see_layout(std::size_t bench) {
  Bench& here = benches_[bench];
  bool anew = false;
  serving_.benches()[bench]->station.look([&](const station::Station::Seen& seen) {
    anew = here.layout >= 0 && (seen.layout != here.layout || seen.bins.epoch() != here.epoch);
    here.layout = seen.layout;
    here.epoch = seen.bins.epoch();
    here.gap = seen.gaps != here.gaps;
    here.gaps = seen.gaps;
  });
  if (!anew) return;
  here.cached.clear();
  here.streams.clear();
  for (LiveViewer* viewer : viewers_) {
    const auto found = viewer->wanted_.find(bench);
    if (found == viewer->wanted_.end()) continue;
    try {
      resolve(bench, *viewer, found->second);
    } catch (const station::Refusal& refusal) {  // a channel that is no longer there
      viewer->wanted_.erase(found);
      viewer->queue(shared(
          json::object{{"type", "refused"}, {"what", refusal.what()}, {"right", refusal.right()}}));
    }
  }
}

void LiveHub::block_came(std::size_t bench, Instant now) {
  Bench& here = benches_[bench];
  if (now - here.last < shortest_pause || !is_watched(bench)) return;
  here.last = now;
  ++here.number;
  see_layout(bench);
  for (LiveViewer* viewer : viewers_) {
    const auto found = viewer->wanted_.find(bench);
    if (found == viewer->wanted_.end()) continue;
    found->second.due = true;
    viewer->wake_();
  }
}

std::shared_ptr<const std::string> LiveHub::envelope_for(std::size_t bench,
                                                         LiveViewer::Wanted& wanted) {
  Bench& here = benches_[bench];
  Cached& cached = here.cached[Key{wanted.level, wanted.channels}];
  if (cached.number != here.number) {
    cached.number = here.number;
    cached.by_first.clear();
  }
  std::shared_ptr<const std::string> made;
  const auto found = cached.by_first.find(wanted.next_bin);
  const bool shares = !wanted.fresh && found != cached.by_first.end();
  serving_.benches()[bench]->station.look([&](const station::Station::Seen& seen) {
    const std::int64_t newest = std::max<std::int64_t>(0, seen.bins.newest_bin(wanted.level));
    if (shares) {
      made = found->second;
    } else {
      const std::int64_t first = std::max(wanted.next_bin, seen.bins.oldest_bin(wanted.level));
      const EnvelopeHead head{.fresh = wanted.fresh,
                              .gap = here.gap,
                              .stream = wanted.stream,
                              .number = here.number,
                              .level = wanted.level,
                              .first_bin = first,
                              .bins = std::max<std::int64_t>(0, newest - first + 1),
                              .device_time = seen.device_time,
                              .host_time = seen.host_time};
      made = std::make_shared<const std::string>(
          envelope(seen.bins, head, wanted.channels, seen.newest));
      if (!wanted.fresh && cached.by_first.size() < most_cached)
        cached.by_first[wanted.next_bin] = made;
    }
  });
  // What a shared one holds follows from its own head: bins may have come since it was made.
  std::int64_t first = 0;
  std::uint32_t bins = 0;
  std::copy_n(made->data() + 16, sizeof first, reinterpret_cast<char*>(&first));
  std::copy_n(made->data() + 8, sizeof bins, reinterpret_cast<char*>(&bins));
  wanted.next_bin = bins > 0 ? first + bins - 1 : first;  // the newest bin is still growing
  wanted.fresh = false;
  return made;
}

void LiveHub::message(std::size_t bench, std::string text) {
  const auto bytes = std::make_shared<const std::string>(std::move(text));
  benches_[bench].changed = true;
  for (LiveViewer* viewer : viewers_) {
    if (viewer->wanted_.contains(bench)) viewer->queue(bytes);
  }
}

void LiveHub::chain(std::size_t bench, std::string text) {
  const auto bytes = std::make_shared<const std::string>(std::move(text));
  for (LiveViewer* viewer : viewers_) {
    if (!viewer->wanted_.contains(bench)) continue;
    viewer->chain_[bench] = bytes;
    viewer->wake_();
  }
}

void LiveHub::readings(std::size_t bench, std::string text) {
  const auto bytes = std::make_shared<const std::string>(std::move(text));
  for (LiveViewer* viewer : viewers_) {
    if (!viewer->wanted_.contains(bench)) continue;
    viewer->readings_[bench] = bytes;
    viewer->wake_();
  }
}

bool LiveHub::is_watched(std::size_t bench) const {
  return std::any_of(viewers_.begin(), viewers_.end(),
                     [&](const LiveViewer* viewer) { return viewer->wanted_.contains(bench); });
}

void LiveHub::look(Instant now) {
  for (std::size_t bench = 0; bench < benches_.size(); ++bench) {
    Bench& here = benches_[bench];
    if (!here.changed && now - here.told < state_every) continue;
    here.changed = false;
    here.told = now;
    if (is_watched(bench)) tell_state(bench);
  }
}

void LiveHub::tell_state(std::size_t bench) {
  BenchDesk& desk = *serving_.benches()[bench];
  json::object message{{"type", "state"}, {"bench", desk.id}, {"state", desk.state()}};
  json::object& lease = message["state"].as_object()["lease"].as_object();
  // Made once for all who see the same: whoever has the lease, and where they are.
  std::array<std::shared_ptr<const std::string>, 4> made;
  for (LiveViewer* viewer : viewers_) {
    if (!viewer->wanted_.contains(bench)) continue;
    const bool mine = desk.lease.is_holder(viewer->session_.id);
    const bool near = viewer->place_ == guard::Place::at_the_bench;
    auto& text = made[(mine ? 1U : 0U) + (near ? 2U : 0U)];
    if (!text) {
      lease["mine"] = mine;
      lease["place"] = guard::name(viewer->place_);
      text = shared(message);
    }
    viewer->state_[bench] = text;
    viewer->wake_();
  }
}

}  // namespace windwright::server
