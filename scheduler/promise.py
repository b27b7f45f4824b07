"""Answers when a new loss can be done: beside the present plan, by making room in it, and where
pieces that are here already may come to harm.
"""

import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from datetime import UTC, tzinfo

from ortools.sat.python import cp_model

from scheduler.answer import Answer, harms
from scheduler.changes import Change, changes
from scheduler.dispatch import best_dispatch
from scheduler.explain import span, when
from scheduler.improve import Clock, never
from scheduler.instance import Instance
from scheduler.model import Model, build_model, read_schedule
from scheduler.plan import Plan
from scheduler.problem import (
    FixedPlacement,
    Item,
    PreviousPlacement,
    Problem,
    Weights,
)
from scheduler.relief import Relief, WarmSearch, checked_plan, relief, schedule_of
from scheduler.schedule import Schedule, cost_of, earliest_guess
from scheduler.solve import Progress

# Of the time given, when each part is to end; the rest goes to what would bring them forward.
DISPATCH_SHARE, BESIDE_SHARE, ROOM_SHARE, HARM_SHARE, LEAST_HARM_SHARE = 0.1, 0.3, 0.5, 0.65, 0.75
MOST_NAMED = 3
# The largest problem, in steps, for which a plan that makes room is sought from nothing.
WHOLE_STEPS = 400

Limits = dict[int, tuple[int | None, int | None]]


@dataclass(frozen=True)
class Offer:
    """A checked plan with the new items, when their last step ends, and what it moves."""

    finish_min: int
    plan: Plan
    moved: tuple[Change, ...]


@dataclass(frozen=True)
class Promise:
    """When the new items can be done; None where no plan was found before the horizon.

    `beside`: every present item stays exactly where it is. `with_room`: present items may move,
    but none that is in time becomes late and none that is late becomes later. `with_harm`: they
    may also become late or later, but no more than this finish costs them; it is no later than
    the others. `earliest_min`: no plan ends the new items sooner, for even with the facility to
    itself one of them takes so long. `reliefs`: what would bring the last new item forward without
    harm. `problem` is the one with the new items, for which all plans are.
    """

    problem: Problem
    beside: Offer | None
    with_room: Offer | None
    with_harm: Offer | None
    earliest_min: int
    reliefs: tuple[Relief, ...]
    sentence: str

    def __str__(self) -> str:
        return self.sentence


def promise(
    problem: Problem,
    plan: Plan,
    new: Sequence[Item],
    *,
    seconds: float = 20.0,
    seed: int = 0,
    max_rounds: int | None = None,
    on_progress: Callable[[Progress], None] | None = None,
    should_stop: Callable[[], bool] = never,
    zone: tzinfo = UTC,
) -> Promise:
    """The earliest finish of new items, with and without moving or harming others, and what would
    help.

    Progress tells the finish as its objective, and what no plan ends sooner than as its bound.
    Once `should_stop` says so, each part gives what it has. Times are told by the clocks of `zone`.

    Raises:
        ValueError: there are no new items, or the plan is not one for this problem.
        pydantic.ValidationError: the new items contradict the problem (the message says how).
    """
    if not new:
        raise ValueError("there are no new items; name at least one")
    if plan.problem_sha256 != problem.sha256():
        raise ValueError("the plan is for another problem document; give the two that belong")
    both = Problem.model_validate(dict(problem) | {"items": (*problem.items, *new)})
    asked = _Question(
        present=plan,
        problem=both,
        new=tuple(range(len(problem.items), len(both.items))),
        seconds=seconds,
        seed=seed,
        max_rounds=max_rounds,
        on_progress=on_progress,
        should_stop=should_stop,
    )
    beside = asked.beside()
    with_room = asked.with_room(beside)
    if with_room is not None and not with_room.moved:
        beside = with_room
    best = with_room or beside
    with_harm = asked.with_harm(best)
    reliefs: tuple[Relief, ...] = ()
    left = asked.left_s(1.0)
    if best is not None and left > 0 and not should_stop():
        asked.tell("what would help", best.finish_min)
        last = max(
            (p for p in best.plan.placements if p.item in {i.id for i in new}),
            key=lambda p: (p.end, p.item),
        )
        reliefs = relief(
            asked.problem,
            best.plan,
            last.item,
            seconds=left,
            seed=seed,
            max_rounds=max_rounds,
            should_stop=should_stop,
            zone=zone,
        )
    sentence = _sentence(asked.problem, len(new), beside, with_room, reliefs)
    return Promise(
        asked.problem, beside, with_room, with_harm, asked.earliest_min, reliefs, sentence
    )


def answer_of(found: Promise, zone: tzinfo = UTC) -> Answer:
    """What of a promise another program needs; times are told by the clocks of ``zone``."""
    offers = (found.beside, found.with_room, found.with_harm)
    beside, with_room, with_harm = (offer and offer.plan for offer in offers)
    names = {item.id: item.label or item.id for item in found.problem.items}
    return Answer(
        earliest_min=found.earliest_min,
        beside=beside,
        with_room=with_room,
        with_harm=with_harm,
        forward=tuple(
            f"{one.what}: {names[one.item]} ends {span(one.gained_min)} sooner, "
            f"{when(one.problem, one.end_min, zone)}"
            for one in found.reliefs
        ),
    )


