#!/usr/bin/env bash
# The exchange test needs GDAL's command line tools. Where it may, this installs
# Debian's; where it may not it says what is missing, and fails if this is CI.
set -euo pipefail
cd "$(dirname "$0")/.."
present() { command -v ogr2ogr >/dev/null 2>&1 && command -v ogrinfo >/dev/null 2>&1; }
if ! present && [ "$(id -u)" = 0 ] && command -v apt-get >/dev/null 2>&1; then
  echo "exchange test: installing Debian's gdal-bin"
  apt-get update -qq && DEBIAN_FRONTEND=noninteractive apt-get install -y -qq --no-install-recommends gdal-bin >/dev/null
fi
if ! present; then
  echo "exchange test NOT RUN: no ogr2ogr found; install the package 'gdal-bin'" >&2
  [ -n "${CI:-}" ] && exit 1
  exit 0
fi
tags='sqlite_omit_load_extension gdal'
${GO:-go} vet -tags "$tags" ./records/export
${GO:-go} test -tags "$tags" -run '^TestGDAL' ./records/export
