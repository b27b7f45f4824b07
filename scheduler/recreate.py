"""Ruin and recreate over whole routes: some pieces off the board, and back where they cost least.

Everything is seen at once: runs, rooms, stores, benches, lags, calendars, mixing. A move takes a
few pieces off (those in the way of a piece that is charged much, or whole runs, or pieces alike)
and places them again one after the other, all else left where it is. A piece enters the run that
adds least to the objective, or opens one. Moves are accepted by simulated annealing, with
temperatures taken from what the problem's own moves cost. (Schrimpf, Schneider, Stamm-Wilbrandt
and Dueck, Journal of Computational Physics 159, 2000; Christiaens and Vanden Berghe,
Transportation Science 54(2), 2020.)
"""

import time
from collections import defaultdict
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from itertools import count, product

import numpy as np

from scheduler import kernel
from scheduler import recreate_kernel as rk
from scheduler.anneal import given_of, state_of
from scheduler.dispatch import Node, importance, latest_start, nodes_of, station_share, units_of
from scheduler.instance import Instance, Task, capacities, unstaffed
from scheduler.kernel import Floats, Given, Ints, State
from scheduler.problem import Bench
from scheduler.recreate_kernel import Board, Work
from scheduler.schedule import Schedule, cost_of, earliest_guess

CHUNK = 200
"""Moves between two looks at the clock, and a round of those who count rounds."""
SAMPLE = 400
"""Moves tried to learn what moves cost."""
HOT_QUANTILE, HOT, COLD = 0.25, 0.3, 0.01
"""The first temperature is HOT times this quantile of what worsening moves cost; the last, COLD."""
HOLDS = (0.0, 0.3, 0.7)
"""By which part of the time that a lot has left new runs are put off, in turn."""
KEYS = 4
"""Orders of `_keys`."""
RESOURCES = {"rack": 0, "moisture": 1, "litres": 2, "people": 3}
Columns = list[list[int]]


def recreate(
    instance: Instance,
    schedule: Schedule,
    left_s: Callable[[], float],
    *,
    workers: int,
    seed: int,
    max_rounds: int | None = None,
) -> Iterator[Schedule]:
    """Better and better schedules until no time is left, or so many rounds are done.

    `left_s` tells the seconds left; `workers` searches with seeds of their own run side by side.
    """
    work = work_of(instance)
    if not work.unit_order.size:
        return
    searches = [Search(instance, schedule, work, seed * 1000 + n) for n in range(workers)]
    hot = searches[0].hot()
    best = cost_of(instance, schedule)
    seconds = max(left_s(), 1e-9)
    with ThreadPoolExecutor(max_workers=workers) as pool:
        for rounds in count():
            left = left_s()
            done = 1 - left / seconds if max_rounds is None else rounds / max_rounds
            if left <= 0 or done >= 1:
                break
            heat = hot * (COLD / HOT) ** done
            for job in [pool.submit(one.chunk, heat) for one in searches]:
                job.result()
            leader = min(searches, key=lambda one: one.cost)
            if leader.cost < best:
                found = leader.best()
                if (cost := cost_of(instance, found)) < best:
                    best = cost
                    yield found


def construct(instance: Instance, deadline: float) -> Schedule | None:
    """The cheapest of the schedules made by placing all units in each of the search's orders, new
    runs at once or put off, until the deadline (`time.monotonic`); None: nothing could be placed.
    """
    work = work_of(instance)
    if not work.unit_order.size:
        return None
    search = Search(instance, earliest_guess(instance), work, seed=0)
    best: tuple[int, Schedule] | None = None
    for key, hold in product(range(KEYS), HOLDS):
        if best is not None and time.monotonic() > deadline:
            break
        if search.rebuild(key, hold):
            found = search.best()
            cost = cost_of(instance, found)
            if best is None or cost < best[0]:
                best = cost, found
    return None if best is None else best[1]


