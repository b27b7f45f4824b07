"""The optimum of a tiny problem by trying every start, duration and station, minute by minute.

Written from the meaning of the document alone; it shares nothing with the solver or the verifier.
"""

import math
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise

from scheduler.problem import (
    BatchStep,
    Bench,
    BenchStep,
    Chamber,
    Item,
    Problem,
    Room,
    RoomStep,
    Step,
    Store,
    StoreStep,
)


@dataclass(frozen=True)
class Placed:
    item: Item
    step: Step
    station: str | None
    start: int
    end: int
    fixed: bool = False


def optimum(problem: Problem) -> int | None:
    """The least objective, or None if no plan keeps the rules."""
    tasks = [(item, k) for item in problem.items for k in range(len(item.steps))]
    best: list[int | None] = [None]

    def extend(placed: list[Placed]) -> None:
        if len(placed) == len(tasks):
            cost = total_cost(problem, placed)
            if cost is not None and (best[0] is None or cost < best[0]):
                best[0] = cost
            return
        item, k = tasks[len(placed)]
        before = placed[-1] if k else None
        for choice in choices(problem, item, item.steps[k], before):
            with_choice = [*placed, choice]
            if best[0] is not None and late_cost(problem, with_choice) >= best[0]:
                continue
            if room_left(problem, with_choice):
                extend(with_choice)

    extend([])
    return best[0]


def choices(problem: Problem, item: Item, step: Step, before: Placed | None) -> Iterator[Placed]:
    for fact in problem.fixed:
        if (fact.item, fact.step) == (item.id, step.id):
            yield Placed(item, step, fact.station, fact.start, fact.end, fixed=True)
            return
    earliest, latest = max(item.release_min, step.not_before_min), problem.horizon_min
    if before is not None:
        earliest = max(0, earliest, before.end + step.lag_min)
        if step.lag_max is not None:
            latest = before.end + step.lag_max
    stations = [None] if step.kind == "wait" else list(step.stations)
    for station in stations:
        for start in range(earliest, latest + 1):
            longest = step.min_min if step.max_min is None else step.max_min
            for length in range(step.min_min, longest + 1):
                if start + length <= problem.horizon_min:
                    placed = Placed(item, step, station, start, start + length)
                    if open_for(problem, placed):
                        yield placed


def open_for(problem: Problem, placed: Placed) -> bool:
    """Calendars that concern one step alone."""
    station = next((s for s in problem.stations if s.id == placed.station), None)
    if isinstance(station, Bench) and isinstance(placed.step, BenchStep):
        return any(
            s.start <= placed.start and placed.end <= s.end and s.people >= placed.step.people
            for s in station.shifts
        )
    if isinstance(station, Room):
        return station.windows is None or any(
            w.start <= placed.start and placed.end <= w.end for w in station.windows
        )
    if isinstance(station, Chamber) and isinstance(placed.step, BatchStep):
        programme = next(p for p in problem.programmes if p.id == placed.step.programme)
        if placed.step.programme not in station.programmes:
            return False
        length = placed.end - placed.start
        if any(moment > length for moment in programme.licence_after_min):
            return False
        asked = [placed.start + moment for moment in programme.licence_after_min]
        asked += [placed.start] * programme.needs_licence + [placed.end] * programme.licence_at_end
        return problem.licence_windows is None or all(
            any(minute in range(*window) for window in problem.licence_windows) for minute in asked
        )
    return True


def room_left(problem: Problem, placed: list[Placed]) -> bool:
    """Capacities at every minute, and the pieces of each run."""
    for station in problem.stations:
        here = [p for p in placed if p.station == station.id]
        if isinstance(station, Chamber):
            if not runs_agree(problem, station, here):
                return False
            continue
        for minute in range(problem.horizon_min):
            now = [p for p in here if p.start <= minute < p.end]
            if isinstance(station, Store):
                held = sum(p.item.volume_l for p in now if isinstance(p.step, StoreStep))
                if held > station.litres:
                    return False
            elif isinstance(station, Room):
                rooms = [(p, p.step) for p in now if isinstance(p.step, RoomStep)]
                if sum(s.rack_mm for _, s in rooms) > station.rack_mm:
                    return False
                if sum(moisture(p, s, minute) for p, s in rooms) > station.removal_g_h:
                    return False
            else:
                people = sum(p.step.people for p in now if isinstance(p.step, BenchStep))
                staff = next((s.people for s in station.shifts if s.start <= minute < s.end), 0)
                if people > staff:
                    return False
    return True


