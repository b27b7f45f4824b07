"""A feasible plan in a moment: items in order of a priority rule, each placed as early as fits.

Steps are inserted into the gaps that earlier items left. A batch step joins a run already planned
if that does not delay it much, otherwise it opens one. Where a step comes too late for its longest
lag, the step before is stretched or moved later, as often as needed. At the end everything is
shifted left as far as it goes.
"""

import math
import time
from bisect import bisect_left, bisect_right, insort
from collections import defaultdict
from collections.abc import Callable
from dataclasses import dataclass, field
from itertools import product
from typing import NamedTuple

from scheduler.check import stamp
from scheduler.instance import (
    UNLIMITED,
    Demand,
    Instance,
    Lot,
    Task,
    capacities,
    next_start,
    unstaffed,
)
from scheduler.plan import Plan
from scheduler.problem import Bench, Problem
from scheduler.schedule import Schedule, cost_of, to_plan

MOST_RETRIES = 2_000


class NoDispatchError(ValueError):
    """The rule found no place for an item within the horizon."""


@dataclass(frozen=True)
class Batching:
    """When to open a run: `hold` later than possible, unless a planned run that takes the piece
    starts within `patience`; both in run durations.
    """

    hold: float = 0.0
    patience: float = 1.0


BATCHINGS = tuple(Batching(h, p) for h, p in product((0.0, 0.5), (0.0, 1.0, 3.0)))


class Profile:
    """How much of one resource is in use over time."""

    def __init__(self, capacity: int) -> None:
        self.capacity = capacity
        self._times = [-UNLIMITED]
        self._levels = [0]

    def _cut(self, minute: int) -> int:
        n = bisect_left(self._times, minute)
        if n == len(self._times) or self._times[n] != minute:
            self._times.insert(n, minute)
            self._levels.insert(n, self._levels[n - 1])
        return n

    def add(self, start: int, end: int, load: int) -> None:
        """Use `load` (negative: give back) in [start, end)."""
        if end <= start:
            return
        first = self._cut(start)
        for n in range(first, self._cut(end)):
            self._levels[n] += load

    def free_from(self, start: int, end: int, load: int) -> int:
        """`start` if the load fits throughout, else the end of the last obstacle in between."""
        room = self.capacity - load
        first = bisect_right(self._times, start) - 1
        for n in range(bisect_left(self._times, end) - 1, first - 1, -1):
            if self._levels[n] > room:
                return self._times[n + 1] if n + 1 < len(self._times) else UNLIMITED
        return start


@dataclass(eq=False)
class BoardRun:
    """A run placed so far."""

    station: int
    programme: int
    start: int
    length: int
    litres: int = 0
    rail: int = 0
    lots: list[Lot] = field(default_factory=list)
    fixed: bool = False

    @property
    def end(self) -> int:
        """When it is over."""
        return self.start + self.length

    @property
    def demand(self) -> Demand:
        """What its lots together ask of it."""
        return Demand(
            self.programme,
            max(lot.shortest for lot in self.lots),
            min(lot.longest for lot in self.lots),
        )


class Gap(NamedTuple):
    """The time between two runs of a chamber, either of which may be missing."""

    station: int
    before: BoardRun | None
    after: BoardRun | None


class PlannedRun(NamedTuple):
    """A run that is to be: chamber, start, and the lots in it."""

    station: int
    start: int
    lots: tuple[int, ...]


@dataclass(frozen=True)
class Node:
    """What is placed at once: a task, or a lot's tasks. Links are (task before, task)."""

    tasks: tuple[Task, ...]
    lot: Lot | None
    links: tuple[tuple[Task, Task], ...]


