"""A lower bound on lateness where stations are short: capacity has a price.

Let every item go its own way, as if it were alone, but let it pay for what it uses: a price for
each minute of each unit of rack, moisture, litres, rail and people, whatever the time. Let the
stations earn the same prices with all the capacity that they have. In a plan, the items pay no
more than the stations earn. So, whatever the prices (none is negative), no plan costs less than
the sum over items of their cheapest way, prices included, less what the stations can earn.

This is Lagrangian relaxation (M. L. Fisher, Management Science 27(1), 1981) of capacities in time
(N. Christofides, R. Alvarez-Valdes, J. M. Tamarit, European Journal of Operational Research 29,
1987; R. H. Möhring, A. S. Schulz, F. Stork, M. Uetz, Management Science 49(3), 2003). All stations
are priced at once and each charge belongs to one item's way, so nothing is counted twice. The
prices decide how good the bound is, never whether it holds; they are improved by the volume
algorithm (F. Barahona, R. Anbil, Mathematical Programming 87, 2000). The same algorithm yields the
average start of each step in the relaxed problem, which is a good order to dispatch in.

What is left out can only make plans cheaper: longest lags, stays longer than needed, items that
travel together meeting, mixing groups and programmes, clean-downs, and that pieces enter and leave
a chamber together.

Time is cut into cells, none narrower than the one before. Two things keep the bound valid:

- A step that starts anywhere in a cell is charged, and lets the next step start, as from the first
  minute in the cell at which calendars let it start.
- Its use of capacity is moved to the beginning of the cell, earlier by less than the cell's width,
  so by no more than one cell. Hence a minute of capacity earns the higher of the prices in its own
  cell and the one before: no less than was paid for it before the move. Where every cell is one
  minute nothing moves.

Starts after the last cell pay nothing.
"""

import math
import time
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import NamedTuple

import numpy as np

from scheduler.instance import Instance, Lot, Spans, Task, start_spans
from scheduler.kernel import Bools, Floats, Ints, compiled
from scheduler.problem import Bench, Chamber, Room, Store
from scheduler.schedule import Schedule, cost_of

NEVER = 2**50
# Cells of the grid and steps of the volume algorithm, fewer where a step is much work (uses x
# cells) or all steps are.
CELLS, FEWEST_CELLS = 1_080, 240
STEPS, FEWEST_STEPS = 150, 40
STEP_WORK, ALL_WORK = 8_000_000, 900_000_000
# Minutes: what hours, and then days, are made of, so that shifts begin and end at edges.
NICE_WIDTHS = (1, 2, 3, 5, 6, 10, 15, 30, 60, 90, 180, 360, 720, 1_440)
# The volume algorithm: share of the new direction, and how steps grow and shrink.
MIX, REACH, GROWTH, SHRINKAGE, PATIENCE = 0.15, 0.5, 1.2, 0.66, 3


class Relaxed(NamedTuple):
    """`cost`: no plan's charges for lateness, late items and changes are lower. `start`: by task,
    its average start in the relaxed problem, minutes; of fixed work, its own.
    """

    cost: int
    start: tuple[float, ...]


class Ways(NamedTuple):
    """Stretches of routes that are free. S stretches, N steps, O options, U uses."""

    stretch_from: Ints  # [S + 1] slices of the steps
    earliest: Ints  # [N] minutes
    lag: Ints  # [N] least minutes from its end to the next start
    start_by: Ints  # [N] minutes
    start_rate: Floats  # [N] charge for each minute after start_by
    due: Ints  # [N, 2] minutes: the step's own, the item's
    due_rate: Floats  # [N, 2] charge for each minute after due
    late_once: Floats  # [N] charge if after the item's due
    before_low: Ints  # [N] starts from here ...
    before_high: Ints  # [N] ... to here are no change from the last plan
    change: Floats  # [N] charge for a change
    lasts: Ints  # [N] minutes
    option_from: Ints  # [N + 1] slices of the options
    opening: Ints  # [O] row of first starts
    unmoved: Bools  # [O] whether its station is that of the last plan
    use_from: Ints  # [O + 1] slices of the uses
    row: Ints  # [U] row of prices
    offset: Ints  # [U] minutes after the start
    change_of_rate: Floats  # [U] of the use from then on
    moment: Floats  # [U] sum of changes times minutes after the offset


