"""What goes wrong while a plan is being carried out, as problems to plan again.

Each scenario takes a problem, its plan and a moment, and makes the problem of that moment: its
epoch is the moment, what has begun is fixed, what begins within `NOTICE_MIN` is frozen unless the
trouble makes it impossible, and the rest of the plan is there as `previous`, so that every move is
charged and counted. Where the trouble keeps a piece from its run, the lead is taken to excuse as
much of its longest wait as the trouble lasts. All of it is invented.
"""

import time
from collections import Counter
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import timedelta

from scheduler.plan import Placement, Plan
from scheduler.problem import (
    Bench,
    Chamber,
    FixedPlacement,
    Item,
    PreviousPlacement,
    Problem,
    Room,
    Shift,
    Station,
    Step,
    Window,
)
from scheduler.solve import NoPlanError, Progress, solve

HOUR, DAY = 60, 1440
NOTICE_MIN = 8 * HOUR
TOLERANCE_MIN = 30
CHAMBER_DOWN_MIN, TRUCK_LATE_MIN, LICENCE_GONE_MIN, RUN_LONGER_MIN = (
    2 * DAY,
    DAY,
    2 * DAY,
    12 * HOUR,
)

Key = tuple[str, str]


def at_moment(problem: Problem, plan: Plan, moment: int) -> Problem:
    """The problem as it stands at a minute after its epoch, with nothing gone wrong.

    Nothing is dropped: what is done stays as a fact in the past, so that it is still charged for.
    """
    items = tuple(_item_later(item, moment) for item in problem.items)
    facts: list[FixedPlacement] = []
    previous: list[PreviousPlacement] = []
    for place in plan.placements:
        start, end = place.start - moment, place.end - moment
        if start < NOTICE_MIN:
            facts.append(
                FixedPlacement(
                    item=place.item,
                    step=place.step,
                    station=place.station,
                    start=start,
                    end=end,
                    run=place.run,
                    state="in_progress" if start <= 0 < end else "frozen",
                )
            )
        else:
            previous.append(_as_previous(place, moment))
    return Problem.model_validate(
        dict(problem)
        | {
            "epoch": problem.epoch + timedelta(minutes=moment),
            "horizon_min": problem.horizon_min - moment,
            "stations": tuple(_station_later(s, moment) for s in problem.stations),
            "licence_windows": None
            if problem.licence_windows is None
            else tuple(_later(problem.licence_windows, moment)),
            "items": items,
            "fixed": tuple(facts),
            "previous": tuple(previous),
            "change_tolerance_min": TOLERANCE_MIN,
        }
    )


def chamber_fails(problem: Problem, plan: Plan, moment: int) -> Problem:
    """The chamber with most runs to come is out of service for `CHAMBER_DOWN_MIN`, from the end of
    the run that is in it; what was frozen for it is not any more.
    """
    now = at_moment(problem, plan, moment)
    to_come = Counter(run.station for run in plan.runs if run.start >= moment)
    name = max(to_come, key=lambda s: (to_come[s], s)) if to_come else plan.runs[0].station
    begun = [f.end for f in now.fixed if f.station == name and f.start <= 0]
    down = (max([0, *begun]), max([0, *begun]) + CHAMBER_DOWN_MIN)
    stations = tuple(
        s.model_copy(update={"windows": tuple(_without(s.windows, down, now.horizon_min))})
        if isinstance(s, Chamber) and s.id == name
        else s
        for s in now.stations
    )
    loose = {(f.item, f.step) for f in now.fixed if f.station == name and f.start > 0}
    return _excused(_freed(now, loose, {"stations": stations}), down[1])


def truck_is_late(problem: Problem, plan: Plan, moment: int) -> Problem:
    """The next truck, and so all that would be released with it, comes `TRUCK_LATE_MIN` later."""
    now = at_moment(problem, plan, moment)
    expected = [i for i in now.items if i.release_min > 0]
    first = min((i.release_min for i in expected), default=0)
    late = {i.id for i in expected if i.release_min == first}
    items = tuple(
        i.model_copy(update={"release_min": first + TRUCK_LATE_MIN}) if i.id in late else i
        for i in now.items
    )
    loose = {(f.item, f.step) for f in now.fixed if f.item in late}
    return _freed(now, loose, {"items": items})


