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
prices decide how good the bound is, never whether it holds.

They are improved by climbing along supergradients: what items use beyond what there is. A shortage
of weeks at one station and of an hour at another want very different steps, so each price has its
own, by the mean and the spread of its supergradients so far (Adam: D. P. Kingma, J. Ba,
International Conference on Learning Representations, 2015). Time is first cut coarsely, where a
step is little work and moves prices of whole days; where that climb ends, the climb on the next
finer grid begins (as multigrid methods go from coarse to fine: A. Brandt, Mathematics of
Computation 31, 1977).

What is left out can only make plans cheaper: longest lags, stays longer than needed, items that
travel together meeting, mixing groups and programmes, clean-downs, and that pieces enter and leave
a chamber together.

Time is cut into cells of one width. Two things keep the bound valid:

- A step that starts anywhere in a cell is charged, and lets the next step start, as from the first
  minute in the cell at which calendars let it start.
- Its use of capacity is moved to the beginning of the cell, earlier by less than the cell's width,
  so by no more than one cell. Hence a minute of capacity earns the higher of the prices in its own
  cell and the one before (in the cell after the last, that of the last): no less than was paid for
  it before the move. Where every cell is one minute nothing moves.

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
# Widths of cells, minutes, coarse to fine: what days, and then hours, are made of, so that shifts
# begin and end at edges.
WIDTHS = (1_440, 480, 120, 60, 30, 15, 5, 2, 1)
# Cells of the first grid, at most, and of the last one.
FEW_CELLS, MOST_CELLS = 200, 1_500
# Steps on each grid, fewer where time or work (options and what they use, x cells) runs out.
STEPS, FEWEST_STEPS = 300, 60
STEP_WORK, ALL_WORK = 100_000_000, 30_000_000_000
# Of the time left, what a grid may take if finer ones can follow.
GRID_SHARE = 0.5
# The climb: forgetting of the mean and of the spread; the first step, in shares of what the plan is
# charged for a minute, for the whole of a capacity; and what is left of it at the last step.
MEAN, SPREAD, FIRST_STEP, LAST_SHARE = 0.9, 0.999, 0.2, 0.03


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
    rise: Floats  # [U] of the rate of use from then on


class Rises(NamedTuple):
    """The uses of each option, measured in cells after the one it starts in. R rises."""

    rise_from: Ints  # [O + 1] slices of the rises
    row: Ints  # [R] row of prices
    after: Ints  # [R] cells, at most all there are
    rise: Floats  # [R] of the rate of use at the beginning of that cell


class Grid(NamedTuple):
    """Time in K cells of `width` minutes."""

    width: int
    cell: Ints  # [K * width] cell of each minute
    first_start: Ints  # [openings, K + 1] first start in the cell; NEVER: none


@compiled
def _cheapest_ways(ways: Ways, rises: Rises, grid: Grid, paid: Floats, use: Floats) -> float:
    """The sum over stretches of their cheapest ways, by dynamic programming from the last step.

    Args:
        ways: the stretches.
        rises: what their options use.
        grid: the cells.
        paid: [rows, 2 K + 1] for a unit from minute 0 to each edge; past the last, no more.
        use: [rows, 2 K + 1], to which is added by how much the rate of use rises at each edge.
    """
    end = len(grid.cell)
    cells = end // grid.width
    cell = grid.cell
    active = paid[:, cells] > 0
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
            least, option = best[j], chosen[j]
            least[:] = np.inf
            free_until = min(ways.due[n, 0], ways.due[n, 1]) - lasts
            if ways.start_rate[n] > 0:
                free_until = min(free_until, ways.start_by[n])
            following = best[min(j + 1, most - 1)]
            for o in range(ways.option_from[n], ways.option_from[n + 1]):
                first_start = grid.first_start[ways.opening[o]]
                for k in range(low, cells + 1):
                    start = first_start[k]
                    if start == NEVER:
                        cost[k] = np.inf
                        continue
                    start = max(start, earliest)
                    ends = start + lasts
                    charge = 0.0
                    if start > free_until:
                        charge += ways.start_rate[n] * max(0, start - ways.start_by[n])
                        charge += ways.due_rate[n, 0] * max(0, ends - ways.due[n, 0])
                        charge += ways.due_rate[n, 1] * max(0, ends - ways.due[n, 1])
                        if ends > ways.due[n, 1]:
                            charge += ways.late_once[n]
                    if ways.change[n] > 0:
                        latest = NEVER if k == cells else (k + 1) * grid.width - 1
                        if (
                            not ways.unmoved[o]
                            or start > ways.before_high[n]
                            or latest < ways.before_low[n]
                        ):
                            charge += ways.change[n]
                    if n + 1 < stop:
                        x = ends + ways.lag[n]
                        charge += following[cells if x >= end else cell[x]]
                    cost[k] = charge
                for u in range(rises.rise_from[o], rises.rise_from[o + 1]):
                    if active[rises.row[u]]:
                        # Slices of plain loops, so that the compiler takes several cells at once.
                        rise = rises.rise[u]
                        costs = cost[low:cells]
                        prices = paid[rises.row[u], low + rises.after[u] :]
                        for k in range(len(costs)):
                            costs[k] -= rise * prices[k]
                for k in range(low, cells + 1):
                    if cost[k] < least[k]:
                        least[k] = cost[k]
                        option[k] = o
            where = at[j]
            cheapest, place = least[cells], cells
            where[cells] = cells
            for k in range(cells - 1, low - 1, -1):
                if least[k] < cheapest:
                    cheapest, place = least[k], k
                least[k], where[k] = cheapest, place
            least[:low], where[:low] = cheapest, place
        total += best[0, 0]
        k = 0
        for n in range(first, stop):
            k = at[n - first, k]
            if k == cells:
                break
            o = chosen[n - first, k]
            for u in range(rises.rise_from[o], rises.rise_from[o + 1]):
                use[rises.row[u], k + rises.after[u]] += rises.rise[u]
            start = max(grid.first_start[ways.opening[o], k], ways.earliest[n])
            x = start + ways.lasts[n] + ways.lag[n]
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
    rise: list[float] = field(default_factory=list)
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
            rise=np.array(self.rise, dtype=np.float64),
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
        self.rise.append(change)

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


