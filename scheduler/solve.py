"""Makes a plan: dispatch, local search, CP-SAT for proof and for what local search cannot see, and
the independent verifier at the end.
"""

import queue
import signal
import threading
import time
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import suppress
from dataclasses import dataclass, field
from typing import Any

from scheduler.bounds import lower_bound
from scheduler.check import stamp
from scheduler.conflict import Conflict, find_conflict
from scheduler.dispatch import NoDispatchError, best_dispatch
from scheduler.improve import TICK_S, Clock, Outcome, improve, solve_whole
from scheduler.instance import Instance
from scheduler.plan import Plan, gap_between
from scheduler.problem import Problem
from scheduler.repair import repair
from scheduler.schedule import Schedule, cost_of, earliest_guess, to_plan

# Shares of the time by which each phase is over. The whole problem is all there is to do for a
# small one, and does for the bound what it can for a medium one. Between them comes the search over
# runs, where those are all there is, or else the one over routes with neighbourhoods at
# the end.
DISPATCH_SHARE, RELAX_SHARE, RECREATE_SHARE, MEDIUM_SHARE = 0.1, 0.25, 0.9, 0.6
CONFLICT_S = 10.0
"""Time to look for the facts that leave no plan, beyond the time for planning."""
LEAST_ANNEAL_S = 1.0
"""Less time for the search over runs than this is not worth loading it."""
LAST_WORK = 3
"""Writing the plan down and verifying it take about so many times what indexing the problem does
(2.5 at 1,000 pieces).
"""
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
    """There is no plan, or none was found in the time given.

    `conflict`: facts that cannot all hold, where they were found.
    """

    def __init__(self, message: str, conflict: Conflict | None = None) -> None:
        super().__init__(message if conflict is None else str(conflict))
        self.conflict = conflict


def solve(
    problem: Problem,
    *,
    seconds: float,
    seed: int = 0,
    workers: int = 2,
    on_progress: Callable[[Progress], None] | None = None,
    max_rounds: int | None = None,
    stop_gap: float | None = None,
    should_stop: Callable[[], bool] | None = None,
) -> Plan:
    """The best plan found in the time given, checked and stamped by the verifier.

    An interrupt from the keyboard ends the search, not the call: the best plan so far is
    returned. So do a gap no larger than `stop_gap`, and `should_stop` (asked several times a
    second) once there is a plan. `max_rounds` ends each phase of improvement after so many rounds,
    for runs that must be equal on machines of different speed.

    Raises:
        NoPlanError: no plan exists, or none was found in time (the message says which).
        KeyboardInterrupt: interrupted before there was a plan.
    """
    search = _Search(
        problem, seconds, seed, workers, on_progress, max_rounds, stop_gap, should_stop
    )
    return search.run()


def warm_up() -> None:
    """Compile the local search, or load what was compiled before, for those who measure time."""
    from scheduler.anneal import compile_all  # noqa: PLC0415
    from scheduler.congestion import relaxed  # noqa: PLC0415
    from scheduler.recreate import construct, recreate  # noqa: PLC0415

    instance, schedule = compile_all()
    relaxed(instance, schedule)
    construct(instance, deadline=0.0)
    for _ in recreate(instance, schedule, lambda: 1.0, workers=1, seed=0, max_rounds=1):
        pass


