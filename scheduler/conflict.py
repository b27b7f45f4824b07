"""Finds the smallest set of facts in a problem that cannot all hold, and says it in words.

What can be given up is the horizon, each longest lag, each group that travels together, each pair
that travels apart, each fixed placement, each spell in which a station is closed or no licensed
person is there, and each item itself. Capacities, shortest durations and the order of steps stay
as they are. The set is found by asking CP-SAT whether parts of the problem can be planned
(QuickXplain: U. Junker, AAAI 2004): first which items suffice, then which facts about them.
"""

import time
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import Literal

from ortools.sat.python import cp_model

from scheduler.consistency import contradictions, joined_windows
from scheduler.dispatch import Batching, NoDispatchError, order_by, schedule_in_order
from scheduler.explain import named, span, when
from scheduler.instance import Instance, Spans
from scheduler.licence import asks_for_licence
from scheduler.model import build_model
from scheduler.problem import (
    Bench,
    Chamber,
    Item,
    Problem,
    Room,
    Shift,
    Station,
    Step,
    WaitStep,
    Weights,
    Window,
)
from scheduler.schedule import earliest_guess

# Of the time given, what may go to asking after each item alone.
ALONE_SHARE = 0.5
MOST_SPELLS = 3

Kind = Literal["item", "horizon", "lag", "together", "apart", "fixed", "closed", "licence"]
Gone = set[tuple[Kind, tuple[str | int, ...]]]


@dataclass(frozen=True)
class Fact:
    """Something the problem says that could be given up.

    `about` names it within its kind: item; item and step; the group; the pair; station, start
    and end of a closed spell.
    """

    kind: Kind
    about: tuple[str | int, ...]
    sentence: str


@dataclass(frozen=True)
class Conflict:
    """Facts that cannot all hold. `minimal`: giving up any single one is known to be enough for
    the rest of them; False when time ran out before that was known of each.
    """

    facts: tuple[Fact, ...]
    minimal: bool
    sentence: str

    def __str__(self) -> str:
        return self.sentence


def find_conflict(problem: Problem, *, seconds: float = 10.0) -> Conflict | None:
    """The facts that make the problem infeasible; None if it has a plan, or if neither was
    decided in the time given.
    """
    asked = _Asked(problem, time.monotonic() + seconds)
    items = _items_that_suffice(asked, seconds)
    if items is None:
        return None
    others = _all_but(item_facts(problem), items)
    facts = facts_of(without(problem, others))

    def possible(kept: list[Fact]) -> bool:
        return asked.possible([*others, *_all_but(facts, kept)])

    needed = _minimal(facts, possible) if possible([]) else []
    return Conflict((*needed, *items), asked.sure, _sentence(problem, needed, items))


def without(problem: Problem, given_up: Iterable[Fact]) -> Problem:
    """The problem with these facts given up, and with no charges; it is not validated."""
    gone: Gone = {(f.kind, f.about) for f in given_up}
    free = {name for kind, about in gone if kind == "together" for name in about}
    items = tuple(
        item.model_copy(update={"steps": tuple(_loosened(item, step, gone) for step in item.steps)})
        for item in problem.items
        if ("item", (item.id,)) not in gone
    )
    names = {item.id for item in items}
    horizon = problem.horizon_min
    end = _far(problem) if ("horizon", ()) in gone else horizon
    licence = problem.licence_windows
    if licence is not None:
        opened = [s for s in _unlicensed_spells(problem) if ("licence", s) in gone]
        licence = _joined(licence, [*opened, *_beyond(licence, horizon, end)])
    return problem.model_copy(
        update={
            "items": items,
            "horizon_min": end,
            "stations": tuple(_station_without(problem, s, gone, end) for s in problem.stations),
            "licence_windows": licence,
            "together": tuple(
                tuple(name for name in group if name in names)
                for group in problem.together
                if free.isdisjoint(group)
            ),
            "apart": tuple(p for p in problem.apart if ("apart", p) not in gone),
            "fixed": tuple(
                f
                for f in problem.fixed
                if f.item in names and ("fixed", (f.item, f.step)) not in gone
            ),
            "previous": (),
            "weights": Weights(lateness=0),
        }
    )


def item_facts(problem: Problem) -> list[Fact]:
    """One fact for each item: that it is treated."""
    return [Fact("item", (i.id,), f"{i.label or i.id} is treated") for i in problem.items]