class Board:
    """Everything placed so far."""

    def __init__(self, instance: Instance, batching: Batching) -> None:
        self.instance = instance
        self.batching = batching
        n = len(instance.tasks)
        self.start: list[int | None] = [None] * n
        self.end = [0] * n
        self.station = [-1] * n
        self.run: dict[int, BoardRun] = {}
        self.runs: dict[int, list[BoardRun]] = defaultdict(list)
        self.profiles = {
            (s, resource): Profile(capacity)
            for s, station in enumerate(instance.stations)
            for resource, capacity in capacities(station).items()
        }
        for s, station in enumerate(instance.stations):
            if isinstance(station, Bench):
                for start, end, people in unstaffed(station):
                    self.profiles[s, "people"].add(start, end, people)
        self._place_facts()

    def _place_facts(self) -> None:
        fixed_runs: dict[str, BoardRun] = {}
        for task in self.instance.tasks:
            fact = task.fact
            if fact is None:
                continue
            station = task.stations[0] if task.stations else -1
            if task.lot is None:
                self.put(task, station, fact.start, fact.end)
                continue
            lot = self.instance.lots[task.lot]
            name = str(fact.run)
            if name not in fixed_runs:
                fixed_runs[name] = BoardRun(
                    station, lot.programme, fact.start, fact.end - fact.start, fixed=True
                )
                insort(self.runs[station], fixed_runs[name], key=lambda r: r.start)
            self.enter(lot, fixed_runs[name])

    def put(self, task: Task, station: int, start: int, end: int) -> None:
        """Place a task that is no batch step; whether it fits is for the caller to see to."""
        self.start[task.index], self.end[task.index] = start, end
        self.station[task.index] = station
        self._use(task, +1)

    def take(self, task: Task) -> None:
        """Take a task that is no batch step off the board."""
        self._use(task, -1)
        self.start[task.index] = None

    def _use(self, task: Task, sign: int) -> None:
        station, start, end = self.station[task.index], self.start[task.index], self.end[task.index]
        assert start is not None
        for resource, offset, minutes, load in task.loads:
            first = start + offset
            last = end if minutes is None else min(end, first + minutes)
            self.profiles[station, resource].add(first, last, sign * load)

    def take_node(self, node: "Node") -> None:
        """Take what is placed at once off the board again; fixed work stays."""
        if node.lot is not None:
            if node.lot.fact is None:
                self.leave(node.lot)
        elif node.tasks[0].fact is None:
            self.take(node.tasks[0])

    def fits(self, task: Task, station: int, start: int, length: int) -> int:
        """`start` if the station takes the task then, else a later minute to try."""
        spans = self.instance.spans(task, station)
        at = next_start(spans, start, length)
        if at >= UNLIMITED:
            return at
        for resource, offset, minutes, load in task.loads:
            first = at + offset
            last = at + length if minutes is None else min(at + length, first + minutes)
            free = self.profiles[station, resource].free_from(first, last, load)
            if free > first:
                return free - offset
        return at

    def earliest(self, task: Task, after: int) -> tuple[int, int]:
        """(start, station) of the earliest place of a task that is no batch step."""
        if task.fact is not None:
            start = task.fact.start if task.fact.start >= after else UNLIMITED
            return start, self.station[task.index]
        if not task.stations:
            return (after if after + task.shortest <= self.instance.horizon else UNLIMITED), -1
        best = (UNLIMITED, -1)
        for station in task.stations:
            start = after
            while start + task.shortest <= self.instance.horizon and start < best[0]:
                at = self.fits(task, station, start, task.shortest)
                if at == start:
                    best = (start, station)
                    break
                start = at
        return best

    def stretched(self, task: Task, until: int) -> bool:
        """Make a stay last until then, if it may and there is room for it."""
        start, station = self.start[task.index], self.station[task.index]
        if task.lot is not None or task.fact is not None or start is None:
            return False
        if until - start > task.longest:
            return False
        end = self.end[task.index]
        self.take(task)
        if station < 0 or self.fits(task, station, start, until - start) == start:
            self.put(task, station, start, until)
            return True
        self.put(task, station, start, end)
        return False

    def open(self, planned: PlannedRun) -> None:
        """Put a planned run onto the board."""
        lots = [self.instance.lots[n] for n in planned.lots]
        length = max(lot.shortest for lot in lots)
        run = BoardRun(planned.station, lots[0].programme, planned.start, length)
        insort(self.runs[planned.station], run, key=lambda r: r.start)
        for lot in lots:
            self.enter(lot, run)

    def enter(self, lot: Lot, run: BoardRun) -> None:
        """Put a lot into a run that takes it."""
        run.lots.append(lot)
        run.litres += lot.litres
        run.rail += lot.rail
        self.run[lot.index] = run
        self._settle(run)

    def leave(self, lot: Lot) -> None:
        """Take the lot out of its run, and the run off the board if nothing is left in it."""
        run = self.run.pop(lot.index)
        run.lots.remove(lot)
        run.litres -= lot.litres
        run.rail -= lot.rail
        for t in lot.tasks:
            self.start[t] = None
        if run.lots:
            self._settle(run)
        else:
            self.runs[run.station].remove(run)

    def _settle(self, run: BoardRun) -> None:
        if not run.fixed:
            shortest = max(lot.shortest for lot in run.lots)
            run.length = self.instance.run_end(run.programme, run.start, shortest) - run.start
        for lot in run.lots:
            for t in lot.tasks:
                self.start[t], self.end[t], self.station[t] = run.start, run.end, run.station

    def enter_earliest(self, lot: Lot, after: int) -> int:
        """Put the lot into a run starting at `after` or later; returns the start."""
        joined = min(
            (run for s in lot.stations for run in self.runs[s] if self.takes(run, lot, after)),
            key=lambda r: r.start,
            default=None,
        )
        start, station = min(
            ((self.earliest_run(lot, s, after), s) for s in lot.stations), default=(UNLIMITED, -1)
        )
        patience = int(self.batching.patience * lot.shortest)
        if joined is not None and joined.start <= start + patience:
            self.enter(lot, joined)
            return joined.start
        if start >= UNLIMITED:
            return UNLIMITED
        if self.batching.hold:
            later = self.earliest_run(lot, station, start + int(self.batching.hold * lot.shortest))
            start = later if later < UNLIMITED else start
        run = BoardRun(station, lot.programme, start, lot.shortest)
        insort(self.runs[station], run, key=lambda r: r.start)
        self.enter(lot, run)
        return start

    def takes(self, run: BoardRun, lot: Lot, after: int) -> bool:
        """Whether a lot that is ready at `after` may join the run, with all else left in place."""
        if run.fixed or run.start < after or run.programme != lot.programme:
            return False
        chamber = self.instance.chamber(run.station)
        if run.litres + lot.litres > chamber.usable_l or run.rail + lot.rail > chamber.rail_mm:
            return False
        _, shortest, longest = run.demand
        end = self.instance.run_end(run.programme, run.start, max(shortest, lot.shortest))
        length = end - run.start
        if length > min(lot.longest, longest):
            return False
        if length > run.length and not self._may_last(run, length):
            return False
        return not any(self.instance.apart(lot, other) for other in run.lots)

    def _may_last(self, run: BoardRun, length: int) -> bool:
        """Whether the run can last so long with everything after it left in place."""
        end = run.start + length
        for lot in run.lots:
            for t in lot.tasks:
                after = self.instance.following(self.instance.tasks[t])
                if after is not None and self.start[after.index] is not None:
                    start = self.start[after.index]
                    if start is not None and start < end + after.lag_min:
                        return False
        beside = self.runs[run.station]
        n = beside.index(run)
        gap = Gap(
            run.station,
            beside[n - 1] if n else None,
            beside[n + 1] if n + 1 < len(beside) else None,
        )
        return end <= self.instance.horizon and self.gap_suits(
            gap, run.programme, run.start, length
        )

    def _after(self, station: int, before: BoardRun | None) -> int:
        return before.programme if before else self.instance.first_programme[station]

    def gap_suits(self, gap: Gap, programme: int, start: int, length: int) -> bool:
        """Whether a run at `start` keeps to the windows and leaves the next run its clean-down."""
        windows, after = self.instance.windows[gap.station], gap.after
        clean = self.instance.clean_min[self._after(gap.station, gap.before)][programme]
        if next_start(windows, start - clean, clean + length) != start - clean:
            return False
        if after is None:
            return True
        clean = self.instance.clean_min[programme][after.programme]
        if start + length + clean > after.start:
            return False
        return after.fixed or next_start(windows, after.start - clean, clean + after.length) == (
            after.start - clean
        )

    def earliest_run(self, lot: Lot, station: int, after: int) -> int:
        """The earliest start of a run of this lot alone in the gaps between the chamber's runs."""
        runs = self.runs[station]
        for n in range(bisect_right(runs, after, key=lambda r: r.start), len(runs) + 1):
            before = runs[n - 1] if n else None
            gap = Gap(station, before, runs[n] if n < len(runs) else None)
            start, end = self.run_times(lot.demand, gap, after)
            if end > self.instance.horizon:
                return UNLIMITED
            if self.gap_suits(gap, lot.programme, start, end - start):
                return start
        return UNLIMITED

    def run_times(self, demand: Demand, gap: Gap, after: int) -> tuple[int, int]:
        """The earliest (start, end) from `after` on behind the run before, by clean-down and
        calendars.
        """
        station, before = gap.station, gap.before
        clean = self.instance.clean_min[self._after(station, before)][demand.programme]
        least = max(after, clean, before.end + clean if before else 0)
        return self.instance.run_times(demand, station, least, clean)

    def schedule(self) -> Schedule:
        """What is placed, once everything is."""
        names = {
            id(run): min(lot.index for lot in run.lots)
            for runs in self.runs.values()
            for run in runs
        }
        return Schedule(
            start=tuple(s if s is not None else 0 for s in self.start),
            end=tuple(self.end),
            station=tuple(self.station),
            run=tuple(names[id(self.run[lot.index])] for lot in self.instance.lots),
        )


