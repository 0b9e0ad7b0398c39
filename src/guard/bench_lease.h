// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "bench/bench.h"

#include <string>

namespace windwright::guard {

/// The lease of a bench among the programs of one computer: whoever drives a bench holds it, and
/// nobody else does then. A lock on the file `operator.lock` beside bench.toml, which the kernel
/// takes back when the program ends, however it ends; what stands in the file is who it is. Among
/// people who share one program it is guard/lease.h that counts.
class BenchLease {
 public:
  /// @param who  for those who are refused: a name and a verb
  /// @throws DeviceFault  another program holds it, with who that is; or the file cannot be written
  BenchLease(const bench::Bench& bench, const std::string& who);
  ~BenchLease();
  BenchLease(const BenchLease&) = delete;
  BenchLease& operator=(const BenchLease&) = delete;

 private:
  int handle_;
};

}  // namespace windwright::guard
