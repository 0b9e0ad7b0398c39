// SPDX-License-Identifier: Apache-2.0
// Inside the recording module only.
#pragma once

#include "recording/layout.h"

#include <hdf5.h>

#include <cstdint>
#include <filesystem>
#include <span>
#include <string>

namespace windwright::recording {

/// A small dataset of whole numbers that gets a row now and then: gaps, times.
class NumberRows {
 public:
  /// @param columns    numbers in a row
  /// @param long_name  what they are
  NumberRows(hid_t group, const std::string& name, hsize_t columns, const std::string& long_name,
             const std::filesystem::path& path);
  /// @param row  (columns)
  void append(std::span<const std::int64_t> row);

 private:
  Handle data_;
  hsize_t columns_;
  hsize_t rows_ = 0;
  std::filesystem::path path_;
};

}  // namespace windwright::recording