class Unit:
    """Items that share runs, placed together; mostly a single item."""

    def __init__(self, board: Board, nodes: list[Node]) -> None:
        self.board = board
        self.nodes = nodes
        self.where = {t.index: n for n, node in enumerate(nodes) for t in node.tasks}
        self.not_before = [-UNLIMITED] * len(nodes)

    def place(self) -> None:
        """Place every node, moving earlier ones later where a longest lag asks for it.

        Raises:
            NoDispatchError: no place was found within the horizon.
        """
        n = tries = 0
        while n < len(self.nodes):
            tries += 1
            back = self._place_node(n)
            if tries > MOST_RETRIES:
                raise NoDispatchError(self._reason(n))
            if back is None:
                n += 1
                continue
            for later in range(n, back - 1, -1):
                self.board.take_node(self.nodes[later])
            n = back

    def _reason(self, n: int) -> str:
        task = self.nodes[n].tasks[0]
        return f"no place for step {task.step.id!r} of {self.board.instance.item(task).id!r}"

    def _place_node(self, n: int) -> int | None:
        """Place one node; returns the node to go back to when a longest lag is broken."""
        board, node = self.board, self.nodes[n]
        after = self.not_before[n]
        for before, task in node.links:
            after = max(after, board.end[before.index] + task.lag_min)
        for task in node.tasks:
            after = max(after, task.earliest)
        if node.lot is not None:
            if node.lot.fact is not None:
                start = node.lot.fact.start if node.lot.fact.start >= after else UNLIMITED
            else:
                start = board.enter_earliest(node.lot, after)
        else:
            task = node.tasks[0]
            start, station = board.earliest(task, after)
            if start < UNLIMITED and task.fact is None:
                board.put(task, station, start, start + task.shortest)
        if start >= UNLIMITED:
            raise NoDispatchError(self._reason(n))
        late = [
            before
            for before, task in node.links
            if start - board.end[before.index] > task.lag_max
            and not (before.fact is not None and task.fact is not None)
            and not self.board.stretched(before, start - task.lag_max)
        ]
        if not late:
            return None
        first = n
        for before, task in node.links:
            if before in late:
                if before.fact is not None:
                    raise NoDispatchError(self._reason(n))
                origin = self.where[before.index]
                at = start - task.lag_max - before.shortest
                self.not_before[origin] = max(self.not_before[origin], at)
                first = min(first, origin)
        return first


