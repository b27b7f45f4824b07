"""Making, keeping and adopting plans.

A plan is solved in a child process, at a lower priority than requests, so that the pages stay
quick and an interrupted solve takes nothing with it.
"""

import json
import os
import signal
import subprocess
import sys
import threading
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import cached_property, lru_cache
from itertools import count
from pathlib import Path
from tempfile import TemporaryDirectory

from pydantic import TypeAdapter, ValidationError
from sqlmodel import Session

from scheduler.answer import Answer
from scheduler.check import check, stamp
from scheduler.explain import Explainer
from scheduler.plan import Placement, Plan
from scheduler.plan import Run as PlannedRun
from scheduler.problem import Item, Problem
from service.facility.edits import places_of
from service.facility.planning import Planning, build_problem, frozen_as_before, with_freezing
from service.installation import Installation
from service.log import reading
from service.storage.photos import PhotoStore
from shared import events as ev
from shared.records import PlanEdit
from shared.vocabulary import PlanEditKind, Role

PROJECT = Path(__file__).resolve().parents[2]
FIRST_PASS_SHARE = 0.3
KEPT = "kept-for-this-plan"
NICENESS = 10
"""Of searches, which take all they are given. A repair takes a second or two of a processor, and
somebody stands before a chamber that failed: it is not put behind anything."""
GRACE_S = 240
"""Beyond the time given: for loading, checking, and compiling where nobody did so before."""
REPAIR_S = 60
"""A repair takes seconds at a thousand pieces; one that takes so long has gone wrong."""
TRIAL_S = 3
"""To look for any plan that keeps an edit, where a repair found none."""


class SolveError(RuntimeError):
    """No plan was made; the message is the planner's own."""


class MissingPlanError(LookupError):
    """The plan being worked by is on record, but its documents are not here."""


@dataclass(frozen=True)
class Progress:
    """How far a search is: seconds so far, the best cost, and what no plan costs less than."""

    seconds: float
    phase: str
    objective: int | None
    bound: int
    gap: float | None


class Watch:
    """Follows a search from outside, and may end it with what it has."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._child: subprocess.Popen[str] | None = None
        self.latest: Progress | None = None
        self.stopped = False

    def follow(self, child: "subprocess.Popen[str]") -> str:
        """Read what a search tells until it ends; gives back what was no progress."""
        with self._lock:
            self._child = child
            if self.stopped:
                child.send_signal(signal.SIGINT)
        assert child.stderr is not None
        words = []
        for line in child.stderr:
            if line.startswith("{"):
                self.latest = Progress(**json.loads(line))
            else:
                words.append(line)
        child.wait()
        with self._lock:
            self._child = None
        return "".join(words)

    def stop(self) -> None:
        """End the search; the best plan so far is kept."""
        with self._lock:
            self.stopped = True
            if self._child is not None:
                self._child.send_signal(signal.SIGINT)


@dataclass(frozen=True)
class Draft:
    """A checked plan that nobody has adopted yet.

    Attributes:
        seen: what was decided about the plan before it was made (``FacilityBook.plan_seen``).
        kept: pieces that stay as the plan in use has them, for this plan alone.
    """

    planning: Planning
    plan: Plan
    seen: str | None = None
    kept: frozenset[str] = frozenset()

    @cached_property
    def digest(self) -> str:
        """The plan's digest."""
        return self.plan.sha256()


def draft(
    here: Installation,
    seconds: float,
    seed: int = 0,
    watch: Watch | None = None,
    kept: frozenset[str] = frozenset(),
) -> Draft:
    """Plan everything that is here or on its way.

    Solved twice: once as it stands, and once more with those pieces held frozen that would
    otherwise start to dry too late and may be frozen. A plan being worked by whose documents are
    missing is not compared with. What is ``kept`` stays as that plan has it. Raises ``SolveError``.
    """
    watch = watch or Watch()
    planning, seen = _problem_now(here, kept)
    plan = solve_apart(planning.problem, seconds * FIRST_PASS_SHARE, seed, watch)
    frozen = with_freezing(planning, plan, known=here.facts)
    if not watch.stopped:
        rest = seconds * (1 - FIRST_PASS_SHARE)
        try:
            plan, planning = solve_apart(frozen.problem, rest, seed, watch), frozen
        except SolveError:
            if not watch.stopped:
                raise
    return Draft(planning, _with_new_names(here, planning.problem, plan), seen, kept)


