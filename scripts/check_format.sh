#!/usr/bin/env bash
# SPDX-License-Identifier: Apache-2.0
# Says which files clang-format 19 would change; `--fix` changes them.
set -euo pipefail
cd "$(dirname "$0")/.."
mode=(--dry-run --Werror)
[ "${1:-}" = --fix ] && mode=(-i)
git ls-files '*.cpp' '*.h' | xargs -r clang-format-19 "${mode[@]}"
