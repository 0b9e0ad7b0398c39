// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "metrology/fit.h"

#include <filesystem>
#include <string>
#include <vector>

namespace windwright::metrology {

/// A readings CSV: what a calibration starts from.
struct ReadingsFile {
  Readings readings;
  std::vector<int> repeat;     // (readings), or empty
  std::string reference_unit;  // UDUNITS; "1" where the file does not say
  std::string reading_unit;
  std::string where;            // `file:line` of the header, for messages about the whole table
  std::string unit_where = {};  // of the unit comment; the header's place without one
};

/// Header `reference,reading`, optional `u_reference,u_reading,repeat,direction`. A comment line
/// `# unit: reference = m s-1, reading = V` states the units. repeat: whole numbers from 1;
/// direction: `up` or `down`, how the reference was approached.
/// @throws BadInput  with file and line: unreadable, unknown or missing column, a value that is not
///                   finite, an uncertainty not above 0, a unit that is none
ReadingsFile readings_from_file(const std::filesystem::path& file);

/// The text of such a file; `repeat` and uncertainties where there are any.
std::string readings_csv(const ReadingsFile& file, const std::vector<std::string>& comments);

}  // namespace windwright::metrology
