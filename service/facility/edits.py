"""What people told the planner, put into a problem: moves, holds, pins and pieces kept apart.

An edit counts until it is withdrawn, until what it speaks of is done or past, or until it can't be
kept any more; then it falls away, and its note says why.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta

from pydantic import ValidationError

import scheduler.problem as sp
from scheduler.consistency import contradictions, why_unusable
from scheduler.explain import named
from scheduler.plan import Plan
from shared import events as ev
from shared.records import PlanEdit
from shared.vocabulary import PlanEditKind, StepKind

DONE = "done: nothing of it is left to plan"
PAST = "its time has passed"


@dataclass(frozen=True)
class Judged:
    """An edit, and why it does not count (any more); the note is empty while it counts."""

    edit: PlanEdit
    note: str = ""

    @property
    def counts(self) -> bool:
        """Whether the next plan keeps it."""
        return not self.note


@dataclass(frozen=True)
class Edited:
    """A problem with the edits that count, all edits judged, and what waits for somebody."""

    problem: sp.Problem
    judged: tuple[Judged, ...]
    held: dict[str, str]


class _NotKeptError(ValueError):
    """The edit cannot count; the message says why."""


@dataclass(frozen=True)
class _State:
    """A problem in the making."""

    problem: sp.Problem
    items: dict[str, sp.Item]
    fixed: tuple[sp.FixedPlacement, ...]
    apart: tuple[tuple[str, str], ...]
    held: dict[str, str] = field(default_factory=dict)

    @classmethod
    def of(cls, problem: sp.Problem) -> "_State":
        items = {item.id: item for item in problem.items}
        return cls(problem, items, problem.fixed, problem.apart)

    def is_fixed(self, item: str, step: str) -> bool:
        return any((one.item, one.step) == (item, step) for one in self.fixed)

    def minute(self, moment: datetime) -> int:
        return round((moment - self.problem.epoch).total_seconds() / 60)

    def station(self, name: str) -> sp.Station:
        found = next((one for one in self.problem.stations if one.id == name), None)
        if found is None:
            raise _NotKeptError(f"there is no {name} any more; choose another place")
        return found

    def with_items(self, *changed: sp.Item) -> "_State":
        return replace(self, items=self.items | {item.id: item for item in changed})

    def document(self) -> sp.Problem:
        """The problem, not validated yet."""
        return self.problem.model_copy(
            update={
                "items": tuple(self.items.values()),
                "fixed": tuple(one for one in self.fixed if self._is_there(one)),
                "apart": self.apart,
                "together": tuple(
                    group
                    for one in self.problem.together
                    if len(group := tuple(name for name in one if self._has_run(name))) > 1
                ),
            }
        )

    def _is_there(self, one: sp.FixedPlacement) -> bool:
        item = self.items.get(one.item)
        return item is not None and any(step.id == one.step for step in item.steps)

    def _has_run(self, name: str) -> bool:
        return name in self.items and any(step.kind == "batch" for step in self.items[name].steps)


def with_edits(problem: sp.Problem, edits: Iterable[PlanEdit]) -> Edited:
    """The problem with every edit that can be kept, in the order in which they were made."""
    state, judged = _State.of(problem), []
    for edit in edits:
        if edit.withdrawn:
            continue
        try:
            told = _APPLY[edit.kind](state, edit)
            found = contradictions(told.document())
            if found:
                raise _NotKeptError(found[0])
        except _NotKeptError as error:
            judged.append(Judged(edit, str(error)))
            continue
        state = told
        judged.append(Judged(edit))
    try:
        edited = sp.Problem.model_validate(dict(state.document()))
    except ValidationError as error:
        raise ValueError(f"the edits of the plan do not fit together: {error}") from error
    return Edited(edited, tuple(judged), state.held)


def _targets(state: _State, edit: PlanEdit) -> list[tuple[sp.Item, int]]:
    """The items that the edit speaks of, each with the number of its step; none under way."""
    found, under_way = [], 0
    for name in edit.pieces:
        item = state.items.get(name)
        if item is None:
            continue
        for number, step in enumerate(item.steps):
            if edit.step in {None, step.id}:
                if not state.is_fixed(name, step.id):
                    found.append((item, number))
                    break
                under_way += 1
    if not found:
        raise _NotKeptError("it is under way already" if under_way else DONE)
    return found


def _with_step(item: sp.Item, number: int, **changed: object) -> sp.Item:
    steps = list(item.steps)
    steps[number] = steps[number].model_copy(update=changed)
    return item.model_copy(update={"steps": tuple(steps)})


def _move(state: _State, edit: PlanEdit) -> _State:
    not_before = state.minute(edit.not_before) if edit.not_before else 0
    if edit.station is None and not_before <= 0:
        raise _NotKeptError(PAST)
    changed = []
    for item, number in _targets(state, edit):
        step, update = item.steps[number], {}
        if edit.station is not None:
            station = state.station(edit.station)
            if step.kind == "wait" or edit.station not in step.stations:
                raise _NotKeptError(
                    f"{named(station)} is not for {_words(step.id)} of {_name(item)}"
                )
            why = why_unusable(item, step, station)
            if why is not None:
                raise _NotKeptError(f"{_name(item)} can't be at {named(station)}: {why}")
            update["stations"] = (edit.station,)
        changed.append(_with_step(item, number, **update, **_later(step, not_before)))
    return state.with_items(*changed)


def _later(step: sp.Step, not_before: int) -> dict[str, object]:
    return {"not_before_min": max(step.not_before_min, not_before, 0)}


def _hold(state: _State, edit: PlanEdit) -> _State:
    if edit.not_before is not None and state.minute(edit.not_before) <= 0:
        raise _NotKeptError(PAST)
    targets = _targets(state, edit)
    if edit.not_before is not None:
        minute = state.minute(edit.not_before)
        if minute >= state.problem.horizon_min:
            raise _NotKeptError("that is later than anything is planned; choose an earlier day")
        return state.with_items(
            *(
                _with_step(item, number, **_later(item.steps[number], minute))
                for item, number in targets
            )
        )
    items, held = dict(state.items), dict(state.held)
    for item, number in targets:
        held[item.id] = f"held before {_words(item.steps[number].id)}: waits for {edit.waits_for}"
        if number:
            items[item.id] = item.model_copy(update={"steps": item.steps[:number]})
        else:
            del items[item.id]
    return replace(state, items=items, held=held)


def _pin(state: _State, edit: PlanEdit) -> _State:
    fixed = []
    for place in edit.placed:
        item = state.items.get(place.piece)
        step = next((one for one in item.steps if one.id == place.step), None) if item else None
        if item is None or step is None or state.is_fixed(item.id, step.id):
            continue
        start, end = state.minute(place.starts_at), state.minute(place.ends_at)
        if start < 0:
            continue
        _must_be_open(state.station(place.station), start, end)
        if start < item.release_min:
            raise _NotKeptError(f"{_name(item)} is not here by then any more")
        fixed.append(
            sp.FixedPlacement(
                item=item.id,
                step=step.id,
                station=place.station,
                start=start,
                end=end,
                run=place.run,
            )
        )
    if not fixed:
        raise _NotKeptError(DONE)
    return replace(state, fixed=(*state.fixed, *fixed))


def _must_be_open(station: sp.Station, start: int, end: int) -> None:
    spans: Sequence[tuple[int, ...]] | None = None
    if isinstance(station, sp.Chamber | sp.Room):
        spans = station.windows
    elif isinstance(station, sp.Bench):
        spans = station.shifts
    if spans is not None and not any(one[0] <= start and end <= one[1] for one in spans):
        raise _NotKeptError(f"{named(station)} is closed or out of use then")


def _separate(state: _State, edit: PlanEdit) -> _State:
    sides = [
        [name for name in side if _awaits_run(state, name)] for side in (edit.pieces, edit.others)
    ]
    if not all(sides):
        raise _NotKeptError(DONE)
    for group in state.problem.together:
        both = [next((name for name in side if name in group), None) for side in sides]
        if both[0] is not None and both[1] is not None:
            first, second = (_name(state.items[str(name)]) for name in both)
            raise _NotKeptError(f"{first} and {second} belong together and share their run")
    groups = (f"{edit.edit}-1", f"{edit.edit}-2")
    changed = [
        state.items[name].model_copy(update={"tags": (*state.items[name].tags, group)})
        for side, group in zip(sides, groups, strict=True)
        for name in side
    ]
    return replace(state.with_items(*changed), apart=(*state.apart, groups))


def _awaits_run(state: _State, name: str) -> bool:
    item = state.items.get(name)
    return item is not None and any(
        step.kind == "batch" and not state.is_fixed(name, step.id) for step in item.steps
    )


_APPLY = {
    PlanEditKind.MOVE: _move,
    PlanEditKind.HOLD: _hold,
    PlanEditKind.PIN: _pin,
    PlanEditKind.SEPARATE: _separate,
}


def places_of(
    problem: sp.Problem, plan: Plan, pieces: Iterable[str], step: str | None = None
) -> tuple[ev.PlannedPlace, ...]:
    """Where the plan has these pieces from now on, and everything in a run that one of them is in:
    a run stays as it is only as a whole.
    """
    wanted = set(pieces)
    mine = [one for one in plan.placements if one.item in wanted and step in {None, one.step}]
    runs = {one.run for one in mine if one.run is not None}
    whole = [one for one in plan.placements if one.run in runs and one.item not in wanted]
    return tuple(
        ev.PlannedPlace(
            piece=one.item,
            step=one.step,
            station=one.station,
            starts_at=problem.epoch + timedelta(minutes=one.start),
            ends_at=problem.epoch + timedelta(minutes=one.end),
            run=one.run,
        )
        for one in (*mine, *whole)
        if one.station is not None
    )


def step_words(step: str) -> str:
    """What people call a planned step."""
    kind, _, session = step.partition("-")
    label = StepKind(kind).label if kind in set(StepKind) else kind.replace("_", " ")
    return f"{label}, session {session}" if session else label


def _words(step: str) -> str:
    return step_words(step).lower()


def _name(item: sp.Item) -> str:
    return item.label or item.id