def licence_lapses(problem: Problem, plan: Plan, moment: int) -> Problem:
    """No licensed person for `LICENCE_GONE_MIN`; runs under way go on."""
    now = at_moment(problem, plan, moment)
    licensed = {p.id for p in now.programmes if p.needs_licence}
    runs = {r.id for r in plan.runs if r.programme in licensed}
    windows = tuple(_without(now.licence_windows, (0, LICENCE_GONE_MIN), now.horizon_min))
    loose = {(f.item, f.step) for f in now.fixed if f.run in runs and f.start > 0}
    return _excused(_freed(now, loose, {"licence_windows": windows}), LICENCE_GONE_MIN)


def run_takes_longer(problem: Problem, plan: Plan, moment: int) -> Problem:
    """The run under way that would end next ends `RUN_LONGER_MIN` later."""
    now = at_moment(problem, plan, moment)
    ends = {f.run: f.end for f in now.fixed if f.run is not None and f.start <= 0 < f.end}
    longer = min(ends, key=lambda r: (ends[r], str(r)), default=None)
    if longer is None:
        return now
    end = ends[longer] + RUN_LONGER_MIN
    fixed = tuple(f.model_copy(update={"end": end}) if f.run == longer else f for f in now.fixed)
    members = {f.item: f.station for f in fixed if f.run == longer}
    chamber = next(iter(members.values()))
    clean_down = max((c.minutes for c in now.clean_downs), default=0)
    free_from = end + max(clean_down, now.clean_down_default.minutes)
    loose = {
        (f.item, f.step)
        for f in fixed
        if f.run != longer
        and f.start > 0
        and (f.item in members or (f.station == chamber and f.start < free_from))
    }
    return _excused(_freed(now, loose, {"fixed": fixed}), RUN_LONGER_MIN)


SCENARIOS: dict[str, Callable[[Problem, Plan, int], Problem]] = {
    "chamber fails": chamber_fails,
    "truck is late": truck_is_late,
    "licence lapses": licence_lapses,
    "run takes longer": run_takes_longer,
}


@dataclass(frozen=True)
class Replan:
    """A scenario planned again. Seconds are wall time, to the first feasible plan and in all;
    None where no plan was found.
    """

    scenario: str
    fixed: int
    moved_fixed: int
    seconds_to_first: float | None
    seconds: float
    changes: int | None
    objective: int | None


def plan_again(
    scenario: str, problem: Problem, plan: Plan, moment: int, seconds: float, seed: int = 0
) -> tuple[Replan, Problem, Plan | None]:
    """Make the scenario's problem and solve it; what was measured, the problem and the plan."""
    changed = SCENARIOS[scenario](problem, plan, moment)
    began = time.monotonic()
    first: list[float] = []

    def told(progress: Progress) -> None:
        if progress.objective is not None and not first:
            first.append(time.monotonic() - began)

    try:
        found = solve(changed, seconds=seconds, seed=seed, on_progress=told)
    except NoPlanError:
        found = None
    took = time.monotonic() - began
    measured = Replan(
        scenario=scenario,
        fixed=len(changed.fixed),
        moved_fixed=0 if found is None else moved_facts(changed, found),
        seconds_to_first=first[0] if first else None,
        seconds=took,
        changes=None if found is None else found.amounts.changes,
        objective=None if found is None else found.objective,
    )
    return measured, changed, found


def moved_facts(problem: Problem, plan: Plan) -> int:
    """How many fixed placements the plan has elsewhere or at other times."""
    placed = {(p.item, p.step): (p.station, p.start, p.end, p.run) for p in plan.placements}
    return sum(
        placed.get((f.item, f.step)) != (f.station, f.start, f.end, f.run) for f in problem.fixed
    )


