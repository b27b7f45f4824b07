"""Runs CP-SAT: on the whole problem, and on neighbourhoods of the best schedule so far."""

import random
import threading
import time
from collections import defaultdict
from collections.abc import Callable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass, field

from ortools.sat.python import cp_model

from scheduler.instance import Instance, Task
from scheduler.model import build_model, read_schedule
from scheduler.schedule import Schedule, cost_of, item_costs

SMALLEST, FIRST_SIZE, LARGEST = 4, 10, 60
NEIGHBOURHOOD_WORK = 0.3
TICK_S = 0.2


def never() -> bool:
    """No reason to stop."""
    return False


@dataclass
class Clock:
    """When to stop: at the deadline (`time.monotonic`), when told to, or when `should_stop` says
    so; it is asked whenever the clock is read.
    """

    deadline: float
    should_stop: Callable[[], bool] = never
    stopped: threading.Event = field(default_factory=threading.Event)
    _running: set[cp_model.CpSolver] = field(default_factory=set)

    @property
    def left_s(self) -> float:
        """Seconds left; 0 when stopped."""
        return self.left_until(self.deadline)

    def left_until(self, deadline: float) -> float:
        """Seconds left until a deadline of one's own, if that is sooner; 0 when stopped."""
        if not self.stopped.is_set() and self.should_stop():
            self.stop()
        if self.stopped.is_set():
            return 0.0
        return max(0.0, min(deadline, self.deadline) - time.monotonic())

    def stop(self) -> None:
        """Stop every solver that runs, and start none."""
        self.stopped.set()
        for solver in list(self._running):
            solver.stop_search()

    def run(
        self,
        solver: cp_model.CpSolver,
        model: cp_model.CpModel,
        callback: cp_model.CpSolverSolutionCallback | None = None,
    ) -> cp_model.CpSolverStatus | None:
        """Solve within what is left; None if nothing is."""
        if self.left_s <= 0:
            return None
        solver.parameters.max_time_in_seconds = self.left_s
        solver.parameters.catch_sigint_signal = False
        self._running.add(solver)
        try:
            return solver.solve(model, callback)
        finally:
            self._running.discard(solver)


@dataclass(frozen=True)
class Outcome:
    """What CP-SAT said of the whole problem."""

    schedule: Schedule | None
    bound: int
    proven: bool
    infeasible: bool


class _Watch(cp_model.CpSolverSolutionCallback):
    def __init__(self, read: Callable[[cp_model.CpSolverSolutionCallback], None]) -> None:
        super().__init__()
        self._read = read

    def on_solution_callback(self) -> None:
        self._read(self)


def solve_whole(
    instance: Instance,
    guess: Schedule,
    clock: Clock,
    *,
    workers: int,
    seed: int,
    on_schedule: Callable[[Schedule], None],
    on_bound: Callable[[int], None],
) -> Outcome:
    """Solve the whole problem until proven or out of time, telling of whatever is found."""
    model = build_model(instance, guess)
    solver = model.exact_solver()
    solver.parameters.num_workers = workers
    solver.parameters.random_seed = seed
    solver.parameters.interleave_search = workers > 1
    solver.best_bound_callback = lambda bound: on_bound(_rounded_up(bound))
    watch = _Watch(lambda found: on_schedule(read_schedule(model, lambda e: int(found.value(e)))))
    status = clock.run(solver, model.cp, watch)
    if status is None:
        return Outcome(None, 0, proven=False, infeasible=False)
    if status == cp_model.MODEL_INVALID:
        raise RuntimeError(f"the model is not valid: {model.cp.validate()}")
    found = status in (cp_model.OPTIMAL, cp_model.FEASIBLE)
    return Outcome(
        schedule=read_schedule(model, lambda e: int(solver.value(e))) if found else None,
        bound=0 if status == cp_model.INFEASIBLE else _rounded_up(solver.best_objective_bound),
        proven=status == cp_model.OPTIMAL,
        infeasible=status == cp_model.INFEASIBLE,
    )


def _rounded_up(bound: float) -> int:
    """The least integer objective that a bound on integers allows."""
    nearest = round(bound)
    if abs(bound - nearest) < 1e-6 * max(1.0, abs(bound)) ** 0.5:
        return max(0, nearest)
    return max(0, int(bound) + (bound > 0))


