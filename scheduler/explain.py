"""Says in a sentence why a step starts when it does, and why an item is late.

Works from the two documents alone: for each step it asks what kept it from starting a minute
sooner.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import timedelta

from scheduler.plan import Placement, Plan, Run
from scheduler.problem import (
    BatchStep,
    Bench,
    BenchStep,
    Chamber,
    Item,
    Problem,
    Room,
    RoomStep,
    Station,
    Step,
    Store,
    StoreStep,
)


@dataclass(frozen=True)
class Reason:
    """Why a step starts no sooner, and how many minutes it has waited since it was ready."""

    step: str
    waited_min: int
    binding: str

    def __str__(self) -> str:
        return f"{self.step}: {self.binding}"


def explain(problem: Problem, plan: Plan, item_id: str) -> str:
    """One sentence on the item: on time or how late, and what it waited for longest.

    Raises:
        KeyError: the problem has no such item.
    """
    item = {i.id: i for i in problem.items}[item_id]
    end = {(p.item, p.step): p.end for p in plan.placements}[item_id, item.steps[-1].id]
    name = item.label or item.id
    verdict = f"{name} ends {_when(problem, end)}"
    if item.due_min is not None:
        late = end - item.due_min
        verdict += f", {_span(late)} late" if late > 0 else f", {_span(-late)} before it is due"
    waits = [r for r in reasons(problem, plan, item_id) if r.waited_min > 0]
    if not waits:
        return f"{verdict}: it never waited, so only shorter steps would end it sooner."
    waits.sort(key=lambda r: -r.waited_min)
    told = "; ".join(
        f"{r.step} waited {_span(r.waited_min)} because {r.binding}" for r in waits[:3]
    )
    return f"{verdict}: {told}."


def reasons(problem: Problem, plan: Plan, item_id: str) -> tuple[Reason, ...]:
    """For each step of the item, in order, what kept it from starting sooner.

    Raises:
        KeyError: the problem has no such item.
    """
    item = {i.id: i for i in problem.items}[item_id]
    place = {(p.item, p.step): p for p in plan.placements}
    facts = {(f.item, f.step) for f in problem.fixed}
    found = []
    ready, why = item.release_min, "it is not here before"
    for step in item.steps:
        own = place[item.id, step.id]
        ready += step.lag_min
        if step.lag_min:
            why = f"it must rest {_span(step.lag_min)} first"
        waited = max(0, own.start - ready)
        if (item.id, step.id) in facts:
            found.append(Reason(step.id, 0, "it is under way or frozen"))
        elif waited == 0:
            found.append(Reason(step.id, 0, why))
        else:
            found.append(Reason(step.id, waited, _binding(problem, plan, item, own, ready)))
        ready, why = own.end, "the step before ends then"
    return tuple(found)


def _binding(problem: Problem, plan: Plan, item: Item, own: Placement, ready: int) -> str:
    """What kept a step that was ready from starting a minute sooner."""
    step = next(s for s in item.steps if s.id == own.step)
    station = next((s for s in problem.stations if s.id == own.station), None)
    if isinstance(step, BatchStep) and isinstance(station, Chamber):
        return _run_binding(problem, plan, item, station, own)
    if station is not None:
        closed = _closed(station, own, ready)
        if closed:
            return closed
        full = _full(problem, plan, station, own)
        if full:
            return full
    held = _held_back(plan, item, step, own)
    return held or "the plan put other work first"


def _closed(station: Station, own: Placement, ready: int) -> str | None:
    """Whether the station opens as the step starts, and whether it was open, but full, before."""
    spans: Iterable[tuple[int, ...]] = ()
    if isinstance(station, Bench):
        spans = station.shifts
    elif isinstance(station, Room):
        spans = station.windows or ()
    if all(s[0] != own.start for s in spans):
        return None
    length = own.end - own.start
    if any(s[0] < own.start and max(s[0], ready) + length <= s[1] for s in spans):
        return f"{_named(station)} had no room before it closed and opens again only then"
    return f"{_named(station)} opens only then"


def _full(problem: Problem, plan: Plan, station: Station, own: Placement) -> str | None:
    """Which resource had no room for the step one minute sooner, and who held it."""
    steps = {(i.id, s.id): (i, s) for i in problem.items for s in i.steps}
    others = [p for p in plan.placements if p.station == station.id and p != own]
    item, step = steps[own.item, own.step]
    sooner = own.model_copy(update={"start": own.start - 1, "end": own.end - 1})
    for resource, capacity in _capacities(station, own.start - 1).items():
        minutes = {sooner.start, *(p.start for p in others if own.start <= p.start < sooner.end)}
        minutes |= {sooner.start + 60 * h for h in range((sooner.end - sooner.start) // 60 + 1)}
        for minute in sorted(minutes):
            here = [p for p in others if p.start <= minute < p.end]
            used = sum(_load(*steps[p.item, p.step], p, resource, minute) for p in here)
            if used + _load(item, step, sooner, resource, minute) > capacity:
                names = ", ".join(sorted({p.item for p in here})[:3])
                more = len({p.item for p in here}) - 3
                names += f" and {more} more" if more > 0 else ""
                return f"{resource} of {_named(station)} is taken by {names}"
    return None


def _capacities(station: Station, minute: int) -> dict[str, int]:
    if isinstance(station, Room):
        return {"the rack": station.rack_mm, "the moisture removal": station.removal_g_h}
    if isinstance(station, Store):
        return {"the volume": station.litres}
    if isinstance(station, Bench):
        return {"the staff": next((s.people for s in station.shifts if s.end > minute), 0)}
    return {}


def _load(item: Item, step: Step, place: Placement, resource: str, minute: int) -> int:
    if isinstance(step, RoomStep):
        if resource == "the rack":
            return step.rack_mm
        if isinstance(step.g_h, int):
            return step.g_h
        hour = (minute - place.start) // 60
        return step.g_h[hour] if hour < len(step.g_h) else 0
    if isinstance(step, StoreStep):
        return item.volume_l if step.litres is None else step.litres
    return step.people if isinstance(step, BenchStep) else 0


def _run_binding(problem: Problem, plan: Plan, item: Item, chamber: Chamber, own: Placement) -> str:
    run = next(r for r in plan.runs if r.id == own.run)
    before = max(
        (r for r in plan.runs if r.station == chamber.id and r.end <= run.clean_down_start),
        key=lambda r: r.end,
        default=None,
    )
    programme = next(p for p in problem.programmes if p.id == run.programme)
    if chamber.windows is not None and any(
        w.start == run.clean_down_start for w in chamber.windows
    ):
        return f"{_named(chamber)} may run only from then on"
    if before is not None and before.end == run.clean_down_start:
        clean = run.start - run.clean_down_start
        cleaned = f" and its clean-down took {_span(clean)}" if clean else ""
        return f"{_named(chamber)} was busy with {before.id} ({before.programme}){cleaned}"
    if (
        programme.needs_licence
        and problem.licence_windows is not None
        and any(w.start == run.start for w in problem.licence_windows)
    ):
        return f"{programme.id} needs a licensed person, available only then"
    last = _last_to_be_ready(problem, plan, run, item)
    if last is not None:
        return f"its run {run.id} waited for {last}"
    return "the plan put other work first"


def _last_to_be_ready(problem: Problem, plan: Plan, run: Run, item: Item) -> str | None:
    """The piece, other than the item, that was ready only when the run began."""
    pieces = {i.id: i for i in problem.items}
    end = {(p.item, p.step): p.end for p in plan.placements}
    in_run = {p.item: p.step for p in plan.placements if p.run == run.id}
    for name in run.items:
        piece = pieces[name]
        n = next(k for k, s in enumerate(piece.steps) if s.id == in_run[name])
        ready = end[name, piece.steps[n - 1].id] if n else piece.release_min
        if name != item.id and ready + piece.steps[n].lag_min == run.start:
            return name
    return None


def _held_back(plan: Plan, item: Item, step: Step, own: Placement) -> str | None:
    """Whether the longest lag to the step after is what holds it back."""
    n = item.steps.index(step)
    if n + 1 == len(item.steps):
        return None
    after = item.steps[n + 1]
    start = next(p.start for p in plan.placements if (p.item, p.step) == (item.id, after.id))
    if after.lag_max is not None and start - own.end == after.lag_max:
        return f"{after.id} must follow within {_span(after.lag_max)} and starts only later"
    return None


def _named(station: Station) -> str:
    return station.label or station.id


def _span(minutes: int) -> str:
    days, rest = divmod(minutes, 1440)
    hours, left = divmod(rest, 60)
    parts = [f"{days} d" * bool(days), f"{hours} h" * bool(hours), f"{left} min" * bool(left)]
    return " ".join(p for p in parts if p) or "0 min"


def _when(problem: Problem, minute: int) -> str:
    return f"{problem.epoch + timedelta(minutes=minute):%Y-%m-%d %H:%M} UTC"
