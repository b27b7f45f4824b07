"""Finds what would bring an item forward, by planning again with one thing changed.

What is tried follows from the reasons that hold the item: another order of work (another piece
later, one more run), an extra evening or a day off worked at a bench that holds it up, an extra
visit of the licensed person. Closed chambers and rooms, programmes and limits are left as the
problem has them. Every plan that is reported has passed the verifier against its changed problem.
"""

import random
import time
from collections import Counter, defaultdict
from collections.abc import Callable, Collection, Iterable
from dataclasses import dataclass, field
from datetime import UTC, tzinfo
from itertools import pairwise
from typing import Protocol

from ortools.sat.python import cp_model

from scheduler.changes import changes
from scheduler.check import stamp
from scheduler.explain import Explainer, named, span, when
from scheduler.improve import Clock, never
from scheduler.instance import Instance
from scheduler.model import Model, build_model, read_schedule
from scheduler.plan import Plan, Run
from scheduler.problem import Bench, Problem, Shift, Window
from scheduler.schedule import Schedule, cost_of, to_plan

EVENING_MIN, VISIT_MIN, DAY_MIN = 240, 60, 1440
MOST_SHIFTS_TRIED, MOST_ADDED, MOST_NAMED = 3, 5, 3
# Of the time given, what goes to another order of work before anything is added.
ORDER_SHARE = 0.5
# A problem with no more steps to move than this is searched as a whole.
WHOLE_STEPS = 60
ROUND_WORK, WHOLE_WORK = 0.5, 5.0
IDLE_ROUNDS = 10


@dataclass(frozen=True)
class Relief:
    """One thing that brings the item forward.

    `gained_min`: how many minutes sooner the item ends; `objective_change`: of the whole plan
    (negative: better); `problem` and `plan`: the changed problem and a checked plan for it.
    """

    item: str
    what: str
    gained_min: int
    objective_change: int
    end_min: int
    in_time: bool
    problem: Problem
    plan: Plan

    def __str__(self) -> str:
        cost = "as much as now"
        if self.objective_change:
            more = "more" if self.objective_change > 0 else "less"
            cost = f"{abs(self.objective_change)} {more}"
        end = when(self.problem, self.end_min)
        return (
            f"{self.what}: it ends {span(self.gained_min)} sooner, {end}; "
            f"the whole plan is charged {cost}."
        )


class Aim(Protocol):
    """What a warm search makes small, and what it keeps to."""

    def cost(self, instance: Instance, schedule: Schedule) -> int:
        """What the schedule costs by this aim."""

    def shape(self, model: Model) -> None:
        """Give the model this aim as objective, with the limits to keep."""


@dataclass(frozen=True)
class Pull:
    """The problem's objective, and a further charge for each minute until an item's end."""

    item: int
    charge: int

    def cost(self, instance: Instance, schedule: Schedule) -> int:
        """The objective and the pull."""
        last = instance.routes[self.item][-1]
        return cost_of(instance, schedule) + self.charge * schedule.end[last]

    def shape(self, model: Model) -> None:
        """Minimise both."""
        last = model.instance.routes[self.item][-1]
        pulled = [*model.objective, self.charge * model.end[last]]
        model.cp.minimize(cp_model.LinearExpr.sum(pulled))


def relief(
    problem: Problem,
    plan: Plan,
    item_id: str,
    *,
    seconds: float = 20.0,
    seed: int = 0,
    max_rounds: int | None = None,
    should_stop: Callable[[], bool] = never,
    zone: tzinfo = UTC,
) -> tuple[Relief, ...]:
    """What brings the item forward, best first: what ends it in time before what doesn't, then
    by the change in the whole objective, then by the minutes gained. Empty when nothing that was
    tried helps.

    `seconds` are shared by all trials; at 1,000 items a round takes about one. `max_rounds` ends
    each trial after so many rounds, for runs that must be equal on machines of different speed.
    `should_stop` ends them all. Times are told by the clocks of `zone`.

    Raises:
        KeyError: the problem has no such item.
        ValueError: the plan is not one for this problem.
    """
    if plan.problem_sha256 != problem.sha256():
        raise ValueError("the plan is for another problem document; give the two that belong")
    number = {i.id: n for n, i in enumerate(problem.items)}[item_id]
    aim = Pull(number, max(1, problem.weights.lateness * problem.items[number].weight))
    changed = _changed_problems(problem, plan, item_id, zone)
    alone = seconds * (ORDER_SHARE if changed else 1.0)
    each = (seconds - alone) / max(1, len(changed))

    def planned_again(other: Problem, start: Schedule, limit_s: float) -> tuple[Schedule, int, int]:
        """(schedule, minutes gained, change in the objective)."""
        clock = Clock(time.monotonic() + limit_s, should_stop)
        instance = Instance.of(other)
        search = WarmSearch(instance, aim, [number], clock, seed, max_rounds)
        better = search.run(start)
        last = instance.routes[number][-1]
        return better, present.end[last] - better.end[last], cost_of(instance, better) - now

    instance = Instance.of(problem)
    present = schedule_of(instance, plan)
    now = cost_of(instance, present)
    start, gained, saved = planned_again(problem, present, alone)
    found = [_reported(plan, problem, start, item_id, "")] if gained > 0 else []
    for what, other in changed:
        # On top of the best order, so that it counts only if it adds to that.
        better, more, change = planned_again(other, start, each)
        if more > max(0, gained) or (more > 0 and change < saved):
            found.append(_reported(plan, other, better, item_id, what))
    return tuple(sorted(found, key=lambda r: (not r.in_time, r.objective_change, -r.gained_min)))


