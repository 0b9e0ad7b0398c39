// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "bench/bench.h"
#include "bench/device.h"
#include "guard/acquisition_watch.h"
#include "guard/guard_watch.h"
#include "metrology/certificate.h"

#include <filesystem>
#include <optional>
#include <string>
#include <vector>

namespace windwright::cli {

/// Judges by the bench's interlocks.
/// @param folder  whose disk is looked at; may be empty
guard::Judge interlocks_of(const bench::Bench& bench,
                           const std::vector<metrology::Certificate>& certificates,
                           const std::filesystem::path& folder);

/// What record and conduct share of being watched by the guard process. Make it before the device
/// and before what stops the bench at the end, so that it is the last to go.
class Guarded {
 public:
  /// @throws DeviceFault  see guard::AcquisitionWatch
  explicit Guarded(const bench::Bench& bench) : watch_(bench) {}
  /// With interlocks for `look_and_judge`, where every channel has its certificate.
  Guarded(const bench::Bench& bench, const std::filesystem::path& folder);

  /// Call before anything is driven. @throws DeviceFault  see guard::AcquisitionWatch
  void begin();
  /// @param own_cause  of whoever judged the block
  /// @return  why the bench is to be stopped
  std::optional<std::string> look(const bench::SampleBlock& block,
                                  const std::optional<std::string>& own_cause);
  std::optional<std::string> look_and_judge(const bench::SampleBlock& block);
  /// Nothing is driven, and no block comes for a while; or that is over now.
  void stand(bool standing);

 private:
  guard::AcquisitionWatch watch_;
  guard::Judge judge_;
};

}  // namespace windwright::cli
