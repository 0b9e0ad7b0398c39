// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "bench/device.h"
#include "campaign/proof.h"

#include <boost/json/fwd.hpp>

#include <functional>
#include <mutex>
#include <optional>
#include <stop_token>
#include <string>
#include <vector>

namespace windwright::station {

class Station;

/// Why the interlocks do not count as proved by now: they may be proved anew at any time, and
/// certificates change. Empty where they do.
std::string proof_remark_now(const Station& station);

/// The proof of a bench's interlocks (campaign/prover.h), conducted by the server with a person at
/// the bench. A proof that was ended, stopped or refused leaves the one before it in force. Any
/// thread may call.
class Proofs {
 public:
  explicit Proofs(Station& station) : station_(station) {}

  struct Start {
    std::string person;                  // who is at the bench and answers for it
    std::vector<std::string> confirmed;  // ids of `to_confirm`, all of them
    bool moved_bounds = false;           // campaign::ProveOptions
  };
  /// @param finished  called on the device's thread at the end, with what went wrong or nothing
  /// @throws Refusal  409: busy, tripped, no device, a certificate is missing; 422: not confirmed
  void begin(const Start& start, std::function<void(const std::string& problem)> finished);
  /// @throws Refusal  409: none is under way
  void end();
  /// docs/openapi.json, Proof.
  boost::json::object document() const;

 private:
  enum class State { none, proving, ended, refused, done };
  class Watched;
  void run(bench::Device& device, const std::stop_token& stop, bool moved_bounds);
  std::string keep(const campaign::Proof& proof) const;
  void finish(State state, const std::string& cause);

  Station& station_;
  mutable std::mutex mutex_;
  State state_ = State::none;
  std::string person_;
  std::string interlock_;                          // that is being proved
  std::vector<campaign::ProvedInterlock> proved_;  // of this proof, so far
  std::string cause_;
};

}  // namespace windwright::station
