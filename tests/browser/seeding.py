"""An installation with the small invented scenario in it and a plan adopted."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path

from pydantic import BaseModel

from demo_data.facility import ODOUR_GAS
from demo_data.scenario import Scenario, build
from service.assessing import needed_steps
from service.facility.plans import adopt, adopted, draft, planned_run
from service.installation import Installation
from service.log import reading
from service.log.reading import EVERYTHING
from service.settings import Settings
from shared import events as ev
from shared.vocabulary import Phase, Role, StepKind

PIECES = 60
BATCH = 200
PLAN_S = 2.0
LEAD = "Maelis Corrowby (invented)"


@dataclass(frozen=True)
class Seed:
    """Where the seeded installation lies, and what a test may look for in it.

    Attributes:
        folder: to be copied, never written to.
        now: the moment of planning.
        fire: the loss with the late truck.
        gas_run: a planned run with a gas, whose pieces are ready to be loaded.
        title_conflict: tag of the piece whose title two people entered differently.
    """

    folder: Path
    now: datetime
    fire: str
    gas_run: str
    title_conflict: str


def seed(folder: Path) -> Seed:
    """Write the scenario into ``folder`` as its phones would, and plan it."""
    scenario = build(1, pictures=False, fire_pieces=PIECES, flood_pieces=PIECES)
    here = Installation(Settings(folder=folder), now=lambda: scenario.now)
    try:
        write(here, scenario)
        adopt(here, draft(here, PLAN_S), LEAD)
        gas_run = first_gas_run(here)
        make_ready(here, tags_of(here, gas_run))
    finally:
        here.close()
    conflicts = scenario.planned.conflicts
    return Seed(
        folder=folder,
        now=scenario.now,
        fire=scenario.losses[0],
        gas_run=gas_run,
        title_conflict=next(tag for tag, fields in conflicts.items() if "title" in fields),
    )


def write(here: Installation, scenario: Scenario) -> None:
    """Write the events of ``scenario`` as its phones would send them."""
    events = [event.model_dump(mode="json") for event in scenario.events]
    for at in range(0, len(events), BATCH):
        here.log.append(events[at : at + BATCH])


def tags_of(here: Installation, run_id: str) -> tuple[str, ...]:
    """The pieces that the plan puts into a run. ``LookupError`` for a run it does not have."""
    with here.database.read() as session:
        plan = adopted(session, here.photos)
    run = planned_run(plan[1], run_id) if plan else None
    if run is None:
        raise LookupError(f"there is no planned run {run_id}")
    return tuple(run.items)


def first_gas_run(here: Installation) -> str:
    """The first planned run with a gas. ``LookupError`` when there is none."""
    with here.database.read() as session:
        plan = adopted(session, here.photos)
    runs = [run for run in plan[1].runs if run.programme == ODOUR_GAS] if plan else []
    if not runs:
        raise LookupError("the plan has no run with a gas")
    return min(runs, key=lambda run: run.start).id


def make_ready(here: Installation, tags: Sequence[str]) -> None:
    """Whatever comes before the chamber is done."""
    with here.database.read() as session:
        items = [item for tag in tags if (item := reading.item(session, EVERYTHING, tag))]
    now = here.now()
    done: list[BaseModel] = []
    for item in items:
        for need in needed_steps(item, here.facts):
            if need.step is StepKind.CHAMBER:
                break
            if need.step not in item.steps_done:
                done.append(
                    ev.StepDone(
                        tag=item.tag,
                        step=need.step,
                        started_at=now - timedelta(hours=1),
                        ended_at=now,
                    )
                )
    here.log.say_all(done, actor=LEAD, role=Role.LEAD)


def begin_airing(here: Installation, run_id: str) -> None:
    """Take a planned gas run as far as airing, with one dose and no reading yet."""
    tags = tags_of(here, run_id)
    with here.database.read() as session:
        plan = adopted(session, here.photos)
        book = reading.facility(session)
    planned = planned_run(plan[1], run_id) if plan else None
    programme = book.programme(planned.programme) if planned else None
    if planned is None or programme is None:
        raise LookupError(f"run {run_id} is not planned")
    now = here.now()
    steps: list[BaseModel] = [
        ev.RunOpened(
            run=run_id,
            station=planned.station,
            programme=programme.id,
            version=programme.version,
            tags=tags,
        ),
        ev.PhaseEntered(run=run_id, phase=Phase.LOADING, at=now),
        *(ev.ItemLoaded(run=run_id, tag=tag, station=planned.station) for tag in tags),
        ev.PhaseEntered(run=run_id, phase=Phase.SEALED, at=now),
        ev.DosingChecked(run=run_id, checks=tuple(here.facts.dosing_checks), at=now),
        ev.PhaseEntered(run=run_id, phase=Phase.DOSING, at=now),
        ev.DoseAdded(run=run_id, mass=ev.Mass(value="4", unit="g"), at=now),
        ev.PhaseEntered(run=run_id, phase=Phase.AIRING, at=now),
    ]
    for body in steps:
        here.log.say(body, actor=LEAD, role=Role.LEAD)
