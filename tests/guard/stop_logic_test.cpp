// SPDX-License-Identifier: Apache-2.0
// Stop categories: IEC 60204-1:2016, 9.2.2 (from memory): 0, stopping by immediate removal of
// power; 1, a controlled stop with power available, which is removed once the stop is achieved; 2,
// a controlled stop with power left available. A reset by itself never restarts: ISO 13850:2015
// (from memory).
#include "guard/stop_logic.h"

#include "guard/stop_table_text.h"

#include <gtest/gtest.h>

#include <cstddef>
#include <fstream>
#include <initializer_list>
#include <iterator>
#include <string>

namespace windwright::guard {
namespace {

StopLogic running() {
  StopLogic logic;
  logic.take(Event::start_asked);
  return logic;
}

TEST(StopLogic, CategoryZeroRemovesPowerAtOnce) {
  StopLogic logic = running();
  EXPECT_EQ(logic.take(Event::violation_0), Action::latch | Action::remove_power);
  EXPECT_EQ(logic.state(), State::tripped);
}

TEST(StopLogic, CategoryOneStopsUnderControlAndThenRemovesPower) {
  StopLogic logic = running();
  EXPECT_EQ(logic.take(Event::violation_1), Action::latch | Action::begin_controlled_stop);
  EXPECT_EQ(logic.state(), State::tripping_1);
  EXPECT_EQ(logic.take(Event::stop_finished), Action::remove_power);
  EXPECT_EQ(logic.state(), State::tripped);
}

TEST(StopLogic, CategoryTwoStopsUnderControlAndLeavesPowerOn) {
  StopLogic logic = running();
  EXPECT_EQ(logic.take(Event::violation_2), Action::latch | Action::begin_controlled_stop);
  EXPECT_EQ(logic.take(Event::stop_finished), Action::none);
  EXPECT_EQ(logic.state(), State::tripped);
}

TEST(StopLogic, WorseCauseOvertakesAStopUnderWayAndMilderOneDoesNot) {
  StopLogic logic = running();
  logic.take(Event::violation_2);
  EXPECT_EQ(logic.take(Event::violation_1), Action::none);
  EXPECT_EQ(logic.state(), State::tripping_1);
  logic.take(Event::violation_2);
  EXPECT_EQ(logic.state(), State::tripping_1);
  EXPECT_EQ(logic.take(Event::violation_0), Action::remove_power);
  EXPECT_EQ(logic.state(), State::tripped);
}

TEST(StopLogic, StopThatDoesNotEndRemovesPower) {
  for (const Event cause : {Event::end_asked, Event::violation_1, Event::violation_2}) {
    StopLogic logic = running();
    logic.take(cause);
    EXPECT_TRUE(has(logic.take(Event::stop_overdue), Action::remove_power)) << name(cause);
    EXPECT_EQ(logic.state(), State::tripped) << name(cause);
  }
}

TEST(StopLogic, OnlyTheFirstCauseIsKept) {
  StopLogic logic = running();
  int kept = 0;
  for (const Event event : {Event::violation_2, Event::violation_1, Event::other_tripped,
                            Event::other_silent, Event::violation_0})
    kept += has(logic.take(event), Action::latch) ? 1 : 0;
  EXPECT_EQ(kept, 1);
}

TEST(StopLogic, ResetNeedsThePersonTheCauseGoneAndTheStopOver) {
  StopLogic logic = running();
  logic.take(Event::violation_1);
  EXPECT_EQ(logic.take(reset_event(true, true)), Action::refuse);  // the fan still turns
  logic.take(Event::stop_finished);
  EXPECT_EQ(logic.take(reset_event(false, true)), Action::refuse);
  EXPECT_EQ(logic.take(reset_event(true, false)), Action::refuse);
  EXPECT_EQ(logic.take(reset_event(false, false)), Action::refuse);
  EXPECT_EQ(logic.state(), State::tripped);
  EXPECT_EQ(logic.take(reset_event(true, true)), Action::unlatch);
  EXPECT_EQ(logic.state(), State::safe);
}

TEST(StopLogic, ResetDoesNotRestart) {
  StopLogic logic(State::tripped);
  EXPECT_EQ(logic.take(Event::start_asked), Action::refuse);
  EXPECT_FALSE(has(logic.take(Event::reset_asked), Action::permit));
  EXPECT_FALSE(permits_fan(logic.state()));
  EXPECT_EQ(logic.take(Event::start_asked), Action::permit);
}

TEST(StopLogic, StartWithoutAllThatItNeedsIsRefused) {
  StopLogic logic;
  EXPECT_EQ(logic.take(Event::start_asked_unready), Action::refuse);
  EXPECT_EQ(logic.state(), State::safe);
}

TEST(StopLogic, PageShowsTheTableThatIsCompiled) {
  std::ifstream in(std::string(SOURCE_FOLDER) + "/docs/guard.md");
  const std::string page{std::istreambuf_iterator<char>(in), {}};
  const std::string table = markdown_text(stop_table());
  EXPECT_NE(page.find(table), std::string::npos) << "docs/guard.md should show\n" << table;
}

}  // namespace
}  // namespace windwright::guard
