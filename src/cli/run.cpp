// SPDX-License-Identifier: Apache-2.0
#include "base/errors.h"
#include "cli/verbs.h"

#include <CLI/CLI.hpp>
#include <fmt/format.h>

#include <csignal>
#include <cstdio>
#include <exception>
#include <filesystem>

namespace windwright::cli {

namespace {

int complain(int code, std::string_view message) {
  fmt::print(stderr, "{}\n", message);
  return code;
}

}  // namespace

int run(int argc, const char* const* argv) {
  // A file beyond the limit of its size is a write that fails, not the end of the program.
  std::signal(SIGXFSZ, SIG_IGN);
  CLI::App program{"Windwright: a wind-energy bench from cold to defensible results."};
  program.name("windwright");
  program.set_version_flag("--version", "windwright " WINDWRIGHT_VERSION);
  program.require_subcommand(1);
  int exit_code = done;
  add_air(program, exit_code);
  add_rotor(program, exit_code);
  add_calibrate(program, exit_code);
  add_propagate(program, exit_code);
  add_simulate(program, exit_code);
  add_serve_device(program, exit_code);
  add_serve(program, exit_code);
  add_guard(program, exit_code);
  add_record(program, exit_code);
  add_view(program, exit_code);
  add_catalogue(program, exit_code);
  add_export(program, exit_code);
  add_import(program, exit_code);
  add_ready(program, exit_code);
  add_conduct(program, exit_code);
  add_reduce(program, exit_code);
  add_power(program, exit_code);
  add_compare(program, exit_code);
  add_report(program, exit_code);
  try {
    program.parse(argc, argv);
    return exit_code;
  } catch (const CLI::ParseError& error) {
    if (error.get_exit_code() == 0) return program.exit(error);
    return complain(bad_input,
                    fmt::format("windwright: {}: see windwright VERB --help", error.what()));
  } catch (const base::BadInput& error) {
    return complain(bad_input, error.what());
  } catch (const base::DeviceFault& error) {
    return complain(device_fault, error.what());
  } catch (const base::DiskFault& error) {
    return complain(device_fault, error.what());
  } catch (const std::filesystem::filesystem_error& error) {
    return complain(device_fault,
                    fmt::format("{}: cannot be used ({}): check the disk, its room and permissions",
                                error.path1().string(), error.code().message()));
  } catch (const std::exception& error) {
    return complain(internal_error,
                    fmt::format("internal error: {}: please report it", error.what()));
  }
}

}  // namespace windwright::cli