def latest_start(instance: Instance, route: range) -> int:
    """When the route must start for its tightest deadline, taking no time for waiting."""
    latest, elapsed = UNLIMITED, 0
    for t in route:
        task = instance.tasks[t]
        elapsed += task.lag_min
        if task.step.start_by_min is not None:
            latest = min(latest, task.step.start_by_min - elapsed)
        elapsed += task.shortest
        if task.step.due_min is not None:
            latest = min(latest, task.step.due_min - elapsed)
    due = instance.item(instance.tasks[route[0]]).due_min
    return latest if due is None else min(latest, due - elapsed)


def _arrival(instance: Instance, item: int) -> tuple[float, ...]:
    return (instance.problem.items[item].release_min,)


def _deadline(instance: Instance, item: int) -> tuple[float, ...]:
    piece = instance.problem.items[item]
    dues = [d for d in (piece.due_min, *(s.due_min for s in piece.steps)) if d is not None]
    return min(dues, default=UNLIMITED), piece.release_min


def _slack(instance: Instance, item: int) -> tuple[float, ...]:
    return (latest_start(instance, instance.routes[item]),)


def importance(instance: Instance, item: int) -> int:
    """The highest charge for a minute late that the item can incur, at least 1."""
    piece = instance.problem.items[item]
    return max(1, piece.weight, *(s.start_by_weight for s in piece.steps))


