// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <cstdint>
#include <filesystem>
#include <memory>
#include <span>
#include <string>
#include <utility>
#include <variant>
#include <vector>

namespace windwright::recording {

/// Name and text or number.
using Attribute = std::pair<std::string, std::variant<std::string, double>>;

/// A new netCDF-4 file of variables in double precision over one dimension each, written through
/// HDF5 in netCDF-4's layout: one dimension scale a dimension, which holds its coordinate values;
/// compressed without loss, with checksums.
/// Source: NetCDF User's Guide, file format specifications, netCDF-4/HDF5; opened with the netCDF
/// library in tests/peers/exports.py.
class NetcdfFile {
 public:
  /// @param attributes  of the whole file
  NetcdfFile(const std::filesystem::path& file, const std::vector<Attribute>& attributes);
  NetcdfFile(NetcdfFile&& other) noexcept;
  ~NetcdfFile();

  /// The coordinate variable of a new dimension, and with it the dimension.
  /// @param length  1 or more
  void add_dimension(const std::string& name, std::int64_t length,
                     const std::vector<Attribute>& attributes);
  /// @param dimension  its name, as added before
  void add_variable(const std::string& name, const std::string& dimension,
                    const std::vector<Attribute>& attributes);
  /// Values first .. first + values of a variable, coordinate variables too.
  void write(const std::string& name, std::int64_t first, std::span<const double> values);
  /// @throws DiskFault  what could not be written any more
  void finish();

 private:
  struct File;
  std::unique_ptr<File> file_;
};

}  // namespace windwright::recording
