"""The solver's optimum against exact references for up to eight items.

Minute-by-minute brute force (`tests.scheduler.brute_force`) sees every rule but only two or three
items. The references here reach eight, each for a family of problems in which it is enough to try
*sequences* and start everything as early as the sequence allows. That is enough because in these
families

- the objective is regular: no charge falls when something starts or ends later. So there is no
  `previous` plan in them, whose charge for moves is not regular;
- a start may always be moved earlier until something before it stops it: no longest lag, except
  where a whole route moves as one piece;
- the earliest start allowed by calendars never falls when what comes before ends later.

Take any plan and go through it in order of starts: each start can be replaced by the earliest that
those before it leave, which is no later, and nothing after is pushed back. Hence some optimal plan
is semi-active. This is the standard argument for regular measures: M. L. Pinedo, Scheduling:
Theory, Algorithms, and Systems, chapter 2 (classes of schedules); K. R. Baker and D. Trietsch,
Principles of Sequencing and Scheduling, in the chapters on one machine and on job shops (chapters
cited from memory).

The references are written from the meaning of the documents alone and share nothing with the
solver or the verifier.
"""

from collections import defaultdict
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import cache
from itertools import product
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

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
    WaitStep,
)
from tests.scheduler.documents import EPOCH, problem_of
from tests.scheduler.test_solve import best, valid

SIZES = range(1, 9)
FAST = settings(
    deadline=None,
    max_examples=30,
    derandomize=True,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.filter_too_much],
)

Front = list[tuple[int, int]]
"""(minute, charge) pairs, none of which is worse than another in both."""


def step_charge(problem: Problem, item: Item, step: Step, start: int, end: int) -> int:
    """Lateness and late items charged for one step."""
    weights = problem.weights
    charge = 0
    if step.start_by_min is not None and start > step.start_by_min:
        charge += weights.lateness * step.start_by_weight * (start - step.start_by_min)
    if step.due_min is not None and end > step.due_min:
        charge += weights.lateness * item.weight * (end - step.due_min)
    if step == item.steps[-1] and item.due_min is not None and end > item.due_min:
        charge += weights.lateness * item.weight * (end - item.due_min) + weights.late_items
    return charge


def add_to_front(front: Front, minute: int, charge: int) -> None:
    if any(m <= minute and c <= charge for m, c in front):
        return
    front[:] = [(m, c) for m, c in front if m < minute or c < charge]
    front.append((minute, charge))


# --- Runs: items of one batch step each -----------------------------------------------------------


@dataclass(frozen=True)
class Load:
    """A set of items that may share a run in a chamber."""

    mask: int
    programme: str
    minutes: int
    ready: int


def loads(problem: Problem, chamber: Chamber) -> Iterator[Load]:
    """Every set of items that one run of the chamber may take, at its shortest.

    A longer run would end later, cost more and fit fewer windows.
    """
    groups = [{n for n, i in enumerate(problem.items) if i.id in g} for g in problem.together]
    for mask in range(1, 1 << len(problem.items)):
        inside = {n for n in range(len(problem.items)) if mask >> n & 1}
        items = [problem.items[n] for n in sorted(inside)]
        steps = [s for i in items for s in i.steps if isinstance(s, BatchStep)]
        programme = steps[0].programme
        longest = min(s.min_min if s.max_min is None else s.max_min for s in steps)
        shortest = max(s.min_min for s in steps)
        if (
            all(s.programme == programme and chamber.id in s.stations for s in steps)
            and programme in chamber.programmes
            and sum(i.volume_l for i in items) <= chamber.usable_l
            and sum(i.rail_mm for i in items) <= chamber.rail_mm
            and shortest <= longest
            and all(passes(i, chamber) for i in items)
            and all(group <= inside or not group & inside for group in groups)
            and not any(
                a in i.tags and b in j.tags
                for a, b in problem.apart
                for i in items
                for j in items
                if i is not j
            )
        ):
            yield Load(mask, programme, shortest, max(i.release_min for i in items))


def passes(item: Item, chamber: Chamber) -> bool:
    """Whether a box, turned square, goes through the door (the families have no inside_mm)."""
    if item.size_mm is None or chamber.door_mm is None:
        return True
    sides = sorted(item.size_mm)[:2]
    return all(side <= gap for side, gap in zip(sides, sorted(chamber.door_mm), strict=True))


