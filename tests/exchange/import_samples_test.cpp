// SPDX-License-Identifier: Apache-2.0
#include "exchange/import_samples.h"

#include "base/errors.h"
#include "base/files.h"
#include "exchange/export_recording.h"
#include "fresh_folder.h"
#include "recording/recording.h"

#include <gtest/gtest.h>
#include <sys/resource.h>

#include <chrono>
#include <csignal>
#include <filesystem>
#include <string>
#include <vector>

namespace windwright::exchange {
namespace {

namespace fs = std::filesystem;

constexpr const char* head =
    "# start_utc: 2026-03-02T09:00:00Z\n# unit: force = N\ntime_s,dc_voltage_V,force\n";

std::string rows_with_gap() {
  std::string rows;
  for (int i = 0; i < 40; ++i) {
    if (i >= 20 && i < 27) continue;
    rows += std::to_string(i) + "e-2," + std::to_string(i % 7) + ".25," + std::to_string(-3 * i) +
            "e-3\n";
  }
  return rows;
}

TEST(Import, LeavesNothingHalfWrittenOnAFullDisk) {
  const fs::path folder = fresh_folder();
  std::string rows;
  for (int i = 0; i < 60'000; ++i)
    rows += std::to_string(i) + "e-2," + std::to_string(i % 7) + ".25,1\n";
  base::write_whole(folder / "a.csv", head + rows);
  rlimit before{};
  getrlimit(RLIMIT_FSIZE, &before);
  const rlimit small{.rlim_cur = 400'000, .rlim_max = before.rlim_max};
  const auto signal_before = ::signal(SIGXFSZ, SIG_IGN);
  setrlimit(RLIMIT_FSIZE, &small);
  EXPECT_THROW(import_samples({.file = folder / "a.csv", .into = folder / "a.h5"}),
               base::DiskFault);
  setrlimit(RLIMIT_FSIZE, &before);
  ::signal(SIGXFSZ, signal_before);
  EXPECT_FALSE(fs::exists(folder / "a.h5"));
}

TEST(Import, KeepsValuesUnitsTimesAndGaps) {
  const fs::path folder = fresh_folder();
  base::write_whole(folder / "a.csv", head + rows_with_gap());
  const Imported imported = import_samples({.file = folder / "a.csv", .into = folder / "a.h5"});
  EXPECT_EQ(imported.samples, 33);
  EXPECT_EQ(imported.sample_rate_hz, 100.0);
  EXPECT_EQ(imported.gaps, 1);
  EXPECT_TRUE(imported.remarks.empty());
  for (const ImportedChannel& channel : imported.channels)
    EXPECT_EQ(channel.largest_difference, 0.0) << channel.name;
  const recording::Recording recording(folder / "a.h5");
  EXPECT_EQ(recording.note("force").unit, "N");
  EXPECT_EQ(recording.note("dc_voltage_V").unit, "V");
  ASSERT_EQ(recording.gaps().size(), 1U);
  EXPECT_EQ(recording.gaps()[0].before_sample, 20);
  EXPECT_EQ(recording.gaps()[0].device_sample, 27);
  EXPECT_EQ(recording.start(), base::utc_from_text("2026-03-02T09:00:00Z", "test"));
  // Out again and in again: the same.
  export_recording({.file = folder / "a.h5", .into = folder / "b.csv"});
  const std::string text = base::text_of_file(folder / "b.csv");
  EXPECT_NE(text.find("# gap: 7 samples are missing before 0.27 s\n"), std::string::npos) << text;
  EXPECT_NE(text.find("# unit: time_s = s, dc_voltage_V = V, force = N\n"), std::string::npos);
  EXPECT_NE(text.find("\n0.19,5.25,-0.057\n0.27,6.25,-0.081\n"), std::string::npos) << text;
  import_samples({.file = folder / "b.csv", .into = folder / "b.h5"});
  export_recording({.file = folder / "b.h5", .into = folder / "c.csv"});
  EXPECT_EQ(base::text_of_file(folder / "c.csv").substr(text.find('\n')),
            text.substr(text.find('\n')));
}

TEST(Import, StartsWhereItsFirstRowIs) {
  const fs::path folder = fresh_folder();
  base::write_whole(folder / "a.csv", "time_s,x\n60,1\n61,2\n62,3\n");
  const Imported unknown = import_samples({.file = folder / "a.csv", .into = folder / "a.h5"});
  ASSERT_EQ(unknown.remarks.size(), 1U);
  const auto noon = base::utc_from_text("2026-03-02T12:00:00Z", "test");
  import_samples({.file = folder / "a.csv", .into = folder / "b.h5", .start = noon});
  EXPECT_EQ(recording::Recording(folder / "b.h5").start(), noon + std::chrono::minutes(1));
}

struct Refused {
  std::string text;
  std::string says;
};

TEST(Import, RefusesWhatItCannotKeepAndLeavesNothing) {
  const fs::path folder = fresh_folder();
  const std::vector<Refused> cases{
      {"t,x\n0,1\n1,2\n", "a.csv:1: column 'time_s' is missing"},
      {"time_s,x\n0,1\n", "a.csv:1: has a single row: two or more samples"},
      {"time_s\n0\n1\n", "a.csv:1: has no channel beside time_s"},
      {"time_s,x\n0,1\n1,2\n1,3\n", "a.csv:4: time_s is 1: time that rises"},
      {"time_s,x\n0,1\n1,2\n2,3\n3.5,4\n",
       "a.csv:5: time_s is 3.5: a whole number of steps of 1 s"},
      {"time_s,x\n0,1\n1,\n", "a.csv:3: x is ''"},
      {"time_s,x/y\n0,1\n1,2\n", "a.csv:1: column 'x/y' cannot name a channel"},
      {"# unit: y = V\ntime_s,x\n0,1\n1,2\n", "a.csv:1: the comment '# unit: y = V' is not"},
      {"# unit: x = furlongs of\ntime_s,x\n0,1\n1,2\n", "a.csv:1: "},
      {"# unit: x_V = mV\ntime_s,x_V\n0,1\n1,2\n", "a.csv:1: x_V: "},
      {"# start_utc: noon\ntime_s,x\n0,1\n1,2\n", "a.csv:1: "}};
  for (const Refused& refused : cases) {
    SCOPED_TRACE(refused.text);
    base::write_whole(folder / "a.csv", refused.text);
    try {
      import_samples({.file = folder / "a.csv", .into = folder / "a.h5"});
      FAIL() << "it was taken";
    } catch (const base::BadInput& bad) {
      EXPECT_NE(std::string(bad.what()).find(refused.says), std::string::npos) << bad.what();
    }
    EXPECT_FALSE(fs::exists(folder / "a.h5"));
  }
}

TEST(Export, RefusesAPlaceThatIsTakenOrOfNoFormat) {
  const fs::path folder = fresh_folder();
  base::write_whole(folder / "a.csv", head + rows_with_gap());
  import_samples({.file = folder / "a.csv", .into = folder / "a.h5"});
  EXPECT_THROW(export_recording({.file = folder / "a.h5", .into = folder / "a.csv"}),
               base::BadInput);
  EXPECT_THROW(export_recording({.file = folder / "a.h5", .into = folder / "a.xlsx"}),
               base::BadInput);
  EXPECT_THROW(
      export_recording({.file = folder / "a.h5", .into = folder / "b.csv", .channels = {"y"}}),
      base::BadInput);
  EXPECT_THROW(export_recording({.file = folder / "a.h5", .into = folder / "b.csv", .from_s = 9.0}),
               base::BadInput);
  EXPECT_THROW(export_recording({.file = folder / "a.h5", .into = folder / "none" / "b.csv"}),
               base::DiskFault);
  EXPECT_FALSE(fs::exists(folder / "b.csv"));
  EXPECT_FALSE(fs::exists(folder / "b.csv.part"));
}

}  // namespace
}  // namespace windwright::exchange
