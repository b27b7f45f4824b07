"""The readings of a run are kept one by one, and are read as if the whole log had been folded."""

from datetime import timedelta
from importlib.resources import as_file, files
from random import Random

from alembic import command
from alembic.config import Config
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from sqlmodel import Session, select

from service.installation import Installation
from service.log import reading
from service.log.folding import entry_of
from service.storage.database import schema_version
from service.storage.tables import LogRow, RecordRow, SampleRow
from shared import events as ev
from shared.records import Run, RunSheet, fold_run
from shared.vocabulary import Phase
from tests.service.facility.house import (
    VASE,
    ZONES,
    allow,
    bring,
    enter,
    furnish,
    gas_read,
    open_run,
    read_all,
    say,
)
from tests.writers import START, Writer, plain


def folded_whole(session: Session, run: str) -> Run | None:
    """The run as a fold of every event in the log has it."""
    entries = [entry_of(row) for row in session.exec(select(LogRow))]
    return fold_run(run, [one for one in entries if getattr(one.body, "run", None) == run])


def a_measured_run(here: Installation) -> None:
    furnish(here)
    bring(here, VASE)
    allow(here, VASE)
    open_run(here, VASE)
    say(here, ev.ItemLoaded(run="run-1", tag=VASE))
    enter(here, Phase.SEALED, Phase.DOSING)
    read_all(here)
    climate = ev.ClimateRead(
        run="run-1", zone=ZONES[0], temperature_c="20", rh_percent="50", taken_at=here.now()
    )
    say(here, climate)
    enter(here, Phase.AIRING)
    read_all(here, "0.01")


def through_the_migration(here: Installation, *way: str) -> None:
    """Take the schema to each of these versions."""
    with as_file(files("service.storage") / "migrations") as folder, here.database.write() as open_:
        config = Config()
        config.set_main_option("script_location", str(folder))
        config.attributes["connection"] = open_.connection()
        for version in way:
            is_older = version < schema_version(open_.connection())
            step = command.downgrade if is_older else command.upgrade
            step(config, version)


def test_a_run_is_read_as_the_whole_log_folds(here: Installation) -> None:
    a_measured_run(here)
    with here.database.read() as session:
        run = reading.run(session, "run-1")
        assert run == folded_whole(session, "run-1")
        assert run is not None
        assert (len(run.gas), len(run.climate), len(run.oxygen)) == (4, 1, 4)


def test_a_reading_is_one_row_and_leaves_the_record_alone(here: Installation) -> None:
    a_measured_run(here)
    with here.database.read() as session:
        before = session.get(RecordRow, "run:run-1")
        assert before is not None
        kept, count = before.data, len(session.exec(select(SampleRow)).all())
    say(here, gas_read(here, ZONES[0], "0.03"))
    with here.database.read() as session:
        after = session.get(RecordRow, "run:run-1")
        assert after is not None
        assert after.data == kept
        assert len(session.exec(select(SampleRow)).all()) == count + 1


def test_readings_that_come_before_their_run_was_opened_are_kept(here: Installation) -> None:
    furnish(here)
    bring(here, VASE)
    say(here, gas_read(here, ZONES[0], "7"))
    with here.database.read() as session:
        assert reading.run(session, "run-1") is None
    open_run(here, VASE)
    with here.database.read() as session:
        run = reading.run(session, "run-1")
        assert run is not None
        assert [one.value for one in run.gas] == ["7"]


@settings(max_examples=15, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(seed=st.integers(0, 2**32))
def test_any_order_of_arrival_gives_the_same_readings(here: Installation, seed: int) -> None:
    run = f"run-{seed}"
    writers = [Writer(f"sensor-{seed}-{name}") for name in range(3)]
    events = plain(
        *(
            writer.say(
                ev.OxygenRead(
                    run=run,
                    zone=ZONES[0],
                    percent=f"20.{number}",
                    taken_at=START + timedelta(minutes=number),
                )
            )
            for number in range(4)
            for writer in writers
        )
    )
    opened = Writer(f"desk-{seed}").say(
        ev.RunOpened(run=run, station="box", programme="gas", version=1, tags=(VASE,))
    )
    furnish_once(here)
    here.log.append(plain(opened))
    Random(seed).shuffle(events)
    for one in events:
        here.log.append([one, one])
    with here.database.read() as session:
        found = reading.run(session, run)
        assert found is not None
        assert [one.percent for one in found.oxygen] == [
            one.percent for one in sorted(found.oxygen, key=lambda one: one.percent)
        ]
        assert len(found.oxygen) == len(events)
        assert found == folded_whole(session, run)


def furnish_once(here: Installation) -> None:
    with here.database.read() as session:
        if reading.facility(session).facility is not None:
            return
    furnish(here)
    bring(here, VASE)


def test_the_schema_goes_back_and_forth_with_the_readings(here: Installation) -> None:
    a_measured_run(here)
    with here.database.read() as session:
        before = reading.run(session, "run-1")
    assert before is not None
    through_the_migration(here, "0002")
    with here.database.read() as session:
        row = session.get(RecordRow, "run:run-1")
        assert row is not None
        assert Run.model_validate_json(row.data) == before
    through_the_migration(here, "0003")
    with here.database.read() as session:
        assert reading.run(session, "run-1") == before
        row = session.get(RecordRow, "run:run-1")
        assert row is not None
        assert RunSheet.model_validate_json(row.data) == before.sheet()
