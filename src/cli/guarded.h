// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "bench/bench.h"
#include "bench/device.h"
#include "guard/acquisition_layer.h"
#include "guard/acquisition_watch.h"
#include "guard/bench_lease.h"
#include "guard/guard_watch.h"
#include "guard/interlocks.h"
#include "metrology/certificate.h"

#include <filesystem>
#include <memory>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

namespace windwright::cli {

/// Judges by the bench's interlocks.
guard::Judge interlocks_of(const bench::Bench& bench,
                           const std::vector<metrology::Certificate>& certificates);

/// The name of whoever has started this program, for logbooks.
std::string user_name();

/// The lease of a bench for a program that drives it. Nothing for one that is simulated, or played
/// again, as fast as this program can: that bench is in this program only.
/// @throws DeviceFault  see guard::BenchLease
std::unique_ptr<guard::BenchLease> lease_of(const bench::Bench& bench, bool real_time,
                                            const std::string& person, std::string_view verb);

/// The guard process, as record and conduct see it. Make it before the device and before what stops
/// the bench at the end, so that it is the last to go.
class Guarded {
 public:
  /// @throws DeviceFault  see guard::AcquisitionWatch
  explicit Guarded(const bench::Bench& bench) : bench_(bench), watch_(bench) {}

  /// Call before anything is driven.
  /// @param drives  whether this program will drive
  /// @throws DeviceFault  see guard::AcquisitionWatch; or it drives, and a trip that the guard's
  ///                      logbook keeps was not reset
  void begin(bool drives);
  guard::OtherLayer process() { return guard_process(watch_); }
  /// A trip outlives this program: notes it in the guard's logbook, where no guard process does so
  /// and the bench outlives the program too.
  void keep(const std::string& trip) const;

 private:
  const bench::Bench& bench_;
  guard::AcquisitionWatch watch_;
};

/// A device that is recorded, driven through the acquisition's layer of the guard. Judges by the
/// interlocks where every channel has its certificate, else by the guard process's word alone.
class GuardedDevice {
 public:
  /// @param commands  what is told the device goes through this
  /// @param reads     and what is read without being recorded comes from this: nobody publishes it
  /// @param folder    whose disk is looked at
  GuardedDevice(const bench::Bench& bench, bench::Device& commands, bench::Device& reads,
                const std::filesystem::path& folder, guard::OtherLayer process);

  /// Reads a block, which is not recorded, and asks for a start. False where that block has
  /// tripped: the next `look` says so.
  /// @throws DeviceFault  why the bench may not be driven
  bool start();
  void set(const std::string& actuator, double value) { layer_.set(actuator, value); }
  /// Every block that is recorded. @return  why the recording ends: a trip, once its stop is over
  std::optional<std::string> look(const bench::SampleBlock& block);
  /// The recording has ended or is to end.
  void ask_end() { layer_.ask_end(); }
  /// Reads and judges, recording nothing, until no stop is under way.
  void come_down();
  /// The device does not answer any more: where it was driven, power is removed as far as that is
  /// possible, and the guard process is told.
  void lose_device(const std::string& what);

  /// Empty: nothing has tripped.
  const std::string& tripped() const { return layer_.cause(); }
  bool power_stays_on() const { return layer_.power_stays_on(); }

 private:
  const bench::Bench& bench_;
  bench::Device& reads_;
  std::unique_ptr<guard::Interlocks> interlocks_;  // none where a certificate is missing
  guard::AcquisitionLayer layer_;
  bench::SampleBlock block_;
};

}  // namespace windwright::cli
