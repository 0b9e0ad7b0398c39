// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <iosfwd>

namespace CLI {
class App;
}

namespace windwright::cli {

/// Exit codes of the program.
inline constexpr int done = 0;
inline constexpr int negative_verdict = 1;
inline constexpr int bad_input = 2;
inline constexpr int device_fault = 3;
inline constexpr int interlock_tripped = 4;
inline constexpr int internal_error = 70;

/// Each adds one verb to the program; the verb's callback leaves its exit code in `exit_code`. One
/// source file a verb.
void add_air(CLI::App& program, int& exit_code);
void add_rotor(CLI::App& program, int& exit_code);
void add_calibrate(CLI::App& program, int& exit_code);
void add_propagate(CLI::App& program, int& exit_code);
void add_simulate(CLI::App& program, int& exit_code);
void add_serve_device(CLI::App& program, int& exit_code);
void add_serve(CLI::App& program, int& exit_code);
void add_guard(CLI::App& program, int& exit_code);
void add_record(CLI::App& program, int& exit_code);
void add_view(CLI::App& program, int& exit_code);
void add_catalogue(CLI::App& program, int& exit_code);
void add_export(CLI::App& program, int& exit_code);
void add_import(CLI::App& program, int& exit_code);
void add_ready(CLI::App& program, int& exit_code);
void add_conduct(CLI::App& program, int& exit_code);
void add_reduce(CLI::App& program, int& exit_code);
void add_power(CLI::App& program, int& exit_code);
void add_report(CLI::App& program, int& exit_code);
void add_compare(CLI::App& program, int& exit_code);

/// Parses, runs one verb, turns every exception into a message on stderr and an exit code.
int run(int argc, const char* const* argv);

}  // namespace windwright::cli
