"""The problem as the solver sees it: indices instead of names, and what follows from it.

Nothing here decides anything; it holds which stations can take which step, when each step can
start at the earliest, and which batch steps form one lot because their items travel together.
"""

from bisect import bisect_left, bisect_right
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import NamedTuple

from scheduler.consistency import joined_windows, why_unusable
from scheduler.licence import (
    asks_for_licence,
    licensed_starts,
    merged,
    starts_by_moments,
)
from scheduler.problem import (
    Bench,
    BenchStep,
    Chamber,
    FixedPlacement,
    Item,
    PreviousPlacement,
    Problem,
    Room,
    RoomStep,
    Station,
    Step,
    Store,
    StoreStep,
)

Spans = Sequence[tuple[int, int]]
UNLIMITED = 2**40
WATT_MINUTES_IN_A_KWH = 60_000


class Load(NamedTuple):
    """What a step takes of a resource from `offset` on; minutes None: until the step ends."""

    resource: str
    offset: int
    minutes: int | None
    amount: int


@dataclass(frozen=True, slots=True)
class Task:
    """One step of one item. Times in minutes; `stations` are those that can take it; no plan has
    it start before `earliest` or end before `earliest_end`, and at least `tail` follows it.
    """

    index: int
    item: int
    position: int
    step: Step
    shortest: int
    longest: int
    lag_min: int
    lag_max: int
    stations: tuple[int, ...]
    loads: tuple[Load, ...]
    lot: int | None = None
    fact: FixedPlacement | None = None
    before: tuple[int, int] | None = None
    earliest: int = 0
    earliest_end: int = 0
    tail: int = 0

    @property
    def kind(self) -> str:
        """Kind of step."""
        return self.step.kind


class Demand(NamedTuple):
    """What a run is asked to be: its programme, and how long it may last, minutes."""

    programme: int
    shortest: int
    longest: int


@dataclass(frozen=True, slots=True)
class Lot:
    """Batch steps that share a run whatever happens: one, or those of a `together` group.

    `tags` are those of each item, `all_tags` of any; it may share no run with one that has a tag
    in `avoids`.
    """

    index: int
    tasks: tuple[int, ...]
    programme: int
    litres: int
    rail: int
    shortest: int
    longest: int
    stations: tuple[int, ...]
    tags: tuple[frozenset[str], ...]
    all_tags: frozenset[str]
    avoids: frozenset[str]
    fact: FixedPlacement | None = None

    @property
    def demand(self) -> Demand:
        """What the lot asks of its run."""
        return Demand(self.programme, self.shortest, self.longest)


