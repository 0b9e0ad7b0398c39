// SPDX-License-Identifier: Apache-2.0
#include "station/proofs.h"

#include "base/errors.h"
#include "base/files.h"
#include "bench/forwarding_device.h"
#include "campaign/prover.h"
#include "station/refusal.h"
#include "station/station.h"

#include <boost/json.hpp>
#include <fmt/format.h>

#include <algorithm>
#include <array>
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

namespace {

// Ends a proof between two blocks.
struct Ended {};

// What whoever is at the bench says before anything is made to trip.
constexpr std::array<std::pair<std::string_view, std::string_view>, 3> to_confirm{
    {{"at_rest", "The fan is off and the rotor stands still."},
     {"nobody_near", "Nobody reaches in, and everybody around knows that the bench will trip."},
     {"stop_in_reach", "The hard-wired emergency stop has been tried and is in reach."}}};

}  // namespace

// The device while its interlocks are proved: lets somebody end it, between two blocks.
class Proofs::Watched final : public bench::ForwardingDevice {
 public:
  Watched(bench::Device& device, const std::stop_token& stop)
      : ForwardingDevice(device), stop_(stop) {}

  void read(bench::SampleBlock& block) override {
    if (stop_.stop_requested()) throw Ended{};
    device_.read(block);
  }

 private:
  const std::stop_token& stop_;
};

std::string proof_remark_now(const Station& station) {
  const Snapshot now = station.snapshot();
  try {
    return campaign::proof_remark(station.bench(), now.device,
                                  now.device_time.value_or(base::host_now()));
  } catch (const base::BadInput& broken) {
    return broken.what();
  }
}

// Beside the bench, as `windwright ready --prove-interlocks` keeps it. @return  why it could not
std::string Proofs::keep(const campaign::Proof& proof) const {
  try {
    campaign::keep_proof(station_.bench(), proof);
    return {};
  } catch (const std::exception& error) {  // a full disk: it is not proved, and the bench goes on
    return error.what();
  }
}

void Proofs::finish(State state, const std::string& cause) {
  const std::scoped_lock lock(mutex_);
  state_ = state;
  interlock_.clear();
  cause_ = cause;
}

void Proofs::run(bench::Device& device, const std::stop_token& stop, bool moved_bounds) {
  Watched watched(device, stop);
  const campaign::ProveOptions options{.person = person_,
                                       .moved_bounds = moved_bounds,
                                       .progress =
                                           [this](const std::string& interlock) {
                                             const std::scoped_lock lock(mutex_);
                                             interlock_ = interlock;
                                           },
                                       .proved =
                                           [this](const campaign::ProvedInterlock& proved) {
                                             const std::scoped_lock lock(mutex_);
                                             proved_.push_back(proved);
                                           }};
  try {
    const campaign::Proof proof = campaign::prove_interlocks(station_.bench(), watched, options);
    const std::string problem = keep(proof);
    finish(problem.empty() ? State::done : State::refused, problem);
  } catch (const Ended&) {
    finish(State::ended, "ended before the last interlock: the proof before it stands");
  } catch (const base::BadInput& refused) {
    finish(State::refused, refused.what());
  } catch (const base::DeviceFault& fault) {
    finish(State::refused, fault.what());
    throw;
  }
}

void Proofs::begin(const Start& start, std::function<void(const std::string&)> finished) {
  for (const auto& [id, what] : to_confirm) {
    if (std::find(start.confirmed.begin(), start.confirmed.end(), id) != start.confirmed.end())
      continue;
    Refusal refusal(422, fmt::format("'{}' is not confirmed", id),
                    fmt::format("by whoever is at the bench: {}", what));
    refusal.where = "confirmed";
    throw refusal;
  }
  for (const bench::Channel& channel : station_.bench().channels) {
    if (std::filesystem::exists(channel.certificate)) continue;
    throw Refusal(409, fmt::format("'{}' has no certificate", channel.name),
                  "calibrate every channel first")
        .as("uncalibrated");
  }
  if (station_.snapshot().tripped)
    throw Refusal(409, "the bench has tripped", "reset it first").as("tripped");
  // A known input on a sensor is not to be judged, and a contact that is opened is meant to be: by
  // the proof alone.
  station_.begin({.activity = "proving",
                  .drives = false,
                  // Nothing turns, but contacts are opened and laid inputs believed.
                  .attended = true,
                  .refused = finished,
                  .run = [this, start, finished = std::move(finished)](
                             bench::Device& device, const std::stop_token& stop) {
                    {
                      const std::scoped_lock lock(mutex_);
                      state_ = State::proving;
                      person_ = start.person;
                      proved_.clear();
                      cause_.clear();
                    }
                    run(device, stop, start.moved_bounds);
                    finished(cause_);
                  }});
}

void Proofs::end() {
  {
    const std::scoped_lock lock(mutex_);
    if (state_ != State::proving) throw Refusal(409, "no proof is under way", "begin one");
  }
  station_.end_task();
}

json::object Proofs::document() const {
  constexpr std::array names{"none", "proving", "ended", "refused", "done"};
  const bench::Bench& bench = station_.bench();
  const Snapshot now = station_.snapshot();
  json::array confirm;
  for (const auto& [id, what] : to_confirm)
    confirm.push_back(json::object{{"id", id}, {"what", what}});
  json::object document{{"to_confirm", std::move(confirm)},
                        {"all", bench.interlocks.size()},
                        {"proof", nullptr},
                        {"remark", ""}};
  try {
    document["remark"] = proof_remark_now(station_);
    const std::filesystem::path file = campaign::proof_file(bench);
    if (std::filesystem::exists(file)) {
      document["proof"] =
          campaign::to_json(campaign::proof_from_text(base::text_of_file(file), file.string()));
    }
  } catch (const base::BadInput& broken) {
    document["remark"] = broken.what();
  }
  const std::scoped_lock lock(mutex_);
  document["state"] = names[static_cast<std::size_t>(state_)];
  document["person"] = person_;
  document["interlock"] = interlock_;
  document["cause"] = cause_;
  const json::value so_far = campaign::to_json(campaign::Proof{.bench = bench.name,
                                                               .device = now.device,
                                                               .person = person_,
                                                               .date = {},
                                                               .valid_until = {},
                                                               .interlocks = proved_,
                                                               .not_proved = {}});
  document["proved"] = so_far.at("interlocks");
  return document;
}

}  // namespace windwright::station