def station_share(instance: Instance, item: int) -> float:
    """Minutes of whole stations that the item takes, summed over its route."""
    total = 0.0
    for t in instance.routes[item]:
        task = instance.tasks[t]
        if task.lot is not None:
            chamber = instance.chamber(task.stations[0])
            taken = instance.problem.items[item].volume_l / chamber.usable_l
            total += task.shortest * taken / len(task.stations)
        elif task.loads:
            limits = capacities(instance.stations[task.stations[0]])
            parts = (
                (task.shortest if load.minutes is None else load.minutes)
                * (load.amount / max(1, limits[load.resource]))
                for load in task.loads
            )
            total += max(parts) / len(task.stations)
    return total + 1e-6


def _urgency(instance: Instance, item: int) -> tuple[float, ...]:
    """Slack against work, then importance."""
    piece, route = instance.problem.items[item], instance.routes[item]
    work = sum(instance.tasks[t].shortest for t in route) or 1
    slack = max(0, latest_start(instance, route) - piece.release_min)
    return (1 + slack / work) / importance(instance, item), piece.release_min


def _ratio(instance: Instance, item: int) -> tuple[float, ...]:
    """Smith's ratio: importance against the share of the stations taken."""
    piece = instance.problem.items[item]
    return -importance(instance, item) / station_share(instance, item), piece.release_min


def _ratio_in_time(instance: Instance, item: int) -> tuple[float, ...]:
    """Smith's ratio, discounted while the latest start is far off."""
    piece, route = instance.problem.items[item], instance.routes[item]
    work = sum(instance.tasks[t].shortest for t in route) or 1
    slack = max(0, latest_start(instance, route) - piece.release_min)
    discount = math.exp(-min(50.0, slack / (2 * work)))
    return -importance(instance, item) / station_share(instance, item) * discount, piece.release_min


def _programme(instance: Instance, item: int) -> tuple[float, ...]:
    lots = [instance.tasks[t].lot for t in instance.routes[item]]
    first = next((instance.lots[lot].programme for lot in lots if lot is not None), -1)
    return first, *_deadline(instance, item)


# The most promising first, as time may be short.
RULES: dict[str, Callable[[Instance, int], tuple[float, ...]]] = {
    "ratio in time": _ratio_in_time,
    "deadline": _deadline,
    "urgency": _urgency,
    "ratio": _ratio,
    "slack": _slack,
    "programme": _programme,
    "arrival": _arrival,
}


def units_of(instance: Instance) -> list[tuple[int, ...]]:
    """Items that must be placed at once because they travel together; the others alone."""
    number = {item.id: i for i, item in enumerate(instance.problem.items)}
    grouped = [tuple(number[name] for name in group) for group in instance.problem.together]
    inside = {i for group in grouped for i in group}
    alone = [(i,) for i in range(len(instance.problem.items)) if i not in inside]
    return [g for g in grouped if g] + alone


def order_by(instance: Instance, rule: str) -> list[tuple[int, ...]]:
    """The units in order of the rule.

    Raises:
        KeyError: there is no such rule.
    """
    key = RULES[rule]
    keys = {unit: min(key(instance, i) for i in unit) for unit in units_of(instance)}
    return sorted(keys, key=lambda unit: (keys[unit], unit))


def schedule_in_order(
    instance: Instance, order: list[tuple[int, ...]], batching: Batching
) -> Schedule:
    """Place the units in the order given, then shift left.

    Raises:
        NoDispatchError: the order found no place for an item within the horizon.
    """
    board = Board(instance, batching)
    for unit in order:
        Unit(board, nodes_of(instance, unit)).place()
    _shift_left(board)
    return board.schedule()


