#!/usr/bin/env bash
# The browser test needs a Chromium; the one without windows takes a fifth less of
# the processor. Where it may, this installs Debian's; where it may not it says what
# is missing, and fails if this is CI.
set -euo pipefail
cd "$(dirname "$0")/.."
find_chromium() {
  local c
  for c in "${CHROMIUM:-}" chromium-headless-shell chromium chromium-browser google-chrome; do
    if [ -n "$c" ] && command -v "$c" >/dev/null 2>&1; then command -v "$c"; return 0; fi
  done
  return 1
}
if ! find_chromium >/dev/null && [ "$(id -u)" = 0 ] && command -v apt-get >/dev/null 2>&1; then
  echo "browser test: installing Debian's chromium"
  apt-get update -qq
  for package in chromium-headless-shell chromium; do
    if DEBIAN_FRONTEND=noninteractive apt-get install -y -qq --no-install-recommends "$package" >/dev/null; then break; fi
  done
fi
if ! CHROMIUM=$(find_chromium); then
  echo "browser test NOT RUN: no Chromium found; install the package 'chromium' or set CHROMIUM to its path" >&2
  [ -n "${CI:-}" ] && exit 1
  exit 0
fi
export CHROMIUM
cd web/app && npm run --silent test:browser
