"""Lists what a plan changes from the last one, in words, the most harmful first."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, tzinfo

from scheduler.explain import named, span, when
from scheduler.plan import Placement, Plan
from scheduler.problem import Item, PreviousPlacement, Problem


@dataclass(frozen=True)
class Change:
    """What became of one item.

    `more_late` is by how many minutes it is later than before past its due date, times its
    weight; `later_min` by how many minutes its last step ends later (negative: sooner).
    """

    item: str
    more_late: int
    later_min: int
    sentence: str

    def __str__(self) -> str:
        return self.sentence


def changes(
    problem: Problem,
    plan: Plan,
    last: Iterable[Placement | PreviousPlacement] | None = None,
    zone: tzinfo = UTC,
) -> tuple[Change, ...]:
    """One change for each item that is new, gone, or moved by more than the problem's tolerance.

    `last` is the last plan in minutes after *this* problem's epoch; None: `problem.previous`.
    Fixed steps are facts and not reported. Most harmful first: more lateness (weighted), then a
    later end, then the items' order. Times are told by the clocks of `zone`.
    """
    before: dict[str, dict[str, Placement | PreviousPlacement]] = {}
    for place in problem.previous if last is None else last:
        before.setdefault(place.item, {})[place.step] = place
    now: dict[str, dict[str, Placement]] = {}
    for place in plan.placements:
        now.setdefault(place.item, {})[place.step] = place
    found = []
    for item in problem.items:
        change = _of_item(problem, item, before.get(item.id), now[item.id], zone)
        if change is not None:
            found.append(change)
    found += [
        Change(name, 0, 0, f"{name} is gone: it is no longer planned.")
        for name in before
        if name not in now
    ]
    return tuple(sorted(found, key=lambda c: (-c.more_late, -c.later_min)))


def _of_item(
    problem: Problem,
    item: Item,
    before: dict[str, Placement | PreviousPlacement] | None,
    now: dict[str, Placement],
    zone: tzinfo,
) -> Change | None:
    name, last = item.label or item.id, item.steps[-1].id
    end = now[last].end
    if before is None:
        late = 0 if item.due_min is None else max(0, end - item.due_min)
        told = f", {span(late)} late" if late else ""
        sentence = f"{name} is new: it ends {when(problem, end, zone)}{told}."
        return Change(item.id, item.weight * late, 0, sentence)
    moves = _moves(problem, item, before, now)
    old_end = before[last].end if last in before else end
    later = end - old_end
    if not moves and abs(later) <= problem.change_tolerance_min:
        return None
    told, more_late = "", 0
    if item.due_min is not None:
        was, late = max(0, old_end - item.due_min), max(0, end - item.due_min)
        more_late = item.weight * max(0, late - was)
        if late:
            told = f" and is {span(late)} late"
        elif was:
            told = " and is no longer late"
    moved = f"{name} ends as before, {when(problem, end, zone)}"
    if later:
        moved = f"{name} ends {_shift(later)}, {when(problem, end, zone)}"
    steps = f": {'; '.join(moves)}" if moves else ""
    return Change(item.id, more_late, later, f"{moved}{told}{steps}.")


def _moves(
    problem: Problem,
    item: Item,
    before: dict[str, Placement | PreviousPlacement],
    now: dict[str, Placement],
) -> list[str]:
    """What became of the item's steps that the last plan had, in order."""
    stations = {s.id: named(s) for s in problem.stations}
    facts = {f.step for f in problem.fixed if f.item == item.id}

    def at(station: str | None) -> str:
        return "no station" if station is None else stations.get(station, station)

    found = []
    for step in item.steps:
        old, new = before.get(step.id), now[step.id]
        if old is None or step.id in facts:
            continue
        parts = []
        if old.station != new.station:
            parts.append(f"moves from {at(old.station)} to {at(new.station)}")
        if abs(new.start - old.start) > problem.change_tolerance_min:
            parts.append(f"starts {_shift(new.start - old.start)}")
        if parts:
            found.append(f"{step.id} {' and '.join(parts)}")
    return found


def _shift(minutes: int) -> str:
    return f"{span(abs(minutes))} {'later' if minutes > 0 else 'sooner'}"
