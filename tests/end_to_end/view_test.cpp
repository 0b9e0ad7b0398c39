// SPDX-License-Identifier: Apache-2.0
#include "base/json.h"
#include "end_to_end/program.h"

#include <boost/json.hpp>
#include <gtest/gtest.h>

#include <filesystem>
#include <string>
#include <vector>

namespace windwright::end_to_end {
namespace {

namespace fs = std::filesystem;
namespace json = boost::json;

fs::path folder_with_recording(const std::string& name) {
  const fs::path folder = bench_folder(name);
  const Ended ended = windwright({"record", "bench.toml", "--reason", "a test", "--seconds", "4",
                                  "--set", "fan_pct=60", "--into", "all.h5", "--json"},
                                 folder);
  EXPECT_EQ(ended.exit_code, 0) << ended.err;
  return folder;
}

std::vector<std::string> view(std::vector<std::string> more) {
  std::vector<std::string> words{"view", "all.h5", "--channel", "air_speed_m_s"};
  words.insert(words.end(), more.begin(), more.end());
  return words;
}

/// One way to look, and what its document, its text and its picture must hold.
struct Look {
  std::vector<std::string> words;
  const char* member;
  const char* text;
  const char* picture;
};

TEST(View, LooksEachWayAsDocumentTextAndPicture) {
  const fs::path folder = folder_with_recording("view-looks");
  const Look looks[] = {
      {{"--bins", "5"}, "bins", "t_s,min,max", "lowest to highest"},
      {{"--with", "all.h5", "--zero", "0,1"}, "overlays", "recording,t_s", "0 at 1 s"},
      {{"--spectrum", "density"}, "lines", "frequency_Hz,density,amplitude", "power density"},
      {{"--spectrum", "amplitude", "--with", "all.h5"}, "overlays", "recording,freq", "amplitude"},
      {{"--against", "rotor_speed_rad_s"}, "pairs", "x_deviation,y", "rotor_speed_rad_s, V"},
      {{"--statistics"}, "effective_samples", "independent samples", "one standard deviation"},
      {{"--at", "1.5", "--at", "2"}, "steps", "1 to 2: 0.5 s", "2 s</text>"}};
  for (const Look& look : looks) {
    const Ended text = windwright(view(look.words), folder);
    EXPECT_EQ(text.exit_code, 0) << text.err;
    EXPECT_NE(text.out.find(look.text), std::string::npos) << text.out.substr(0, 500);
    std::vector<std::string> words = look.words;
    words.insert(words.end(), {"--json", "--chart", "look.svg"});
    const Ended document = windwright(view(words), folder);
    EXPECT_EQ(document.exit_code, 0) << document.err;
    EXPECT_TRUE(base::json_from_text(document.out, "stdout").as_object().contains(look.member))
        << look.member;
    const std::string picture = text_of(folder / "look.svg");
    EXPECT_NE(picture.find(look.picture), std::string::npos) << look.picture;
    EXPECT_NE(picture.find("</svg>"), std::string::npos);
  }
}

TEST(View, WorksOutWhatTheBenchDerives) {
  const fs::path folder = folder_with_recording("view-derived");
  const std::string tip_speed_ratio = "tip_speed_ratio";
  const Ended raw =
      windwright({"view", "all.h5", "--channel", tip_speed_ratio, "--statistics"}, folder);
  EXPECT_EQ(raw.exit_code, 2);
  EXPECT_NE(raw.err.find("recorded without a certificate"), std::string::npos) << raw.err;

  EXPECT_EQ(windwright({"calibrate", "bench.toml"}, folder).exit_code, 0);
  fs::remove(folder / "all.h5");
  const Ended recorded = windwright({"record", "bench.toml", "--reason", "a test", "--seconds", "4",
                                     "--set", "fan_pct=60", "--into", "all.h5"},
                                    folder);
  EXPECT_EQ(recorded.exit_code, 0) << recorded.err;
  const auto shown = [&](const std::string& channel, const char* pointer) {
    const Ended ended =
        windwright({"view", "all.h5", "--channel", channel, "--at", "3.9", "--json"}, folder);
    EXPECT_EQ(ended.exit_code, 0) << ended.err;
    return base::json_from_text(ended.out, "stdout").at_pointer(pointer);
  };
  const auto value = [&](const std::string& channel) {
    return shown(channel, "/cursors/0/value/value").to_number<double>();
  };
  constexpr double tip_radius_m = 0.30;  // of rotor.toml
  const double by_hand = value("rotor_speed_rad_s") * tip_radius_m / value("air_speed_m_s");
  EXPECT_GT(by_hand, 0.0);
  EXPECT_NEAR(value(tip_speed_ratio), by_hand, 1e-6 * by_hand);
  EXPECT_GT(shown(tip_speed_ratio, "/cursors/0/value/u").to_number<double>(), 0.0);
  EXPECT_EQ(shown(tip_speed_ratio, "/unit").as_string(), "1");
  EXPECT_EQ(shown(tip_speed_ratio, "/equation").as_string(),
            "rotor_speed_rad_s * tip_radius_m / air_speed_m_s");
  EXPECT_TRUE(shown("air_speed_m_s", "/equation").is_null());
  const Ended unknown = windwright({"view", "all.h5", "--channel", "mood"}, folder);
  EXPECT_NE(unknown.err.find("or tip_speed_ratio"), std::string::npos) << unknown.err;
  for (const std::vector<std::string>& look : {std::vector<std::string>{"--bins", "50"},
                                               {"--against", "air_speed_m_s"},
                                               {"--statistics"}}) {
    std::vector<std::string> words{"view",   "all.h5", "--channel", tip_speed_ratio,
                                   "--from", "2",      "--chart",   "look.svg"};
    words.insert(words.end(), look.begin(), look.end());
    const Ended drawn = windwright(words, folder);
    EXPECT_EQ(drawn.exit_code, 0) << drawn.err;
    EXPECT_NE(text_of(folder / "look.svg").find(tip_speed_ratio), std::string::npos);
  }
}

TEST(View, RefusesWhatDoesNotGoTogetherAndDrawsNothing) {
  const fs::path folder = folder_with_recording("view-refused");
  const std::pair<std::vector<std::string>, const char*> cases[] = {
      {{"--statistics", "--at", "1"}, "--at: stands beside --statistics"},
      {{"--spectrum", "power"}, "--spectrum: is 'power': density or amplitude"},
      {{"--spectrum", "density", "--taper", "kaiser"}, "--taper: is 'kaiser': hann, flat-top or"},
      {{"--spectrum", "density", "--bins", "7"}, "--bins: goes with values over time only"},
      {{"--spectrum", "density", "--resolution-Hz", "900"}, "--resolution-Hz: is 900"},
      {{"--taper", "hann"}, "--taper: goes with --spectrum only"},
      {{"--averages", "4"}, "--averages: goes with --spectrum only"},
      {{"--statistics", "--with", "all.h5"}, "--with: goes with bins or --spectrum only"},
      {{"--zero", "1"}, "--zero: goes with --with only"},
      {{"--with", "all.h5", "--zero", "1"}, "--zero: is '1', 1 times: one time for each of 2"},
      {{"--with", "gone.h5"}, "gone.h5:1"},
      {{"--against", "mood"}, "all.h5:1: has no channel 'mood'"},
      {{"--at", "noon"}, "--at: is 'noon': a number"},
      {{"--from", "3", "--to", "2"}, "--to: is '2', not after --from"}};
  for (const auto& [words, says] : cases) {
    std::vector<std::string> all = view(words);
    all.insert(all.end(), {"--chart", "refused.svg"});
    const Ended ended = windwright(all, folder);
    EXPECT_EQ(ended.exit_code, 2) << says;
    EXPECT_NE(ended.err.find(says), std::string::npos) << ended.err;
    EXPECT_FALSE(fs::exists(folder / "refused.svg")) << says;
  }
}

}  // namespace
}  // namespace windwright::end_to_end