@dataclass
class Instance:
    """A problem, indexed. Built once by `Instance.of`."""

    problem: Problem
    stations: tuple[Station, ...]
    tasks: list[Task] = field(default_factory=list)
    lots: list[Lot] = field(default_factory=list)
    routes: list[range] = field(default_factory=list)
    programme_index: dict[str | None, int] = field(default_factory=dict)
    clean_min: list[list[int]] = field(default_factory=list)
    clean_cost: list[list[int]] = field(default_factory=list)
    first_programme: dict[int, int] = field(default_factory=dict)
    licence: Spans | None = None
    licensed: frozenset[int] = frozenset()
    cleared: frozenset[int] = frozenset()
    windows: dict[int, Spans | None] = field(default_factory=dict)
    shifts: dict[tuple[int, int], Spans] = field(default_factory=dict)
    moment_starts: dict[int, Spans] = field(default_factory=dict)
    _licensed_starts: dict[Demand, Spans | None] = field(default_factory=dict)

    @classmethod
    def of(cls, problem: Problem) -> "Instance":
        """Index a (validated) problem."""
        instance = cls(problem=problem, stations=problem.stations)
        instance._programmes()
        instance._calendars()
        instance._tasks()
        instance._lots()
        instance._earliest()
        return instance

    @property
    def horizon(self) -> int:
        """All work ends by this minute."""
        return self.problem.horizon_min

    def item(self, task: Task) -> Item:
        """The item that the task belongs to."""
        return self.problem.items[task.item]

    def chamber(self, station: int) -> Chamber:
        """The station, known to be a chamber."""
        chamber = self.stations[station]
        assert isinstance(chamber, Chamber)
        return chamber

    def previous(self, task: Task) -> Task | None:
        """The task before it in its item's route."""
        return self.tasks[task.index - 1] if task.position else None

    def following(self, task: Task) -> Task | None:
        """The task after it in its item's route."""
        last = self.routes[task.item][-1]
        return self.tasks[task.index + 1] if task.index < last else None

    def is_last(self, task: Task) -> bool:
        """Whether the item's route ends with it."""
        return task.index == self.routes[task.item][-1]

    def lateness(self, task: Task, start: int, end: int) -> tuple[int, bool]:
        """(weighted minutes late, whether its item is late) of a task at these times."""
        item, step = self.item(task), task.step
        late = 0
        if step.due_min is not None:
            late += item.weight * max(0, end - step.due_min)
        if step.start_by_min is not None:
            late += step.start_by_weight * max(0, start - step.start_by_min)
        if self.is_last(task) and item.due_min is not None and end > item.due_min:
            return late + item.weight * (end - item.due_min), True
        return late, False

    def spans(self, task: Task, station: int) -> Spans | None:
        """When the station may take the task; it stays inside one span. None: always."""
        if isinstance(task.step, BenchStep):
            return self.shifts[station, task.step.people]
        return self.windows[station]

    def licensed_starts(self, demand: Demand) -> Spans | None:
        """When the licence lets such a run start, end exclusive; None: always."""
        programme, shortest, longest = demand
        if self.licence is None or programme not in self.licensed:
            return None
        # Only who must be there at the end makes the length matter.
        key = demand if programme in self.cleared else Demand(programme, 0, 0)
        if key not in self._licensed_starts:
            self._licensed_starts[key] = licensed_starts(
                self.problem.programmes[programme], self.licence, shortest, longest
            )
        return self._licensed_starts[key]

    def run_end(self, programme: int, start: int, shortest: int) -> int:
        """When a run that starts then and lasts so long is over at the earliest: where a licensed
        person has to be there at its end, once one is.
        """
        end = start + shortest
        return next_start(self.licence, end, 1) if programme in self.cleared else end

    def last_run_start(self, programme: int, before: int) -> int:
        """The last minute up to this one at which licensed people let a run start, the one at its
        end aside; before all time when there is none.
        """
        spans = self.moment_starts.get(programme)
        if spans is None:
            return before
        n = bisect_left(spans, (before + 1,)) - 1
        return min(before, spans[n][1] - 1) if n >= 0 else -UNLIMITED

    def run_times(
        self, demand: Demand, station: int, after: int, clean: int = 0
    ) -> tuple[int, int]:
        """(start, end) of such a run in a chamber, by calendars alone: both the first from `after`
        on, with so many minutes of clean-down before it; both `UNLIMITED` when there is none.

        The end depends on the start alone (`run_end`) and is never sooner for a later start, so the
        first start also has the first end.
        """
        windows, licensed = self.windows[station], self.licensed_starts(demand)
        start = after
        while True:
            inside = next_start(windows, start - clean, clean + demand.shortest) + clean
            start = next_start(licensed, inside, 1)
            if start >= UNLIMITED:
                return UNLIMITED, UNLIMITED
            if start != inside:
                continue
            end = self.run_end(demand.programme, start, demand.shortest)
            closes = _end_of_span(windows, start - clean)
            if end <= closes:
                return start, end
            start = closes + clean

    def apart(self, first: Lot, second: Lot) -> bool:
        """Whether the two lots may not share a run."""
        return not first.avoids.isdisjoint(second.all_tags)

    def energy_kwh(self, station: int, minutes: int) -> int:
        """What a run of the chamber uses, rounded up to whole kilowatt-hours."""
        return -(-self.chamber(station).power_w * minutes // WATT_MINUTES_IN_A_KWH)

    def clean_down(self, after: int, into: int) -> tuple[int, int]:
        """(minutes, cost) between runs of two programmes."""
        return self.clean_min[after][into], self.clean_cost[after][into]

    def _programmes(self) -> None:
        problem = self.problem
        names: list[str | None] = [p.id for p in problem.programmes]
        self.programme_index = {name: n for n, name in enumerate([*names, None])}
        if problem.licence_windows is not None:
            self.licence = merged(problem.licence_windows)
            by_number = list(enumerate(problem.programmes))
            self.licensed = frozenset(n for n, p in by_number if asks_for_licence(p))
            self.cleared = frozenset(n for n, p in by_number if p.licence_at_end)
            for n in self.licensed:
                starts = starts_by_moments(problem.programmes[n], self.licence)
                if starts is not None:
                    self.moment_starts[n] = starts
        size = len(self.programme_index)
        default, clean = problem.clean_down_default, size - 1
        self.clean_min = [
            [0 if a in (b, clean) else default.minutes for b in range(size)] for a in range(size)
        ]
        self.clean_cost = [
            [0 if a in (b, clean) else default.cost for b in range(size)] for a in range(size)
        ]
        for entry in problem.clean_downs:
            a, b = self.programme_index[entry.after], self.programme_index[entry.into]
            self.clean_min[a][b], self.clean_cost[a][b] = entry.minutes, entry.cost

    def _calendars(self) -> None:
        for n, station in enumerate(self.stations):
            if isinstance(station, Chamber):
                self.windows[n] = joined_windows(station)
                self.first_programme[n] = self.programme_index[station.starts_in]
            elif isinstance(station, Room):
                self.windows[n] = station.windows
            else:
                self.windows[n] = None

    def _tasks(self) -> None:
        index = {s.id: n for n, s in enumerate(self.stations)}
        facts = {(f.item, f.step): f for f in self.problem.fixed}
        last_plan = {(p.item, p.step): p for p in self.problem.previous}
        for i, item in enumerate(self.problem.items):
            first = len(self.tasks)
            for k, step in enumerate(item.steps):
                fact = facts.get((item.id, step.id))
                last = last_plan.get((item.id, step.id))
                usable: tuple[int, ...] = ()
                if fact is not None:
                    usable = () if fact.station is None else (index[fact.station],)
                elif step.kind != "wait":
                    usable = tuple(
                        index[s]
                        for s in dict.fromkeys(step.stations)
                        if why_unusable(item, step, self.stations[index[s]]) is None
                    )
                if isinstance(step, BenchStep):
                    for n in usable:
                        self._shifts(n, step.people)
                self.tasks.append(
                    Task(
                        index=len(self.tasks),
                        item=i,
                        position=k,
                        step=step,
                        shortest=self._shortest(step) if fact is None else fact.end - fact.start,
                        longest=step.longest_min if fact is None else fact.end - fact.start,
                        lag_min=step.lag_min,
                        lag_max=UNLIMITED if step.lag_max is None else step.lag_max,
                        stations=usable,
                        loads=_loads_of(item, step),
                        fact=fact,
                        before=None if fact is not None else _last_place(last, index),
                    )
                )
            self.routes.append(range(first, len(self.tasks)))

    def _shortest(self, step: Step) -> int:
        """The shortest duration: a run also lasts until its last moment with a licensed person."""
        if step.kind != "batch":
            return step.min_min
        programme = self.problem.programmes[self.programme_index[step.programme]]
        return max(step.min_min, programme.last_moment_min)

    def _shifts(self, station: int, people: int) -> None:
        bench = self.stations[station]
        if isinstance(bench, Bench) and (station, people) not in self.shifts:
            shifts = [(s.start, s.end) for s in bench.shifts if s.people >= people]
            self.shifts[station, people] = shifts

    def _lots(self) -> None:
        avoided: dict[str, set[str]] = defaultdict(set)
        for a, b in self.problem.apart:
            avoided[a].add(b)
            avoided[b].add(a)
        number = {item.id: i for i, item in enumerate(self.problem.items)}
        batches = [[t for t in route if self.tasks[t].kind == "batch"] for route in self.routes]
        grouped: set[int] = set()
        for group in self.problem.together:
            for tasks in zip(*(batches[number[name]] for name in group), strict=True):
                if all(self.tasks[t].fact is None for t in tasks):
                    self._lot(tasks, avoided)
                    grouped.update(tasks)
        for own in batches:
            for task in own:
                if task not in grouped:
                    self._lot((task,), avoided)

    def _lot(self, members: tuple[int, ...], avoided: Mapping[str, set[str]]) -> None:
        tasks = [self.tasks[t] for t in members]
        items = [self.item(t) for t in tasks]
        litres, rail = sum(i.volume_l for i in items), sum(i.rail_mm for i in items)
        shared = set(tasks[0].stations).intersection(*(t.stations for t in tasks))
        tags = tuple(frozenset(i.tags) for i in items)
        all_tags = tags[0].union(*tags[1:])
        fact = tasks[0].fact
        step = tasks[0].step
        assert step.kind == "batch"
        lot = Lot(
            index=len(self.lots),
            tasks=members,
            programme=self.programme_index[step.programme],
            litres=litres,
            rail=rail,
            shortest=max(t.shortest for t in tasks),
            longest=min(t.longest for t in tasks),
            stations=tuple(
                sorted(
                    s
                    for s in shared
                    if fact is not None
                    or (self.chamber(s).usable_l >= litres and self.chamber(s).rail_mm >= rail)
                )
            ),
            tags=tags,
            all_tags=all_tags,
            avoids=frozenset().union(*(avoided[tag] for tag in all_tags if tag in avoided)),
            fact=fact,
        )
        self.lots.append(lot)
        for task in tasks:
            self.tasks[task.index] = replace(task, lot=lot.index)

    def _earliest(self) -> None:
        """Earliest starts and least minutes left after the end, from routes and calendars."""
        tails, times = [0] * len(self.tasks), [(0, 0)] * len(self.tasks)
        for route in self.routes:
            tail = 0
            for t in reversed(route):
                tails[t] = tail
                tail += self.tasks[t].shortest + self.tasks[t].lag_min
        at_least: dict[int, int] = defaultdict(int)
        changed = True
        while changed:
            changed = False
            for route in self.routes:
                ready = release = self.problem.items[self.tasks[route[0]].item].release_min
                for t in route:
                    task = self.tasks[t]
                    start = max(release, ready + task.lag_min, task.step.not_before_min)
                    if task.lot is not None:
                        start = max(start, at_least[task.lot])
                    start, ready = times[t] = self._first_times(task, start)
                    if task.lot is not None and start > at_least[task.lot]:
                        changed = changed or len(self.lots[task.lot].tasks) > 1
                        at_least[task.lot] = start
        self.tasks = [
            replace(task, tail=tails[t], earliest=times[t][0], earliest_end=times[t][1])
            for t, task in enumerate(self.tasks)
        ]

    def _first_times(self, task: Task, after: int) -> tuple[int, int]:
        """The first start and the first end that calendars allow from `after` on, without any
        clean-down; a fact's own; beyond the horizon when they allow none.
        """
        if task.fact is not None:
            return task.fact.start, task.fact.end
        if task.lot is not None and task.stations:
            lot = self.lots[task.lot]
            found = [self.run_times(lot.demand, s, after) for s in lot.stations]
            return min(start for start, _ in found), min(end for _, end in found)
        start = after
        if task.stations:
            spans = (self.spans(task, s) for s in task.stations)
            start = min(next_start(own, after, task.shortest) for own in spans)
        return start, start + task.shortest


def start_spans(spans: Spans, duration: int) -> list[tuple[int, int]]:
    """(first, last) starts with the whole duration inside one span."""
    return [(a, b - duration) for a, b in spans if b - a >= duration]


def next_start(spans: Spans | None, after: int, duration: int) -> int:
    """The first start from `after` on with the whole duration inside one span; `UNLIMITED`
    when there is none. Spans are in order and do not overlap.
    """
    if spans is None:
        return after
    for n in range(max(0, bisect_right(spans, (after, UNLIMITED)) - 1), len(spans)):
        start, end = spans[n]
        first = max(after, start)
        if first + duration <= end:
            return first
    return UNLIMITED


def _end_of_span(spans: Spans | None, minute: int) -> int:
    """The end of the span that the minute is in (the later one where two touch); `UNLIMITED` where
    there are no spans.
    """
    if spans is None:
        return UNLIMITED
    return spans[bisect_right(spans, (minute, UNLIMITED)) - 1][1]


def _last_place(last: PreviousPlacement | None, index: dict[str, int]) -> tuple[int, int] | None:
    """(station, start) in the last plan; station -1: none, -2: one that is gone."""
    if last is None:
        return None
    return (-1 if last.station is None else index.get(last.station, -2)), last.start


def _moisture(step: RoomStep) -> list[Load]:
    """What a stay gives off, equal hours joined."""
    if isinstance(step.g_h, int):
        return [Load("moisture", 0, None, step.g_h)] if step.g_h else []
    parts: list[Load] = []
    for hour, rate in enumerate(step.g_h):
        begins, ends = 60 * hour, min(60 * hour + 60, step.min_min)
        if not rate or begins >= ends:
            continue
        last = parts[-1] if parts else None
        if last and last.amount == rate and last.offset + (last.minutes or 0) == begins:
            parts[-1] = last._replace(minutes=ends - last.offset)
        else:
            parts.append(Load("moisture", begins, ends - begins, rate))
    return parts


def _loads_of(item: Item, step: Step) -> tuple[Load, ...]:
    if isinstance(step, RoomStep):
        rack = [Load("rack", 0, None, step.rack_mm)] if step.rack_mm else []
        return (*rack, *_moisture(step))
    if isinstance(step, StoreStep):
        litres = item.volume_l if step.litres is None else step.litres
        return (Load("litres", 0, None, litres),) if litres else ()
    if isinstance(step, BenchStep):
        return (Load("people", 0, None, step.people),)
    return ()


def capacities(station: Station) -> dict[str, int]:
    """Capacity of a room, store or bench by resource."""
    if isinstance(station, Room):
        return {"rack": station.rack_mm, "moisture": station.removal_g_h}
    if isinstance(station, Store):
        return {"litres": station.litres}
    if isinstance(station, Bench):
        return {"people": max((s.people for s in station.shifts), default=0)}
    return {}


def unstaffed(bench: Bench) -> list[tuple[int, int, int]]:
    """(start, end, people) that shifts lack against the bench's best staffed one."""
    most = max((s.people for s in bench.shifts), default=0)
    return [(s.start, s.end, most - s.people) for s in bench.shifts if s.people < most]