def around_runs(instance: Instance, schedule: Schedule, runs: list[PlannedRun]) -> Schedule:
    """The runs as given, with the steps before an item's first run where the schedule has them
    and the steps after placed anew, those first that the schedule has first.

    Raises:
        NoDispatchError: a step after a run found no place in time.
    """
    board = Board(instance, Batching())
    for run in runs:
        board.open(run)
    later: list[tuple[int, int]] = []
    for route in instance.routes:
        after_run = False
        for t in route:
            task = instance.tasks[t]
            after_run = after_run or (task.lot is not None and task.fact is None)
            if task.fact is not None or task.lot is not None:
                continue
            if after_run:
                later.append((schedule.start[t], t))
            else:
                board.put(task, schedule.station[t], schedule.start[t], schedule.end[t])
    # A step starts after those before it in its route, also in the order of the old starts.
    for _, t in sorted(later):
        _place_after(board, instance.tasks[t])
    for route in instance.routes:
        for t in route[1:]:
            _hold_links(board, instance.tasks[t])
    _shift_left(board)
    return board.schedule()


def _place_after(board: Board, task: Task) -> None:
    before = board.instance.previous(task)
    ready = task.earliest
    if before is not None:
        ready = max(ready, board.end[before.index] + task.lag_min)
    start, station = board.earliest(task, ready)
    if start >= UNLIMITED:
        raise NoDispatchError(f"no place for step {task.step.id!r}")
    board.put(task, station, start, start + task.shortest)


def _hold_links(board: Board, task: Task) -> None:
    """Check a task's lags after the task before, stretching that where it may be."""
    before = board.instance.previous(task)
    start = board.start[task.index]
    assert before is not None and start is not None
    lag = start - board.end[before.index]
    if before.fact is not None and task.fact is not None:
        return
    if lag < task.lag_min or (
        lag > task.lag_max and not board.stretched(before, start - task.lag_max)
    ):
        raise NoDispatchError(f"step {task.step.id!r} breaks a lag")


def nodes_of(instance: Instance, unit: tuple[int, ...]) -> list[Node]:
    """The unit's tasks in an order that respects routes, each lot once."""
    position = dict.fromkeys(unit, 0)
    nodes = []
    while any(position[i] < len(instance.routes[i]) for i in unit):
        for i in unit:
            while position[i] < len(instance.routes[i]):
                task = instance.tasks[instance.routes[i][position[i]]]
                if task.lot is not None:
                    break
                nodes.append(_node(instance, (task,), None))
                position[i] += 1
        waiting = {
            instance.tasks[instance.routes[i][position[i]]].lot
            for i in unit
            if position[i] < len(instance.routes[i])
        }
        for index in sorted(n for n in waiting if n is not None):
            lot = instance.lots[index]
            tasks = tuple(instance.tasks[t] for t in lot.tasks)
            if all(position[t.item] == t.position and t.item in position for t in tasks):
                nodes.append(_node(instance, tasks, lot))
                for task in tasks:
                    position[task.item] += 1
    return nodes


def _node(instance: Instance, tasks: tuple[Task, ...], lot: Lot | None) -> Node:
    links = tuple((b, t) for t in tasks if (b := instance.previous(t)) is not None)
    return Node(tasks, lot, links)


def _shift_left(board: Board) -> None:
    """Move everything earlier where nothing else has to move for it, in order of start."""
    instance = board.instance
    nodes = [
        _node(instance, (t,), None) for t in instance.tasks if t.lot is None and t.fact is None
    ]
    starts = board.start
    moves: list[tuple[int, int, Node | BoardRun]] = [
        (starts[n.tasks[0].index] or 0, n.tasks[0].index, n) for n in nodes
    ]
    moves += [
        (run.start, run.lots[0].tasks[0], run)
        for runs in board.runs.values()
        for run in runs
        if not run.fixed
    ]
    for _, _, move in sorted(moves, key=lambda m: m[:2]):
        if isinstance(move, BoardRun):
            _shift_run(board, move)
        else:
            _shift_task(board, move.tasks[0])
    for runs in board.runs.values():
        for run in runs:
            if not run.fixed and run.length > run.demand.shortest:
                _start_later(board, run)


def _least_start(board: Board, task: Task, length: int) -> int:
    """The earliest start that the steps before and after (left in place) allow."""
    least = task.earliest
    before, after = board.instance.previous(task), board.instance.following(task)
    if before is not None:
        least = max(least, board.end[before.index] + task.lag_min)
    if after is not None:
        start = board.start[after.index]
        assert start is not None
        least = max(least, start - after.lag_max - length)
    return least


def _shift_task(board: Board, task: Task) -> None:
    start, end, station = board.start[task.index], board.end[task.index], board.station[task.index]
    assert start is not None
    length = end - start
    least = _least_start(board, task, length)
    if least >= start:
        return
    board.take(task)
    at = least
    while station >= 0 and at < start and (later := board.fits(task, station, at, length)) != at:
        at = later
    at = min(at, start)
    board.put(task, station, at, at + length)


