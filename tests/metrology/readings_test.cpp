// SPDX-License-Identifier: Apache-2.0
#include "metrology/readings.h"

#include "base/errors.h"
#include "base/files.h"

#include <gtest/gtest.h>

#include <filesystem>
#include <string>
#include <vector>

namespace windwright::metrology {
namespace {

std::filesystem::path scratch(const std::string& text) {
  const auto file = std::filesystem::temp_directory_path() / "windwright_readings.csv";
  base::write_whole(file, text);
  return file;
}

// The message without the file's name.
std::string message(const std::string& text) {
  const auto file = scratch(text);
  try {
    readings_from_file(file);
  } catch (const base::BadInput& error) {
    const std::string what = error.what();
    EXPECT_EQ(what.find(file.string()), 0U);
    return what.substr(file.string().size());
  }
  return "no error";
}

TEST(ReadingsFile, IsReadWithUnitsAndUncertainties) {
  const ReadingsFile got =
      readings_from_file(scratch("# unit: reference = m s-1, reading = V\n"
                                 "reference,reading,u_reading,repeat,direction\n"
                                 "0,0.5,0.001,1,up\n5,2.5,0.002,1,up\n10,4.5,0.003,2,down\n"));
  EXPECT_EQ(got.readings.reference, (std::vector{0.0, 5.0, 10.0}));
  EXPECT_EQ(got.readings.reading, (std::vector{0.5, 2.5, 4.5}));
  EXPECT_EQ(got.readings.u_reading, (std::vector{0.001, 0.002, 0.003}));
  EXPECT_TRUE(got.readings.u_reference.empty());
  EXPECT_EQ(got.repeat, (std::vector{1, 1, 2}));
  EXPECT_EQ(got.reference_unit, "m s-1");
  EXPECT_EQ(got.reading_unit, "V");
}

TEST(ReadingsFile, ComesBackAsItWasWritten) {
  const ReadingsFile file{.readings = {.reference = {0.1, 1.0 / 3.0, 2.0},
                                       .reading = {1.0, 2.0, 3.0},
                                       .u_reference = {0.1, 0.1, 0.1},
                                       .u_reading = {0.2, 0.2, 0.2}},
                          .repeat = {1, 2, 3},
                          .reference_unit = "W",
                          .reading_unit = "V",
                          .where = ""};
  const ReadingsFile back = readings_from_file(scratch(readings_csv(file, {"bench", "by hand"})));
  EXPECT_EQ(back.readings.reference, file.readings.reference);
  EXPECT_EQ(back.readings.u_reference, file.readings.u_reference);
  EXPECT_EQ(back.readings.u_reading, file.readings.u_reading);
  EXPECT_EQ(back.repeat, file.repeat);
  EXPECT_EQ(back.reference_unit, "W");
}

TEST(ReadingsFile, SaysWhatIsWrongAndWhere) {
  EXPECT_EQ(message("reference,reading\n0,1\n1,nan\n"),
            ":3: reading is 'nan': a finite decimal number");
  EXPECT_EQ(message("reference,reading,u_reading\n0,1,0.1\n1,2,0\n"),
            ":3: u_reading is 0: a standard uncertainty above 0, or no such column");
  EXPECT_EQ(message("reference,reading,u_reference\n0,1,-0.1\n"),
            ":2: u_reference is -0.1: a standard uncertainty above 0, or no such column");
  EXPECT_EQ(message("reference,reading,u_readng\n0,1,1\n"),
            ":1: column 'u_readng' is unknown: reference, reading, u_reference, u_reading, "
            "correlation, repeat or direction");
  EXPECT_EQ(message("reference,u_reading\n0,1\n").substr(0, 31), ":1: column 'reading' is missing");
  EXPECT_EQ(message("reference,reading,repeat\n0,1,1.5\n"),
            ":2: repeat is 1.5: a whole number from 1");
  EXPECT_EQ(message("reference,reading,direction\n0,1,left\n"),
            ":2: direction is 'left': up or down");
  EXPECT_EQ(message("# unit: reference = flurb\nreference,reading\n0,1\n"),
            ":1: 'flurb' is not a unit: a UDUNITS string such as \"m s-1\" or "
            "\"V\"");
  EXPECT_EQ(message("# unit: u_reading = V\nreference,reading\n0,1\n"),
            ":1: the comment '# unit: u_reading = V' is not readable: # unit: reference = m s-1, "
            "reading = V");
}

}  // namespace
}  // namespace windwright::metrology
