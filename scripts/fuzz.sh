#!/usr/bin/env bash
# SPDX-License-Identifier: Apache-2.0
# Fuzzes parsers of outside bytes with libFuzzer, address and undefined-behaviour sanitizers.
# Use: scripts/fuzz.sh SECONDS [NAME...]      all of tests/fuzz without a name; needs clang-19 and
# libclang-rt-19-dev. What was found lies in build/fuzz/found, what was learnt in build/fuzz/corpus.
set -euo pipefail
cd "$(dirname "$0")/.."
. scripts/prepare.sh
seconds=${1:?so many seconds for each}
shift
[ $# -gt 0 ] || set -- $(ls tests/fuzz/*_fuzz.cpp | sed 's#.*/##; s/_fuzz.cpp//')
install_packages "${packages[@]}" clang-19 libclang-rt-19-dev libomp-19-dev
build fuzz "${@/%/_fuzz}"
mkdir -p build/fuzz/found
failed=()
for name; do
  corpus=build/fuzz/corpus/$name
  mkdir -p "$corpus"
  while IFS= read -r seed; do
    [ -z "$seed" ] || cp "$seed" "$corpus/seed-$(basename "$seed")"
  done < "build/fuzz/fuzz/$name.seeds"
  say "$name: $seconds s"
  "build/fuzz/fuzz/${name}_fuzz" -max_total_time="$seconds" -max_len=65536 -timeout=10 -rss_limit_mb=4096 \
    -verbosity=0 -print_final_stats=1 -artifact_prefix="build/fuzz/found/$name-" "$corpus" 2>&1 |
    grep -E "number_of_executed|new_units|SUMMARY|ERROR|what\(\)" || true
  if compgen -G "build/fuzz/found/$name-*" >/dev/null; then failed+=("$name"); fi
done
[ ${#failed[@]} -eq 0 ] || {
  say "Found something in: ${failed[*]} (build/fuzz/found)"
  exit 1
}