def repair_draft(here: Installation, watch: Watch | None = None) -> Draft:
    """The plan in use, put back around what has changed since. Raises ``SolveError``."""
    planning, seen = _problem_now(here, frozenset(), as_before=True)
    plan = repair_apart(planning.problem, watch)
    return Draft(planning, _with_new_names(here, planning.problem, plan), seen)


def _with_new_names(here: Installation, problem: Problem, plan: Plan) -> Plan:
    """The plan with no new run named like one that was opened under an earlier plan."""
    with here.database.read() as session:
        opened = {run.run for run in reading.runs(session)}
    opened -= {one.run for one in problem.fixed if one.run is not None}
    taken = opened | {run.id for run in plan.runs}
    free = (name for number in count(1) if (name := f"run-{number:03d}") not in taken)
    names = {run.id: next(free) for run in plan.runs if run.id in opened}
    if not names:
        return plan
    renamed = plan.model_copy(
        update={
            "runs": tuple(
                one.model_copy(update={"id": names.get(one.id, one.id)}) for one in plan.runs
            ),
            "placements": tuple(
                one.model_copy(update={"run": names.get(one.run or "", one.run)})
                for one in plan.placements
            ),
            "verified": None,
        }
    )
    return stamp(problem, renamed)


def try_edit(here: Installation, edit: PlanEdit) -> Draft:
    """The plan in use, changed as little as an edit asks for. Raises ``SolveError`` with why the
    edit can't be.
    """
    planning, seen = _problem_now(here, frozenset(), told=[edit], as_before=True)
    mine = next(one for one in planning.edits if one.edit.edit == edit.edit)
    if not mine.counts:
        raise SolveError(mine.note)
    try:
        plan = repair_apart(planning.problem)
    except SolveError:
        # A repair may miss what a search finds, and a search says which facts are in the way.
        plan = solve_apart(planning.problem, TRIAL_S)
    return Draft(planning, plan, seen)


def _problem_now(
    here: Installation,
    kept: frozenset[str],
    told: Sequence[PlanEdit] = (),
    *,
    as_before: bool = False,
) -> tuple[Planning, str]:
    """The problem of this moment, and what was decided before it."""
    with here.database.read() as session:
        try:
            previous = adopted(session, here.photos)
        except MissingPlanError:
            previous = None
        seen = reading.facility(session).plan_seen
        if kept and previous is not None:
            told = [*told, _kept_as_planned(*previous, kept, here.now())]
        planning = build_problem(session, here.now(), previous, known=here.facts, told=told)
    for one in planning.edits:
        if one.edit.edit == KEPT and not one.counts:
            raise SolveError(f"that can't stay as it is: {one.note}")
    if as_before and previous is not None:
        planning = frozen_as_before(planning, previous[1], known=here.facts)
    return planning, seen


def _kept_as_planned(
    problem: Problem, plan: Plan, pieces: frozenset[str], now: datetime
) -> PlanEdit:
    return PlanEdit(
        edit=KEPT,
        kind=PlanEditKind.PIN,
        pieces=tuple(sorted(pieces)),
        placed=places_of(problem, plan, pieces),
        reason="kept as planned",
        actor="",
        at=ev.utc_text(now),
    )


def solve_apart(
    problem: Problem, seconds: float, seed: int = 0, watch: Watch | None = None
) -> Plan:
    """Solve in a child process, and check what it gives. Raises ``SolveError``."""
    options = ["--seconds", f"{seconds:g}", "--seed", str(seed), "--progress", "json"]
    return _plan_apart(problem, options, seconds + GRACE_S, watch or Watch())


def repair_apart(problem: Problem, watch: Watch | None = None) -> Plan:
    """Put the last plan back around what has changed, in a child process. Raises ``SolveError``."""
    return _plan_apart(problem, ["--repair"], REPAIR_S, watch or Watch(), niceness=0)


