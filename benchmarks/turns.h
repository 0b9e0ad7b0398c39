// SPDX-License-Identifier: Apache-2.0
#pragma once

namespace windwright::benchmarks {

/// Runs what is registered, repetitions of ours and of the peer's in random turns: a machine that
/// is busy for a while slows both.
void run_in_turns(int argc, char** argv);

/// Of all threads of this process.
double cpu_s();

}  // namespace windwright::benchmarks