def clean_down(problem: Problem, after: str | None, into: str) -> tuple[int, int]:
    for entry in problem.clean_downs:
        if (entry.after, entry.into) == (after, into):
            return entry.minutes, entry.cost
    default = problem.clean_down_default
    return (0, 0) if after in (None, into) else (default.minutes, default.cost)


def minutes_open(problem: Problem, chamber: Chamber) -> Callable[[int, int], bool]:
    """Whether the chamber is open from one minute to another without a break."""
    if chamber.windows is None:
        return lambda start, end: start >= 0 and end <= problem.horizon_min
    # The number of the window that each minute is in; those that touch may have one number.
    number: dict[int, int] = {}
    for n, window in enumerate(chamber.windows):
        for minute in range(window.start, window.end):
            joins = chamber.windows_join and minute == window.start and minute - 1 in number
            number[minute] = number[minute - 1] if joins else number.get(minute - 1, n)
            if minute == window.start and not joins:
                number[minute] = n
    return lambda start, end: (
        start >= 0
        and end <= problem.horizon_min
        and all(m in number for m in range(start, end))
        and len({number[m] for m in range(start, end)}) == 1
    )


def fronts_of(problem: Problem, chamber: Chamber) -> dict[int, Front]:
    """By set of items: (end of the last run, charge) of the best sequences of runs in one chamber.

    Dynamic programming over subsets: what a sequence of runs leaves to the next is when it ends,
    the programme that it ends with and what it has been charged.
    """
    weights = problem.weights
    licensed = {p.id for p in problem.programmes if p.needs_licence}
    is_open = minutes_open(problem, chamber)

    @cache
    def start_of(load: Load, free_from: int, clean: int) -> int | None:
        for start in range(max(load.ready, free_from + clean), problem.horizon_min):
            if (
                load.programme in licensed
                and problem.licence_windows is not None
                and not any(a <= start < b for a, b in problem.licence_windows)
            ):
                continue
            if is_open(start - clean, start + load.minutes):
                return start
        return None

    @cache
    def charge_of(load: Load, start: int) -> int:
        end = start + load.minutes
        return weights.running_min * load.minutes + sum(
            step_charge(problem, item, item.steps[0], start, end)
            for n, item in enumerate(problem.items)
            if load.mask >> n & 1
        )

    every = list(loads(problem, chamber))
    fronts: dict[int, dict[str | None, Front]] = defaultdict(lambda: defaultdict(list))
    fronts[0][chamber.starts_in] = [(0, 0)]
    for mask in range(1 << len(problem.items)):
        for (after, front), load in product(list(fronts[mask].items()), every):
            if load.mask & mask:
                continue
            minutes, cost = clean_down(problem, after, load.programme)
            for end, charge in front:
                start = start_of(load, end, minutes)
                if start is not None:
                    add_to_front(
                        fronts[mask | load.mask][load.programme],
                        start + load.minutes,
                        charge + charge_of(load, start) + weights.clean_down_cost * cost,
                    )
    return {
        mask: [pair for front in by_last.values() for pair in front]
        for mask, by_last in fronts.items()
    }


def optimum_of_runs(problem: Problem) -> int | None:
    """The least objective, over all ways to share the items out among two chambers."""
    first, second = (fronts_of(problem, c) for c in problem.stations if isinstance(c, Chamber))
    everything = (1 << len(problem.items)) - 1
    return min(
        (
            charge + other_charge + problem.weights.finish * max(end, other_end)
            for mask in range(everything + 1)
            for end, charge in first.get(mask, [])
            for other_end, other_charge in second.get(everything - mask, [])
        ),
        default=None,
    )


@st.composite
def weightings(draw: st.DrawFn) -> dict[str, int]:
    return {
        "lateness": draw(st.integers(0, 3)),
        "late_items": draw(st.integers(0, 9)),
        "running_min": draw(st.integers(0, 3)),
        "clean_down_cost": draw(st.integers(0, 3)),
        "finish": draw(st.integers(0, 3)),
    }


@st.composite
def soft_deadlines(draw: st.DrawFn, latest: int) -> dict[str, int]:
    """A start_by or a due of a step, or both, or none."""
    found = {}
    if draw(st.booleans()):
        found = {
            "start_by_min": draw(st.integers(0, latest)),
            "start_by_weight": draw(st.integers(0, 3)),
        }
    if draw(st.booleans()):
        found["due_min"] = draw(st.integers(0, latest))
    return found