def moisture(placed: Placed, step: RoomStep, minute: int) -> int:
    if isinstance(step.g_h, int):
        return step.g_h
    into = minute - placed.start
    return step.g_h[into // 60] if into < step.min_min and into // 60 < len(step.g_h) else 0


def runs_agree(problem: Problem, chamber: Chamber, here: list[Placed]) -> bool:
    runs: dict[tuple[int, int], list[Placed]] = defaultdict(list)
    for p in here:
        runs[p.start, p.end].append(p)
    spans = sorted(runs)
    if any(b[0] < a[1] for a, b in pairwise(spans)):
        return False
    for members in runs.values():
        if len({p.fixed for p in members}) > 1:
            return False
        if len({p.step.programme for p in members if isinstance(p.step, BatchStep)}) > 1:
            return False
        if sum(p.item.volume_l for p in members) > chamber.usable_l:
            return False
        for a, b in problem.apart:
            for p in members:
                for q in members:
                    if p is not q and a in p.item.tags and b in q.item.tags:
                        return False
    return True


def clean_down(problem: Problem, after: str | None, into: str) -> tuple[int, int]:
    for c in problem.clean_downs:
        if (c.after, c.into) == (after, into):
            return c.minutes, c.cost
    if after in (None, into):
        return 0, 0
    return problem.clean_down_default.minutes, problem.clean_down_default.cost


def late_cost(problem: Problem, placed: list[Placed]) -> int:
    """Charges for lateness so far, which never fall when more is placed."""
    cost = 0
    weights = problem.weights
    for p in placed:
        if p.step.start_by_min is not None:
            late = max(0, p.start - p.step.start_by_min)
            cost += weights.lateness * p.step.start_by_weight * late
        if p.step.due_min is not None:
            cost += weights.lateness * p.item.weight * max(0, p.end - p.step.due_min)
        if p.step is p.item.steps[-1] and p.item.due_min is not None and p.end > p.item.due_min:
            cost += weights.lateness * p.item.weight * (p.end - p.item.due_min)
            cost += weights.late_items
    return cost + weights.finish * max(0, *(p.end for p in placed))


def total_cost(problem: Problem, placed: list[Placed]) -> int | None:
    """The objective, or None if chambers' sequences or travelling together do not work out."""
    cost = late_cost(problem, placed)
    weights = problem.weights
    for chamber in problem.stations:
        if not isinstance(chamber, Chamber):
            continue
        runs = sorted(
            {
                (p.start, p.end, p.step.programme, p.fixed)
                for p in placed
                if p.station == chamber.id and isinstance(p.step, BatchStep)
            }
        )
        after, free_from = chamber.starts_in, -problem.horizon_min
        for start, end, programme, fixed in runs:
            minutes, clean_cost = clean_down(problem, after, programme)
            cleaned = start - minutes
            if cleaned < free_from or (cleaned < 0 and not fixed):
                return None
            if (
                not fixed
                and chamber.windows is not None
                and not any(w.start <= cleaned and end <= w.end for w in chamber.windows)
            ):
                return None
            cost += weights.running_min * (end - start) + weights.clean_down_cost * clean_cost
            cost += weights.energy * math.ceil(chamber.power_w * (end - start) / 60_000)
            after, free_from = programme, end
    for group in problem.together:
        places = defaultdict(list)
        for p in placed:
            if any(f.item in group and f.run is not None for f in problem.fixed):
                break
            if p.item.id in group and isinstance(p.step, BatchStep):
                places[p.item.id].append((p.station, p.start, p.end))
        if len(set(map(tuple, places.values()))) > 1:
            return None
    where = {(p.item.id, p.step.id): p for p in placed}
    for last in problem.previous:
        p = where[last.item, last.step]
        if p.fixed:
            continue
        moved = p.station != last.station or abs(p.start - last.start) > (
            problem.change_tolerance_min
        )
        cost += weights.changes * moved
    return cost
