// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <sys/types.h>

#include <cstdio>
#include <string>
#include <vector>

namespace windwright::benchmarks {

/// A Python script of this folder as a process on one thread, spoken to by lines: what a benchmark
/// is compared with in the same run.
class PeerProcess {
 public:
  /// @param script     name in benchmarks/
  /// @param arguments  of the script
  PeerProcess(const std::string& script, const std::vector<std::string>& arguments);
  ~PeerProcess();
  PeerProcess(const PeerProcess&) = delete;
  PeerProcess& operator=(const PeerProcess&) = delete;

  /// A line that it does not answer.
  void tell(const std::string& line);
  /// What it answers to a line; empty where it is not there (python3-numpy is missing).
  std::string answer(const std::string& line);
  /// The same as numbers.
  std::vector<double> ask(const std::string& line);

 private:
  pid_t child_ = 0;
  std::FILE* write_ = nullptr;
  std::FILE* read_ = nullptr;
};

/// Whether a peer was asked that was not there: then nothing was compared, and nothing is held.
bool peer_missing();

double median(std::vector<double> values);

}  // namespace windwright::benchmarks