@st.composite
def batch_items(draw: st.DrawFn, number: int) -> dict[str, Any]:
    shortest = draw(st.integers(1, 6))
    step = {
        "id": "run",
        "kind": "batch",
        "stations": draw(st.sampled_from([["c1"], ["c1", "c2"], ["c2", "c1"]])),
        "programme": draw(st.sampled_from(["p", "p", "q"])),
        "min_min": shortest,
        "max_min": draw(st.sampled_from([None, shortest + 2, shortest + 5, shortest + 5])),
    }
    return {
        "id": f"i{number}",
        "weight": draw(st.integers(0, 4)),
        "release_min": draw(st.sampled_from([0, 0, 3, 7, 12])),
        "due_min": draw(st.sampled_from([None, 5, 9, 14, 20, 30])),
        "volume_l": draw(st.integers(0, 3)),
        "rail_mm": draw(st.integers(0, 3)),
        "size_mm": draw(st.sampled_from([None, [9, 1, 5], [2, 6, 6]])),
        "tags": draw(st.sampled_from([[], ["x"], ["x"], ["y"], ["x", "y"]])),
        "steps": [step | draw(soft_deadlines(20))],
    }


@st.composite
def batch_documents(draw: st.DrawFn, size: int) -> dict[str, Any]:
    horizon = draw(st.sampled_from([70, 70, 70, 22]))
    items = [draw(batch_items(n)) for n in range(size)]
    pauses = st.sampled_from([None, [[0, 11], [11, horizon]], [[2, 14], [18, horizon]]])
    pairs = draw(
        st.lists(
            st.sampled_from(
                [(a, b) for a, b in product([None, "p", "q"], "pq") if a != b or a == "p"]
            ),
            unique=True,
        )
    )
    document: dict[str, Any] = {
        "epoch": EPOCH,
        "horizon_min": horizon,
        "stations": [
            {
                "kind": "chamber",
                "id": "c1",
                "usable_l": 7,
                "rail_mm": 9,
                "programmes": ["p", "q"],
                "windows": draw(pauses),
                "windows_join": draw(st.booleans()),
                "starts_in": draw(st.sampled_from([None, "p", "q"])),
            },
            {
                "kind": "chamber",
                "id": "c2",
                "usable_l": draw(st.integers(4, 9)),
                "door_mm": draw(st.sampled_from([None, [6, 3]])),
                "programmes": draw(st.sampled_from([["p"], ["q", "p"]])),
                "windows": draw(pauses),
            },
        ],
        "programmes": [{"id": "p"}, {"id": "q", "needs_licence": draw(st.booleans())}],
        "clean_downs": [
            {
                "after": a,
                "into": b,
                "minutes": draw(st.integers(0, 4)),
                "cost": draw(st.integers(0, 6)),
            }
            for a, b in pairs
        ],
        "clean_down_default": {"minutes": draw(st.integers(0, 3)), "cost": draw(st.integers(0, 4))},
        "licence_windows": draw(
            st.sampled_from([[[1, 3], [5, 6], [9, 10], [14, 16], [21, 60]], None])
        ),
        "apart": draw(st.sampled_from([[["x", "y"]], [], [["x", "x"]], [["y", "y"], ["y", "x"]]])),
        "items": items,
        "weights": draw(weightings()),
    }
    if size > 1 and draw(st.booleans()):
        first, second = items[0], items[-1]
        second["steps"][0]["programme"] = first["steps"][0]["programme"]
        second |= {"volume_l": 3, "rail_mm": 0, "tags": []}
        for member in (first, second):
            member["steps"][0] |= {"min_min": 4, "max_min": 6}
        document["together"] = [[first["id"], second["id"]]]
    return document


@pytest.mark.parametrize("size", SIZES)
@FAST
@given(st.data())
def test_runs_have_the_optimum_over_all_sequences(size: int, data: st.DataObject) -> None:
    problem = valid(data.draw(batch_documents(size)))
    assert best(problem) == optimum_of_runs(problem)


@pytest.mark.parametrize(
    ("apart", "runs"),
    [
        ([], 1),
        ([["x", "y"]], 2),
        ([["x", "x"]], 4),
        ([["x", "x"], ["y", "x"]], 5),
        ([["x", "x"], ["y", "y"], ["x", "y"]], 8),
    ],
)
def test_eight_items_of_two_groups_need_so_many_runs(apart: list[list[str]], runs: int) -> None:
    # Four of each group, room for all in one run of 5 minutes, and only running time is charged.
    step = {"id": "run", "kind": "batch", "stations": ["c1"], "programme": "p", "min_min": 5}
    chamber = {"kind": "chamber", "usable_l": 8, "programmes": ["p"]}
    document = {
        "epoch": EPOCH,
        "horizon_min": 60,
        "stations": [chamber | {"id": "c1"}, chamber | {"id": "c2"}],
        "programmes": [{"id": "p"}],
        "apart": apart,
        "items": [
            {"id": f"{tag}{n}", "volume_l": 1, "tags": [tag], "steps": [step]}
            for tag in "xy"
            for n in range(4)
        ],
        "weights": {"running_min": 1},
    }
    problem = problem_of(document)
    assert optimum_of_runs(problem) == 5 * runs
    assert best(problem) == 5 * runs


