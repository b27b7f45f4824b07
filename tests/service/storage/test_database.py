"""The schema that migrations make is the one the models describe, and writes are whole."""

import threading
from pathlib import Path

import pytest
from alembic.autogenerate import compare_metadata
from alembic.config import Config
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import create_engine, inspect, text
from sqlmodel import Session, SQLModel, select

from service.storage import migrations
from service.storage.database import Database, migrate, schema_version
from service.storage.tables import HeardRow


def head() -> str | None:
    config = Config()
    config.set_main_option("script_location", str(next(iter(migrations.__path__))))
    return ScriptDirectory.from_config(config).get_current_head()


def test_a_new_database_stands_at_the_newest_migration(tmp_path: Path) -> None:
    database = Database(tmp_path / "x.db")
    with database.read() as session:
        assert schema_version(session.connection()) == head()
    database.close()


def test_the_migrations_make_exactly_what_the_models_describe(tmp_path: Path) -> None:
    database = Database(tmp_path / "x.db")
    with database.read() as session:
        context = MigrationContext.configure(session.connection(), opts={"compare_type": True})
        assert compare_metadata(context, SQLModel.metadata) == []
    database.close()


def test_every_unique_rule_of_the_log_is_in_the_schema(tmp_path: Path) -> None:
    database = Database(tmp_path / "x.db")
    with database.read() as session:
        rules = inspect(session.connection()).get_unique_constraints("log")
    assert {tuple(rule["column_names"]) for rule in rules} == {
        ("device", "sequence"),
        ("tree", "leaf"),
        ("id",),
    }
    database.close()


def test_opening_again_changes_nothing(tmp_path: Path) -> None:
    path = tmp_path / "x.db"
    first = Database(path)
    with first.write() as session:
        session.add(HeardRow(phone="a", at="2031-05-06T09:00:00Z"))
    first.close()
    second = Database(path)
    with second.read() as session:
        assert [row.phone for row in session.exec(select(HeardRow))] == ["a"]
    second.close()


def test_a_migration_that_fails_leaves_the_database_as_it_was(tmp_path: Path) -> None:
    engine = create_engine(f"sqlite:///{tmp_path / 'x.db'}")
    with engine.begin() as connection:
        connection.execute(text("CREATE TABLE photo (mine TEXT)"))
        connection.execute(text("INSERT INTO photo VALUES ('kept')"))
    with pytest.raises(Exception, match="photo"), engine.begin() as connection:
        migrate(connection)
    with engine.connect() as connection:
        assert connection.execute(text("SELECT mine FROM photo")).scalar_one() == "kept"
    engine.dispose()


def test_a_write_that_fails_keeps_nothing(tmp_path: Path) -> None:
    database = Database(tmp_path / "x.db")

    def half_done(session: Session) -> None:
        session.add(HeardRow(phone="a", at="2031-05-06T09:00:00Z"))
        session.flush()
        raise KeyError

    with pytest.raises(KeyError), database.write() as session:
        half_done(session)
    with database.read() as session:
        assert session.exec(select(HeardRow)).all() == []
    database.close()


def test_writers_wait_for_each_other_and_none_is_lost(tmp_path: Path) -> None:
    database = Database(tmp_path / "x.db")

    def write(name: int) -> None:
        for number in range(5):
            with database.write() as session:
                device = f"{name}-{number}"
                session.add(HeardRow(phone=device, at="2031-05-06T09:00:00Z"))

    threads = [threading.Thread(target=write, args=(name,)) for name in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    with database.read() as session:
        assert len(session.exec(select(HeardRow)).all()) == 20
    database.close()