class Grid(NamedTuple):
    """Cells of time. K cells."""

    edge: Ints  # [K + 1] minutes
    cell: Ints  # [edge[K]] cell of each minute
    first_start: Ints  # [openings, K + 1] first start in the cell; NEVER: none


class Use(NamedTuple):
    """What all ways use."""

    rate: Floats  # [rows, K] by how much the rate of use rises in a cell
    part: Floats  # [rows, K] use in a cell itself because of what rises in it


@compiled
def _cheapest_ways(
    ways: Ways,
    grid: Grid,
    price: Floats,
    use: Use,
    began: Ints,
) -> float:
    """The sum over stretches of their cheapest ways, by dynamic programming from the last step.

    Args:
        ways: the stretches.
        grid: the cells.
        price: [rows, K].
        use: is added to.
        began: [N], set to the start of each step, minutes.
    """
    edge, cell = grid.edge, grid.cell
    cells = len(edge) - 1
    end = edge[cells]
    rate, part = use
    rows = price.shape[0]
    paid = np.zeros((rows, cells + 1))
    active = np.zeros(rows, dtype=np.bool_)
    for r in range(rows):
        for k in range(cells):
            paid[r, k + 1] = paid[r, k] + price[r, k] * (edge[k + 1] - edge[k])
        active[r] = paid[r, cells] > 0
    most = 1
    for s in range(len(ways.stretch_from) - 1):
        most = max(most, ways.stretch_from[s + 1] - ways.stretch_from[s])
    best = np.empty((most, cells + 1))
    at = np.empty((most, cells + 1), dtype=np.int64)
    chosen = np.empty((most, cells + 1), dtype=np.int64)
    cost = np.empty(cells + 1)
    total = 0.0
    for s in range(len(ways.stretch_from) - 1):
        first, stop = ways.stretch_from[s], ways.stretch_from[s + 1]
        for n in range(stop - 1, first - 1, -1):
            j = n - first
            earliest, lasts = ways.earliest[n], ways.lasts[n]
            low = cells if earliest >= end else cell[earliest]
            best[j, :] = np.inf
            for o in range(ways.option_from[n], ways.option_from[n + 1]):
                for k in range(low, cells + 1):
                    start = grid.first_start[ways.opening[o], k]
                    if start == NEVER:
                        cost[k] = np.inf
                        continue
                    start = max(start, earliest)
                    ends = start + lasts
                    charge = ways.start_rate[n] * max(0, start - ways.start_by[n])
                    charge += ways.due_rate[n, 0] * max(0, ends - ways.due[n, 0])
                    charge += ways.due_rate[n, 1] * max(0, ends - ways.due[n, 1])
                    if ends > ways.due[n, 1]:
                        charge += ways.late_once[n]
                    latest = NEVER if k == cells else edge[k + 1] - 1
                    if (
                        not ways.unmoved[o]
                        or start > ways.before_high[n]
                        or latest < ways.before_low[n]
                    ):
                        charge += ways.change[n]
                    if n + 1 < stop:
                        x = ends + ways.lag[n]
                        charge += best[j + 1, cells if x >= end else cell[x]]
                    cost[k] = charge
                for u in range(ways.use_from[o], ways.use_from[o + 1]):
                    r = ways.row[u]
                    if not active[r]:
                        continue
                    for k in range(low, cells):
                        x = edge[k] + ways.offset[u]
                        if x >= end:
                            cost[k] -= ways.change_of_rate[u] * paid[r, cells]
                            continue
                        c = cell[x]
                        cost[k] -= ways.change_of_rate[u] * paid[r, c] + price[r, c] * (
                            ways.change_of_rate[u] * (x - edge[c]) + ways.moment[u]
                        )
                for k in range(low, cells + 1):
                    if cost[k] < best[j, k]:
                        best[j, k] = cost[k]
                        chosen[j, k] = o
            at[j, cells] = cells
            for k in range(cells - 1, -1, -1):
                at[j, k] = k
                if best[j, k + 1] <= best[j, k]:
                    best[j, k] = best[j, k + 1]
                    at[j, k] = at[j, k + 1]
        total += best[0, 0]
        k = 0
        for n in range(first, stop):
            k = at[n - first, k]
            o = chosen[n - first, k]
            began[n] = max(grid.first_start[ways.opening[o], k], ways.earliest[n])
            if k == cells:
                continue
            for u in range(ways.use_from[o], ways.use_from[o + 1]):
                x = edge[k] + ways.offset[u]
                if x < end:
                    c = cell[x]
                    rate[ways.row[u], c] += ways.change_of_rate[u]
                    part[ways.row[u], c] += (
                        ways.change_of_rate[u] * (edge[c + 1] - x) - ways.moment[u]
                    )
            x = began[n] + ways.lasts[n] + ways.lag[n]
            k = cells if x >= end else cell[x]
    return total