@dataclass(frozen=True)
class _Earliest:
    """The latest end of some items, then the sum of their ends, then the steps moved; others keep
    within their limits, by task: the latest start and end.
    """

    items: tuple[int, ...]
    limits: Limits
    finish_by: int

    def cost(self, instance: Instance, schedule: Schedule) -> int:
        """What the schedule costs by this aim."""
        ends = [schedule.end[instance.routes[i][-1]] for i in self.items]
        scale = len(instance.tasks) + 1
        return (len(ends) * max(ends) + sum(ends)) * scale + cost_of(instance, schedule)

    def shape(self, model: Model) -> None:
        """Minimise that; the problem's own objective must count steps moved and nothing else."""
        instance = model.instance
        ends = [model.end[instance.routes[i][-1]] for i in self.items]
        finish = model.cp.new_int_var(0, max(0, self.finish_by), "finish of the new items")
        for end in ends:
            model.cp.add(finish >= end)
        for task, (start, end_by) in self.limits.items():
            if task in model.free and start is not None:
                model.cp.add(model.start[task] <= start)
            if task in model.free and end_by is not None:
                model.cp.add(model.end[task] <= end_by)
        total = len(ends) * finish + cp_model.LinearExpr.sum(ends)
        moved = cp_model.LinearExpr.sum(model.objective)
        model.cp.minimize((len(instance.tasks) + 1) * total + moved)


@dataclass(frozen=True)
class _LeastHarm:
    """The problem's own objective, while some items end by a minute."""

    items: tuple[int, ...]
    finish_by: int

    def cost(self, instance: Instance, schedule: Schedule) -> int:
        """What the schedule costs by the problem's own weights."""
        return cost_of(instance, schedule)

    def shape(self, model: Model) -> None:
        """Minimise that, and keep the finish."""
        for i in self.items:
            model.cp.add(model.end[model.instance.routes[i][-1]] <= self.finish_by)
        model.cp.minimize(cp_model.LinearExpr.sum(model.objective))


