"""Making, keeping and adopting plans.

A plan is solved in a child process, at a lower priority than requests, so that the pages stay
quick and an interrupted solve takes nothing with it.
"""

import os
import subprocess
import sys
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path
from tempfile import TemporaryDirectory

from pydantic import ValidationError
from sqlmodel import Session

from scheduler.check import check
from scheduler.plan import Placement, Plan
from scheduler.plan import Run as PlannedRun
from scheduler.problem import Problem
from service.facility.planning import Planning, build_problem, with_freezing
from service.installation import Installation
from service.log import reading
from service.storage.photos import PhotoStore
from shared import events as ev
from shared.vocabulary import Role

PROJECT = Path(__file__).resolve().parents[2]
FIRST_PASS_SHARE = 0.3
GRACE_S = 240
"""Beyond the time given: for loading, checking, and compiling where nobody did so before."""


class SolveError(RuntimeError):
    """No plan was made; the message is the planner's own."""


class MissingPlanError(LookupError):
    """The plan being worked by is on record, but its documents are not here."""


@dataclass(frozen=True)
class Draft:
    """A checked plan that nobody has adopted yet."""

    planning: Planning
    plan: Plan


def draft(here: Installation, seconds: float, seed: int = 0) -> Draft:
    """Plan everything that is here or on its way.

    Solved twice: once as it stands, and once more with those pieces held frozen that would
    otherwise start to dry too late and may be frozen. A plan being worked by whose documents are
    missing is not compared with. Raises ``SolveError``.
    """
    with here.database.read() as session:
        try:
            previous = adopted(session, here.photos)
        except MissingPlanError:
            previous = None
        planning = build_problem(session, here.now(), previous, known=here.facts)
    first = solve_apart(planning.problem, seconds * FIRST_PASS_SHARE, seed)
    frozen = with_freezing(planning, first, known=here.facts)
    if frozen.problem == planning.problem:
        return Draft(
            planning, solve_apart(planning.problem, seconds * (1 - FIRST_PASS_SHARE), seed)
        )
    return Draft(frozen, solve_apart(frozen.problem, seconds * (1 - FIRST_PASS_SHARE), seed))


def solve_apart(problem: Problem, seconds: float, seed: int = 0) -> Plan:
    """Solve in a child process, and check what it gives. Raises ``SolveError``."""
    with TemporaryDirectory(prefix="lagan-plan-") as folder:
        asked, made = Path(folder) / "problem.json", Path(folder) / "plan.json"
        asked.write_text(problem.model_dump_json(), encoding="utf-8")
        command = [sys.executable, "-m", "scheduler", str(asked), "--out", str(made)]
        command += ["--seconds", f"{seconds:g}", "--seed", str(seed)]
        try:
            done = subprocess.run(
                command,
                cwd=PROJECT,
                capture_output=True,
                text=True,
                timeout=seconds + GRACE_S,
                check=False,
                preexec_fn=(lambda: os.nice(10)) if hasattr(os, "nice") else None,
            )
        except subprocess.TimeoutExpired as error:
            raise SolveError(f"the planner was not done after {error.timeout:g} s") from error
        if done.returncode != 0 or not made.exists():
            raise SolveError(done.stderr.strip()[-2000:] or "the planner ended without a plan")
        plan = Plan.model_validate_json(made.read_bytes())
    report = check(problem, plan)
    if not report.passed:
        raise SolveError(f"the plan does not hold: {report.first}")
    return plan


def adopt(here: Installation, made: Draft, actor: str) -> ev.Event:
    """Take a plan as the one to work by: both documents are sealed, and the log names them."""
    problem = here.photos.put_document(made.planning.problem.model_dump_json().encode())
    plan = here.photos.put_document(made.plan.model_dump_json().encode())
    return here.log.say(ev.PlanAdopted(plan=plan, problem=problem), actor=actor, role=Role.LEAD)


def adopted(session: Session, documents: PhotoStore) -> tuple[Problem, Plan] | None:
    """The plan being worked by, with its problem; ``None`` before the first.

    Raises ``MissingPlanError``.
    """
    book = reading.facility(session)
    if book.plan is None or book.problem is None:
        return None
    try:
        return (
            Problem.model_validate_json(documents.get(book.problem)),
            Plan.model_validate_json(documents.get(book.plan)),
        )
    except (KeyError, ValidationError) as error:
        raise MissingPlanError(
            "the plan being worked by is on record, but its documents are not here; make a new one"
        ) from error


@dataclass(frozen=True)
class Timed:
    """A placement with real times."""

    placement: Placement
    starts: datetime
    ends: datetime


def timed(problem: Problem, plan: Plan) -> list[Timed]:
    """Every placement with its times, earliest first."""
    return sorted(
        (
            Timed(
                one,
                problem.epoch + timedelta(minutes=one.start),
                problem.epoch + timedelta(minutes=one.end),
            )
            for one in plan.placements
        ),
        key=lambda one: (one.starts, one.placement.item),
    )


def planned_run(plan: Plan, run_id: str) -> PlannedRun | None:
    """The planned run of this id."""
    return next((run for run in plan.runs if run.id == run_id), None)
