"""One database behind two doors: many readers, one writer at a time.

SQLite runs in write-ahead mode with ``synchronous=FULL``, so that an acknowledged event is on the
disk; both are asserted on every connection. Writers take the write lock when they begin
(``BEGIN IMMEDIATE``) and not half-way, so two of them wait for each other instead of failing.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from importlib.resources import as_file, files
from pathlib import Path
from typing import Any

from alembic import command
from alembic.config import Config
from sqlalchemy import Connection, Engine, create_engine, event, text
from sqlmodel import Session

BUSY_S = 30.0


class DurabilityError(RuntimeError):
    """The database would not promise to keep what it acknowledges."""


class Database:
    """An open database with its migrations applied."""

    def __init__(self, path: Path) -> None:
        """Open (and if need be create) the SQLite database at ``path``."""
        path.parent.mkdir(parents=True, exist_ok=True)
        self.path = path
        self._reader = _engine(path, begin="BEGIN")
        self._writer = _engine(path, begin="BEGIN IMMEDIATE")
        with self._writer.begin() as connection:
            migrate(connection)

    @contextmanager
    def read(self) -> Iterator[Session]:
        """A session for reading; what it changes is not kept."""
        with Session(self._reader) as session:
            yield session

    @contextmanager
    def write(self) -> Iterator[Session]:
        """A session whose work is kept whole at the end, or not at all."""
        with Session(self._writer, expire_on_commit=False) as session, session.begin():
            yield session

    def close(self) -> None:
        """Let go of every connection."""
        self._reader.dispose()
        self._writer.dispose()


def _engine(path: Path, begin: str) -> Engine:
    engine = create_engine(
        f"sqlite:///{path}", connect_args={"timeout": BUSY_S, "check_same_thread": False}
    )

    @event.listens_for(engine, "connect")
    def _on_connect(connection: Any, _record: Any) -> None:
        # The driver would otherwise begin transactions on its own terms, and not for every one.
        connection.isolation_level = None
        cursor = connection.cursor()
        mode = cursor.execute("PRAGMA journal_mode=WAL").fetchone()[0]
        cursor.execute("PRAGMA synchronous=FULL")
        cursor.execute("PRAGMA foreign_keys=ON")
        level = cursor.execute("PRAGMA synchronous").fetchone()[0]
        cursor.close()
        if mode != "wal" or level != 2:
            raise DurabilityError(
                f"{path}: journal mode {mode} and synchronous {level}, but wal and 2 (FULL) are "
                "needed; put the data folder on a local disk"
            )

    @event.listens_for(engine, "begin")
    def _on_begin(connection: Connection) -> None:
        connection.exec_driver_sql(begin)

    return engine


def migrate(connection: Connection) -> None:
    """Bring the schema up to the newest migration."""
    with as_file(files("service.storage") / "migrations") as folder:
        config = Config()
        config.set_main_option("script_location", str(folder))
        config.attributes["connection"] = connection
        command.upgrade(config, "head")


def schema_version(connection: Connection) -> str:
    """The migration the database stands at."""
    return str(connection.execute(text("SELECT version_num FROM alembic_version")).scalar_one())
