// SPDX-License-Identifier: Apache-2.0
#include "devices/travel_limit.h"

#include "base/errors.h"
#include "base/json.h"
#include "bench/bench.h"
#include "bench/device.h"
#include "bench/forwarding_device.h"

#include <boost/json.hpp>
#include <fmt/format.h>

#include <algorithm>
#include <cstddef>
#include <memory>
#include <optional>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

namespace windwright::devices {
namespace {

namespace json = boost::json;

class TravelLimited final : public bench::ForwardingDevice {
 public:
  TravelLimited(const bench::Bench& bench, std::unique_ptr<bench::Device> device)
      : ForwardingDevice(*device),
        bench_(bench),
        owned_(std::move(device)),
        travels_(bench.actuators.size()) {}

  void set(std::string_view actuator, double value) override {
    const bench::Actuator& described = bench_.actuator(actuator);
    if (!(value >= described.lowest && value <= described.highest)) {
      throw base::DeviceFault(device_.name(),
                              fmt::format("was told to set {} to {}", actuator, value),
                              fmt::format("{} to {}", described.lowest, described.highest));
    }
    if (described.full_travel_s == 0.0) return device_.set(actuator, value);
    Travel& travel = travels_[static_cast<std::size_t>(&described - bench_.actuators.data())];
    travel.wanted = value;
    if (travel.at == value) device_.set(actuator, value);  // said again
  }

  void read(bench::SampleBlock& block) override {
    const double block_s = bench_.block_s;
    for (std::size_t i = 0; i < travels_.size(); ++i) {
      Travel& travel = travels_[i];
      if (!travel.wanted || travel.at == travel.wanted) continue;
      const bench::Actuator& actuator = bench_.actuators[i];
      const double step = (actuator.highest - actuator.lowest) * block_s / actuator.full_travel_s;
      const double from = travel.at.value_or(actuator.lowest);
      const double to = std::clamp(*travel.wanted, from - step, from + step);
      device_.set(actuator.name, to);
      travel.at = to;
    }
    device_.read(block);
  }

  void stop() noexcept override {
    device_.stop();
    for (std::size_t i = 0; i < travels_.size(); ++i) {
      if (bench_.actuators[i].full_travel_s > 0.0) travels_[i] = {};
    }
  }

  std::string bookmark() const override {
    const std::string inner = device_.bookmark();
    if (inner.empty()) return {};
    json::array travels;
    for (const Travel& travel : travels_) {
      travels.push_back(
          {{"at", travel.at ? json::value(*travel.at) : json::value(nullptr)},
           {"wanted", travel.wanted ? json::value(*travel.wanted) : json::value(nullptr)}});
    }
    return json::serialize(json::object{{"travels", travels}, {"device", inner}});
  }

  void return_to(std::string_view bookmark) override {
    const std::string place = device_.name() + ": bookmark";
    const json::value source = base::json_from_text(std::string(bookmark), place);
    const json::value* travels =
        source.is_object() ? source.as_object().if_contains("travels") : nullptr;
    if (travels == nullptr || !travels->is_array() ||
        travels->as_array().size() != travels_.size()) {
      throw base::BadInput(place, "is of another bench", "the bookmark as it was left");
    }
    const auto number = [](const json::value& each, const char* key) -> std::optional<double> {
      const json::value* found = each.is_object() ? each.as_object().if_contains(key) : nullptr;
      if (found == nullptr || !found->is_number()) return std::nullopt;
      return found->to_number<double>();
    };
    for (std::size_t i = 0; i < travels_.size(); ++i) {
      const json::value& each = travels->as_array()[i];
      travels_[i] = {.at = number(each, "at"), .wanted = number(each, "wanted")};
    }
    device_.return_to(base::json_string(source, "device", place));
  }

 private:
  struct Travel {
    std::optional<double> at = {};  // nothing: at its lowest, where the safe state leaves it
    std::optional<double> wanted = {};
  };

  const bench::Bench& bench_;
  std::unique_ptr<bench::Device> owned_;
  std::vector<Travel> travels_;  // (actuators)
};

}  // namespace

std::unique_ptr<bench::Device> with_travel_limits(const bench::Bench& bench,
                                                  std::unique_ptr<bench::Device> device) {
  const bool limited =
      std::any_of(bench.actuators.begin(), bench.actuators.end(),
                  [](const bench::Actuator& actuator) { return actuator.full_travel_s > 0.0; });
  if (!limited) return device;
  return std::make_unique<TravelLimited>(bench, std::move(device));
}

}  // namespace windwright::devices
