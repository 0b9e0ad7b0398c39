// SPDX-License-Identifier: Apache-2.0
// Inside the exchange module only.
#pragma once

#include <cstdint>
#include <filesystem>
#include <string_view>

namespace windwright::exchange {

/// Bytes at any place of a new file. Failures are DiskFault, with the system's reason.
class OutputFile {
 public:
  explicit OutputFile(const std::filesystem::path& file);
  OutputFile(const OutputFile&) = delete;
  OutputFile& operator=(const OutputFile&) = delete;
  ~OutputFile();
  void write_at(std::int64_t place, std::string_view bytes);
  /// After this they survive a cut of the power.
  void finish();

 private:
  [[noreturn]] void fail() const;

  std::filesystem::path path_;
  int handle_;
};

}  // namespace windwright::exchange
