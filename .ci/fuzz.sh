#!/usr/bin/env bash
# Every fuzz target in turn, each for the time given.
set -euo pipefail
cd "$(dirname "$0")/.."
time=${1:-30s}
grep -rl --include='*_test.go' '^func Fuzz' geo blocks records | while read -r file; do
  for name in $(sed -n 's/^func \(Fuzz[A-Za-z]*\)(.*/\1/p' "$file"); do
    echo "$(dirname "$file") $name"
    ${GO:-go} test -tags sqlite_omit_load_extension -run NONE -fuzz "^$name\$" -fuzztime "$time" "./$(dirname "$file")"
  done
done