def schedule_of(instance: Instance, plan: Plan) -> Schedule:
    """The solver's form of a plan for the instance's problem, or for one with the same items.

    Raises:
        KeyError: the plan lacks a step, or names a station, that the instance has not.
    """
    places = {(p.item, p.step): p for p in plan.placements}
    index = {s.id: n for n, s in enumerate(instance.stations)}
    own = [places[instance.item(t).id, t.step.id] for t in instance.tasks]
    first: dict[str, int] = {}
    runs = [str(own[lot.tasks[0]].run) for lot in instance.lots]
    for lot, run in enumerate(runs):
        first.setdefault(run, lot)
    return Schedule(
        start=tuple(p.start for p in own),
        end=tuple(p.end for p in own),
        station=tuple(-1 if p.station is None else index[p.station] for p in own),
        run=tuple(first[run] for run in runs),
    )


@dataclass
class WarmSearch:
    """Searches around a feasible schedule for one that serves an aim better.

    Each round frees the steps of a few items, those in `targets` and those in their way (only
    items in `movable`, if given), and lets CP-SAT place them again; everything else stays.
    `each_round` is told the best schedule so far.
    """

    instance: Instance
    aim: Aim
    targets: Collection[int]
    clock: Clock
    seed: int
    max_rounds: int | None = None
    movable: Collection[int] | None = None
    each_round: Callable[[Schedule], None] | None = None
    rng: random.Random = field(init=False)

    def __post_init__(self) -> None:
        self.rng = random.Random(self.seed)
        if self.movable is None:
            self.movable = range(len(self.instance.routes))

    def run(self, schedule: Schedule) -> Schedule:
        """The best schedule found: no worse, by the aim, than the one given."""
        best, idle, rounds = self.aim.cost(self.instance, schedule), 0, 0
        everything = self._steps_of(self.movable or ())
        if not everything:
            return schedule
        whole = len(everything) <= WHOLE_STEPS
        while self.clock.left_s > 0 and idle < IDLE_ROUNDS:
            if self.max_rounds is not None and rounds >= self.max_rounds:
                break
            rounds += 1
            free = everything if whole else self._steps_of(self._neighbours(schedule))
            found = self._solve(schedule, free, whole)
            cost = best if found is None else self.aim.cost(self.instance, found)
            idle += 1
            if found is not None and cost < best:
                best, schedule, idle = cost, found, 0
            if self.each_round is not None:
                self.each_round(schedule)
            if whole:
                break
        return schedule

    def _steps_of(self, items: Iterable[int]) -> set[int]:
        tasks = (self.instance.tasks[t] for i in items for t in self.instance.routes[i])
        return {t.index for t in tasks if t.fact is None}

    def _neighbours(self, schedule: Schedule) -> set[int]:
        """A target, mostly the one that ends last, and items that are where it would like to be
        before it is; then those in the way of one of these.
        """
        instance, movable = self.instance, set(self.movable or ())
        ends = {i: schedule.end[instance.routes[i][-1]] for i in self.targets}
        last = max(ends, key=lambda i: (ends[i], i))
        centre = last if self.rng.random() < 0.6 else self.rng.choice(sorted(ends))
        at: dict[int, list[int]] = defaultdict(list)
        for task in instance.tasks:
            if task.item in movable and schedule.station[task.index] >= 0:
                at[schedule.station[task.index]].append(task.index)
        size = self.rng.choice((6, 10, 16))
        chosen = {centre}
        for _ in range(2):
            rivals = sorted(self._rivals(schedule, centre, at) - chosen)
            self.rng.shuffle(rivals)
            # Half of them such as can best be later, the others any.
            rivals.sort(key=lambda i: self._slack(schedule, i) < self._slack(schedule, centre))
            chosen.update(rivals[: size // 4])
            rest = [i for i in rivals if i not in chosen]
            chosen.update(self.rng.sample(rest, min(len(rest), size // 4)))
            centre = self.rng.choice(sorted(chosen))
        return chosen & movable | {i for i in self.targets if i in chosen}

    def _slack(self, schedule: Schedule, item: int) -> int:
        """Minutes from the item's end to when it is due."""
        due = self.instance.problem.items[item].due_min
        end = schedule.end[self.instance.routes[item][-1]]
        return (self.instance.horizon if due is None else due) - end

    def _rivals(self, schedule: Schedule, item: int, at: dict[int, list[int]]) -> set[int]:
        instance, found = self.instance, set()
        ready = instance.problem.items[item].release_min
        for t in instance.routes[item]:
            task = instance.tasks[t]
            for station in task.stations:
                for other in at[station]:
                    if schedule.end[other] > ready and schedule.start[other] <= schedule.end[t]:
                        found.add(instance.tasks[other].item)
            ready = schedule.end[t]
        return found - {item}

    def _solve(self, schedule: Schedule, free: set[int], whole: bool) -> Schedule | None:
        model = build_model(self.instance, schedule, free)
        self.aim.shape(model)
        solver = model.exact_solver() if whole else cp_model.CpSolver()
        solver.parameters.num_workers = 1
        solver.parameters.random_seed = self.rng.randrange(2**30)
        solver.parameters.max_deterministic_time = WHOLE_WORK if whole else ROUND_WORK
        if not whole:
            # In so short a search, these three cost more than they give.
            solver.parameters.linearization_level = 0
            solver.parameters.cp_model_probing_level = 0
            solver.parameters.symmetry_level = 0
        status = self.clock.run(solver, model.cp)
        if status not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
            return None
        return read_schedule(model, lambda e: int(solver.value(e)))


def checked_plan(instance: Instance, schedule: Schedule, method: str) -> Plan:
    """The schedule as a plan that passed the verifier; it claims no bound but zero.

    Raises:
        PlanBrokenError: the schedule breaks a rule.
    """
    plan = to_plan(instance, schedule, bound=0, seed=0, seconds=0.0, method=(method,))
    return stamp(instance.problem, plan)


def _reported(last: Plan, problem: Problem, better: Schedule, item_id: str, what: str) -> Relief:
    plan = checked_plan(Instance.of(problem), better, "relief")
    item = next(i for i in problem.items if i.id == item_id)
    key = (item_id, item.steps[-1].id)
    before, end = (
        next(p.end for p in q.placements if (p.item, p.step) == key) for q in (last, plan)
    )
    told = (what, *_by_order(problem, last, plan, item_id))
    return Relief(
        item=item_id,
        what=", ".join(filter(None, told)) or "another order of work",
        gained_min=before - end,
        objective_change=plan.objective - last.objective,
        end_min=end,
        in_time=item.due_min is None or end <= item.due_min,
        problem=problem,
        plan=plan,
    )


def _by_order(problem: Problem, last: Plan, plan: Plan, item_id: str) -> list[str]:
    """What the new plan has that is no change of the problem: more runs, later pieces."""
    names = {i.id: i.label or i.id for i in problem.items}
    stations = {s.id: named(s) for s in problem.stations}
    more = Counter(r.station for r in plan.runs)
    more.subtract(r.station for r in last.runs)
    told = [
        f"{n} more run{'s' if n > 1 else ''} in {stations[s]}" for s, n in more.items() if n > 0
    ]
    later = [
        c
        for c in changes(problem, plan, last.placements)
        if c.item != item_id and c.later_min > problem.change_tolerance_min
    ]
    if later:
        rest = len(later) - MOST_NAMED
        listed = ", ".join(names[c.item] for c in later[:MOST_NAMED])
        told.append(f"{listed}{f' and {rest} more' if rest > 0 else ''} later")
    return told


def _changed_problems(
    problem: Problem, plan: Plan, item_id: str, zone: tzinfo
) -> list[tuple[str, Problem]]:
    """What a shop can add where the item, or what it waits for, is held; each only once."""
    explainer = Explainer(problem, plan)
    places = {(p.item, p.step): p for p in plan.placements}
    steps = {(i.id, s.id): s for i in problem.items for s in i.steps}
    benches = {s.id: s for s in problem.stations if isinstance(s, Bench)}
    waits = [r for r in explainer.reasons(item_id) if r.waited_min > 0]
    held = [(item_id, r) for r in sorted(waits, key=lambda r: -r.waited_min)]
    held += [(link.item, link.reason) for link in explainer.chain(item_id)]
    found: dict[str, Problem] = {}
    for item, reason in held:
        start = places[item, reason.step].start
        if reason.station in benches:
            bench = benches[reason.station]
            shortest = steps[item, reason.step].min_min
            for shift in _extra_shifts(bench, shortest, start - reason.waited_min, start):
                what = (
                    f"an extra shift at {named(bench)} from {when(problem, shift.start, zone)} to "
                    f"{when(problem, shift.end, zone)} with {shift.people} "
                    f"{'person' if shift.people == 1 else 'people'}"
                )
                found[what] = _with_shift(problem, bench, shift)
        elif reason.cause == "licence":
            run = next(r for r in plan.runs if r.id == places[item, reason.step].run)
            first = _could_start(plan, run, start - reason.waited_min)
            shortest = explainer.shortest_min(run)
            found |= _with_visits(problem, _licensed_moments(problem, run, first, shortest), zone)
    for run, longer in explainer.kept_closed(item_id):
        found |= _with_visits(problem, [run.end - longer], zone)
    return list(found.items())[:MOST_ADDED]


def _extra_shifts(bench: Bench, shortest: int, ready: int, start: int) -> list[Shift]:
    """Evenings and days off, between shifts that are there, that end before the step starts:
    first those of the spell in which it waits, then the last before that.
    """
    gaps = [(a, b) for a, b in pairwise(bench.shifts) if a.end < b.start <= start]
    waiting = [(a, b) for a, b in gaps if b.start > ready]
    found = []
    for a, b in [*waiting, *(g for g in reversed(gaps) if g not in waiting)]:
        evening = max(0, a.end)
        found.append(Shift(evening, min(b.start, evening + max(EVENING_MIN, shortest)), a.people))
        day_off = a.start + DAY_MIN
        if day_off >= max(0, a.end) and day_off + (a.end - a.start) <= b.start:
            found.append(Shift(day_off, day_off + (a.end - a.start), a.people))
    return [s for s in found if s.end - s.start >= shortest][:MOST_SHIFTS_TRIED]


def _with_shift(problem: Problem, bench: Bench, shift: Shift) -> Problem:
    longer = bench.model_copy(update={"shifts": tuple(sorted((*bench.shifts, shift)))})
    stations = tuple(longer if s.id == bench.id else s for s in problem.stations)
    return problem.model_copy(update={"stations": stations})


def _could_start(plan: Plan, run: Run, ready: int) -> int:
    """When the run could start but for the licence: clean-down done, and the item ready."""
    before = [r.end for r in plan.runs if r.station == run.station and r.end <= run.start]
    return max(0, ready, max(before, default=0) + run.start - run.clean_down_start)


def _licensed_moments(problem: Problem, run: Run, start: int, shortest: int) -> list[int]:
    """When such a run needs a licensed person if it starts then and lasts no longer than it must,
    in order.
    """
    programme = next(p for p in problem.programmes if p.id == run.programme)
    moments = [start + moment for moment in programme.licence_after_min]
    moments += [start] if programme.needs_licence else []
    moments += [start + shortest] if programme.licence_at_end else []
    return sorted(moments)


def _with_visits(problem: Problem, moments: Iterable[int], zone: tzinfo) -> dict[str, Problem]:
    """The problem with a visit at each of these moments at which nobody licensed is there, by what
    that adds in words; none where there is nothing to add.
    """
    windows = list(problem.licence_windows or ())
    visits: list[Window] = []
    for moment in moments:
        if not any(w.start <= moment < w.end for w in (*windows, *visits)):
            following = min(
                (w.start for w in windows if w.start > moment), default=moment + VISIT_MIN
            )
            visits.append(Window(moment, min(moment + VISIT_MIN, following)))
    if not visits:
        return {}
    several = "an extra visit" if len(visits) == 1 else "extra visits"
    at = " and at ".join(when(problem, visit.start, zone) for visit in visits)
    changed = {"licence_windows": tuple(sorted((*windows, *visits)))}
    return {f"{several} of the licensed person at {at}": problem.model_copy(update=changed)}
