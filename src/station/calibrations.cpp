// SPDX-License-Identifier: Apache-2.0
#include "station/calibrations.h"

#include "base/errors.h"
#include "base/files.h"
#include "base/json.h"
#include "bench/certificates.h"
#include "bench/forwarding_device.h"
#include "metrology/readings.h"
#include "station/refusal.h"
#include "station/station.h"

#include <boost/json.hpp>
#include <fmt/format.h>

#include <array>
#include <cstddef>
#include <cstdint>
#include <filesystem>
#include <functional>
#include <mutex>
#include <optional>
#include <stop_token>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

namespace windwright::station {

namespace json = boost::json;
namespace fs = std::filesystem;

namespace {

// Ends a calibration between two readings.
struct Ended {};

const char* name_of(int state) {
  constexpr std::array names{"none", "reading", "proposed", "signed", "refused", "ended"};
  return names[static_cast<std::size_t>(state)];
}

}  // namespace

// The device while it calibrates: shows what was read so far, and lets somebody end it.
class Calibrations::Watched final : public bench::ForwardingDevice {
 public:
  Watched(Calibrations& owner, std::size_t index, bench::Device& device,
          const std::vector<campaign::Reading>& readings, const std::stop_token& stop)
      : ForwardingDevice(device), owner_(owner), index_(index), readings_(readings), stop_(stop) {}

  void apply_known_input(std::string_view channel, double value) override {
    show(value);
    device_.apply_known_input(channel, value);
  }
  void remove_known_input() override {
    device_.remove_known_input();
    show(std::nullopt);
  }
  void read(bench::SampleBlock& block) override {
    if (stop_.stop_requested()) throw Ended{};
    device_.read(block);
    if (block.samples > 0) show_voltage(block);
  }

 private:
  void show(std::optional<double> known_input) {
    std::optional<metrology::Certificate> so_far;
    try {
      so_far = campaign::certificate_of_readings(owner_.station_.bench(), index_, readings_);
    } catch (const base::BadInput&) {
      so_far.reset();  // too few of them yet
    }
    const std::scoped_lock lock(owner_.mutex_);
    owner_.known_input_ = known_input;
    owner_.readings_ = readings_;
    owner_.so_far_ = std::move(so_far);
  }
  void show_voltage(const bench::SampleBlock& block) {
    const bench::Converter& converter = owner_.station_.bench().channels[index_].converter;
    double sum_V = 0.0;
    for (const std::int32_t count : block.channel(index_))
      sum_V += bench::volts(converter, count);
    const std::scoped_lock lock(owner_.mutex_);
    owner_.voltage_V_ = sum_V / static_cast<double>(block.samples);
  }

