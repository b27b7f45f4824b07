"""Makes a plan: dispatch, then CP-SAT, then the independent verifier."""

import queue
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, field

from scheduler.bounds import lower_bound
from scheduler.check import stamp
from scheduler.dispatch import Dispatched, best_dispatch
from scheduler.improve import TICK_S, Clock, Outcome, improve, solve_whole
from scheduler.instance import UNLIMITED, Instance
from scheduler.plan import Plan, gap_between
from scheduler.problem import Problem
from scheduler.reorder import reorder
from scheduler.schedule import Schedule, cost_of, earliest_guess, to_plan

# Shares of the time by which each phase is over. The whole problem is all there is to do for a
# small one, and does for the bound what it can for a medium one.
DISPATCH_SHARE, REORDER_SHARE, MEDIUM_SHARE = 0.1, 0.4, 0.6
REORDER_IDLE = 200
SMALL, MEDIUM = 3_000, 40_000


@dataclass(frozen=True)
class Progress:
    """How far the search is."""

    seconds: float
    phase: str
    objective: int | None
    bound: int

    @property
    def gap(self) -> float | None:
        """(objective - bound) / objective; None while there is no plan."""
        return None if self.objective is None else gap_between(self.objective, self.bound)


class NoPlanError(ValueError):
    """There is no plan, or none was found in the time given."""


def solve(
    problem: Problem,
    *,
    seconds: float,
    seed: int = 0,
    workers: int = 2,
    on_progress: Callable[[Progress], None] | None = None,
    max_rounds: int | None = None,
) -> Plan:
    """The best plan found in the time given, checked and stamped by the verifier.

    An interrupt from the keyboard ends the search, not the call: the best plan so far is
    returned. `max_rounds` ends the improvement after so many rounds, for runs that must be equal
    on machines of different speed.

    Raises:
        NoPlanError: no plan exists, or none was found in time (the message says which).
        KeyboardInterrupt: interrupted before there was a plan.
    """
    search = _Search(problem, seconds, seed, workers, on_progress, max_rounds)
    return search.run()


@dataclass
class _Search:
    problem: Problem
    seconds: float
    seed: int
    workers: int
    on_progress: Callable[[Progress], None] | None
    max_rounds: int | None
    began: float = field(default_factory=time.monotonic)
    best: Schedule | None = None
    objective: int | None = None
    bound: int = 0
    dispatched: Dispatched | None = None
    method: list[str] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.instance = Instance.of(self.problem)
        self.clock = Clock(self.began + self.seconds)

    @property
    def elapsed_s(self) -> float:
        return time.monotonic() - self.began

    @property
    def proven(self) -> bool:
        return self.objective is not None and self.objective <= self.bound

    def run(self) -> Plan:
        try:
            self._dispatch()
            size = whole_size(self.instance)
            if not self.proven and self.best is not None and size > SMALL:
                self._reorder()
                self._improve(MEDIUM_SHARE if size <= MEDIUM else 1.0)
            if not self.proven and self._whole_is_worth_it(size):
                self._whole()
        except KeyboardInterrupt:
            self.clock.stop()
            if self.best is None:
                raise
            self.method.append("interrupted")
        if self.best is None:
            raise NoPlanError(
                f"no plan was found in {self.seconds} s; give it more time or a longer horizon_min"
            )
        plan = to_plan(
            self.instance,
            self.best,
            bound=self.bound,
            seed=self.seed,
            seconds=self.elapsed_s,
            method=tuple(self.method),
        )
        return stamp(self.problem, plan)

    def _tell(self, phase: str) -> None:
        if self.on_progress is not None:
            self.on_progress(Progress(self.elapsed_s, phase, self.objective, self.bound))

    def _take(self, schedule: Schedule, phase: str) -> None:
        cost = cost_of(self.instance, schedule)
        if self.objective is None or cost < self.objective:
            self.best, self.objective = schedule, cost
            self._tell(phase)

    def _raise_bound(self, bound: int, phase: str) -> None:
        if bound > self.bound:
            self.bound = bound
            self._tell(phase)

    def _deadline(self, share: float) -> float:
        """When a phase is over; with a fixed number of rounds the clock only ends the whole."""
        return self.began + (1.0 if self.max_rounds is not None else share) * self.seconds

    def _whole_is_worth_it(self, size: int) -> bool:
        if self.best is None or size <= SMALL:
            return True
        return size <= MEDIUM and self.max_rounds is None and self.clock.left_s > 0

    def _dispatch(self) -> None:
        deadline = self._deadline(DISPATCH_SHARE)
        found = best_dispatch(self.instance, deadline)
        self.bound = lower_bound(self.instance, None if found is None else found.schedule)
        if found is not None:
            self.dispatched = found
            self._take(found.schedule, "dispatch")
            self.method.append(f"dispatch by {found.rule}: {self.objective}")

    def _whole(self) -> None:
        """CP-SAT on the whole problem, in a thread so that an interrupt is heard."""
        news: queue.Queue[Schedule | int | Outcome | Exception] = queue.Queue()

        def work() -> None:
            try:
                news.put(
                    solve_whole(
                        self.instance,
                        self.best or earliest_guess(self.instance),
                        self.clock,
                        workers=self.workers,
                        seed=self.seed,
                        on_schedule=news.put,
                        on_bound=news.put,
                    )
                )
            except Exception as error:
                news.put(error)

        thread = threading.Thread(target=work, daemon=True)
        thread.start()
        while True:
            try:
                new = news.get(timeout=TICK_S)
            except queue.Empty:
                continue
            if isinstance(new, Schedule):
                self._take(new, "whole")
            elif isinstance(new, int):
                self._raise_bound(new, "whole")
            elif isinstance(new, Outcome):
                break
            else:
                raise new
        thread.join()
        if new.infeasible:
            raise NoPlanError(
                "no plan keeps all the rules: loosen a longest lag, a window, a capacity, "
                "a fixed placement or horizon_min"
            )
        if new.schedule is not None:
            self._take(new.schedule, "whole")
        self._raise_bound(new.bound, "whole")
        self.method.append(f"whole problem: {self.objective}")

    def _reorder(self) -> None:
        """Until its share of the time is up, or trials stop helping."""
        assert self.dispatched is not None
        most = UNLIMITED if self.max_rounds is None else self.max_rounds
        deadline = self._deadline(REORDER_SHARE)
        idle = 0
        for trial, found in enumerate(reorder(self.instance, self.dispatched, self.seed)):
            before = self.objective
            self._take(found.schedule, "orders")
            idle = idle + 1 if self.objective == before else 0
            if time.monotonic() > deadline or idle >= REORDER_IDLE or trial + 1 >= most:
                break
        self.method.append(f"orders: {self.objective}")

    def _improve(self, share: float) -> None:
        assert self.best is not None
        self.clock.deadline = self._deadline(share)
        better = improve(
            self.instance,
            self.best,
            self.clock,
            workers=self.workers,
            seed=self.seed,
            max_rounds=self.max_rounds,
        )
        for schedule in better:
            self._take(schedule, "neighbourhoods")
            if self.proven:
                break
        self.clock.deadline = self.began + self.seconds
        self.method.append(f"neighbourhoods: {self.objective}")


def whole_size(instance: Instance) -> int:
    """Roughly how many choices the model of the whole problem has."""
    pairs = 0
    for lot in instance.lots:
        pairs += sum(other.programme == lot.programme for other in instance.lots)
        pairs += len(lot.stations) * len(instance.lots)
    return pairs + sum(len(t.stations) for t in instance.tasks)
