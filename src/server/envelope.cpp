// SPDX-License-Identifier: Apache-2.0
#include "server/envelope.h"

#include "server/body.h"
#include "server/exchange.h"

#include <boost/json.hpp>
#include <fmt/format.h>

#include <bit>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <cstring>
#include <span>
#include <string>
#include <string_view>

namespace windwright::server {

namespace json = boost::json;

namespace {

// The layout is the machine's own: every computer this runs on is little-endian.
static_assert(std::endian::native == std::endian::little);

template <typename Value>
void put(std::string& to, Value value) {
  char bytes[sizeof value];
  std::memcpy(bytes, &value, sizeof value);
  to.append(bytes, sizeof value);
}

constexpr std::size_t most_channels = 64;

}  // namespace

ViewerMessage viewer_message(std::string_view text) {
  const json::object body = body_object(text);
  const std::string type = text_member(body, "type");
  if (type != "subscribe" && type != "unsubscribe") {
    throw station::Refusal(422, fmt::format("type is '{}'", type), "subscribe or unsubscribe");
  }
  ViewerMessage message{
      .subscribes = type == "subscribe",
      .subscription = {
          .bench = text_member(body, "bench"), .channels = {}, .window_s = 60.0, .bins = 600}};
  if (!message.subscribes) return message;
  Subscription& wanted = message.subscription;
  wanted.channels = texts_member(body, "channels");
  wanted.window_s = number_member(body, "window_s");
  const double bins = number_member(body, "bins");
  if (wanted.channels.size() > most_channels) {
    throw station::Refusal(422, "channels are more than 64", "fewer, or none for all");
  }
  if (!(wanted.window_s >= 0.5 && wanted.window_s <= 86'400.0)) {
    throw station::Refusal(422, fmt::format("window_s is {}", wanted.window_s), "0.5 to 86400");
  }
  if (!(bins >= 10.0 && bins <= 2000.0) || bins != std::floor(bins)) {
    throw station::Refusal(422, fmt::format("bins is {}", bins), "a whole number from 10 to 2000");
  }
  wanted.bins = static_cast<int>(bins);
  return message;
}

std::string envelope(const station::LiveBins& bins, const EnvelopeHead& head,
                     std::span<const std::size_t> channels, std::span<const float> newest) {
  std::string bytes;
  const auto count = static_cast<std::size_t>(head.bins);
  bytes.reserve(40 + 4 * channels.size() * (1 + 3 * count));
  put(bytes, std::uint8_t{1});
  put(bytes, static_cast<std::uint8_t>((head.fresh ? 1U : 0U) | (head.gap ? 2U : 0U)));
  put(bytes, head.stream);
  put(bytes, static_cast<std::uint32_t>(channels.size()));
  put(bytes, static_cast<std::uint32_t>(count));
  put(bytes, head.number);
  put(bytes, head.first_bin);
  put(bytes, static_cast<std::int64_t>(head.device_time.time_since_epoch().count()));
  put(bytes, static_cast<std::int64_t>(head.host_time.time_since_epoch().count()));
  for (const std::size_t channel : channels)
    put(bytes, newest[channel]);
  std::vector<float> rows(3 * count);
  for (const std::size_t channel : channels) {
    bins.read(head.level, channel, head.first_bin, rows);
    bytes.append(reinterpret_cast<const char*>(rows.data()), rows.size() * sizeof(float));
  }
  return bytes;
}

}  // namespace windwright::server