def promise_apart(
    problem: Problem,
    plan: Plan,
    new: Sequence[Item],
    *,
    seconds: float,
    zone: str,
    watch: Watch,
) -> Answer:
    """How soon new pieces could be done beside a plan, found in a child process, with every plan
    of the answer checked. Raises ``SolveError``.
    """
    with TemporaryDirectory(prefix="lagan-plan-") as folder:
        present, asked = Path(folder) / "present.json", Path(folder) / "new.json"
        present.write_text(plan.model_dump_json(), encoding="utf-8")
        asked.write_bytes(TypeAdapter(tuple[Item, ...]).dump_json(tuple(new)))
        options = ["--check", str(present), "--promise", str(asked), "--zone", zone]
        options += ["--seconds", f"{seconds:g}", "--progress", "json"]
        made = _scheduled_apart(problem, options, seconds + GRACE_S, watch)
    answer = Answer.model_validate_json(made)
    both = problem.model_copy(update={"items": (*problem.items, *new)})
    for one in (answer.beside, answer.with_room, answer.with_harm):
        if one is not None:
            _hold(both, one)
    return answer


def _plan_apart(
    problem: Problem,
    options: Sequence[str],
    most_s: float,
    watch: Watch,
    niceness: int = NICENESS,
) -> Plan:
    made = _scheduled_apart(problem, options, most_s, watch, niceness)
    plan = Plan.model_validate_json(made)
    _hold(problem, plan)
    return plan


def _hold(problem: Problem, plan: Plan) -> None:
    """Check a plan. Raises ``SolveError``."""
    report = check(problem, plan)
    if not report.passed:
        raise SolveError(f"the plan does not hold: {report.first}")


def _scheduled_apart(
    problem: Problem,
    options: Sequence[str],
    most_s: float,
    watch: Watch,
    niceness: int = NICENESS,
) -> bytes:
    """The document that the planner writes in a child process. Raises ``SolveError``."""
    with TemporaryDirectory(prefix="lagan-plan-") as folder:
        asked, made = Path(folder) / "problem.json", Path(folder) / "made.json"
        asked.write_text(problem.model_dump_json(), encoding="utf-8")
        child = subprocess.Popen(
            [sys.executable, "-m", "scheduler", str(asked), "--out", str(made), *options],
            cwd=PROJECT,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.PIPE,
            text=True,
        )
        if niceness and hasattr(os, "setpriority"):
            os.setpriority(os.PRIO_PROCESS, child.pid, niceness)
        overdue = threading.Timer(most_s, child.kill)
        overdue.start()
        with child:
            words = watch.follow(child)
        late = not overdue.is_alive()
        overdue.cancel()
        if late:
            raise SolveError(f"the planner was not done after {most_s:g} s")
        if child.returncode != 0 or not made.exists():
            if watch.stopped:
                raise SolveError("it was stopped before there was a plan")
            raise SolveError(words.strip()[-2000:] or "the planner ended without a plan")
        return made.read_bytes()


def adopt(here: Installation, made: Draft, actor: str) -> ev.Event:
    """Take a plan as the one to work by: both documents are sealed, and the log names them.

    Raises ``RefusedError`` when something was decided since the plan was made.
    """
    problem = here.photos.put_document(made.planning.problem.model_dump_json().encode())
    plan = here.photos.put_document(made.plan.model_dump_json().encode())
    body = ev.PlanAdopted(plan=plan, problem=problem, after=made.seen)
    return here.log.say(body, actor=actor, role=Role.LEAD)


def adopted(session: Session, documents: PhotoStore) -> tuple[Problem, Plan] | None:
    """The plan being worked by, with its problem; ``None`` before the first.

    Raises ``MissingPlanError``.
    """
    book = reading.facility(session)
    if book.plan is None or book.problem is None:
        return None
    try:
        return _documents(documents, book.problem, book.plan)
    except (KeyError, ValidationError) as error:
        raise MissingPlanError(
            "the plan being worked by is on record, but its documents are not here; make a new one"
        ) from error


@lru_cache(maxsize=4)
def _documents(documents: PhotoStore, problem: str, plan: str) -> tuple[Problem, Plan]:
    """Both documents by their digests, read and validated once."""
    return (
        Problem.model_validate_json(documents.get(problem)),
        Plan.model_validate_json(documents.get(plan)),
    )


@lru_cache(maxsize=2)
def explainer(documents: PhotoStore, problem: str, plan: str) -> Explainer:
    """Answers why about a plan; what it found out is kept. Raises ``KeyError``."""
    return Explainer(*_documents(documents, problem, plan))


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