def busy_moment(plan: Plan, share: float = 0.4) -> int:
    """A moment with a run under way: the middle of the run that starts at that share of all."""
    runs = sorted(plan.runs, key=lambda r: (r.start, r.id))
    run = runs[int(share * (len(runs) - 1))]
    return (run.start + run.end) // 2


def _freed(now: Problem, loose: set[Key], update: dict[str, object]) -> Problem:
    """The problem with the update, these steps and those after them in their routes, and whole
    runs, no longer fixed but only `previous`.
    """
    fixed: Iterable[FixedPlacement] = update.get("fixed", now.fixed)  # type: ignore[assignment]
    facts = {(f.item, f.step): f for f in fixed}
    items = {i.id: i for i in now.items}
    waiting = list(loose)
    freed: set[Key] = set()
    members: dict[str | None, list[Key]] = {}
    for key, fact in facts.items():
        members.setdefault(fact.run, []).append(key)
    while waiting:
        key = waiting.pop()
        if key in freed or key not in facts:
            continue
        freed.add(key)
        route = [s.id for s in items[key[0]].steps]
        waiting += [(key[0], s) for s in route[route.index(key[1]) + 1 :]]
        run = facts[key].run
        waiting += [] if run is None else members[run]
    was = {(f.item, f.step): f for f in now.fixed}
    previous = [
        PreviousPlacement(item=k[0], step=k[1], station=f.station, start=f.start, end=f.end)
        for k, f in was.items()
        if k in freed
    ]
    return Problem.model_validate(
        dict(now)
        | update
        | {
            "fixed": tuple(f for k, f in facts.items() if k not in freed),
            "previous": (*now.previous, *previous),
        }
    )


def _excused(now: Problem, minutes: int) -> Problem:
    """Let pieces that wait for a run, the step before being fixed, wait so much longer."""
    fixed = {(f.item, f.step) for f in now.fixed}

    def step(item: Item, n: int) -> Step:
        own = item.steps[n]
        waits = own.kind == "batch" and n > 0 and (item.id, own.id) not in fixed
        if waits and own.lag_max is not None and (item.id, item.steps[n - 1].id) in fixed:
            return own.model_copy(update={"lag_max": own.lag_max + minutes})
        return own

    items = tuple(
        i.model_copy(update={"steps": tuple(step(i, n) for n in range(len(i.steps)))})
        for i in now.items
    )
    return Problem.model_validate(dict(now) | {"items": items})


def _as_previous(place: Placement, moment: int) -> PreviousPlacement:
    return PreviousPlacement(
        item=place.item,
        step=place.step,
        station=place.station,
        start=place.start - moment,
        end=place.end - moment,
        run=place.run,
    )


def _item_later(item: Item, moment: int) -> Item:
    return item.model_copy(
        update={
            "release_min": max(0, item.release_min - moment),
            "due_min": None if item.due_min is None else item.due_min - moment,
            "steps": tuple(_step_later(step, moment) for step in item.steps),
        }
    )


def _step_later(step: Step, moment: int) -> Step:
    return step.model_copy(
        update={
            "start_by_min": None if step.start_by_min is None else step.start_by_min - moment,
            "due_min": None if step.due_min is None else step.due_min - moment,
        }
    )


def _station_later(station: Station, moment: int) -> Station:
    if isinstance(station, Bench):
        shifts = tuple(Shift(s.start - moment, s.end - moment, s.people) for s in station.shifts)
        return station.model_copy(update={"shifts": shifts})
    if isinstance(station, Chamber | Room) and station.windows is not None:
        return station.model_copy(update={"windows": tuple(_later(station.windows, moment))})
    return station


def _later(windows: Iterable[Window], moment: int) -> Iterable[Window]:
    return (Window(w.start - moment, w.end - moment) for w in windows)


def _without(
    windows: Iterable[Window] | None, gone: tuple[int, int], horizon: int
) -> Iterable[Window]:
    """The windows, none meaning always, with a span cut out."""
    for start, end in windows if windows is not None else [Window(-horizon, horizon)]:
        if start < min(end, gone[0]):
            yield Window(start, min(end, gone[0]))
        if max(start, gone[1]) < end:
            yield Window(max(start, gone[1]), end)