def _shift_run(board: Board, run: BoardRun) -> None:
    runs = board.runs[run.station]
    n = runs.index(run)
    tasks = [board.instance.tasks[t] for lot in run.lots for t in lot.tasks]
    least = max(_least_start(board, t, run.length) for t in tasks)
    before = runs[n - 1] if n else None
    gap = Gap(run.station, before, None)
    start, end = board.run_times(run.demand, gap, least)
    # A run that has to last until a licensed person comes may end too soon for what follows.
    if end < run.end and (end - start >= run.length or _may_end(board, tasks, end)):
        run.start, run.length = start, end - start
        for t in tasks:
            board.start[t.index], board.end[t.index] = run.start, run.end


def _start_later(board: Board, run: BoardRun) -> None:
    """Start a run that lasts until a licensed person comes as late as it may for the same end, if
    that costs less.
    """
    instance = board.instance
    tasks = [instance.tasks[t] for lot in run.lots for t in lot.tasks]
    latest = run.end - run.demand.shortest
    for task in tasks:
        before = instance.previous(task)
        if before is not None:
            latest = min(latest, board.end[before.index] + task.lag_max)
    start = instance.last_run_start(run.programme, latest)
    if start <= run.start or _start_charge(board, run, start) >= _start_charge(
        board, run, run.start
    ):
        return
    run.start, run.length = start, run.end - start
    for task in tasks:
        board.start[task.index] = start


def _start_charge(board: Board, run: BoardRun, start: int) -> int:
    """What depends on a run's start where its end is given: its length, and what is late or moved
    by starting then.
    """
    problem = board.instance.problem
    weights, length = problem.weights, run.end - start
    charge = weights.running_min * length
    charge += weights.energy * board.instance.energy_kwh(run.station, length)
    for lot in run.lots:
        for t in lot.tasks:
            task = board.instance.tasks[t]
            charge += weights.lateness * board.instance.lateness(task, start, run.end)[0]
            if task.before is not None:
                moved = abs(start - task.before[1]) > problem.change_tolerance_min
                charge += weights.changes * (moved or run.station != task.before[0])
    return charge


def _may_end(board: Board, tasks: list[Task], end: int) -> bool:
    """Whether the longest lags after these tasks are kept if they end then."""
    for task in tasks:
        after = board.instance.following(task)
        if after is not None:
            start = board.start[after.index]
            assert start is not None
            if start - end > after.lag_max:
                return False
    return True


@dataclass(frozen=True)
class Dispatched:
    """A schedule and the rule it was dispatched by."""

    schedule: Schedule
    rule: str


def best_dispatch(instance: Instance, deadline: float) -> Dispatched | None:
    """The cheapest schedule of all rules and batchings tried before the deadline
    (`time.monotonic`), at least one; None when none found a place for everything.
    """
    first = Batching()
    batchings = BATCHINGS if instance.lots else (first,)
    trials = [(rule, first) for rule in RULES]
    trials += [(rule, b) for b in batchings for rule in RULES if b != first]
    best: tuple[int, Dispatched] | None = None
    for rule, batching in trials:
        if best is not None and time.monotonic() > deadline:
            break
        try:
            schedule = schedule_in_order(instance, order_by(instance, rule), batching)
        except NoDispatchError:
            continue
        cost = cost_of(instance, schedule)
        if best is None or cost < best[0]:
            best = cost, Dispatched(schedule, rule)
    return None if best is None else best[1]


def dispatch(problem: Problem, rule: str = "deadline") -> Plan:
    """The checked plan of one rule alone, without any search: "arrival" is first come first
    served, "deadline" is earliest deadline first. Its bound is 0, as none is worked out.

    Raises:
        KeyError: there is no such rule; see `RULES`.
        NoDispatchError: the rule found no place for an item within the horizon.
    """
    began = time.monotonic()
    instance = Instance.of(problem)
    schedule = schedule_in_order(instance, order_by(instance, rule), Batching())
    return stamp(
        problem,
        to_plan(
            instance,
            schedule,
            bound=0,
            seed=0,
            seconds=time.monotonic() - began,
            method=(f"dispatch by {rule}",),
        ),
    )
