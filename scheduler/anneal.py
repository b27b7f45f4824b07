"""Local search over the runs of all chambers at once, compiled: the work horse for batches.

The search sees the chambers only. What comes before a run is taken from the schedule it starts
from, and what comes after is taken to follow without waiting. For problems of batch steps alone
that is exact; in others, what it finds is placed again with everything around it and counts only
if that is better. Moves (see `scheduler.kernel`): a lot to another run, lots exchanged, a run
opened, split, shifted, traded or merged, a chain of two lots, and two chambers' runs exchanged
from a moment on. They are accepted by simulated annealing (Kirkpatrick, Gelatt and Vecchi 1983),
with temperatures taken from what the problem's own moves cost.
"""

import time
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime
from itertools import count

import numpy as np

from scheduler import kernel
from scheduler.dispatch import NoDispatchError, PlannedRun, around_runs
from scheduler.instance import UNLIMITED, Instance, Lot, Spans
from scheduler.kernel import FAR, Floats, Given, Ints, State
from scheduler.problem import BatchStep, Chamber, Item, Problem, Programme
from scheduler.schedule import Schedule, cost_of, earliest_guess

SHARES: Floats = np.cumsum([0.30, 0.27, 0.08, 0.12, 0.07, 0.04, 0.08, 0.04])
"""Cumulative chances of the kernel's moves, in its order."""
CHUNK = 20_000
"""Moves between two looks at the clock."""
SAMPLE = 12_000
"""Moves tried to learn what moves cost."""
HOT_QUANTILE, HOT, COLD = 0.25, 0.3, 0.01
"""The first temperature is HOT times this quantile of what worsening moves cost; the last, COLD."""

Charge = tuple[int, float, float, bool]
"""(due, charge a minute late, charge if late at all, whether the start is held against due)."""


