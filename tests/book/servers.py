"""A PostgreSQL server of our own for the tests: started when first asked for, gone at the end.

It holds nothing worth keeping, so it never waits for the disk; the faults of disks are tried on SQLite. Root may not
run it, so for root it runs as nobody.
"""

import os
import shutil
import subprocess
import tempfile
from pathlib import Path

from tests.strategies import MEMORY

ROOT = Path(__file__).parents[2]
NOBODY = 65_534
QUICK = "-c fsync=off -c synchronous_commit=off -c full_page_writes=off -c max_connections=60 -c shared_buffers=128MB"


def programs() -> Path:
    """The folder with PostgreSQL's programs. Raises RuntimeError, with what to do, when there is none."""
    found = subprocess.run([ROOT / "scripts" / "postgresql.sh", "find"], capture_output=True, text=True, check=False)
    if found.returncode:
        raise RuntimeError(f"no PostgreSQL: run `make test`. {found.stderr}")
    return Path(found.stdout.strip())


class Server:
    """One server in a temporary folder, reached by a socket there: no port that somebody else could have."""

    def __init__(self, folder: str | None = MEMORY, settings: str = QUICK) -> None:
        self._programs = programs()
        self.folder = Path(tempfile.mkdtemp(prefix="tapehook-pg-", dir=folder))
        self._as: list[str] = []
        if os.geteuid() == 0:
            os.chown(self.folder, NOBODY, NOBODY)
            self._as = ["setpriv", f"--reuid={NOBODY}", f"--regid={NOBODY}", "--clear-groups"]
        self._data = self.folder / "data"
        self._run("initdb", "-D", self._data, "-U", "tapehook", "-A", "trust", "-E", "UTF8", "--locale=C", "--no-sync")
        options = f"{settings} -c listen_addresses='' -c unix_socket_directories='{self.folder}'"
        self._run("pg_ctl", "-D", self._data, "-w", "-l", self.folder / "log", "-o", options, "start")

    def _run(self, program: str, *args: str | Path) -> None:
        command = [*self._as, self._programs / program, *args]
        subprocess.run(command, check=True, stdout=subprocess.DEVNULL, cwd=self.folder)

    def url(self, database: str) -> str:
        """The address of a database of this server."""
        return f"postgresql://tapehook@/{database}?host={self.folder}"

    def make(self, database: str, like: str = "template1") -> str:
        """Make a database, a copy of another; its address."""
        import psycopg

        with psycopg.connect(self.url("postgres"), autocommit=True) as connection:
            connection.execute(f'CREATE DATABASE "{database}" TEMPLATE "{like}"'.encode())
        return self.url(database)

    def drop(self, database: str) -> None:
        """Drop a database, whoever is still in it."""
        import psycopg

        with psycopg.connect(self.url("postgres"), autocommit=True) as connection:
            connection.execute(f'DROP DATABASE IF EXISTS "{database}" WITH (FORCE)'.encode())

    def stop(self) -> None:
        """Stop the server and remove all it had."""
        self._run("pg_ctl", "-D", self._data, "-w", "-m", "immediate", "stop")
        shutil.rmtree(self.folder)