def widths_until(end: int, most: int) -> list[int]:
    """Widths of cells, minutes, coarse to fine, of which at most so many last until `end`.

    At least one: whole days where all else is too many.
    """
    found = [w for w in WIDTHS if -(-end // w) <= most] or [-(-end // (most * 1_440)) * 1_440]
    coarse = [w for w in found if -(-end // w) <= FEW_CELLS]
    return found[max(0, len(coarse) - 1) :]


class _Dual:
    """The bound as a function of prices, on one grid.

    Prices have the shape [rows, K]: for a minute of one unit.
    """

    def __init__(self, writer: _Writer, ways: Ways, width: int, end: int) -> None:
        self.width, self.cells = width, max(1, -(-end // width))
        self.ways = ways
        edge = np.arange(self.cells + 1) * width
        self.rises = _in_cells(ways, width, self.cells)
        cell = np.repeat(np.arange(self.cells), width)
        self.work = (len(ways.opening) + len(self.rises.row)) * self.cells
        self.grid = Grid(width, cell, np.array([_firsts(edge, s) for s in writer.openings]))
        self.supplied = np.zeros((len(writer.rows), self.cells + 1))
        self.capacity = np.ones(len(writer.rows))
        edge = np.append(edge, edge[-1] + width)
        for r, (station, resource) in enumerate(writer.rows):
            done = np.zeros(len(edge))
            for since, until, rate in supply(writer.instance, station, resource):
                done += rate * np.clip(edge - since, 0, until - since)
                self.capacity[r] = max(self.capacity[r], rate)
            self.supplied[r] = np.diff(done)

    def value(self, price: Floats) -> tuple[float, Floats]:
        """(bound, how much each price raises it)."""
        cells = self.cells
        paid = np.zeros((len(price), 2 * cells + 1))
        paid[:, 1 : cells + 1] = np.cumsum(price, axis=1) * self.width
        paid[:, cells + 1 :] = paid[:, cells, None]
        use = np.zeros_like(paid)
        total = _cheapest_ways(self.ways, self.rises, self.grid, paid, use)
        up = np.cumsum(use[:, :cells], axis=1) * self.width
        own, before = np.zeros_like(self.supplied), np.zeros_like(self.supplied)
        own[:, :-1] = price
        if self.width > 1:
            before[:, 1:] = price
        earned = np.maximum(own, before) * self.supplied
        up -= np.where(own >= before, self.supplied, 0)[:, :-1]
        up -= np.where(own < before, self.supplied, 0)[:, 1:]
        return total - float(earned.sum()), up

    def climb(
        self, price: Floats, first_step: float, steps: int, target: float, deadline: float
    ) -> tuple[float, Floats]:
        """(best bound, last prices) after so many steps, fewer if the deadline (`time.monotonic`)
        or the target comes first. `first_step`: of the price of all capacity of a row.
        """
        best, up = self.value(price)
        mean, spread = np.zeros_like(price), np.zeros_like(price)
        # Measured in shares of a cell's capacity, so that the least spread is of no account.
        share = 1 / (self.capacity[:, None] * self.width)
        rate = first_step / self.capacity[:, None]
        for n in range(1, steps + 1):
            if best >= target or time.monotonic() > deadline:
                break
            up *= share
            mean = MEAN * mean + (1 - MEAN) * up
            spread = SPREAD * spread + (1 - SPREAD) * up * up
            step = rate * LAST_SHARE ** (n / steps) / (1 - MEAN**n)
            root = np.sqrt(spread / (1 - SPREAD**n) + 1e-8)
            price = np.maximum(0, price + step * mean / root)
            bound, up = self.value(price)
            best = max(best, bound)
        return best, price


def _firsts(edge: Ints, starts: tuple[tuple[int, int], ...] | None) -> Ints:
    """First start in each cell; after the last one, nothing is held against it."""
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


def _in_cells(ways: Ways, width: int, cells: int) -> Rises:
    """The uses of options that start at an edge, as rises at edges.

    A rise inside a cell is shared between the edges before and after it by how near they are: it
    costs the same, as what is paid grows evenly inside a cell.
    """
    after, inside = np.divmod(ways.offset, width)
    part = inside / width
    option = np.repeat(np.arange(len(ways.opening)), np.diff(ways.use_from))
    rows = int(ways.row.max(initial=0)) + 1
    key = (option * rows + ways.row) * (cells + 1)
    key = np.concatenate((key + np.minimum(after, cells), key + np.minimum(after + 1, cells)))
    key, place = np.unique(key, return_inverse=True)
    rise = np.bincount(place, np.concatenate((ways.rise * (1 - part), ways.rise * part)))
    key, rise = key[rise != 0], rise[rise != 0]
    option, rest = np.divmod(key, rows * (cells + 1))
    row, after = np.divmod(rest, cells + 1)
    return Rises(np.searchsorted(option, np.arange(len(ways.opening) + 1)), row, after, rise)


def fixed_charge(instance: Instance) -> int:
    """What work under way or frozen is charged for lateness, whatever else is planned."""
    weights = instance.problem.weights
    charge = 0
    for task in instance.tasks:
        if task.fact is not None:
            late, item_late = instance.lateness(task, task.fact.start, task.fact.end)
            charge += weights.lateness * late + weights.late_items * item_late
    return charge


def relaxed(instance: Instance, schedule: Schedule, deadline: float = math.inf) -> int:
    """No plan's charges for lateness, late items and changes are lower than this.

    The schedule, any at all, only says how far the grid of time goes, and when to stop. Grids get
    finer until the deadline (`time.monotonic`) or the limits of work.
    """
    fixed = fixed_charge(instance)
    writer = _Writer(instance)
    if not writer.tasks:
        return fixed
    ways = writer.ways()
    end = min(instance.horizon, max((1, *schedule.end)))
    target = float(cost_of(instance, schedule)) - fixed
    first_step = FIRST_STEP * target / end
    # About what `_Dual.work` will be for a cell, as rises that meet at an edge are one.
    most = STEP_WORK // max(1, len(ways.opening) + len(ways.row))
    best, work_left, seconds_each = 0.0, ALL_WORK, 0.0
    price, old = np.zeros((len(writer.rows), 1)), None
    for width in widths_until(end, min(MOST_CELLS, max(FEW_CELLS, most))):
        dual = _Dual(writer, ways, width, end)
        # Prices stay where they were in time.
        place = np.arange(dual.cells) * width // (end if old is None else old.width)
        price = price[:, np.minimum(place, price.shape[1] - 1)]
        steps = min(STEPS, work_left // dual.work)
        left_s = deadline - time.monotonic()
        if old is not None:
            seconds_each *= dual.work / old.work
            afforded = left_s / max(seconds_each, 1e-6)
            # A step on the next grid is up to four times the work.
            if GRID_SHARE * afforded >= 4 * FEWEST_STEPS:
                afforded *= GRID_SHARE
            steps = int(min(steps, afforded))
            if steps < FEWEST_STEPS:
                break
        began = time.monotonic()
        bound, price = dual.climb(price, first_step, steps, target, deadline)
        seconds_each = (time.monotonic() - began) / (steps + 1)
        best, work_left, old = max(best, bound), work_left - steps * dual.work, dual
        if best >= target:
            break
    # The margin is far above what rounding can do to sums of this size.
    return fixed + max(0, math.ceil(best - abs(best) * 1e-9 - 1e-6))