# --- Routes: items that visit benches and rooms ---------------------------------------------------


@dataclass(frozen=True)
class Place:
    """A bench or a room: when it is open, and how many units of each resource it has then."""

    spans: tuple[tuple[int, int, tuple[int, ...]], ...]

    @classmethod
    def of(cls, station: Bench | Room, horizon: int) -> "Place":
        if isinstance(station, Bench):
            return cls(tuple((s.start, s.end, (s.people,)) for s in station.shifts))
        capacity = (station.rack_mm, station.removal_g_h)
        windows = station.windows or ((0, horizon),)
        return cls(tuple((start, end, capacity) for start, end in windows))


Busy = tuple[tuple[int, tuple[int, ...]], ...]
"""(end, units of each resource) of what is under way at a place."""


def in_use(busy: Busy, minute: int, resources: int) -> list[int]:
    """Units of each resource in use at a minute that is no earlier than any start."""
    return [sum(units[r] for end, units in busy if end > minute) for r in range(resources)]


def earliest(
    place: Place, busy: Busy, ready: int, minutes: int, units: tuple[int, ...]
) -> int | None:
    """The first start from `ready` on that leaves what began before where it is.

    As everything in `busy` began no later, the use of the place only falls from then on: what fits
    at its start fits to its end.
    """
    for opens, closes, capacity in place.spans:
        moments = [max(ready, opens), *(end for end, _ in busy if end > max(ready, opens))]
        for start in sorted(moments):
            used = in_use(busy, start, len(units))
            if start + minutes <= closes and all(
                u + own <= c for u, own, c in zip(used, units, capacity, strict=True)
            ):
                return start
    return None


@dataclass(frozen=True)
class Partial:
    """A plan of some steps, each begun no earlier than those placed before it.

    `now`: the last start. `ready`: by item, when its next step may start. `busy`: by place.
    """

    done: tuple[int, ...]
    now: int
    ready: tuple[int, ...]
    busy: tuple[Busy, ...]
    charge: int
    finish: int

    def no_worse_than(self, other: "Partial") -> bool:
        """Whether whatever the other goes on to do, this one can do no later and no dearer."""
        if (
            self.charge > other.charge
            or self.finish > other.finish
            or self.now > other.now
            or any(a > max(b, other.now) for a, b in zip(self.ready, other.ready, strict=True))
        ):
            return False
        return all(
            used <= taken
            for own, theirs in zip(self.busy, other.busy, strict=True)
            # The use only falls, and this one's only where something of its own ends.
            for end, units in own
            if end > other.now
            for used, taken in zip(
                in_use(own, end - 1, len(units)), in_use(theirs, end - 1, len(units)), strict=True
            )
        )