class Search:
    """One search, and the arrays that it works on."""

    def __init__(self, instance: Instance, schedule: Schedule, work: Work, seed: int) -> None:
        self.work = work
        self.given: Given = given_of(instance, schedule)
        self.state: State = state_of(instance, self.given, schedule, seed)
        self.board = board_of(instance, self.given, self.state, work, schedule)

    @property
    def cost(self) -> float:
        """What the best schedule found costs."""
        return float(self.board.total[1] + self.given.finish * self.board.finish[1])

    def hot(self) -> float:
        """The first temperature; 0 where no move makes anything worse."""
        found: Floats = np.zeros(SAMPLE)
        n = rk.sample(self.given, self.state, self.work, self.board, SAMPLE, found)
        return HOT * float(np.quantile(found[:n], HOT_QUANTILE)) if n else 0.0

    def chunk(self, heat: float) -> None:
        """Some moves."""
        rk.search(self.given, self.state, self.work, self.board, CHUNK, heat)

    def rebuild(self, key: int, hold: float) -> bool:
        """Place everything anew in one of the orders; False: something found no place."""
        return bool(rk.rebuild(self.given, self.state, self.work, self.board, key, hold))

    def best(self) -> Schedule:
        """The best schedule found, or the last that was rebuilt."""
        name: dict[int, int] = {}
        runs = [name.setdefault(int(r), n) for n, r in enumerate(self.board.best_run)]
        start, end, station = self.board.best_place.T.tolist()
        return Schedule(tuple(start), tuple(end), tuple(station), tuple(runs))