@dataclass
class _Choice:
    """One way of choosing neighbourhoods, with how large and how worthwhile they are now."""

    name: str
    choose: Callable[["_Picker", int], set[int]]
    size: float = FIRST_SIZE
    merit: float = 1.0


def improve(
    instance: Instance,
    schedule: Schedule,
    clock: Clock,
    *,
    workers: int,
    seed: int,
    max_rounds: int | None = None,
) -> Iterator[Schedule]:
    """Better and better schedules, until the clock stops or so many rounds are done.

    Each round solves `workers` neighbourhoods of the same schedule at once, each with a fixed
    amount of work, and takes the best (the first among equals): the same seed and workers give
    the same rounds whatever the machine's speed.
    """
    rng = random.Random(seed)
    choices = [_Choice(name, choose) for name, choose in CHOICES.items()]
    best = cost_of(instance, schedule)
    rounds = 0
    with ThreadPoolExecutor(max_workers=workers) as pool:
        while clock.left_s > 0 and (max_rounds is None or rounds < max_rounds):
            rounds += 1
            picker = _Picker(instance, schedule, rng)
            tried: list[tuple[_Choice, Future[tuple[Schedule | None, bool]]]] = []
            for _ in range(workers):
                choice = rng.choices(choices, [c.merit for c in choices])[0]
                free = choice.choose(picker, round(choice.size))
                job = pool.submit(
                    _solve_neighbourhood, instance, schedule, free, clock, rng.randrange(2**30)
                )
                tried.append((choice, job))
            for choice, job in tried:
                found, finished = _result(job)
                cost = best if found is None else cost_of(instance, found)
                _learn(choice, better=cost < best, finished=finished)
                if found is not None and cost <= best:
                    better = cost < best
                    best, schedule = cost, found
                    if better:
                        yield schedule


def _result(job: Future[tuple[Schedule | None, bool]]) -> tuple[Schedule | None, bool]:
    """Wait in short ticks, so that an interrupt from the keyboard is heard."""
    while True:
        try:
            return job.result(timeout=TICK_S)
        except TimeoutError:
            continue


def _learn(choice: _Choice, *, better: bool, finished: bool) -> None:
    choice.merit = max(0.1, 0.9 * choice.merit + (1.0 if better else 0.0))
    if finished and not better:
        choice.size = min(LARGEST, choice.size * 1.15)
    elif not finished:
        choice.size = max(SMALLEST, choice.size * 0.85)


def _solve_neighbourhood(
    instance: Instance, schedule: Schedule, free: set[int], clock: Clock, seed: int
) -> tuple[Schedule | None, bool]:
    """(a schedule no worse, or None; whether the neighbourhood was searched to its end)."""
    if not free or clock.left_s <= 0:
        return None, True
    model = build_model(instance, schedule, free)
    solver = cp_model.CpSolver()
    solver.parameters.num_workers = 1
    solver.parameters.random_seed = seed
    solver.parameters.max_deterministic_time = NEIGHBOURHOOD_WORK
    # In so short a search, these three cost more than they give.
    solver.parameters.linearization_level = 0
    solver.parameters.cp_model_probing_level = 0
    solver.parameters.symmetry_level = 0
    status = clock.run(solver, model.cp)
    if status not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
        return None, False
    return read_schedule(model, lambda e: int(solver.value(e))), status == cp_model.OPTIMAL