class Routes:
    """Every order of starts of a problem of benches, rooms and waits, without the hopeless ones."""

    def __init__(self, problem: Problem) -> None:
        self.problem = problem
        stations = [s for s in problem.stations if isinstance(s, Bench | Room)]
        self.number = {s.id: n for n, s in enumerate(stations)}
        self.places = [Place.of(s, problem.horizon_min) for s in stations]

    def optimum(self) -> int | None:
        """The least objective.

        Dynamic programming over how many steps of each item are done (compare, for job shops,
        J. A. S. Gromicho et al., Computers & Operations Research 39, 2012; cited from memory): of
        the plans that have done the same, those that another is no worse than in every way are
        dropped.
        """
        items = self.problem.items
        empty = Partial(
            (0,) * len(items),
            0,
            tuple(i.release_min for i in items),
            ((),) * len(self.places),
            0,
            0,
        )
        for n in range(len(items)):
            empty = self.after_waits(empty, n)
        layer = {empty.done: [empty]}
        complete = tuple(len(i.steps) for i in items)
        bests: list[int] = []
        while layer:
            following: dict[tuple[int, ...], list[Partial]] = defaultdict(list)
            for plans in layer.values():
                for plan in plans:
                    if plan.done == complete and plan.finish <= self.problem.horizon_min:
                        bests.append(plan.charge + self.problem.weights.finish * plan.finish)
                    for longer in self.longer(plan):
                        same = following[longer.done]
                        if any(p.no_worse_than(longer) for p in same):
                            continue
                        same[:] = [p for p in same if not longer.no_worse_than(p)]
                        same.append(longer)
            layer = following
        return min(bests, default=None)

    def longer(self, plan: Partial) -> Iterator[Partial]:
        """The plan with the next step of one item, at one of its stations."""
        for n, item in enumerate(self.problem.items):
            if plan.done[n] == len(item.steps):
                continue
            step = item.steps[plan.done[n]]
            for station, units in uses(step):
                place = self.number[station]
                start = earliest(
                    self.places[place],
                    plan.busy[place],
                    max(plan.now, plan.ready[n]),
                    step.min_min,
                    units,
                )
                if start is None:
                    continue
                end = start + step.min_min
                busy = list(plan.busy)
                busy[place] = (*busy[place], (end, units))
                longer = Partial(
                    plan.done,
                    start,
                    plan.ready,
                    tuple(tuple(sorted(b for b in own if b[0] > start)) for own in busy),
                    plan.charge,
                    plan.finish,
                )
                yield self.after_waits(self.ended(longer, n, start, end), n)

    def after_waits(self, plan: Partial, n: int) -> Partial:
        """Waits that come next for the item begin at once: they take nothing from anybody."""
        steps = self.problem.items[n].steps
        while plan.done[n] < len(steps) and isinstance(steps[plan.done[n]], WaitStep):
            start = plan.ready[n]
            plan = self.ended(plan, n, start, start + steps[plan.done[n]].min_min)
        return plan

    def ended(self, plan: Partial, n: int, start: int, end: int) -> Partial:
        item = self.problem.items[n]
        k = plan.done[n]
        ready = list(plan.ready)
        ready[n] = end + item.steps[k + 1].lag_min if k + 1 < len(item.steps) else 0
        done = list(plan.done)
        done[n] = k + 1
        charge = plan.charge + step_charge(self.problem, item, item.steps[k], start, end)
        finish = max(plan.finish, end)
        return Partial(tuple(done), plan.now, tuple(ready), plan.busy, charge, finish)


def uses(step: Step) -> list[tuple[str, tuple[int, ...]]]:
    """(station, units of its resources) for each station that the step may take."""
    if isinstance(step, BenchStep):
        return [(s, (step.people,)) for s in step.stations]
    assert isinstance(step, RoomStep)
    assert isinstance(step.g_h, int)
    return [(s, (step.rack_mm, step.g_h)) for s in step.stations]


@st.composite
def route_steps(draw: st.DrawFn, number: int, kind: str) -> dict[str, Any]:
    step = {"id": f"s{number}", "kind": kind, "min_min": draw(st.integers(1, 6))}
    if number:
        step["lag_min"] = draw(st.sampled_from([0, 0, 2]))
    if kind == "bench":
        step["stations"] = draw(st.sampled_from([["b1"], ["b2"], ["b1", "b2"]]))
        step["people"] = draw(st.integers(1, 2)) if step["stations"] == ["b1"] else 1
    elif kind == "room":
        step |= {
            "stations": ["room"],
            "rack_mm": draw(st.integers(0, 3)),
            "g_h": draw(st.integers(0, 2)),
        }
    return step | draw(soft_deadlines(20))


@st.composite
def route_documents(draw: st.DrawFn, size: int) -> dict[str, Any]:
    horizon = draw(st.sampled_from([90, 90, 90, 22]))
    items = []
    routes = [["room", "bench"], ["bench", "room"], ["bench", "wait", "bench"], ["bench"], ["room"]]
    for n in range(size):
        # Two steps with a station for five of the eight keep the number of orders in reach.
        kinds = draw(st.sampled_from(routes if n < 5 else routes[3:]))
        items.append(
            {
                "id": f"i{n}",
                "weight": draw(st.integers(0, 4)),
                "release_min": draw(st.sampled_from([0, 0, 3, 7])),
                "due_min": draw(st.sampled_from([None, 5, 9, 14, 20, 30])),
                "steps": [draw(route_steps(k, kind)) for k, kind in enumerate(kinds)],
            }
        )
    return {
        "epoch": EPOCH,
        "horizon_min": horizon,
        "stations": [
            {
                "kind": "room",
                "id": "room",
                "rack_mm": draw(st.integers(3, 6)),
                "removal_g_h": draw(st.integers(2, 4)),
                "windows": draw(st.sampled_from([None, [[1, 12], [14, horizon]]])),
            },
            {
                "kind": "bench",
                "id": "b1",
                "shifts": draw(
                    st.sampled_from(
                        [[[0, horizon, 2]], [[0, 10, 3], [10, 16, 1], [20, horizon, 2]]]
                    )
                ),
            },
            {"kind": "bench", "id": "b2", "shifts": [[2, horizon, 1]]},
        ],
        "items": items,
        "weights": draw(weightings()),
    }