def work_of(instance: Instance) -> Work:
    """The problem's routes and stations as the kernel wants them."""
    tasks = instance.tasks
    units = units_of(instance)
    nodes: list[Node] = []
    unit_nodes: Columns = []
    for unit in units:
        first = len(nodes)
        nodes += nodes_of(instance, unit)
        unit_nodes.append([first, len(nodes)])
    node_of = {t.index: n for n, node in enumerate(nodes) for t in node.tasks}
    unit_of = {i: u for u, unit in enumerate(units) for i in unit}
    lot_node = np.zeros(len(instance.lots), np.int64)
    node_rows: Columns = []
    node_tasks: list[int] = []
    for n, node in enumerate(nodes):
        if node.lot is not None:
            lot_node[node.lot.index] = n
        first = len(node_tasks)
        node_tasks += [t.index for t in node.tasks]
        node_rows.append([-1 if node.lot is None else node.lot.index, first, len(node_tasks)])
    span: Columns = []
    span_rows: dict[tuple[int, int], tuple[int, int]] = {}
    option: Columns = []
    load: Columns = []
    rows: Columns = []
    for task in tasks:
        rows.append(
            [
                unit_of[task.item],
                node_of[task.index],
                task.position,
                task.shortest,
                task.longest,
                task.lag_min,
                min(task.lag_max, kernel.FAR // 4),
                task.earliest,
                len(option),
                len(load),
                task.fact is not None,
                instance.is_last(task),
            ]
        )
        if task.lot is None:
            for s in task.stations:
                key = s, getattr(task.step, "people", 0)
                if key not in span_rows:
                    spans = instance.spans(task, s)
                    first = len(span)
                    # No span at all means always in the kernel; never is one that nothing fits.
                    span += (
                        [[-1, -1]] if spans is not None and not spans else map(list, spans or ())
                    )
                    span_rows[key] = first, len(span)
                option.append([s, *span_rows[key]])
            load += [
                [RESOURCES[r], offset, -1 if minutes is None else minutes, amount]
                for r, offset, minutes, amount in task.loads
            ]
    rows.append([0] * 8 + [len(option), len(load), 0, 0])
    row_of, profile = _profiles(instance)
    keys = np.array([_keys(instance, unit) for unit in units], np.float64).reshape(-1, KEYS).T
    movable = np.array(
        [
            u
            for u, unit in enumerate(units)
            if any(tasks[t].fact is None for i in unit for t in instance.routes[i])
        ],
        np.int64,
    )
    orders = [movable[np.argsort(keys[k, movable], kind="stable")] for k in range(KEYS)]
    return Work(
        task=np.array(rows, np.int64),
        charge=np.array([_charge(instance, t) for t in tasks], np.float64).reshape(-1, 9),
        option=np.array(option, np.int64).reshape(-1, 3),
        span=np.array(span, np.int64).reshape(-1, 2),
        load=np.array(load, np.int64).reshape(-1, 4),
        row_of=row_of,
        profile=profile,
        node=np.array(node_rows, np.int64).reshape(-1, 3),
        node_task=np.array(node_tasks, np.int64),
        lot_node=lot_node,
        chamber=np.array(sorted(instance.first_programme), np.int64),
        unit=np.array(unit_nodes, np.int64).reshape(-1, 2),
        unit_key=np.ascontiguousarray(keys),
        unit_order=np.array(orders, np.int64).reshape(KEYS, -1),
        last_task=np.array([route[-1] for route in instance.routes], np.int64),
    )


def _keys(instance: Instance, unit: tuple[int, ...]) -> list[float]:
    """By which units may be put in order: Smith's ratio, latest start, release, rail."""
    items = instance.problem.items
    return [
        min(-importance(instance, i) / station_share(instance, i) for i in unit),
        min(latest_start(instance, instance.routes[i]) for i in unit),
        min(items[i].release_min for i in unit),
        -sum(items[i].rail_mm for i in unit),
    ]


def _charge(instance: Instance, task: Task) -> list[float]:
    """Columns of `Work.charge`; what is never due is due far off."""
    weights, step, item = instance.problem.weights, task.step, instance.item(task)
    due = item.due_min if instance.is_last(task) else None
    station, start = task.before or (-1, 0)
    return [
        kernel.FAR if step.start_by_min is None else step.start_by_min,
        weights.lateness * step.start_by_weight,
        kernel.FAR if step.due_min is None else step.due_min,
        kernel.FAR if due is None else due,
        weights.lateness * item.weight,
        weights.late_items,
        station,
        start,
        0 if task.before is None else weights.changes,
    ]


def _profiles(instance: Instance) -> tuple[Ints, Ints]:
    """(profile of each station's resource, -1: none; capacity and first place of each)."""
    changes: dict[tuple[int, str], int] = defaultdict(int)
    for task in instance.tasks:
        for s in task.stations:
            for load in task.loads:
                changes[s, load.resource] += 2
    row_of = np.full((len(instance.stations), len(RESOURCES)), -1, np.int64)
    rows: Columns = []
    first = 0
    for s, station in enumerate(instance.stations):
        for resource, capacity in capacities(station).items():
            row_of[s, RESOURCES[resource]] = len(rows)
            rows.append([capacity, first])
            first += changes[s, resource] + 4
            if isinstance(station, Bench):
                first += 2 * len(station.shifts)
    rows.append([0, first])
    return row_of, np.array(rows, np.int64)


def board_of(
    instance: Instance, given: Given, state: State, work: Work, schedule: Schedule
) -> Board:
    """The schedule on a board; the runs of the state are set to its times."""
    tasks, lots, units = len(instance.tasks), len(instance.lots), len(work.unit)
    places = int(work.profile[-1, 1])
    place = np.array([schedule.start, schedule.end, schedule.station], np.int64).T.copy()
    board = Board(
        place=place,
        time=np.full(places, -kernel.FAR),
        level=np.zeros(places, np.int64),
        size=np.ones(len(work.profile) - 1, np.int64),
        not_before=np.zeros(len(work.node), np.int64),
        out=np.zeros(units + 1, np.int64),
        is_out=np.zeros(units, np.bool_),
        log=np.zeros((16 * tasks + 64, 5), np.int64),
        logged=np.zeros(1, np.int64),
        total=np.zeros(2),
        finish=np.zeros(2, np.int64),
        best_place=place.copy(),
        best_run=np.zeros(lots, np.int64),
    )
    for lot in instance.lots:
        r = state.lot[lot.index, kernel.RUN]
        t = lot.tasks[0]
        state.run[r, kernel.START], state.run[r, kernel.END] = schedule.start[t], schedule.end[t]
    for s, station in enumerate(instance.stations):
        if isinstance(station, Bench):
            for start, end, people in unstaffed(station):
                rk.use(work, board, work.row_of[s, RESOURCES["people"]], start, end, people)
    for task in instance.tasks:
        if task.lot is None:
            t = task.index
            rk.put(given, work, board, t, schedule.start[t], schedule.end[t], schedule.station[t])
    rk.settle_charges(given, state, work, board)
    rk.keep_best(state, board)
    return board
