"""A PostgreSQL server of the tests' own, on a free port of the loopback."""

import os
import shutil
import socket
import subprocess
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import psycopg

from tests.optimizer.programs import missing

USER, PASSWORD = "rider", "hush-9c41"


DEBIAN = Path("/usr/lib/postgresql")


def _programs() -> Path:
    """Return the folder of the newest server installed as Debian does it, or of that on PATH."""
    found = sorted(DEBIAN.glob("*/bin/initdb"))
    on_path = shutil.which("initdb")
    if not found and on_path is None:
        missing("PostgreSQL is not installed; on Debian: apt-get install postgresql")
    return found[-1].parent if found else Path(on_path).parent


def _as_other_user() -> list[str]:
    """Return what runs a command as the server's user: it refuses to be root."""
    if os.geteuid() != 0:
        return []
    return ["setpriv", "--reuid=postgres", "--regid=postgres", "--clear-groups"]


def _free_port() -> int:
    with socket.create_server(("127.0.0.1", 0)) as server:
        return server.getsockname()[1]


@contextmanager
def postgres_server() -> Iterator[str]:
    """Run a server that asks for a password; give host and port of its address."""
    programs, other_user = _programs(), _as_other_user()
    # pytest's own folders are root's alone, and a socket's path must be short.
    folder = Path(tempfile.mkdtemp(prefix="pg"))
    if other_user:
        shutil.chown(folder, "postgres", "postgres")
    port = _free_port()
    word = folder / "word"
    word.write_text(PASSWORD)
    word.chmod(0o644)

    def call(program, *arguments):
        subprocess.run(
            [*other_user, programs / program, *arguments],
            check=True,
            stdout=subprocess.DEVNULL,
            cwd=folder,
        )

    pages = folder / "pages"
    call("initdb", "-D", pages, "-U", USER, "-A", "scram-sha-256", "--pwfile", word, "--no-sync")
    settings = f"-p {port} -k {folder} -c listen_addresses=127.0.0.1 -c fsync=off"
    call("pg_ctl", "-D", pages, "-l", folder / "log", "-o", settings, "-w", "start")
    try:
        yield f"127.0.0.1:{port}"
    finally:
        call("pg_ctl", "-D", pages, "-m", "immediate", "-w", "stop")
        shutil.rmtree(folder)


def new_database(server: str, name: str) -> str:
    """Make an empty database and return its address, without the password."""
    with psycopg.connect(
        f"postgresql://{USER}@{server}/postgres", password=PASSWORD, autocommit=True
    ) as connection:
        connection.execute(f'CREATE DATABASE "{name}"')
    return f"postgresql://{USER}@{server}/{name}"
