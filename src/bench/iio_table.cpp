// SPDX-License-Identifier: Apache-2.0
#include "bench/iio_table.h"

#include "base/errors.h"
#include "base/settings.h"
#include "bench/instrument_tables.h"

#include <fmt/format.h>

#include <cstddef>
#include <set>
#include <string>
#include <vector>

namespace windwright::bench {
namespace {

using base::BadInput;
using base::Settings;

// A name goes into one line of iiod's protocol.
std::string one_word(const Settings& table, const char* key) {
  std::string word = table.text(key);
  const bool bad =
      word.empty() || word.size() > 200 || word.find_first_of(" \t\r\n") != std::string::npos;
  if (bad) {
    throw BadInput(table.place(key), fmt::format("{} '{}' is not one word", key, word),
                   "its name or id as /sys/bus/iio/devices shows it");
  }
  return word;
}

std::string read_uri(const Settings& device) {
  std::string uri = one_word(device, "uri");
  const bool known = uri == "local:" || (uri.starts_with("ip:") && uri.size() > 3);
  if (!known) {
    throw BadInput(device.place("uri"), fmt::format("'{}' is no way to a converter", uri),
                   "\"local:\", or \"ip:HOST\" of the computer where iiod runs");
  }
  return uri;
}

}  // namespace

IioDevice iio_device(const Settings& root, const Settings& device) {
  IioDevice iio{};
  iio.uri = read_uri(device);
  iio.name = one_word(device, "iio_name");
  if (device.has("trigger")) iio.trigger = one_word(device, "trigger");
  iio.gaps_by_time = device.flag_or("gaps_by_time", false);
  std::set<std::string> taken;
  for (const Settings& table : channel_tables(root)) {
    iio.channels.push_back(one_word(table, "channel"));
    if (taken.insert(iio.channels.back()).second) continue;
    throw BadInput(table.place("channel"),
                   fmt::format("channel '{}' is read twice", iio.channels.back()),
                   "a scan channel of its own for every channel of the bench");
  }
  const std::vector<Settings> actuators = root.tables("actuator");
  const auto tables = output_tables(root);
  for (std::size_t i = 0; i < actuators.size(); ++i) {
    IioDevice::Output output;
    if (const auto& table = tables[i]) {
      output = {.device = one_word(*table, "iio_name"),
                .channel = one_word(*table, "channel"),
                .counts = read_output_counts(actuators[i], *table)};
    }
    iio.outputs.push_back(output);
  }
  iio.timeout_s = device.number_or("timeout_s", 2.0, {.at_least = 0.01, .at_most = 60.0});
  // iiod gives up after half of it, and every reading must hold a sample.
  const double shortest_s = 4.0 / root.table("bench").number("sample_rate_hz");
  if (iio.timeout_s < shortest_s) {
    throw BadInput(device.place(device.has("timeout_s") ? "timeout_s" : "uri"),
                   fmt::format("timeout_s is {:g}, too short for a sample", iio.timeout_s),
                   fmt::format("at least {:.3g} s, the time of 4 samples", shortest_s));
  }
  iio.longest_outage_s =
      device.number_or("longest_outage_s", 10.0, {.at_least = 1.0, .at_most = 3600.0});
  iio.longest_drift_s =
      device.number_or("longest_drift_s", 0.5, {.at_least = 1e-3, .at_most = 3600.0});
  return iio;
}

}  // namespace windwright::bench
