// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "devices/connection.h"

#include <atomic>
#include <chrono>
#include <cstdint>
#include <functional>
#include <map>
#include <mutex>
#include <random>
#include <string>
#include <string_view>
#include <thread>
#include <vector>

namespace windwright::devices {

/// A computer with one converter behind the text protocol of iiod, as libiio 0.24 speaks it: a line
/// for each command (PRINT, TIMEOUT, OPEN, READBUF, CLOSE, READ, WRITE, GETTRIG, SETTRIG, SET,
/// EXIT), answered with a number that is a length, 0, or an error code below 0. Time stands but for
/// the samples that are read, so that every test sees the same.
class IioServer {
 public:
  enum class Misdeed {
    close,
    close_within,
    garbage,
    silence,
    half,
    drip,
    error,
    refuse_next,
    count
  };

  IioServer();
  ~IioServer();
  IioServer(const IioServer&) = delete;
  IioServer& operator=(const IioServer&) = delete;

  std::string uri() const;
  SteadyClock clock();
  int misdeeds() const { return misdeeds_; }
  int connections() const { return connections_; }
  std::string written(const std::string& attribute);
  std::string command(std::string_view beginning);  // the last that begins so

  // Set before anything connects.
  std::string xml;
  std::map<std::string, std::string> attributes;  // "device [direction channel] name" to its text
  bool drips = false;                             // describes itself a byte at a time
  bool fixed = false;                             // refuses whatever is written
  unsigned misdeed_one_in = 0;                    // readings; 0: never
  std::vector<Misdeed> kinds;
  /// One sample in the memory layout that the scan channels state.
  std::function<std::string(std::int64_t)> sample;
  std::size_t sample_bytes = 0;
  double sample_rate_hz = 100.0;

 private:
  void run(const std::stop_token& over);
  /// False: this client is done with.
  bool answer(int client, const std::string& line, std::string& received);
  bool read_buffer(int client, std::size_t wanted);
  bool misbehave(int client, std::size_t wanted);
  std::string samples(std::size_t bytes);
  void pass(std::chrono::nanoseconds time) { time_ns_ += time.count(); }

  int listener_ = -1;
  int port_ = 0;
  std::atomic<std::int64_t> time_ns_{3600'000'000'000};
  std::atomic<int> misdeeds_ = 0;
  std::atomic<int> connections_ = 0;
  int refusals_ = 0;
  std::string mask_;
  std::mt19937 random_{11};
  std::mutex mutex_;  // the test looks on
  std::map<std::string, std::string> written_;
  std::vector<std::string> commands_;
  std::map<int, std::string> clients_;  // and what they have sent of a line
  std::vector<int> silent_;             // kept open, never answered
  std::jthread thread_;
};

}  // namespace windwright::devices
