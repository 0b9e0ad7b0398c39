// SPDX-License-Identifier: Apache-2.0
#include "cli/verbs.h"

int main(int argc, char** argv) {
  return windwright::cli::run(argc, argv);
}
