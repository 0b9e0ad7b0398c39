# SPDX-License-Identifier: Apache-2.0
"""Shows that a wrong include does not compile and a wrong link does not configure.

usage: layering.py SOURCE_FOLDER BUILD_FOLDER COMPILER
"""
import pathlib
import subprocess
import sys
import tempfile


def compiles(compiler, build, module, header):
    """Whether a file of `module`, seeing what that module sees, may include `header`."""
    ninja = (build / "build.ninja").read_text()
    block = ninja[ninja.index(f"CMakeFiles/{module}.dir/src/{module}/"):]
    includes = block[block.index("INCLUDES = ") + 11:].split("\n", 1)[0].split()
    return subprocess.run(
        [compiler, "-std=c++20", "-fsyntax-only", "-x", "c++", *includes, "-"],
        input=f'#include "{header}"\n', text=True, capture_output=True).returncode == 0


def configures(source, extra):
    with tempfile.TemporaryDirectory() as folder:
        copy = pathlib.Path(folder)
        (copy / "src/high").mkdir(parents=True)
        (copy / "src/low").mkdir()
        (copy / "src/high/a.cpp").write_text("")
        (copy / "src/low/a.cpp").write_text("")
        (copy / "CMakeLists.txt").write_text(
            "cmake_minimum_required(VERSION 3.25)\nproject(layers LANGUAGES CXX)\n"
            f"list(APPEND CMAKE_MODULE_PATH {source}/cmake)\ninclude(compiler)\ninclude(module)\n" + extra)
        return subprocess.run(["cmake", "-G", "Ninja", "-S", copy, "-B", copy / "build"],
                              capture_output=True).returncode == 0


source, build, compiler = pathlib.Path(sys.argv[1]), pathlib.Path(sys.argv[2]), sys.argv[3]
claims = [
    ("physics may include base", compiles(compiler, build, "physics", "base/text.h"), True),
    ("base may not include physics", compiles(compiler, build, "base", "physics/air.h"), False),
    ("physics may not include bench", compiles(compiler, build, "physics", "bench/bench.h"), False),
    ("signal may not include metrology", compiles(compiler, build, "signal", "metrology/estimate.h"), False),
    ("metrology may not include physics", compiles(compiler, build, "metrology", "physics/air.h"), False),
    ("bench may not include twin", compiles(compiler, build, "bench", "twin/simulated_bench.h"), False),
    ("campaign may not include twin", compiles(compiler, build, "campaign", "twin/simulated_bench.h"), False),
    ("analysis may not include twin", compiles(compiler, build, "analysis", "twin/simulated_bench.h"), False),
    ("report may not include cli", compiles(compiler, build, "report", "cli/verbs.h"), False),
    ("a link in order configures", configures(source, "module(low)\nmodule(high DEPENDS low)\n"), True),
    ("a link against the order does not", configures(source, "module(high DEPENDS low)\nmodule(low)\n"), False),
]
wrong = [claim for claim, seen, wanted in claims if seen != wanted]
print("\n".join(f"does not hold: {claim}" for claim in wrong) or f"{len(claims)} claims hold")
sys.exit(1 if wrong else 0)
