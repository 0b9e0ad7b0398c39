// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "bench/bench.h"
#include "devices/scpi_server.h"
#include "devices/served_bench.h"

#include <memory>
#include <string_view>

namespace windwright::devices {

/// One controller's session with a served bench:
///   MEASure:VOLTage[:DC]? (@1,3:5)  volts at the converters of these channels, of one sample
///   CHANnel:CATalog?                the channels' names; the first is (@1)
///   SOURce:CATalog?                 the actuators' names; the first is SOURce1
///   SOURce#:LEVel VALUE|POSITION    commands an actuator; with ? shows what is commanded
///   OUTPut:PROTection:TRIPped?      1 after the watchdog's trip
///   OUTPut:PROTection:CLEar         takes it back
///   SYSTem:HEARtbeat                any command to an actuator does as well
/// *RST makes the bench safe. Levels are rounded to the step of RegisterMap's scale.
/// @param version  of the program
/// @param bench, served  outlive the session
std::unique_ptr<ScpiSession> scpi_session(const bench::Bench& bench, ServedBench& served,
                                          std::string_view version);

}  // namespace windwright::devices
