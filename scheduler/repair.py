"""The last plan, kept wherever it still holds, and the rest of the work placed around it.

Units are put back at their old places in order of old starts. A unit of which any step cannot be
put back waits, and is then placed anew, those first that a longest lag after fixed work hurries
most. One for which there is no place is placed before all others in the next attempt, so that
others make room for it.
"""

import time
from bisect import bisect_right, insort
from collections.abc import Sequence

from scheduler.bounds import lower_bound
from scheduler.check import stamp
from scheduler.dispatch import (
    Batching,
    Board,
    BoardRun,
    Gap,
    Node,
    NoDispatchError,
    Unit,
    latest_start,
    nodes_of,
    units_of,
)
from scheduler.instance import UNLIMITED, Instance
from scheduler.plan import Plan
from scheduler.problem import Problem
from scheduler.schedule import Schedule, to_plan

MOST_ATTEMPTS = 40


def repaired(problem: Problem) -> Plan:
    """The last plan of the problem put back around what has changed, checked, without a search.

    Raises:
        NoDispatchError: no place was found for an item in any attempt.
        PlanBrokenError: the plan breaks a rule.
    """
    began = time.monotonic()
    instance = Instance.of(problem)
    schedule = repair(instance)
    plan = to_plan(
        instance,
        schedule,
        bound=lower_bound(instance),
        seed=0,
        seconds=time.monotonic() - began,
        method=("last plan repaired",),
    )
    return stamp(problem, plan)


def repair(instance: Instance) -> Schedule:
    """A schedule that moves little of the last plan.

    Raises:
        NoDispatchError: no place was found for an item in any attempt.
    """
    units = sorted(units_of(instance), key=lambda unit: (_old_start(instance, unit), unit))
    ahead: list[tuple[int, ...]] = []
    for _ in range(MOST_ATTEMPTS):
        board, stuck = _attempt(instance, units, ahead)
        if stuck is None:
            return board.schedule()
        if stuck in ahead:
            ahead.remove(stuck)
        ahead.insert(0, stuck)
    names = ", ".join(instance.problem.items[i].id for i in ahead[0])
    raise NoDispatchError(f"no place for {names} in {MOST_ATTEMPTS} attempts")


def _attempt(
    instance: Instance, units: Sequence[tuple[int, ...]], ahead: Sequence[tuple[int, ...]]
) -> tuple[Board, tuple[int, ...] | None]:
    """The board with those ahead, those put back and the rest; and the first unit that has no
    place, if any.
    """
    board = Board(instance, Batching())
    for unit in ahead:
        try:
            Unit(board, nodes_of(instance, unit)).place()
        except NoDispatchError:
            return board, unit
    early = set(ahead)
    waiting = [u for u in units if u not in early and not _put_back(board, u)]
    for unit in sorted(waiting, key=lambda unit: _hurry(instance, unit)):
        try:
            Unit(board, nodes_of(instance, unit)).place()
        except NoDispatchError:
            return board, unit
    return board, None


def _put_back(board: Board, unit: tuple[int, ...]) -> bool:
    """Put the whole unit back where the last plan had it; False, with nothing done, if any of it
    cannot be.
    """
    nodes = nodes_of(board.instance, unit)
    done: list[Node] = []
    for node in nodes:
        is_fact = node.tasks[0].fact is not None
        placed = is_fact or _same_place(board, node)
        if placed and not is_fact:
            done.append(node)
        if not placed or not _links_hold(board, node):
            for other in reversed(done):
                board.take_node(other)
            return False
    return True


def _same_place(board: Board, node: Node) -> bool:
    """Put a step, or a lot, where the last plan had it, if it is free."""
    places = {task.before for task in node.tasks}
    place = places.pop()
    if places or place is None:
        return False
    station, start = place
    if start < max(t.earliest for t in node.tasks):
        return False
    task, lot = node.tasks[0], node.lot
    if lot is None:
        if start + task.shortest > board.instance.horizon:
            return False
        if station >= 0 and (
            station not in task.stations or board.fits(task, station, start, task.shortest) != start
        ):
            return False
        board.put(task, station, start, start + task.shortest)
        return True
    if station not in lot.stations:
        return False
    runs = board.runs[station]
    n = bisect_right(runs, start, key=lambda r: r.start)
    before = runs[n - 1] if n else None
    if before is not None and before.start == start:
        if not board.takes(before, lot, start):
            return False
        board.enter(lot, before)
        return True
    gap = Gap(station, before, runs[n] if n < len(runs) else None)
    found, end = board.run_times(lot.demand, gap, start)
    if found != start or end > board.instance.horizon:
        return False
    if not board.gap_suits(gap, lot.programme, start, end - start):
        return False
    run = BoardRun(station, lot.programme, start, lot.shortest)
    insort(runs, run, key=lambda r: r.start)
    board.enter(lot, run)
    return True


def _links_hold(board: Board, node: Node) -> bool:
    """Whether the lags after the steps before are kept, those stretched where they may be."""
    for before, task in node.links:
        start = board.start[task.index]
        assert start is not None
        if before.fact is not None and task.fact is not None:
            continue
        lag = start - board.end[before.index]
        if lag < task.lag_min:
            return False
        if lag > task.lag_max and not board.stretched(before, start - task.lag_max):
            return False
    return True


def _old_start(instance: Instance, unit: tuple[int, ...]) -> int:
    """When its first step that is not fixed was to start."""
    tasks = [instance.tasks[t] for i in unit for t in instance.routes[i]]
    return min((task.before[1] for task in tasks if task.before), default=UNLIMITED)


def _hurry(instance: Instance, unit: tuple[int, ...]) -> tuple[int, int, tuple[int, ...]]:
    """The latest start that longest lags after fixed work, and then deadlines, allow."""
    latest = UNLIMITED
    for i in unit:
        for t in instance.routes[i]:
            task, before = instance.tasks[t], instance.previous(instance.tasks[t])
            if task.fact is None and before is not None and before.fact is not None:
                latest = min(latest, before.fact.end + task.lag_max)
    return latest, min(latest_start(instance, instance.routes[i]) for i in unit), unit