  Calibrations& owner_;
  const std::size_t index_;
  const std::vector<campaign::Reading>& readings_;
  const std::stop_token& stop_;
};

void Calibrations::run(bench::Device& device, const std::stop_token& stop, std::size_t index) {
  std::vector<campaign::Reading> readings;
  Watched watched(*this, index, device, readings, stop);
  const auto finish = [&](State state, std::string cause) {
    const std::scoped_lock lock(mutex_);
    readings_ = readings;
    known_input_.reset();
    voltage_V_.reset();
    state_ = state;
    cause_ = std::move(cause);
  };
  try {
    metrology::Certificate certificate =
        campaign::calibrate_channel(station_.bench(), index, watched, readings);
    finish(State::proposed, {});
    const std::scoped_lock lock(mutex_);
    certificate_ = std::move(certificate);
  } catch (const Ended&) {
    finish(State::ended, "ended before the last reading");
  } catch (const base::BadInput& refused) {
    finish(State::refused, refused.what());
  } catch (const base::DeviceFault& fault) {
    finish(State::refused, fault.what());
    throw;
  }
}

void Calibrations::begin(const std::string& channel,
                         std::function<void(const std::string&)> finished) {
  const std::size_t index = station_.bench().channel_index(channel);
  station_.begin({.activity = "calibrating",
                  .drives = false,
                  .refused = finished,
                  .run = [this, index, finished = std::move(finished)](
                             bench::Device& device, const std::stop_token& stop) {
                    {
                      const std::scoped_lock lock(mutex_);
                      channel_ = index;
                      state_ = State::reading;
                      readings_.clear();
                      certificate_.reset();
                      so_far_.reset();
                      in_force_ = bench::certificates_there_are(station_.bench())[index];
                      cause_.clear();
                    }
                    run(device, stop, index);
                    finished(cause_);
                  }});
}

void Calibrations::end() {
  {
    const std::scoped_lock lock(mutex_);
    if (state_ == State::proposed) {
      state_ = State::ended;
      certificate_.reset();
      return;
    }
    if (state_ != State::reading) throw Refusal(409, "no calibration is under way", "begin one");
  }
  station_.end_task();
}

std::string Calibrations::sign(const std::string& signature) {
  metrology::Certificate certificate;
  metrology::ReadingsFile file{};
  {
    const std::scoped_lock lock(mutex_);
    if (state_ != State::proposed || !certificate_) {
      throw Refusal(409, "there is no certificate to sign", "calibrate a channel first");
    }
    certificate = *certificate_;
    for (const campaign::Reading& reading : readings_) {
      file.readings.reference.push_back(reading.reference);
      file.readings.reading.push_back(reading.reading_V);
      file.readings.u_reading.push_back(reading.u_reading_V);
      file.repeat.push_back(reading.repeat);
    }
  }
  const bench::Bench& bench = station_.bench();
  const bench::Channel& channel = bench.channels[*channel_];
  file.reference_unit = channel.unit;
  file.reading_unit = "V";
  const std::string readings = metrology::readings_csv(
      file, {fmt::format("{}, {}", bench.name, channel.long_name),
             fmt::format("{}, reference standard: {}", base::utc_text(certificate.date),
                         certificate.standard.name),
             fmt::format("signed by {}", signature), "odd repeats go up, even ones down"});
  const fs::path readings_file = bench.file.parent_path() / "readings" / (channel.name + ".csv");
  fs::create_directories(readings_file.parent_path());
  fs::create_directories(channel.certificate.parent_path());
  base::write_whole(readings_file, readings);
  base::write_whole(channel.certificate, base::json_text(metrology::to_json(certificate)));
  station_.certificates_changed();
  const std::scoped_lock lock(mutex_);
  state_ = State::signed_;
  return channel.name;
}

json::object Calibrations::document() const {
  const std::scoped_lock lock(mutex_);
  json::object document{{"channel", ""},
                        {"state", name_of(static_cast<int>(state_))},
                        {"unit", ""},
                        {"references", json::array()},
                        {"repeats", 0},
                        {"known_input", nullptr},
                        {"voltage_V", nullptr},
                        {"value", nullptr},
                        {"readings", json::array()},
                        {"certificate", nullptr},
                        {"cause", cause_}};
  if (!channel_) return document;
  const bench::Channel& channel = station_.bench().channels[*channel_];
  document["channel"] = channel.name;
  document["unit"] = channel.unit;
  document["references"] = json::value_from(channel.calibration.references);
  document["repeats"] = channel.calibration.repeats;
  if (known_input_) document["known_input"] = *known_input_;
  if (voltage_V_) document["voltage_V"] = *voltage_V_;
  if (voltage_V_ && in_force_) document["value"] = metrology::value_of(*in_force_, *voltage_V_);
  if (certificate_) document["certificate"] = metrology::to_json(*certificate_);
  const std::optional<metrology::Certificate>& curve = certificate_ ? certificate_ : so_far_;
  json::array& readings = document["readings"].as_array();
  for (const campaign::Reading& reading : readings_) {
    json::object entry{{"reference", reading.reference},
                       {"reading_V", reading.reading_V},
                       {"u_reading_V", reading.u_reading_V},
                       {"repeat", reading.repeat},
                       {"residual_V", nullptr}};
    if (curve) {
      entry["residual_V"] = reading.reading_V - metrology::reading_of(*curve, reading.reference);
    }
    readings.push_back(std::move(entry));
  }
  return document;
}

}  // namespace windwright::station