def anneal(
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
    Placing what they find takes time where there is much around the runs, so that is done no more
    often than takes a fifth of it, and at the end.
    """
    if not instance.lots:
        return
    given = given_of(instance, schedule)
    searches = [state_of(instance, given, schedule, seed * 1000 + n) for n in range(workers)]
    if not all(np.isfinite(one.total[1]) for one in searches):
        return
    hot = _hot(given, searches[0])
    if hot == 0.0:
        return
    best = cost_of(instance, schedule)
    told, next_look = float(searches[0].total[1]), 0.0
    seconds = max(left_s(), 1e-9)
    with ThreadPoolExecutor(max_workers=workers) as pool:
        for rounds in count():
            left = left_s()
            done = 1 - left / seconds if max_rounds is None else rounds / max_rounds
            over = left <= 0 or done >= 1
            leader = min(searches, key=lambda one: float(one.total[1]))
            began = time.monotonic()
            if leader.total[1] < told and (over or max_rounds is not None or began >= next_look):
                told = float(leader.total[1])
                found = _placed(instance, schedule, leader)
                if found is not None and (cost := cost_of(instance, found)) < best:
                    best = cost
                    yield found
                ended = time.monotonic()
                next_look = ended + 4 * (ended - began)
            if over:
                break
            heat = hot * (COLD / HOT) ** done
            for job in [pool.submit(_chunk, given, one, heat) for one in searches]:
                job.result()


def compile_all() -> tuple[Instance, Schedule]:
    """Compile the kernel, or load what was compiled before, by way of the small instance returned.
    On a new machine that takes a minute.
    """
    items = tuple(
        Item(id=name, steps=(BatchStep(id="run", stations=("c",), programme="p", min_min=1),))
        for name in "ab"
    )
    problem = Problem(
        epoch=datetime(2000, 1, 1, tzinfo=UTC),
        horizon_min=9,
        stations=(Chamber(id="c", usable_l=1, programmes=("p",)),),
        programmes=(Programme(id="p"),),
        items=items,
    )
    instance = Instance.of(problem)
    schedule = earliest_guess(instance)
    given = given_of(instance, schedule)
    state = state_of(instance, given, schedule, seed=0)
    _hot(given, state)
    kernel.anneal(given, state, 1, 1.0, SHARES)
    return instance, schedule


def _chunk(given: Given, state: State, heat: float) -> None:
    kernel.anneal(given, state, CHUNK, heat, SHARES)


def _hot(given: Given, state: State) -> float:
    """The first temperature; 0 where no move makes anything worse."""
    found = np.zeros(SAMPLE)
    n = kernel.sample_worsening(given, state, SAMPLE, SHARES, found)
    return HOT * float(np.quantile(found[:n], HOT_QUANTILE)) if n else 0.0


def _placed(instance: Instance, schedule: Schedule, state: State) -> Schedule | None:
    """The schedule with the best runs of a search in it; None where the rest found no place."""
    chambers = sorted(instance.first_programme)
    lots: dict[int, list[int]] = {}
    for lot in instance.lots:
        if lot.fact is None:
            lots.setdefault(int(state.best_run[lot.index]), []).append(lot.index)
    runs = [
        PlannedRun(
            chambers[int(state.best_place[slot, 0])], int(state.best_place[slot, 1]), tuple(members)
        )
        for slot, members in lots.items()
    ]
    try:
        return around_runs(instance, schedule, runs)
    except NoDispatchError:
        return None


def given_of(instance: Instance, schedule: Schedule) -> Given:
    """The problem's chambers as the kernel wants them, between what the schedule has around."""
    lots, chambers = instance.lots, sorted(instance.first_programme)
    weights = instance.problem.weights
    column = {station: n for n, station in enumerate(chambers)}
    charges = [list(_charges(instance, lot)) for lot in lots]
    windows = [_always(instance.windows[station]) for station in chambers]
    ready, latest = _slots(instance, schedule)
    tags, apart = _groups(instance)
    before = [_before(instance, lot, column) for lot in lots]
    programmes = len(instance.clean_min)
    urgency = [min((due for due, *_ in own), default=FAR) for own in charges]
    order = sorted(range(len(lots)), key=lambda n: (lots[n].programme, urgency[n], ready[n], n))
    order_place = np.empty(len(lots), dtype=np.int64)
    order_place[order] = np.arange(len(lots))
    may = np.zeros((len(lots), len(chambers)), dtype=np.bool_)
    for lot in lots:
        may[lot.index, [column[station] for station in lot.stations]] = True
    columns = {
        kernel.PROGRAMME_OF: [lot.programme for lot in lots],
        kernel.LITRES_OF: [lot.litres for lot in lots],
        kernel.RAIL_OF: [lot.rail for lot in lots],
        kernel.SHORTEST: [lot.shortest for lot in lots],
        kernel.LONGEST_OF: [lot.longest for lot in lots],
        kernel.READY_OF: ready,
        kernel.LATEST_OF: latest,
        kernel.BEFORE_CHAMBER: [chamber for chamber, _ in before],
        kernel.BEFORE_START: [start for _, start in before],
        kernel.CHANGE: [weights.changes * len(lot.tasks) for lot in lots],
        kernel.ORDER_PLACE: order_place,
        kernel.CHARGE_FROM: _offsets(charges)[:-1],
        kernel.CHARGE_TO: _offsets(charges)[1:],
        kernel.GROUP_FROM: _offsets(tags)[:-1],
        kernel.GROUP_TO: _offsets(tags)[1:],
    }
    licence, licence_columns = _licence(instance)
    in_order = _offsets([[n for n in order if lots[n].programme == p] for p in range(programmes)])
    return Given(
        lot=np.array([columns[n] for n in range(len(columns))], dtype=np.int64).T.copy(),
        charge=np.array([c for own in charges for c in own], dtype=np.float64).reshape(-1, 4),
        may=may,
        groups=np.array([tag for own in tags for tag in own], dtype=np.int64),
        apart=apart,
        chamber=np.array(
            [
                (
                    instance.chamber(station).usable_l,
                    instance.chamber(station).rail_mm,
                    instance.first_programme[station],
                    first,
                    last,
                    instance.chamber(station).power_w,
                )
                for station, first, last in zip(
                    chambers, _offsets(windows)[:-1], _offsets(windows)[1:], strict=True
                )
            ],
            dtype=np.int64,
        ).reshape(-1, kernel.POWER + 1),
        window=np.array([w for own in windows for w in own], dtype=np.int64).reshape(-1, 2),
        licence=np.array(licence, dtype=np.int64).reshape(-1, 2),
        programme=np.array(
            [
                (licensed, in_order[p], in_order[p + 1], *slices)
                for p, (licensed, *slices) in enumerate(licence_columns)
            ],
            dtype=np.int64,
        ),
        order=np.array(order, dtype=np.int64),
        clean_min=np.array(instance.clean_min, dtype=np.int64),
        clean_charge=np.array(instance.clean_cost, dtype=np.float64) * weights.clean_down_cost,
        running=float(weights.running_min),
        finish=float(weights.finish),
        energy=float(weights.energy),
        other_finish=max(
            (schedule.end[task.index] for task in instance.tasks if task.lot is None), default=0
        ),
        horizon=instance.horizon,
        tolerance=instance.problem.change_tolerance_min,
    )


def state_of(instance: Instance, given: Given, schedule: Schedule, seed: int) -> State:
    """A search that has the schedule's runs; `start_from` says whether they are possible."""
    lots, chambers, groups = len(instance.lots), len(given.chamber), given.apart.shape[0]
    # A move opens one run at most, so there is always a slot to spare.
    slots = lots + 2
    undone = 6 * (lots + slots) + 64
    state = State(
        lot=_blank((lots, 3)),
        run=_blank((slots, 15)),
        charge=np.zeros((slots, 2)),
        unfit=_blank((slots, chambers)),
        groups=_blank((slots, groups)),
        sequence=_blank((chambers, slots)),
        filled=_blank(chambers),
        free=_blank(slots),
        numbers=_blank(kernel.NUMBERS),
        total=np.full(2, np.inf),
        # xorshift needs a state other than 0; seeds next to each other must differ in many bits.
        random=np.array([(seed * 0x9E3779B97F4A7C15 + 0x2545F4914F6CDD1D) % 2**64], np.uint64),
        undo=_blank((undone, 4)),
        old=np.zeros((undone, 2)),
        best_run=_blank(lots),
        best_place=_blank((slots, 2)),
    )
    start_from(instance, given, state, schedule)
    return state


def start_from(instance: Instance, given: Given, state: State, schedule: Schedule) -> bool:
    """Set the search to the schedule's runs; False where they are not possible."""
    state.run.fill(0)
    state.unfit.fill(0)
    state.groups.fill(0)
    state.run[:, [kernel.HEAD, kernel.CHAMBER, kernel.TOUCHED]] = -1
    run = state.run
    by_chamber, members = schedule.runs_by_chamber(instance), schedule.runs()
    slot = 0
    for column, station in enumerate(sorted(instance.first_programme)):
        names = by_chamber.get(station, [])
        state.filled[column] = len(names)
        for place, name in enumerate(names):
            fact = instance.lots[name].fact
            run[slot, kernel.PROGRAMME] = instance.lots[name].programme
            run[slot, kernel.CHAMBER], run[slot, kernel.PLACE] = column, place
            state.sequence[column, place] = slot
            for lot in members[name]:
                kernel.link(given, state, lot, slot)
            kernel.refresh(given, state, slot)
            if fact is not None:
                run[slot, kernel.FIXED] = 1
                run[slot, kernel.START], run[slot, kernel.END] = fact.start, fact.end
            slot += 1
    free = np.arange(len(run) - 1, slot - 1, -1)
    state.free[: len(free)] = free
    state.numbers[kernel.N_FREE] = len(free)
    possible = bool(kernel.settle_all(given, state))
    if possible:
        kernel.keep_best(state)
    return possible


def _blank(shape: int | tuple[int, int]) -> Ints:
    return np.zeros(shape, dtype=np.int64)


def _offsets(lists: Sequence[Sequence[object]]) -> Ints:
    return np.cumsum([0, *map(len, lists)]).astype(np.int64)


def _always(spans: Spans | None) -> Spans:
    return [(-FAR, FAR)] if spans is None else spans


def _licence(instance: Instance) -> tuple[list[tuple[int, int]], list[tuple[int, ...]]]:
    """Spans of the licence, and each programme's columns about them: whether its starts are held
    against spans, and which; whether its ends are, and which.
    """
    people = list(instance.licence or ())
    spans = people[:]
    columns: list[tuple[int, ...]] = []
    for p in range(len(instance.clean_min)):
        starts = instance.moment_starts.get(p)
        first = len(spans)
        spans += starts or ()
        columns.append(
            (starts is not None, first, len(spans), p in instance.cleared, 0, len(people))
        )
    return spans, columns


def _charges(instance: Instance, lot: Lot) -> Iterator[Charge]:
    """What lateness of the lot's run costs, with what follows it taken to follow at once."""
    weights = instance.problem.weights
    for t in lot.tasks:
        task = instance.tasks[t]
        item = instance.item(task)
        rate = float(weights.lateness * item.weight)
        if task.step.start_by_min is not None and task.step.start_by_weight:
            by_start = float(weights.lateness * task.step.start_by_weight)
            yield task.step.start_by_min, by_start, 0.0, True
        after = 0
        while True:
            step = task.step
            if step.due_min is not None and rate:
                yield step.due_min - after, rate, 0.0, False
            if instance.is_last(task) and item.due_min is not None:
                yield item.due_min - after, rate, float(weights.late_items), False
            following = instance.following(task)
            if following is None or following.lot is not None:
                break
            task, after = following, after + following.lag_min
            if task.step.start_by_min is not None and task.step.start_by_weight:
                by_start = float(weights.lateness * task.step.start_by_weight)
                yield task.step.start_by_min - after, by_start, 0.0, False
            after += task.shortest


def _slots(instance: Instance, schedule: Schedule) -> tuple[list[int], list[int]]:
    """Earliest and latest start of each lot, between what comes before and its items' next runs."""
    ready, latest = [], []
    for lot in instance.lots:
        low, high = 0, FAR
        for t in lot.tasks:
            task = instance.tasks[t]
            before = instance.previous(task)
            low = max(low, instance.item(task).release_min, task.step.not_before_min)
            if before is not None:
                low = max(low, schedule.end[before.index] + task.lag_min)
                if task.lag_max < UNLIMITED:
                    high = min(high, schedule.end[before.index] + task.lag_max)
            takes = task.shortest
            following = instance.following(task)
            while following is not None:
                takes += following.lag_min
                if following.lot is not None or following.fact is not None:
                    high = min(high, schedule.start[following.index] - takes)
                    break
                takes += following.shortest
                following = instance.following(following)
        ready.append(low)
        latest.append(high)
    return ready, latest


def _groups(instance: Instance) -> tuple[list[list[int]], kernel.Bools]:
    """Mixing groups by lot, numbered, and which may not be in a run with which."""
    names = sorted({group for pair in instance.problem.apart for group in pair})
    number = {group: n for n, group in enumerate(names)}
    apart = np.zeros((len(names), len(names)), dtype=np.bool_)
    for a, b in instance.problem.apart:
        apart[number[a], number[b]] = apart[number[b], number[a]] = True
    tags = [
        sorted({number[tag] for own in lot.tags for tag in own if tag in number})
        for lot in instance.lots
    ]
    return tags, apart


def _before(instance: Instance, lot: Lot, column: dict[int, int]) -> tuple[int, int]:
    """(chamber, start) in the last plan; chamber -1: nothing to charge, -2: one that is gone."""
    place = instance.tasks[lot.tasks[0]].before
    if place is None:
        return -1, 0
    return column.get(place[0], -2), place[1]
