#!/usr/bin/env bash
# SPDX-License-Identifier: Apache-2.0
# clang-tidy 19 over src/ (or over the files named), with the release build's own flags; .clang-tidy
# says which checks.
set -euo pipefail
cd "$(dirname "$0")/.."
[ -f build/release/compile_commands.json ] || cmake --preset release >&2
mkdir -p build/tidy
# clang knows neither g++'s precompiled headers nor the option that lets ccache keep them.
sed -E 's/-fpch-preprocess //g; s/-Winvalid-pch -include [^ ]*cmake_pch\.hxx//g' \
  build/release/compile_commands.json > build/tidy/compile_commands.json
if [ $# -gt 0 ]; then files=("$@"); else mapfile -t files < <(git ls-files 'src/*.cpp'); fi
printf '%s\n' "${files[@]}" | xargs -P 2 -n 4 clang-tidy-19 -p build/tidy --quiet \
  --extra-arg=-Wno-unknown-warning-option
