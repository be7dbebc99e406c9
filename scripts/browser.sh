#!/usr/bin/env bash
# Print the path of a Chromium for the tests that open a page. Where there is none: root on a machine with apt
# gets Debian's; anyone else gets the line to type.
set -euo pipefail

find_browser() {
  local name
  for name in ${TAPEHOOK_CHROMIUM:+"$TAPEHOOK_CHROMIUM"} chromium chromium-browser google-chrome; do
    command -v "$name" && return
  done
  return 1
}

find_browser && exit
if [ -n "${TAPEHOOK_CHROMIUM:-}" ]; then
  echo "TAPEHOOK_CHROMIUM names '$TAPEHOOK_CHROMIUM', which cannot be run." >&2
  exit 1
fi
if [ "$(id -u)" = 0 ] && command -v apt-get >/dev/null; then
  echo "Installing Chromium for the page tests (about a minute)" >&2
  export DEBIAN_FRONTEND=noninteractive
  { apt-get -qq update && apt-get -qq install --yes --no-install-recommends chromium; } </dev/null >&2
  find_browser && exit
fi
echo "No Chromium found, and the page tests need one. Type this, or set TAPEHOOK_CHROMIUM to its path:" >&2
echo "    sudo apt-get update && sudo apt-get install chromium" >&2
exit 1
