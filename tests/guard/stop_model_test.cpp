// SPDX-License-Identifier: Apache-2.0
// The model around the stop logic, checked exhaustively by spin with the table of the code. Method:
// Holzmann, The SPIN Model Checker (2004): never claims, weak fairness, -DNFAIR (from memory).
#include "fresh_folder.h"
#include "guard/stop_logic.h"
#include "guard/stop_table_text.h"

#include <fmt/format.h>
#include <gtest/gtest.h>

#include <cstddef>
#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <iostream>
#include <iterator>
#include <string>
#include <string_view>

namespace windwright::guard {
namespace {

namespace fs = std::filesystem;

std::string text_of(const fs::path& file) {
  std::ifstream in(file);
  return {std::istreambuf_iterator<char>(in), {}};
}

/// The model with one table and some definitions, as a verifier that spin wrote.
class Model {
 public:
  enum class Size { small, large };  // to be searched: worth optimising or not

  /// @param definitions  as for a C compiler, e.g. "-DFAULTS=2"
  explicit Model(std::string_view definitions, const StopTable& table = stop_table(),
                 Size size = Size::small)
      : folder_(fresh_folder()) {
    std::ofstream(folder_ / "stop_table.pml") << promela_text(table);
    fs::copy_file(fs::path(SOURCE_FOLDER) / "tests/guard/stop_model.pml",
                  folder_ / "stop_model.pml");
    // NFAIR: room for more processes than weak fairness has by default.
    built_ = run(fmt::format("spin -a {} stop_model.pml > spin.txt 2>&1", definitions)) &&
             run(fmt::format("'{}' {} -DNFAIR=3 -o pan pan.c > cc.txt 2>&1", C_COMPILER,
                             size == Size::large ? "-O2" : "-O0"));
    EXPECT_TRUE(built_) << "spin and a C compiler are needed: " << text_of(folder_ / "spin.txt")
                        << text_of(folder_ / "cc.txt");
  }

  /// @return  whether every history fulfils the property; says how many states were searched
  bool holds(std::string_view property) const {
    EXPECT_TRUE(built_ &&
                run(fmt::format("./pan -a -f -m100000 -w21 -N {} > pan.txt 2>&1", property)));
    const std::string out = text_of(folder_ / "pan.txt");
    const bool holds = out.find(" errors: 0\n") != std::string::npos;
    EXPECT_NE(holds, out.find(" errors: 1\n") != std::string::npos) << out;
    // Depth or memory that does not suffice would leave states unseen.
    for (const char* incomplete : {"too small", "Search not completed", "out of memory"})
      EXPECT_TRUE(!holds || out.find(incomplete) == std::string::npos) << out;
    const std::size_t end = out.find(" states, stored");
    const std::size_t begin = out.rfind('\n', end) + 1;
    std::cout << property << (holds ? " holds" : " is violated")
              << ", states:" << out.substr(begin, end - begin) << '\n';
    return holds;
  }

 private:
  bool run(const std::string& command) const {
    return std::system(fmt::format("cd '{}' && {}", folder_.string(), command).c_str()) == 0;
  }

  fs::path folder_;
  bool built_ = false;
};

StopTable changed(State in, Event on, Transition to) {
  StopTable table = stop_table();
  table[static_cast<std::size_t>(in)][static_cast<std::size_t>(on)] = to;
  return table;
}

TEST(StopModel, AfterEveryPairOfFaultsTheFanIsOffAndStaysOff) {
  const Model model("-DFAULTS=2", stop_table(), Model::Size::large);
  EXPECT_TRUE(model.holds("settles"));
  EXPECT_TRUE(model.holds("stays_off"));
}

TEST(StopModel, AfterEveryPairOfFaultsAPersonCanMakeTheBenchReadyAgain) {
  EXPECT_TRUE(
      Model("-DFAULTS=2 -DPERSON_STAYS", stop_table(), Model::Size::large).holds("recovers"));
}

TEST(StopModel, WhereNothingIsAmissTheBenchIsDrivenAndNothingTrips) {
  const Model model("-DFAULTS=0 -DQUIET");
  EXPECT_TRUE(model.holds("no_nuisance"));
  EXPECT_FALSE(model.holds("never_driven"));
}

// That the check can fail: machines with one transition broken.

TEST(StopModel, MachineThatResetsByItselfIsFoundOut) {
  EXPECT_FALSE(
      Model("", changed(State::tripped, Event::stop_finished, {State::safe, Action::unlatch}))
          .holds("settles"));
}

TEST(StopModel, MachineThatIsResetFromAfarIsFoundOut) {
  EXPECT_FALSE(Model("", changed(State::tripped, Event::reset_asked_from_afar,
                                 {State::safe, Action::unlatch}))
                   .holds("settles"));
}

TEST(StopModel, MachineThatStartsWithATripLatchedIsFoundOut) {
  EXPECT_FALSE(
      Model("", changed(State::tripped, Event::start_asked, {State::running, Action::permit}))
          .holds("settles"));
}

TEST(StopModel, MachineThatIgnoresTheOthersSilenceIsFoundOut) {
  EXPECT_FALSE(
      Model("", changed(State::running, Event::other_silent, {State::running, Action::none}))
          .holds("settles"));
}

TEST(StopModel, MachineThatWaitsForEverForAStopIsFoundOut) {
  EXPECT_FALSE(
      Model("", changed(State::tripping_1, Event::stop_overdue, {State::tripping_1, Action::none}))
          .holds("settles"));
}

// What the callers of the machine have to do, and what no software does.

TEST(StopModel, LayersThatDoNotLookWhetherTheFanComesOnAgainAreFoundOut) {
  EXPECT_FALSE(Model("-DNO_READ_BACK").holds("settles"));
}

TEST(StopModel, StartThatDoesNotWaitForTheGuardTripsForNothing) {
  EXPECT_FALSE(Model("-DFAULTS=0 -DQUIET -DNO_CONSENT").holds("no_nuisance"));
}

TEST(StopModel, LayersThatWaitForEachOthersResetAreNeverReset) {
  EXPECT_FALSE(Model("-DFAULTS=0 -DPERSON_STAYS -DRESET_IN_TURN").holds("recovers"));
}

TEST(StopModel, ViolationThatNoSensorShowsIsLeftToThePersonAtTheEmergencyStop) {
  EXPECT_FALSE(Model("-DFAULTS=0 -DBLIND").holds("loses_power"));
  EXPECT_TRUE(Model("-DFAULTS=2 -DBLIND -DPERSON_WATCHES").holds("loses_power"));
}

TEST(StopModel, ThreeFaultsAtATimeAreMoreThanTheSoftwareStands) {
  EXPECT_FALSE(Model("-DFAULTS=3 -DQUIET").holds("settles"));
}

}  // namespace
}  // namespace windwright::guard