def facts_of(problem: Problem) -> list[Fact]:
    """Everything but the items that could be given up, as far as it concerns an item."""
    names = {i.id: i.label or i.id for i in problem.items}
    stations = {s.id: s for s in problem.stations}
    found = [Fact("horizon", (), f"all work ends by {when(problem, problem.horizon_min)}")]
    for item in problem.items:
        for n, step in enumerate(item.steps):
            if step.lag_max is not None:
                sentence = (
                    f"{step.id} of {names[item.id]} follows {item.steps[n - 1].id} within "
                    f"{span(step.lag_max)}"
                )
                found.append(Fact("lag", (item.id, step.id), sentence))
    for group in dict.fromkeys(problem.together):
        if len(group) > 1:
            sentence = f"{_listed([names[i] for i in group])} travel together"
            found.append(Fact("together", group, sentence))
    for a, b in dict.fromkeys(problem.apart):
        sentence = f"no two of {a} share a run" if a == b else f"{a} and {b} travel apart"
        found.append(Fact("apart", (a, b), sentence))
    for fixed in problem.fixed:
        place = f" at {named(stations[fixed.station])}" if fixed.station is not None else ""
        how = "is under way" if fixed.state == "in_progress" else "stays"
        sentence = (
            f"{fixed.step} of {names[fixed.item]} {how}{place} from "
            f"{when(problem, fixed.start)} to {when(problem, fixed.end)}"
        )
        found.append(Fact("fixed", (fixed.item, fixed.step), sentence))
    used = {
        name
        for i in problem.items
        for s in i.steps
        if not isinstance(s, WaitStep)
        for name in s.stations
    }
    for station in problem.stations:
        calendar = _calendar(station)
        if station.id in used and calendar is not None:
            for start, end in _closed_spells(calendar, problem.horizon_min):
                sentence = f"{named(station)} is closed {_spell(problem, start, end)}"
                found.append(Fact("closed", (station.id, start, end), sentence))
    needed = {s.programme for i in problem.items for s in i.steps if s.kind == "batch"}
    if any(asks_for_licence(p) and p.id in needed for p in problem.programmes):
        for start, end in _unlicensed_spells(problem):
            sentence = f"no licensed person is there {_spell(problem, start, end)}"
            found.append(Fact("licence", (start, end), sentence))
    return found


def can_be_planned(problem: Problem, deadline: float) -> bool | None:
    """Whether the problem has a plan; None when not decided by the deadline
    (`time.monotonic`).
    """
    if contradictions(problem):
        return False
    instance = Instance.of(problem)
    for route in instance.routes:
        tasks = [instance.tasks[t] for t in route]
        if all(t.fact is None for t in tasks) and any(
            t.earliest + t.shortest + t.tail > instance.horizon for t in tasks
        ):
            return False
    try:
        schedule_in_order(instance, order_by(instance, "deadline"), Batching())
        return True
    except NoDispatchError:
        pass
    left = deadline - time.monotonic()
    if left <= 0:
        return None
    model = build_model(instance, earliest_guess(instance))
    model.cp.minimize(0)
    solver = model.exact_solver()
    solver.parameters.max_time_in_seconds = left
    status = solver.solve(model.cp)
    if status == cp_model.INFEASIBLE:
        return False
    return True if status in (cp_model.OPTIMAL, cp_model.FEASIBLE) else None


@dataclass
class _Asked:
    """Asks whether parts of the problem can be planned; `sure`: every answer was a proof."""

    problem: Problem
    deadline: float
    sure: bool = True

    def possible(self, given_up: Iterable[Fact], deadline: float | None = None) -> bool:
        """Whether the problem with these facts given up can be planned, or may be."""
        answer = can_be_planned(without(self.problem, given_up), deadline or self.deadline)
        self.sure = self.sure and answer is not None
        return answer is not False


def _items_that_suffice(asked: _Asked, seconds: float) -> list[Fact] | None:
    """A minimal set of items that cannot be planned, mostly one; None if none is known."""
    items = item_facts(asked.problem)
    until = asked.deadline - seconds * (1 - ALONE_SHARE)
    for item in items:
        if time.monotonic() > until:
            break
        if not asked.possible([f for f in items if f is not item], until):
            return [item]
    asked.sure = True
    if asked.possible(()):
        return None
    return _minimal(items, lambda kept: asked.possible(_all_but(items, kept)))


def _minimal(candidates: list[Fact], possible: Callable[[list[Fact]], bool]) -> list[Fact]:
    """A minimal part of the candidates that is not possible, given that all of them are not."""

    def split(background: list[Fact], grown: bool, rest: list[Fact]) -> list[Fact]:
        if grown and not possible(background):
            return []
        if len(rest) == 1:
            return rest
        half = len(rest) // 2
        first, second = rest[:half], rest[half:]
        of_second = split([*background, *first], True, second)
        of_first = split([*background, *of_second], bool(of_second), first)
        return [*of_first, *of_second]

    return split([], True, candidates) if candidates else []


def _all_but(facts: Sequence[Fact], kept: Iterable[Fact]) -> list[Fact]:
    keep = set(kept)
    return [f for f in facts if f not in keep]


def _loosened(item: Item, step: Step, gone: Gone) -> Step:
    if ("lag", (item.id, step.id)) not in gone:
        return step
    return step.model_copy(update={"lag_max": None})