@dataclass
class _Question:
    """The problem with the new items (by index), and the present plan without them."""

    present: Plan
    problem: Problem
    new: tuple[int, ...]
    seconds: float
    seed: int
    max_rounds: int | None
    on_progress: Callable[[Progress], None] | None = None
    should_stop: Callable[[], bool] = never
    began: float = field(default_factory=time.monotonic)

    def __post_init__(self) -> None:
        self.instance = Instance.of(self.problem)
        self.earliest_min = max(
            self.instance.tasks[self.instance.routes[i][-1]].earliest_end for i in self.new
        )
        # The same problem, charged only for steps that move from where the plan has them.
        counting = self.problem.model_copy(
            update={
                "weights": Weights(lateness=0, changes=1),
                "change_tolerance_min": 0,
                "previous": tuple(
                    PreviousPlacement.model_validate(p.model_dump())
                    for p in self.present.placements
                ),
            }
        )
        self.counting = Instance.of(counting)

    def left_s(self, share: float) -> float:
        """Seconds until this share of the time is up."""
        return self.began + share * self.seconds - time.monotonic()

    def tell(self, phase: str, finish: int | None) -> None:
        """How far it is."""
        if self.on_progress is not None:
            seconds = time.monotonic() - self.began
            self.on_progress(Progress(seconds, phase, finish, self.earliest_min))

    def beside(self) -> Offer | None:
        """The new items placed around the present plan, joining its runs where they may."""
        self.tell("beside", None)
        schedule = self._dispatched()
        if schedule is None:
            return None
        return self._offer(self._search("beside", schedule, self.new, {}, BESIDE_SHARE))

    def with_room(self, beside: Offer | None) -> Offer | None:
        """Present items moved within what they are due, starting from the plan beside them."""
        limits = self._limits()
        if beside is not None:
            schedule: Schedule | None = schedule_of(self.instance, beside.plan)
        else:
            schedule = self._from_nothing(limits)
        if schedule is None:
            return None
        return self._offer(self._search("with room", schedule, self.everyone, limits, ROOM_SHARE))

    def with_harm(self, best: Offer | None) -> Offer | None:
        """Present items moved at will, and then with that finish harmed as little as was found."""
        if best is not None:
            schedule = schedule_of(self.instance, best.plan)
        else:
            found = best_dispatch(self.instance, self.began + ROOM_SHARE * self.seconds)
            if found is None:
                return None
            schedule = found.schedule
        schedule = self._search("with harm", schedule, self.everyone, {}, HARM_SHARE)
        finish = self._finish(schedule)
        offer = self._offer(schedule)
        number = {item.id: n for n, item in enumerate(self.problem.items)}
        harmed = [number[one.item] for one in harms(self.problem, self.present, offer.plan)]
        if harmed:
            search = WarmSearch(
                self.instance,
                _LeastHarm(self.new, finish),
                harmed,
                self._clock(LEAST_HARM_SHARE),
                self.seed,
                self.max_rounds,
                self.everyone,
                lambda found: self.tell("least harm", self._finish(found)),
            )
            offer = self._offer(search.run(schedule))
        return offer

    @property
    def everyone(self) -> tuple[int, ...]:
        """All items, by index."""
        return tuple(range(len(self.problem.items)))

    def _finish(self, schedule: Schedule) -> int:
        return max(schedule.end[self.instance.routes[i][-1]] for i in self.new)

    def _clock(self, share: float) -> Clock:
        return Clock(time.monotonic() + max(0.0, self.left_s(share)), self.should_stop)

    def _dispatched(self) -> Schedule | None:
        """The present items as facts, the new ones dispatched around them."""
        facts = {(f.item, f.step) for f in self.problem.fixed}
        kept = tuple(
            FixedPlacement(
                item=p.item, step=p.step, station=p.station, start=p.start, end=p.end, run=p.run
            )
            for p in self.present.placements
            if (p.item, p.step) not in facts
        )
        frozen = self.problem.model_copy(update={"fixed": (*self.problem.fixed, *kept)})
        instance = Instance.of(frozen)
        found = best_dispatch(instance, self.began + DISPATCH_SHARE * self.seconds)
        if found is None:
            return None
        return schedule_of(self.instance, checked_plan(instance, found.schedule, "dispatch"))

    def _from_nothing(self, limits: Limits) -> Schedule | None:
        """Any plan that keeps the limits, by CP-SAT on the whole; None for a large problem."""
        if len(self.instance.tasks) > WHOLE_STEPS:
            return None
        model = build_model(self.counting, earliest_guess(self.counting))
        _Earliest(self.new, limits, self.problem.horizon_min).shape(model)
        solver = model.exact_solver()
        solver.parameters.random_seed = self.seed
        clock = self._clock(ROOM_SHARE)
        if clock.run(solver, model.cp) not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
            return None
        return read_schedule(model, lambda e: int(solver.value(e)))

    def _search(
        self,
        phase: str,
        schedule: Schedule,
        movable: tuple[int, ...],
        limits: Limits,
        share: float,
    ) -> Schedule:
        aim = _Earliest(self.new, limits, self._finish(schedule))
        search = WarmSearch(
            self.counting,
            aim,
            self.new,
            self._clock(share),
            self.seed,
            self.max_rounds,
            movable,
            lambda found: self.tell(phase, self._finish(found)),
        )
        return search.run(schedule)

    def _limits(self) -> Limits:
        """By task, the latest start and end with which no present item comes to harm."""
        places = {(p.item, p.step): p for p in self.present.placements}
        found = {}
        for task in self.instance.tasks:
            item, step = self.instance.item(task), task.step
            place = places.get((item.id, step.id))
            if place is None or task.fact is not None:
                continue
            dues = [step.due_min, item.due_min if self.instance.is_last(task) else None]
            ends = [max(due, place.end) for due in dues if due is not None]
            start = step.start_by_min
            found[task.index] = (
                None if start is None else max(start, place.start),
                min(ends) if ends else None,
            )
        return found

    def _offer(self, schedule: Schedule) -> Offer:
        plan = checked_plan(self.instance, schedule, "promise")
        new = {self.problem.items[i].id for i in self.new}
        finish = max(p.end for p in plan.placements if p.item in new)
        moved = changes(self.problem, plan, self.present.placements)
        return Offer(finish, plan, tuple(c for c in moved if c.item not in new))


def _sentence(
    problem: Problem,
    count: int,
    beside: Offer | None,
    with_room: Offer | None,
    reliefs: Sequence[Relief],
) -> str:
    who = "The new piece" if count == 1 else f"The {count} new pieces"
    find = "finds" if count == 1 else "find"
    if beside is None:
        told = [
            f"{who} {find} no place before {when(problem, problem.horizon_min)} unless others move."
        ]
    else:
        told = [f"{who} can be done by {when(problem, beside.finish_min)} without moving anything."]
    if with_room is None:
        if beside is None:
            told.append("No plan was found that moves others within their due dates either.")
    elif beside is None or with_room.finish_min < beside.finish_min:
        names = {i.id: i.label or i.id for i in problem.items}
        rest = len(with_room.moved) - MOST_NAMED
        listed = ", ".join(names[c.item] for c in with_room.moved[:MOST_NAMED])
        more = f" and {rest} more" if rest > 0 else ""
        told.append(
            f"By {when(problem, with_room.finish_min)} if {listed}{more} may move, "
            "none of them past its due date or later than it is late now."
        )
    else:
        told.append("Moving others within their due dates was not found to help.")
    if reliefs:
        name = next(i.label or i.id for i in problem.items if i.id == reliefs[0].item)
        what = "it" if count == 1 else f"the last of them, {name},"
        told.append(f"What would bring {what} forward: {reliefs[0]}")
    return " ".join(told)
