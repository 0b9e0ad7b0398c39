// SPDX-License-Identifier: Apache-2.0
#include "cli/ask_person.h"

#include "base/errors.h"

#include <fmt/format.h>
#include <unistd.h>

#include <cstdio>
#include <string>

namespace windwright::cli {

void ask_person(const std::string& what) {
  const auto nobody = [&] {
    throw base::DeviceFault("bench", "needs a person: " + what,
                            "run it from a terminal, with somebody at the bench");
  };
  if (isatty(STDIN_FILENO) != 1) nobody();
  fmt::print(stderr, "\n> {}. Then press Enter. ", what);
  std::fflush(stderr);
  for (int letter = std::getchar(); letter != '\n'; letter = std::getchar()) {
    if (letter == EOF) nobody();
  }
}

}  // namespace windwright::cli