@dataclass
class _Writer:
    """Collects the lists of `Ways`."""

    instance: Instance
    stretch_from: list[int] = field(default_factory=list)
    tasks: list[Task] = field(default_factory=list)
    lasts: list[int] = field(default_factory=list)
    option_from: list[int] = field(default_factory=lambda: [0])
    opening: list[int] = field(default_factory=list)
    unmoved: list[bool] = field(default_factory=list)
    use_from: list[int] = field(default_factory=lambda: [0])
    row: list[int] = field(default_factory=list)
    offset: list[int] = field(default_factory=list)
    change_of_rate: list[float] = field(default_factory=list)
    openings: dict[tuple[tuple[int, int], ...] | None, int] = field(default_factory=dict)
    rows: dict[tuple[int, str], int] = field(default_factory=dict)
    _opening_of: dict[tuple[int, ...], int] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.free = {
            s: _free_windows(self.instance, s)
            for s, station in enumerate(self.instance.stations)
            if isinstance(station, Chamber)
        }
        for route in self.instance.routes:
            linked = False
            for t in route:
                task = self.instance.tasks[t]
                if task.fact is not None:
                    linked = False
                    continue
                if not linked:
                    self.stretch_from.append(len(self.tasks))
                linked = True
                self.tasks.append(task)
                self._options(task)
                self.option_from.append(len(self.opening))
        self.stretch_from.append(len(self.tasks))

    def ways(self) -> Ways:
        """The lists as arrays."""
        instance, tasks = self.instance, self.tasks
        weights, tolerance = instance.problem.weights, instance.problem.change_tolerance_min
        n = len(tasks)
        lag = np.zeros(n, np.int64)
        start_by, due = np.zeros(n, np.int64), np.full((n, 2), NEVER)
        start_rate, due_rate, late_once = np.zeros(n), np.zeros((n, 2)), np.zeros(n)
        low, high, change = np.zeros(n, np.int64), np.zeros(n, np.int64), np.zeros(n)
        for k, task in enumerate(tasks):
            item, step = instance.item(task), task.step
            after = instance.following(task)
            if after is not None:
                lag[k] = after.lag_min
            if step.start_by_min is not None:
                start_by[k] = step.start_by_min
                start_rate[k] = weights.lateness * step.start_by_weight
            if step.due_min is not None:
                due[k, 0], due_rate[k, 0] = step.due_min, weights.lateness * item.weight
            if after is None and item.due_min is not None:
                due[k, 1], due_rate[k, 1] = item.due_min, weights.lateness * item.weight
                late_once[k] = weights.late_items
            if task.before is not None:
                low[k], high[k] = task.before[1] - tolerance, task.before[1] + tolerance
                change[k] = weights.changes
        return Ways(
            stretch_from=np.array(self.stretch_from),
            earliest=np.array([t.earliest for t in tasks], dtype=np.int64),
            lag=lag,
            start_by=start_by,
            start_rate=start_rate,
            due=due,
            due_rate=due_rate,
            late_once=late_once,
            before_low=low,
            before_high=high,
            change=change,
            lasts=np.array(self.lasts, dtype=np.int64),
            option_from=np.array(self.option_from),
            opening=np.array(self.opening, dtype=np.int64),
            unmoved=np.array(self.unmoved, dtype=np.bool_),
            use_from=np.array(self.use_from),
            row=np.array(self.row, dtype=np.int64),
            offset=np.array(self.offset, dtype=np.int64),
            change_of_rate=np.array(self.change_of_rate, dtype=np.float64),
            moment=np.zeros(len(self.row)),
        )

    def _options(self, task: Task) -> None:
        instance = self.instance
        if task.lot is not None:
            lot, item = instance.lots[task.lot], instance.item(task)
            self.lasts.append(lot.shortest)
            for s in lot.stations:
                for resource, taken in (("litres", item.volume_l), ("rail", item.rail_mm)):
                    if taken:
                        self._use((s, resource), 0, taken)
                        self._use((s, resource), lot.shortest, -taken)
                self._option(task, s, self._run_opening(lot, s))
        else:
            self.lasts.append(task.shortest)
            for s in task.stations:
                changes: dict[tuple[str, int], int] = defaultdict(int)
                for load in task.loads:
                    minutes = task.shortest if load.minutes is None else load.minutes
                    changes[load.resource, load.offset] += load.amount
                    changes[load.resource, load.offset + minutes] -= load.amount
                for (resource, offset), change in sorted(changes.items()):
                    if change:
                        self._use((s, resource), offset, change)
                self._option(task, s, self._step_opening(task, s))
        if len(self.opening) == self.option_from[-1]:
            self._option(task, -1, self._starts(None))

    def _use(self, row: tuple[int, str], offset: int, change: int) -> None:
        self.row.append(self.rows.setdefault(row, len(self.rows)))
        self.offset.append(offset)
        self.change_of_rate.append(change)

    def _option(self, task: Task, station: int, opening: int) -> None:
        self.opening.append(opening)
        self.unmoved.append(task.before is not None and task.before[0] == station)
        self.use_from.append(len(self.row))

    def _step_opening(self, task: Task, station: int) -> int:
        key = station, task.shortest, getattr(task.step, "people", 0)
        if key not in self._opening_of:
            spans = self.instance.spans(task, station)
            starts = None if spans is None else start_spans(spans, task.shortest)
            self._opening_of[key] = self._starts(starts)
        return self._opening_of[key]

    def _run_opening(self, lot: Lot, station: int) -> int:
        licensed = self.instance.licensed_starts(lot.demand)
        key = (station, lot.shortest) if licensed is None else (station, *lot.demand)
        if key not in self._opening_of:
            spans = self.free[station]
            starts = None if spans is None else start_spans(spans, lot.shortest)
            if licensed is not None:
                starts = _meet(starts, start_spans(licensed, 1))
            self._opening_of[key] = self._starts(starts)
        return self._opening_of[key]

    def _starts(self, starts: Iterable[tuple[int, int]] | None) -> int:
        key = None if starts is None else tuple(starts)
        return self.openings.setdefault(key, len(self.openings))