class _Picker:
    """Chooses tasks to free, around what costs most."""

    def __init__(self, instance: Instance, schedule: Schedule, rng: random.Random) -> None:
        self.instance = instance
        self.schedule = schedule
        self.rng = rng
        self.cost = item_costs(instance, schedule)

    def costly_item(self) -> int:
        """An item, the likelier the more it costs."""
        return self.rng.choices(range(len(self.cost)), self.cost)[0]

    def any_item(self) -> int:
        """An item, all equally likely."""
        return self.rng.randrange(len(self.cost))

    def routes_of(self, items: set[int]) -> set[int]:
        """All tasks of the items, with those that share their lots."""
        tasks = {t for i in items for t in self.instance.routes[i]}
        return {t for t in tasks if self.instance.tasks[t].fact is None}

    def rivals(self, item: int, size: int) -> set[int]:
        """The item and those that hold its stations around the time it would like them."""
        chosen = {item}
        for t in self.instance.routes[item]:
            task = self.instance.tasks[t]
            ready = self._ready(task)
            near: list[tuple[int, int]] = []
            for other in self._at_stations_of(task):
                start = self.schedule.start[other.index]
                if ready - task.shortest <= start <= self.schedule.start[t] + task.shortest:
                    near.append((abs(start - ready), other.item))
            near.sort()
            self.rng.shuffle(near[size * 2 :])
            chosen.update(i for _, i in near[: max(2, size // 3)])
        return self._cut(chosen, item, size)

    def _ready(self, task: Task) -> int:
        before = self.instance.previous(task)
        return task.earliest if before is None else self.schedule.end[before.index] + task.lag_min

    def _at_stations_of(self, task: Task) -> list[Task]:
        stations = set(task.stations)
        return [
            other
            for other in self.instance.tasks
            if self.schedule.station[other.index] in stations and other.fact is None
        ]

    def _cut(self, chosen: set[int], keep: int, size: int) -> set[int]:
        rest = sorted(chosen - {keep})
        self.rng.shuffle(rest)
        return {keep, *rest[: max(1, size) - 1]}


def _around_costly(picker: _Picker, size: int) -> set[int]:
    return picker.routes_of(picker.rivals(picker.costly_item(), size))


def _whole_runs(picker: _Picker, size: int) -> set[int]:
    """All members of a costly item's run and of the runs nearest to it, as many as fit."""
    instance, schedule = picker.instance, picker.schedule
    if not instance.lots:
        return _around_costly(picker, size)
    members: dict[int, set[int]] = defaultdict(set)
    at: dict[int, int] = {}
    for lot in instance.lots:
        name = schedule.run[lot.index]
        members[name].update(instance.tasks[t].item for t in lot.tasks)
        at[name] = schedule.start[lot.tasks[0]]
    item = picker.costly_item()
    own = [
        schedule.run[index]
        for t in instance.routes[item]
        if (index := instance.tasks[t].lot) is not None
    ]
    centre = at[picker.rng.choice(own)] if own else picker.rng.choice(list(at.values()))
    chosen: set[int] = set()
    for name in sorted(at, key=lambda n: (abs(at[n] - centre), n)):
        if chosen and len(chosen | members[name]) > 2 * size:
            break
        chosen |= members[name]
    return picker.routes_of(chosen)


def _time_window(picker: _Picker, size: int) -> set[int]:
    """Items with a task starting nearest to one moment at one station."""
    instance, schedule = picker.instance, picker.schedule
    route = instance.routes[picker.costly_item()]
    centre = picker.rng.choice(route)
    station = schedule.station[centre]
    near = sorted(
        (abs(schedule.start[t.index] - schedule.start[centre]), t.item)
        for t in instance.tasks
        if schedule.station[t.index] == station and t.fact is None
    )
    items = list(dict.fromkeys(i for _, i in near))
    return picker.routes_of(set(items[:size]))


def _one_stage(picker: _Picker, size: int) -> set[int]:
    """Only the steps before the first run, or after the last, of many items near each other."""
    instance, schedule = picker.instance, picker.schedule
    centre = picker.costly_item()
    moment = schedule.start[instance.routes[centre][0]]
    first = picker.rng.random() < 0.6
    if not first:
        moment = schedule.end[instance.routes[centre][-1]]
    near = sorted(
        range(len(instance.routes)),
        key=lambda i: abs(
            (
                schedule.start[instance.routes[i][0]]
                if first
                else schedule.end[instance.routes[i][-1]]
            )
            - moment
        ),
    )
    free: set[int] = set()
    for i in near[: 2 * size]:
        for t in instance.routes[i] if first else reversed(instance.routes[i]):
            task = instance.tasks[t]
            if task.lot is not None:
                break
            if task.fact is None:
                free.add(t)
    return free


def _costly_and_any(picker: _Picker, size: int) -> set[int]:
    chosen = {picker.costly_item() for _ in range(max(2, size // 2))}
    chosen |= {picker.any_item() for _ in range(max(1, size // 3))}
    return picker.routes_of(chosen)


CHOICES: dict[str, Callable[[_Picker, int], set[int]]] = {
    "around costly": _around_costly,
    "whole runs": _whole_runs,
    "time window": _time_window,
    "one stage": _one_stage,
    "costly and any": _costly_and_any,
}
