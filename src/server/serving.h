// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "base/writing_thread.h"
#include "server/accounts.h"
#include "server/journal.h"
#include "server/rate_limit.h"
#include "server/sessions.h"
#include "station/calibrations.h"
#include "station/campaigns.h"
#include "station/checks.h"
#include "station/lease_desk.h"
#include "station/proofs.h"
#include "station/station.h"

#include <boost/json/fwd.hpp>

#include <cstdint>
#include <filesystem>
#include <functional>
#include <memory>
#include <mutex>
#include <optional>
#include <set>
#include <string>
#include <string_view>
#include <vector>

namespace windwright::server {

struct ServingOptions {
  std::vector<std::filesystem::path> benches;     // descriptions
  std::filesystem::path runs;                     // folder: a folder a bench, catalogue, audit
  std::string catalogue;                          // empty: catalogue.sqlite in `runs`
  std::optional<std::filesystem::path> accounts;  // none: whoever gives a name has a session
  std::set<std::string> hosts;     // names and addresses that this server is called by, with ports
  std::set<std::string> at_bench;  // addresses that stand at the benches
  bool secure = false;             // TLS, here or in a proxy: cookies are for it alone
  twin::Pace pace = twin::Pace::real_time;
};

/// Who hears what happens at the benches.
struct ServingListener {
  std::function<void(std::size_t bench)> on_block;
  /// A text message for viewers, as docs/openapi.json has it.
  std::function<void(std::size_t bench, std::string text)> on_message;
};

class Serving;

/// One bench with all that belongs to it.
struct BenchDesk {
  BenchDesk(Serving& serving, std::size_t index, const station::StationOptions& options);
  ~BenchDesk();

  Serving& serving;
  const std::size_t index;
  const std::string id;
  Journal logbook;
  station::Station station;
  station::Checks checks;
  station::Calibrations calibrations;
  station::Proofs proofs;
  station::Campaigns campaigns;
  station::LeaseDesk lease;
  const std::filesystem::path runs;

  /// Notes an event and passes it on to viewers: later, on the writing thread.
  void record(std::string_view event, boost::json::object members);
  /// Saves a trip's last minute and enters it: later, on the writing thread.
  void keep(std::shared_ptr<const acquisition::Ring> ring);
  /// Adds a note at once. @return  its line
  std::string note(const std::string& person, const std::string& text);
  /// docs/openapi.json, State; `mine` is put in by whoever knows the session.
  boost::json::object state() const;
  boost::json::object values() const;
  /// docs/openapi.json, Chain; null where it is not known.
  boost::json::value chain() const;
  /// docs/openapi.json, Readings.
  boost::json::object readings() const;
  boost::json::object description() const;
};

/// All that a server holds, free of sockets: benches, who is logged in, what is written down. Any
/// thread may call.
class Serving {
 public:
  /// @throws BadInput  a bench, the accounts, a catalogue or a logbook
  Serving(const ServingOptions& options, ServingListener listener);
  ~Serving();

  const ServingOptions& options() const { return options_; }
  const ServingListener& listener() const { return listener_; }
  base::UtcTime started() const { return started_; }
  std::vector<std::unique_ptr<BenchDesk>>& benches() { return benches_; }
  /// Null where there is none of that id.
  BenchDesk* find(std::string_view id);
  Sessions& sessions() { return sessions_; }
  const Accounts* accounts() const { return accounts_ ? &*accounts_ : nullptr; }
  Journal& audit() { return audit_; }
  base::WritingThread& writing() { return writing_; }
  RateLimit& log_ins() { return log_ins_; }
  RateLimit& requests() { return requests_; }
  RateLimit& refusals() { return refusals_; }
  const std::string& catalogue() const { return catalogue_; }
  /// Enters a run, on the writing thread; a catalogue that cannot be used is told in the audit.
  void enter(const std::filesystem::path& run);
  /// Lets leases lapse and sessions end: call it about twice a second.
  void look();

 private:
  const ServingOptions options_;
  const ServingListener listener_;
  const base::UtcTime started_;
  std::string catalogue_;
  std::optional<Accounts> accounts_;
  Sessions sessions_;
  RateLimit log_ins_{8, 6.0};       // of one address: then one in six seconds
  RateLimit requests_{600, 0.005};  // of one address: 200 a second in the long run
  RateLimit refusals_{200, 1.0};    // that are written down
  Journal audit_;
  base::WritingThread writing_;
  std::vector<std::unique_ptr<BenchDesk>> benches_;
};

/// The id of a bench: its folder's name in lower case, letters, digits and hyphens.
std::string bench_id(const std::filesystem::path& bench_file);

}  // namespace windwright::server