@dataclass
class _Search:
    problem: Problem
    seconds: float
    seed: int
    workers: int
    on_progress: Callable[[Progress], None] | None
    max_rounds: int | None
    stop_gap: float | None
    should_stop: Callable[[], bool] | None
    began: float = field(default_factory=time.monotonic)
    best: Schedule | None = None
    objective: int | None = None
    bound: int = 0
    method: list[str] = field(default_factory=list)
    interrupted: bool = False
    answered: Any = signal.SIG_DFL
    search_s: float = 0.0

    def __post_init__(self) -> None:
        self.instance = Instance.of(self.problem)
        self.search_s = max(self.seconds / 2, self.seconds - LAST_WORK * self.elapsed_s)
        self.clock = Clock(self.began + self.search_s, self._told_to_stop)

    @property
    def elapsed_s(self) -> float:
        return time.monotonic() - self.began

    @property
    def proven(self) -> bool:
        return self.objective is not None and self.objective <= self.bound

    @property
    def done(self) -> bool:
        """Whether the plan is good enough: proven, or within the gap asked for."""
        if self.objective is None:
            return False
        gap = gap_between(self.objective, self.bound)
        return self.proven or (self.stop_gap is not None and gap <= self.stop_gap)

    def _told_to_stop(self) -> bool:
        return self.best is not None and self.should_stop is not None and self.should_stop()

    def _interrupt(self, *_: object) -> None:
        if self.best is None:
            raise KeyboardInterrupt
        self.interrupted = True
        self.clock.stop()

    def _hear(self, handler: Callable[..., None] | None) -> None:
        """Answer an interrupt from the keyboard so until told otherwise (None: as before).

        A plan is kept by stopping, as an exception could come up in the middle of anything. Only
        the main thread may say how a signal is answered.
        """
        if threading.current_thread() is not threading.main_thread():
            return
        if handler is not None:
            self.answered = signal.signal(signal.SIGINT, handler)
        else:
            signal.signal(signal.SIGINT, self.answered)

    def run(self) -> Plan:
        self._hear(self._interrupt)
        try:
            self._dispatch()
            size = whole_size(self.instance)
            if not self.done and self.best is not None and size > SMALL:
                share = MEDIUM_SHARE if size <= MEDIUM else 1.0
                runs = runs_share(self.instance)
                if runs < 1:
                    self._construct()
                self._relax()
                if runs < 1:
                    self._recreate(share)
                else:
                    self._anneal(share)
                self._improve(share)
            if not self.done and self._whole_is_worth_it(size):
                self._whole()
        finally:
            self._hear(None)
        if self.interrupted:
            self.method.append("interrupted")
        if self.best is None:
            raise NoPlanError(
                f"no plan was found in {self.seconds} s; give it more time or a longer horizon_min",
                find_conflict(self.problem, seconds=CONFLICT_S),
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
            self._stop_if_done()

    def _take_all(self, better: Iterator[Schedule], phase: str) -> None:
        for schedule in better:
            self._take(schedule, phase)
            if self.done:
                break
        self.method.append(f"{phase}: {self.objective}")

    def _raise_bound(self, bound: int, phase: str) -> None:
        if bound > self.bound:
            self.bound = bound
            self._tell(phase)
            self._stop_if_done()

    def _stop_if_done(self) -> None:
        if self.done and not self.proven:
            self.clock.stop()

    def _deadline(self, share: float) -> float:
        """When a phase is over; with a fixed number of rounds the clock only ends the whole."""
        return self.began + (1.0 if self.max_rounds is not None else share) * self.search_s

    def _whole_is_worth_it(self, size: int) -> bool:
        if self.best is None:
            # Building the model of a large problem alone takes longer than most give.
            return size <= MEDIUM
        if size > SMALL and self.max_rounds is not None:
            return False
        return size <= MEDIUM and self.clock.left_s > 0

    def _dispatch(self) -> None:
        if self.problem.previous:
            with suppress(NoDispatchError):
                self._take(repair(self.instance), "repair")
                self.method.append(f"last plan repaired: {self.objective}")
        # The compiled search tries more in the time, and one plan is all that it needs.
        compiled = whole_size(self.instance) > SMALL and runs_share(self.instance) < 1
        deadline = self.began if compiled else self._deadline(DISPATCH_SHARE)
        found = best_dispatch(self.instance, deadline)
        self.bound = lower_bound(self.instance)
        if found is not None:
            self._take(found.schedule, "dispatch")
            self.method.append(f"dispatch by {found.rule}: {self.objective}")

    def _relax(self) -> None:
        """A bound that takes stock of congestion."""
        assert self.best is not None
        # Needs the compiled kernel, as the search over runs does; see `_anneal`.
        from scheduler.congestion import relaxed  # noqa: PLC0415

        found = relaxed(self.instance, self.best, self._deadline(RELAX_SHARE))
        self._raise_bound(lower_bound(self.instance, found), "bound")

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
                if self.clock.left_s <= 0:
                    self.clock.stop()
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
                "a fixed placement or horizon_min",
                find_conflict(self.problem, seconds=CONFLICT_S),
            )
        if new.schedule is not None:
            self._take(new.schedule, "whole")
        self._raise_bound(new.bound, "whole")
        self.method.append(f"whole problem: {self.objective}")

    def _construct(self) -> None:
        """All rules of the compiled search: more than plain dispatch tries in the time."""
        from scheduler.recreate import construct  # noqa: PLC0415

        found = construct(self.instance, self._deadline(DISPATCH_SHARE))
        if found is not None:
            self._take(found, "dispatch")
            self.method.append(f"constructed: {self.objective}")

    def _recreate(self, share: float) -> None:
        """Search over whole routes: pieces off the board and back where they cost least."""
        deadline = self._deadline(share * RECREATE_SHARE)
        if self.clock.left_until(deadline) <= 0:
            return
        # Needs the compiled kernel, as the search over runs does; see `_anneal`.
        from scheduler.recreate import recreate  # noqa: PLC0415

        self._search(recreate, deadline, "routes")

    def _anneal(self, share: float) -> None:
        """Local search over the runs, where they are all there is."""
        deadline = self._deadline(share)
        if self.clock.left_until(deadline) < LEAST_ANNEAL_S:
            return
        # Importing numba and loading the compiled search takes seconds, and a plan of a small
        # problem or of benches alone does without.
        from scheduler.anneal import anneal  # noqa: PLC0415

        self._search(anneal, deadline, "runs")

    def _search(self, find: Callable[..., Iterator[Schedule]], deadline: float, phase: str) -> None:
        """One of the compiled searches, from the best so far until the deadline."""
        better = find(
            self.instance,
            self.best,
            lambda: self.clock.left_until(deadline),
            workers=self.workers,
            seed=self.seed,
            max_rounds=self.max_rounds,
        )
        self._take_all(better, phase)

    def _improve(self, share: float) -> None:
        assert self.best is not None
        if self.clock.left_until(self._deadline(share)) <= 0:
            return
        self.clock.deadline = self._deadline(share)
        better = improve(
            self.instance,
            self.best,
            self.clock,
            workers=self.workers,
            seed=self.seed,
            max_rounds=self.max_rounds,
        )
        self._take_all(better, "neighbourhoods")
        self.clock.deadline = self.began + self.search_s


def whole_size(instance: Instance) -> int:
    """Roughly how many choices the model of the whole problem has."""
    alike = Counter(lot.programme for lot in instance.lots)
    pairs = sum(n * n for n in alike.values())
    pairs += len(instance.lots) * sum(len(lot.stations) for lot in instance.lots)
    return pairs + sum(len(t.stations) for t in instance.tasks)


def runs_share(instance: Instance) -> float:
    """Which part of what is to be placed are lots in runs, 0 to 1."""
    lots = sum(lot.fact is None for lot in instance.lots)
    others = sum(task.lot is None and task.fact is None for task in instance.tasks)
    return lots / (lots + others) if lots else 0.0
