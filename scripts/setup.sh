#!/usr/bin/env bash
# Make .venv ready: `scripts/setup.sh run`, `dev`, `speed` or `trace`. Called by make, once for each change of a lock file.
# Exact versions with hashes; by uv where it installs, by plain pip where it does not.
set -euo pipefail
cd "$(dirname "$0")/.."

kind=${1:?run, dev, speed or trace}
case $kind in
  run) lock=requirements.lock ;;
  *) lock=requirements-$kind.lock ;;
esac
venv=.venv
python=$venv/bin/python

stop() {
  printf '%s\n' "$@" >&2
  exit 1
}

find_python() { # the first one that is new enough
  local candidate
  for candidate in ${PYTHON:-} python3 python3.14 python3.13 python3.12 python3.11; do
    if "$candidate" -c 'import sys; sys.exit(sys.version_info < (3, 11))' 2>/dev/null; then
      echo "$candidate"
      return
    fi
  done
  stop "tapehook needs Python 3.11 or newer; none found. Name one: make PYTHON=/path/to/python3.11 demo"
}

if ! "$python" -c '' 2>/dev/null; then
  rm -rf "$venv"
  base=$(find_python)
  echo "Setting up: $("$base" --version) in $venv"
  "$base" -m venv "$venv" || stop "Python's venv module is missing. On Debian: sudo apt-get install python3-venv"
fi

# The installer installs itself first. No wheel of it for this machine is no fault: pip does the same, slower.
pip=("$python" -m pip --disable-pip-version-check --quiet)
if ! "$venv/bin/uv" --version >/dev/null 2>&1; then
  "${pip[@]}" install --require-hashes --no-deps --only-binary :all: -r requirements-uv.lock 2>/dev/null ||
    echo "uv did not install; going on with pip"
fi

with_uv() {
  [ -z "${TAPEHOOK_NO_UV:-}" ] && [ -x "$venv/bin/uv" ] &&
    "$venv/bin/uv" pip --quiet --no-progress install --python "$python" "$@"
}

install() { # a lock is complete, so nothing is resolved again: --no-deps
  with_uv --no-deps "$@" || "${pip[@]}" install --no-deps "$@" ||
    stop "Installing failed; the lines above say why. Without a network it cannot work the first time."
}

echo "Setting up: packages of $lock"
install --require-hashes -r "$lock"
# Its build backend came with the lock, so nothing unpinned is fetched to build it.
install --no-build-isolation --editable .
touch "$venv/.ready-$kind"
