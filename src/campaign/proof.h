// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "base/clock.h"
#include "bench/bench.h"

#include <boost/json/fwd.hpp>

#include <filesystem>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

namespace windwright::campaign {

/// How an interlock was made to trip, from what proves most to what proves least.
enum class ProofMethod {
  by_hand,      // a person opened the contact itself
  known_input,  // inside its bound, then beyond it, laid on the sensor or its converter
  moved_bound,  // the bound was moved to where the bench stands: all but the sensor's way there
  changed_data  // the block was changed in front of the judge: judge, hold time and stop alone
};
std::string_view name_of(ProofMethod method);

/// One bound of an interlock, or what stands for it.
struct ProvedBound {
  std::optional<double> bound = {};   // that judged: the bench's own, or where it was moved to
  std::optional<double> inside = {};  // known input that did not trip
  std::optional<double> beyond = {};  // known input that did
  std::optional<double> seen = {};    // judged value when it tripped
  double held_s = 0.0;                // from the first block beyond, to the trip
};

/// An actuator after the trip, as the device says.
struct ReadBack {
  std::string actuator;
  std::optional<double> setting;  // nothing: the device cannot be asked
  bool safe;
};

struct ProvedInterlock {
  std::string name;
  ProofMethod method = ProofMethod::known_input;
  std::string unit = {};           // of bound and inputs
  std::string configuration = {};  // digest of what bench.toml says of it and of its converters
  std::string calibration = {};    // digest of the certificates that its values go through
  int stop_category = 0;
  double hold_s = 0.0;                // as set
  std::vector<ProvedBound> bounds{};  // upper first
  std::string cause = {};             // as it was told when it tripped
  std::string first_out = {};         // the interlock that came first with all of them judged
  std::vector<ReadBack> read_back{};
  std::string remark = {};  // what is wrong, and what to look at; empty where it is proved
  bool passed() const { return remark.empty(); }
};

/// The dated certificate of the interlocks: docs/files.md.
struct Proof {
  std::string bench;
  std::string device;
  std::string person;  // who was at the bench
  base::UtcTime date;
  base::UtcTime valid_until;
  std::vector<ProvedInterlock> interlocks;  // in the bench's order
  std::vector<std::string> not_proved;      // what was not tried here, in words
  bool passed() const;
};

boost::json::value to_json(const Proof& proof);
/// @throws BadInput  no proof, with file and line where there is one
Proof proof_from_text(std::string_view text, const std::string& file);

/// What was left out, of the interlocks in the proof and of what protects beside them.
std::vector<std::string> not_proved_by(const Proof& proof, const bench::Bench& bench);

/// Beside the bench's file: proofs made, and what was driven without one, with the reason.
inline constexpr std::string_view proof_logbook = "interlocks.jsonl";

/// Where a bench's proof lies.
std::filesystem::path proof_file(const bench::Bench& bench);
/// Puts it there, and a line into the logbook of proofs.
void keep_proof(const bench::Bench& bench, const Proof& proof);

/// What is driven though the interlocks are not proved.
struct Unproved {
  std::string remark;     // proof_remark
  std::string reason;     // why it is driven all the same
  std::string by;         // whoever answers for it
  std::string into = {};  // a recording, where there is one
};
/// Notes it in the logbook of proofs.
void note_unproved(const bench::Bench& bench, base::UtcTime time, const Unproved& unproved);

/// What the proof of an interlock rests on; 64 hexadecimal digits each.
std::string configuration_digest(const bench::Bench& bench, const bench::Interlock& interlock);
std::string calibration_digest(const bench::Bench& bench, const bench::Interlock& interlock);

/// Why a bench's interlocks do not count as proved, each reason with its interlock; empty where
/// they do, or where it has none.
/// @param device  name of the one that is to be driven
/// @throws BadInput  the file is no proof
std::string proof_remark(const bench::Bench& bench, std::string_view device, base::UtcTime now);

}  // namespace windwright::campaign