@pytest.mark.parametrize("size", SIZES)
@FAST
@given(st.data())
def test_routes_have_the_optimum_over_all_orders(size: int, data: st.DataObject) -> None:
    problem = valid(data.draw(route_documents(size)))
    assert best(problem) == Routes(problem).optimum()


# --- Routes without waiting: longest lags ---------------------------------------------------------


def optimum_without_waiting(problem: Problem) -> int | None:
    """The least objective where each item visits the same benches in line without stopping.

    The time between two benches is the same for all, so who is first at one bench is first at the
    next, and a plan is one order of the items: the no-wait flow shop (N. G. Hall and C.
    Sriskandarajah, Operations Research 44, 1996; cited from memory). Each item follows the one
    before as closely as the benches allow. Dynamic programming over the items placed and the last
    of them.
    """
    items = problem.items
    offsets = []
    for item in items:
        at, own = 0, []
        for step in item.steps:
            at += step.lag_min
            own.append((at, at + step.min_min))
            at += step.min_min
        offsets.append(own)

    def apart(first: int, second: int) -> int:
        """Least minutes from the start of one to the start of the next."""
        return max(
            end - start
            for (_, end), (start, _) in zip(offsets[first], offsets[second], strict=True)
        )

    def charge(n: int, start: int) -> int:
        return sum(
            step_charge(problem, items[n], step, start + a, start + b)
            for step, (a, b) in zip(items[n].steps, offsets[n], strict=True)
        )

    fronts: dict[tuple[int, int], Front] = defaultdict(list)
    for n, item in enumerate(items):
        fronts[1 << n, n] = [(item.release_min, charge(n, item.release_min))]
    everything = (1 << len(items)) - 1
    for mask, last, n in product(range(everything), range(len(items)), range(len(items))):
        if mask >> n & 1:
            continue
        for began, charged in fronts.get((mask, last), []):
            start = max(items[n].release_min, began + apart(last, n))
            add_to_front(fronts[mask | 1 << n, n], start, charged + charge(n, start))
    return min(
        (
            charged + problem.weights.finish * (start + offsets[n][-1][1])
            for n in range(len(items))
            for start, charged in fronts[everything, n]
            if start + offsets[n][-1][1] <= problem.horizon_min
        ),
        default=None,
    )


@st.composite
def lines_without_waiting(draw: st.DrawFn, size: int) -> dict[str, Any]:
    horizon = draw(st.sampled_from([120, 120, 120, 40]))
    lags = [0, draw(st.integers(0, 3)), draw(st.integers(0, 3))]
    benches = draw(st.integers(2, 3))
    items = []
    for n in range(size):
        steps = []
        for k in range(benches):
            step = {
                "id": f"s{k}",
                "kind": "bench",
                "stations": [f"b{k}"],
                "min_min": draw(st.integers(1, 6)),
            }
            if k:
                step |= {"lag_min": lags[k], "lag_max": lags[k]}
            steps.append(step | draw(soft_deadlines(30)))
        items.append(
            {
                "id": f"i{n}",
                "weight": draw(st.integers(0, 4)),
                "release_min": draw(st.sampled_from([0, 0, 4, 9])),
                "due_min": draw(st.sampled_from([None, 9, 14, 20, 30])),
                "steps": steps,
            }
        )
    return {
        "epoch": EPOCH,
        "horizon_min": horizon,
        "stations": [
            {"kind": "bench", "id": f"b{k}", "shifts": [[0, horizon, 1]]} for k in range(benches)
        ],
        "items": items,
        "weights": draw(weightings()),
    }


@pytest.mark.parametrize("size", SIZES)
@FAST
@given(st.data())
def test_lines_without_waiting_have_the_optimum_over_all_orders(
    size: int, data: st.DataObject
) -> None:
    problem = valid(data.draw(lines_without_waiting(size)))
    assert best(problem) == optimum_without_waiting(problem)
