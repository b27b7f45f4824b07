"""When a new loss can be done, as a document, and what that does to the items that were there.

It needs no solver, so that a program that only asks need not load one.
"""

from dataclasses import dataclass

from pydantic import BaseModel

from scheduler.plan import Plan
from scheduler.problem import Problem


class Answer(BaseModel, frozen=True):
    """A promise (``scheduler.promise.Promise``) as a document: the plans are for the problem with
    the new items after its own, and ``forward`` says what would bring the last of them forward.
    """

    earliest_min: int
    beside: Plan | None
    with_room: Plan | None
    with_harm: Plan | None
    forward: tuple[str, ...]


@dataclass(frozen=True)
class Harm:
    """What a plan does to an item that was there before: minutes that its worst deadline is missed
    by, beyond what the present plan misses it by.
    """

    item: str
    later_min: int


def harms(problem: Problem, present: Plan, plan: Plan) -> tuple[Harm, ...]:
    """Every item of the present plan that the plan makes late, or later, the worst first."""
    before = {(p.item, p.step): p for p in present.placements}
    after = {(p.item, p.step): p for p in plan.placements}
    found = []
    for item in problem.items:
        worst = 0
        for step in item.steps:
            was, now = before.get((item.id, step.id)), after[item.id, step.id]
            if was is None:
                continue
            dues = [step.due_min, item.due_min if step is item.steps[-1] else None]
            missed = [now.end - max(due, was.end) for due in dues if due is not None]
            if step.start_by_min is not None:
                missed.append(now.start - max(step.start_by_min, was.start))
            worst = max([worst, *missed])
        if worst:
            found.append(Harm(item.id, worst))
    return tuple(sorted(found, key=lambda one: (-one.later_min, one.item)))
