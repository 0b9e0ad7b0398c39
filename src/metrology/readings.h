// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "metrology/fit.h"

#include <cstddef>
#include <filesystem>
#include <string>
#include <vector>

namespace windwright::metrology {

/// How a reference was approached.
enum class Direction { up, down };

/// A readings CSV: what a calibration starts from.
struct ReadingsFile {
  Readings readings;
  std::vector<int> repeat;     // (readings), or empty
  std::string reference_unit;  // UDUNITS; "1" where the file does not say
  std::string reading_unit;
  std::string where;            // `file:line` of the header, for messages about the whole table
  std::string unit_where = {};  // of the unit comment; the header's place without one
  std::vector<Direction> direction = {};  // (readings), or empty
};

/// Header `reference,reading`, optional `u_reference,u_reading,correlation,repeat,direction`
/// (correlation: of the errors of reference and reading in one row). A comment line
/// `# unit: reference = m s-1, reading = V` states the units. repeat: whole numbers from 1;
/// direction: `up` or `down`, how the reference was approached.
/// @throws BadInput  with file and line: unreadable, unknown or missing column, a value that is not
///                   finite, an uncertainty not above 0, a unit that is none
ReadingsFile readings_from_file(const std::filesystem::path& file);

/// A covariance of n readings: a CSV whose header names are free, n rows of n numbers (readings
/// alone) or 2 n rows of 2 n (all references, then all readings). Row by row.
/// @throws BadInput  another size
std::vector<double> covariance_from_file(const std::filesystem::path& file, std::size_t readings);

/// The text of such a file; `repeat` and uncertainties where there are any.
std::string readings_csv(const ReadingsFile& file, const std::vector<std::string>& comments);

}  // namespace windwright::metrology
