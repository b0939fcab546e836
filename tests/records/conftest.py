"""Both databases for the contract suite: SQLite in a folder, PostgreSQL 15 as Debian installs it."""

import os
import shutil
import socket
import subprocess
import tempfile
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from sqlalchemy import create_engine, text
from sqlalchemy.engine import make_url

from station.records import Records

_POSTGRESQL = Path("/usr/lib/postgresql/15/bin")

OpenRecords = Callable[[], Records]


@pytest.fixture(scope="session")
def postgresql_server() -> Iterator[str]:
    """The URL of a PostgreSQL server of our own, on a free port; stopped at the end."""
    if not (_POSTGRESQL / "initdb").exists():
        _without_server(f"PostgreSQL 15 is not in {_POSTGRESQL}")
    if os.geteuid() == 0 and not _is_user("postgres"):
        _without_server("PostgreSQL refuses to run as root, and there is no user postgres")
    folder = Path(tempfile.mkdtemp(prefix="coilgate-postgresql-"))
    as_owner = ["runuser", "-u", "postgres", "--"] if os.geteuid() == 0 else []
    if as_owner:
        shutil.chown(folder, "postgres")
    data, port = folder / "data", _free_port()
    _run(
        *as_owner,
        _POSTGRESQL / "initdb",
        "-D",
        data,
        "-U",
        "coilgate",
        "-A",
        "trust",
        "-E",
        "UTF8",
        "--no-sync",
    )
    # Nothing here outlives the tests: no need to wait for the disk.
    options = f"-p {port} -c listen_addresses=127.0.0.1 -c unix_socket_directories={folder} -c fsync=off"
    try:
        _run(*as_owner, _POSTGRESQL / "pg_ctl", "-D", data, "-l", folder / "log", "-o", options, "-w", "start")
        yield f"postgresql://coilgate@127.0.0.1:{port}/postgres"
    finally:
        _run(*as_owner, _POSTGRESQL / "pg_ctl", "-D", data, "-m", "immediate", "stop")
        shutil.rmtree(folder)


@pytest.fixture
def postgresql_url(postgresql_server: str, request: pytest.FixtureRequest) -> Iterator[str]:
    """The URL of an empty database."""
    name = f"test_{abs(hash(request.node.nodeid)):x}"
    admin = create_engine(
        make_url(postgresql_server).set(drivername="postgresql+psycopg"), isolation_level="AUTOCOMMIT"
    )
    try:
        with admin.connect() as connection:
            connection.execute(text(f"CREATE DATABASE {name} TEMPLATE template0"))
        yield make_url(postgresql_server).set(database=name).render_as_string(hide_password=False)
        with admin.connect() as connection:
            connection.execute(text(f"DROP DATABASE {name} WITH (FORCE)"))
    finally:
        admin.dispose()


@pytest.fixture(params=["sqlite", pytest.param("postgresql", marks=pytest.mark.slow)])
def records_url(request: pytest.FixtureRequest, tmp_path: Path) -> str:
    """The URL of an empty database of each kind."""
    if request.param == "postgresql":
        return str(request.getfixturevalue("postgresql_url"))
    return f"sqlite:///{tmp_path / 'records.sqlite3'}"


@pytest.fixture
def open_records(records_url: str, tmp_path: Path) -> Iterator[OpenRecords]:
    """Open the same records as often as asked; all are closed at the end."""
    opened: list[Records] = []

    def make() -> Records:
        opened.append(Records.open(tmp_path, url=records_url))
        return opened[-1]

    yield make
    for each in opened:
        each.close()


@pytest.fixture
def records(open_records: OpenRecords) -> Records:
    """Open records without anything in them."""
    return open_records()


def _without_server(why: str) -> None:
    if os.environ.get("COILGATE_NO_SKIPS") == "1":
        pytest.fail(why)
    pytest.skip(why)


def _is_user(name: str) -> bool:
    return subprocess.run(["id", "-u", name], capture_output=True, check=False).returncode == 0


def _free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def _run(*command: str | Path) -> None:
    subprocess.run([str(each) for each in command], check=True, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