def _station_without(problem: Problem, station: Station, gone: Gone, end: int) -> Station:
    """The station with the closed spells that were given up open, and open beyond the horizon
    if that was given up.
    """
    calendar = _calendar(station)
    if calendar is None:
        return station
    spells = _closed_spells(calendar, problem.horizon_min)
    opened = [
        *(s for s in spells if ("closed", (station.id, *s)) in gone),
        *_beyond(calendar, problem.horizon_min, end),
    ]
    if not opened:
        return station
    if isinstance(station, Bench):
        people = max((s.people for s in station.shifts), default=1)
        shifts = [*station.shifts, *(Shift(a, b, people) for a, b in opened)]
        return station.model_copy(update={"shifts": tuple(sorted(shifts))})
    return station.model_copy(update={"windows": _joined(calendar, opened)})


def _calendar(station: Station) -> Spans | None:
    """When the station is open; None: always."""
    if isinstance(station, Bench):
        return [(s.start, s.end) for s in station.shifts]
    if isinstance(station, Chamber):
        return joined_windows(station)
    return station.windows if isinstance(station, Room) else None


def _closed_spells(calendar: Spans, horizon: int) -> list[tuple[int, int]]:
    """The spells from the epoch to the horizon that the calendar leaves out."""
    spells, since = [], 0
    for start, end in (*calendar, (horizon, horizon)):
        if since < min(start, horizon):
            spells.append((since, min(start, horizon)))
        since = max(since, end)
    return spells


def _unlicensed_spells(problem: Problem) -> list[tuple[int, int]]:
    """The spells without a licensed person. A run may end at the horizon, so where that takes one,
    the minute of the horizon is one of those that count.
    """
    cleared = any(p.licence_at_end for p in problem.programmes)
    return _closed_spells(problem.licence_windows or (), problem.horizon_min + cleared)


def _beyond(calendar: Spans, horizon: int, end: int) -> list[tuple[int, int]]:
    """What opens after the calendar's last span when the horizon is moved to `end`."""
    start = max(horizon, calendar[-1][1] if calendar else horizon)
    return [(start, end)] if start < end and end > horizon else []


def _joined(calendar: Spans, opened: Spans) -> tuple[Window, ...]:
    """The calendar with these spells open; an opened spell and what it touches are one."""
    found: list[Window] = []
    fresh, joins = set(opened), False
    for spell in sorted([*calendar, *opened]):
        joins = joins or spell in fresh
        if found and joins and found[-1].end >= spell[0]:
            found[-1] = Window(found[-1].start, max(found[-1].end, spell[1]))
        else:
            found.append(Window(*spell))
        joins = spell in fresh
    return tuple(found)


def _far(problem: Problem) -> int:
    """A minute by which everything can be done one after another, after all that is given."""
    clean = max(problem.clean_down_default.minutes, *(c.minutes for c in problem.clean_downs), 0)
    # A run lasts until its last moment with a licensed person.
    moment = max((p.last_moment_min for p in problem.programmes), default=0)
    work = sum(max(s.min_min, moment) + s.lag_min + clean for i in problem.items for s in i.steps)
    calendars = [problem.licence_windows or (), *(_calendar(s) or () for s in problem.stations)]
    begin = max(
        problem.horizon_min,
        *(max(i.release_min, *(s.not_before_min for s in i.steps)) for i in problem.items),
        *(f.end for f in problem.fixed),
        *(calendar[-1][1] for calendar in calendars if calendar),
    )
    # A minute more, as a licensed person may have to be there when the last run ends.
    return begin + work + clean + 1


def _sentence(problem: Problem, facts: Sequence[Fact], items: Sequence[Fact]) -> str:
    names = {i.id: i.label or i.id for i in problem.items}
    chosen = [names[str(f.about[0])] for f in items]
    clauses = _clauses(problem, facts)
    if not clauses:
        return f"{_listed(chosen)} cannot be planned, whatever else is given up."
    if len(items) > 1:
        clauses.append(f"{_listed(chosen)} are {'both' if len(items) == 2 else 'all'} treated")
    if len(clauses) == 1:
        return f"{chosen[0]} cannot be planned while {clauses[0]}."
    lead = "These" if len(items) > 1 else f"For {chosen[0]}, these"
    return f"{lead} cannot all hold: {'; '.join(clauses)}. Give up one of them."


def _clauses(problem: Problem, facts: Sequence[Fact]) -> list[str]:
    """The facts' sentences; closed spells of one station, or of the licence, told as one."""
    spells: dict[str, list[str]] = {}
    clauses: list[str] = []
    for fact in facts:
        if fact.kind not in ("closed", "licence"):
            clauses.append(fact.sentence)
            continue
        start, end = (int(minute) for minute in fact.about[-2:])
        spell = _spell(problem, start, end)
        spells.setdefault(fact.sentence.removesuffix(spell), []).append(spell)
    for who, told in spells.items():
        more = len(told) - MOST_SPELLS
        rest = [f"{more} more times"] if more > 0 else []
        clauses.append(f"{who}{_listed([*told[:MOST_SPELLS], *rest])}")
    return clauses


def _spell(problem: Problem, start: int, end: int) -> str:
    if end >= problem.horizon_min:
        return f"from {when(problem, start)} on"
    return f"from {when(problem, start)} to {when(problem, end)}"


def _listed(names: Sequence[str]) -> str:
    return " and ".join(filter(None, (", ".join(names[:-1]), names[-1])))
