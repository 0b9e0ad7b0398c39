// SPDX-License-Identifier: Apache-2.0
#include "cli/guarded.h"

#include "base/errors.h"
#include "bench/certificates.h"
#include "campaign/guard_logbook.h"
#include "guard/configuration.h"
#include "guard/interlocks.h"
#include "signal/statistics.h"

#include <fmt/format.h>
#include <pwd.h>
#include <unistd.h>

#include <chrono>
#include <filesystem>
#include <limits>
#include <memory>
#include <optional>
#include <string>
#include <string_view>
#include <utility>
#include <variant>
#include <vector>

namespace windwright::cli {
namespace {

constexpr const char* rotor_speed = "rotor_speed_rad_s";

bool ends_with_this_program(const bench::Bench& bench) {
  return std::holds_alternative<bench::SimulatedDevice>(bench.device) ||
         std::holds_alternative<bench::ReplayDevice>(bench.device);
}

}  // namespace

guard::Judge interlocks_of(const bench::Bench& bench,
                           const std::vector<metrology::Certificate>& certificates) {
  // shared: a judge is copied about as functions, the interlocks have a memory
  auto interlocks = std::make_shared<guard::Interlocks>(
      bench, certificates, guard::Interlocks::Options{.also = {rotor_speed}});
  return {
      .judge = [interlocks](const bench::SampleBlock& block) { return interlocks->judge(block); },
      .standing = [interlocks] { return interlocks->standing(); },
      .followers = [interlocks] { return in_words(interlocks->followers()); },
      .rotor_speed_rad_s = [interlocks] { return signal::mean(interlocks->values(rotor_speed)); }};
}

std::string user_name() {
  const passwd* entry = getpwuid(geteuid());
  return entry != nullptr ? entry->pw_name : fmt::format("user {}", geteuid());
}

std::unique_ptr<guard::BenchLease> lease_of(const bench::Bench& bench, bool real_time,
                                            const std::string& person, std::string_view verb) {
  if (ends_with_this_program(bench) && !real_time) return nullptr;
  return std::make_unique<guard::BenchLease>(bench,
                                             fmt::format("{} (windwright {})", person, verb));
}

void Guarded::begin(bool drives) {
  watch_.begin(std::chrono::steady_clock::now());
  if (!drives) return;
  const std::string tripped = campaign::unreset_trip(bench_);
  if (tripped.empty()) return;
  throw base::DeviceFault(
      "the guard", fmt::format("has tripped, and nobody has reset it ({})", tripped),
      fmt::format("the bench; then reset it there: windwright guard {} --reset REASON",
                  bench_.file.string()));
}

void Guarded::keep(const std::string& trip) const {
  campaign::keep_trip(bench_, trip);
}

GuardedDevice::GuardedDevice(const bench::Bench& bench, bench::Device& commands,
                             bench::Device& reads, const std::filesystem::path& folder,
                             guard::OtherLayer process)
    : bench_(bench), reads_(reads), layer_(bench, commands, {.other = std::move(process)}) {
  std::vector<metrology::Certificate> certificates;
  for (const auto& found : bench::certificates_there_are(bench)) {
    if (!found) return;
    certificates.push_back(*found);
  }
  interlocks_ = std::make_unique<guard::Interlocks>(
      bench, certificates, guard::Interlocks::Options{.also = {rotor_speed}, .folder = folder});
}

bool GuardedDevice::start() {
  reads_.read(block_);
  if (look(block_)) return false;
  const std::vector<std::string> standing =
      interlocks_ ? interlocks_->standing() : std::vector<std::string>();
  if (const std::optional<std::string> why = layer_.start(standing)) {
    throw base::DeviceFault("the guard", *why, "the bench, and the guard process");
  }
  return true;
}

std::optional<std::string> GuardedDevice::look(const bench::SampleBlock& block) {
  // Without interlocks nobody here knows whether the rotor stands.
  double rotor_speed_rad_s = std::numeric_limits<double>::infinity();
  std::optional<guard::Trip> trip;
  if (interlocks_) {
    trip = interlocks_->judge(block);
    rotor_speed_rad_s = signal::mean(interlocks_->values(rotor_speed));
  }
  layer_.look(block, trip, rotor_speed_rad_s);
  if (!layer_.is_tripped() || layer_.is_stopping()) return std::nullopt;
  const std::string followers = interlocks_ ? in_words(interlocks_->followers()) : std::string();
  return layer_.cause() + (followers.empty() ? "" : "\n" + followers);
}

void GuardedDevice::come_down() {
  layer_.ask_end();
  while (layer_.is_stopping()) {
    reads_.read(block_);
    look(block_);
  }
}

void GuardedDevice::lose_device(const std::string& what) {
  if (layer_.state() != guard::State::safe) layer_.lose_device(what);
}

}  // namespace windwright::cli