def _meet(
    first: list[tuple[int, int]] | None, second: list[tuple[int, int]]
) -> list[tuple[int, int]]:
    """What two lists of (first, last) have in common; None: everything."""
    if first is None:
        return second
    found, i, j = [], 0, 0
    while i < len(first) and j < len(second):
        low, high = max(first[i][0], second[j][0]), min(first[i][1], second[j][1])
        if low <= high:
            found.append((low, high))
        if first[i][1] < second[j][1]:
            i += 1
        else:
            j += 1
    return found


def _free_windows(instance: Instance, station: int) -> Spans | None:
    """The chamber's windows without its fixed runs; None: always."""
    facts = sorted(
        {
            (lot.fact.start, lot.fact.end)
            for lot in instance.lots
            if lot.fact is not None and lot.stations == (station,)
        }
    )
    windows = instance.windows[station]
    if not facts:
        return windows
    found: list[tuple[int, int]] = []
    for opens, closes in [(0, instance.horizon)] if windows is None else windows:
        since = opens
        for start, end in facts:
            if since < end and start < closes:
                if since < start:
                    found.append((since, start))
                since = end
        if since < closes:
            found.append((since, closes))
    return found


def supply(instance: Instance, station: int, resource: str) -> list[tuple[int, int, int]]:
    """(start, end, rate) of what a station has beside fixed work, in time, without what is empty.

    Fixed bench work that is not inside one shift takes nothing from it.
    """
    place = instance.stations[station]
    spells: Iterable[tuple[int, int, int]]
    if isinstance(place, Bench):
        spells = place.shifts
    else:
        windows = instance.windows[station]
        if isinstance(place, Store):
            rate = place.litres
        elif isinstance(place, Chamber):
            rate = place.usable_l if resource == "litres" else place.rail_mm
            windows = _free_windows(instance, station)
        else:
            assert isinstance(place, Room)
            rate = place.rack_mm if resource == "rack" else place.removal_g_h
        spells = [
            (a, b, rate) for a, b in ([(0, instance.horizon)] if windows is None else windows)
        ]
    has: dict[int, int] = defaultdict(int)
    for start, end, rate in spells:
        if max(start, 0) < min(end, instance.horizon):
            has[max(start, 0)] += rate
            has[min(end, instance.horizon)] -= rate
    taken: dict[int, int] = defaultdict(int)
    for start, end, rate in _fixed_use(instance, station, resource):
        taken[start] += rate
        taken[end] -= rate
    found: list[tuple[int, int, int]] = []
    level = used = since = 0
    for minute in sorted(has.keys() | taken.keys()):
        if level > max(used, 0) and since < minute:
            found.append((since, minute, level - used))
        level, used, since = level + has[minute], used + taken[minute], minute
    return found


def _fixed_use(instance: Instance, station: int, resource: str) -> Iterable[tuple[int, int, int]]:
    """(start, end, rate) of work under way or frozen."""
    place = instance.stations[station]
    for task in instance.tasks:
        fact = task.fact
        if fact is None or task.stations != (station,):
            continue
        if isinstance(place, Bench) and not any(
            s.start <= fact.start and fact.end <= s.end for s in place.shifts
        ):
            continue
        for load in task.loads:
            first = fact.start + load.offset
            last = fact.end if load.minutes is None else min(fact.end, first + load.minutes)
            if load.resource == resource and first < last:
                yield first, last, load.amount


def edges_until(end: int, cells: int) -> Ints:
    """Edges of about so many cells from 0 to `end` or a little later.

    Where minutes are too many, the first eighth of the time has the finest cells, the next eighth
    cells twice as wide, the next quarter four times, and the last half eight times.
    """
    if end <= cells:
        return np.arange(max(1, end) + 1)
    width = -(-end * 5 // (16 * cells))
    width = next((w for w in NICE_WIDTHS if w >= width), width)
    edges = [0]
    for times in (1, 2, 4, 8):
        last = max(edges[-1], -(-end * times // (64 * width)) * 8 * width)
        edges += range(edges[-1] + times * width, last + 1, times * width)
    return np.array(edges)


class _Dual:
    """The bound as a function of prices, on one grid."""

    def __init__(self, writer: _Writer, ways: Ways, edge: Ints) -> None:
        self.edge, self.width = edge, np.diff(edge)
        self.ways = _joined(ways, int(self.width[0]))
        cell = np.repeat(np.arange(len(self.width)), self.width)
        self.grid = Grid(edge, cell, np.array([self._firsts(s) for s in writer.openings]))
        self.supplied = np.zeros((len(writer.rows), len(self.width)))
        self.capacity = np.ones(len(writer.rows))
        for r, (station, resource) in enumerate(writer.rows):
            done = np.zeros(len(edge))
            for start, end, rate in supply(writer.instance, station, resource):
                done += rate * np.clip(edge - start, 0, end - start)
                self.capacity[r] = max(self.capacity[r], rate)
            self.supplied[r] = np.diff(done)

    def _firsts(self, starts: tuple[tuple[int, int], ...] | None) -> Ints:
        """First start in each cell; after the last one, nothing is held against it."""
        edge = self.edge
        if starts is None:
            return edge
        found = np.full(len(edge), NEVER)
        found[-1] = edge[-1]
        if starts:
            first, last = np.array(starts).T
            at = np.searchsorted(last, edge[:-1])
            start = np.maximum(edge[:-1], first[np.minimum(at, len(last) - 1)])
            inside = (at < len(last)) & (start < edge[1:])
            found[:-1][inside] = start[inside]
        return found

    def value(self, price: Floats) -> tuple[float, Floats, Ints]:
        """(bound, how much each price raises it, starts by step)."""
        use = Use(np.zeros(price.shape), np.zeros(price.shape))
        began = np.zeros(len(self.ways.lasts), np.int64)
        total = _cheapest_ways(self.ways, self.grid, price, use, began)
        used = use.part
        used[:, 1:] += np.cumsum(use.rate, axis=1)[:, :-1] * self.width[1:]
        before = np.zeros_like(price)
        if self.width[-1] > 1:
            before[:, 1:] = price[:, :-1]
        earned = np.maximum(price, before) * self.supplied
        up = used - np.where(price >= before, self.supplied, 0)
        up[:, :-1] -= np.where(price < before, self.supplied, 0)[:, 1:]
        return total - float(earned.sum()), up, began

    def best(self, steps: int, target: float, deadline: float) -> tuple[float, Floats]:
        """(best bound, average starts by step) after so many steps of the volume algorithm, fewer
        if the deadline (`time.monotonic`) comes first.

        Prices are measured so that a step moves them alike: per share of a station's capacity,
        and less in a narrow cell.
        """
        scale = 1 / (self.capacity[:, None] * np.sqrt(self.width)[None, :])
        best_price = np.zeros(self.supplied.shape)
        best, up, began = self.value(best_price)
        direction, start = up, began.astype(np.float64)
        reach, failures = REACH, 0
        for _ in range(steps):
            scaled = direction * scale
            scaled[(scaled < 0) & (best_price <= 0)] = 0
            norm = float((scaled * scaled).sum())
            if norm <= 0 or best >= target or time.monotonic() > deadline:
                break
            goal = min(target, best + 0.05 * abs(best) + 0.1 * target)
            step = reach * (goal - best) / norm
            price = np.maximum(0, best_price + step * scaled * scale)
            bound, up, began = self.value(price)
            agrees = float((up * scale * scaled).sum()) >= 0
            direction = (1 - MIX) * direction + MIX * up
            start = (1 - MIX) * start + MIX * began
            if bound > best:
                best, best_price, failures = bound, price, 0
                reach = min(2.0, reach * GROWTH) if agrees else reach
            else:
                failures += 1
                if failures == PATIENCE:
                    reach, failures = reach * SHRINKAGE, 0
        return best, start


def _joined(ways: Ways, width: int) -> Ways:
    """Uses of an option that begin within one width made one: the same cost, as all edges are
    multiples of the width and what is paid grows evenly inside a cell.
    """
    if not len(ways.row):
        return ways
    option = np.repeat(np.arange(len(ways.opening)), np.diff(ways.use_from))
    place = ways.offset // width
    key = np.array([option, ways.row, place])
    new = np.ones(len(place), np.bool_)
    new[1:] = (key[:, 1:] != key[:, :-1]).any(axis=0)
    first = np.flatnonzero(new)
    offset = place[first] * width
    moment = ways.change_of_rate * (ways.offset - place * width)
    return ways._replace(
        use_from=np.concatenate(([0], np.cumsum(new)))[ways.use_from],
        row=ways.row[first],
        offset=offset,
        change_of_rate=np.add.reduceat(ways.change_of_rate, first),
        moment=np.add.reduceat(moment, first),
    )


def fixed_charge(instance: Instance) -> int:
    """What work under way or frozen is charged for lateness, whatever else is planned."""
    weights = instance.problem.weights
    charge = 0
    for task in instance.tasks:
        if task.fact is not None:
            late, item_late = instance.lateness(task, task.fact.start, task.fact.end)
            charge += weights.lateness * late + weights.late_items * item_late
    return charge


def relaxed(instance: Instance, schedule: Schedule, deadline: float = math.inf) -> Relaxed:
    """The bound on what lateness, late items and changes are charged, and relaxed starts.

    The schedule, any at all, only says how far the grid of time goes, and how high to aim. After
    the deadline (`time.monotonic`) the prices are improved no further.
    """
    fixed = fixed_charge(instance)
    starts = [float(t.earliest if t.fact is None else t.fact.start) for t in instance.tasks]
    writer = _Writer(instance)
    if not writer.tasks:
        return Relaxed(fixed, tuple(starts))
    ways = writer.ways()
    end = min(instance.horizon, max((1, *schedule.end)))
    target = float(cost_of(instance, schedule)) - fixed
    cells = max(FEWEST_CELLS, min(CELLS, STEP_WORK // max(1, len(ways.row))))
    dual = _Dual(writer, ways, edges_until(end, cells))
    work = max(1, len(dual.ways.row) * len(dual.width))
    steps = max(FEWEST_STEPS, min(STEPS, ALL_WORK // work))
    best, average = dual.best(steps, target, deadline)
    for task, start in zip(writer.tasks, average, strict=True):
        starts[task.index] = float(start)
    # The margin is far above what rounding can do to sums of this size.
    cost = int(np.ceil(best - abs(best) * 1e-9 - 1e-6))
    return Relaxed(fixed + max(0, cost), tuple(starts))
