"""Says in a sentence why a step starts when it does, and why an item is late.

Works from the two documents alone: for each step it asks what kept it from starting a minute
sooner, and then what held the piece that was in the way.
"""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, timedelta, tzinfo
from typing import Literal

from scheduler.plan import Placement, Plan, Run
from scheduler.problem import (
    Bench,
    BenchStep,
    Chamber,
    Item,
    Problem,
    Room,
    RoomStep,
    Station,
    Step,
    Store,
    StoreStep,
)

MOST_LINKS = 3
MOST_NAMES = 3

Cause = Literal[
    "arrival",
    "rest",
    "held",
    "route",
    "fixed",
    "closed",
    "full",
    "busy",
    "licence",
    "companion",
    "after",
    "order",
]


@dataclass(frozen=True)
class Reason:
    """Why a step starts no sooner, and how many minutes it waits after it is ready.

    `blockers` are the steps, as (item, step), that are in the way.
    """

    step: str
    waited_min: int
    binding: str
    cause: Cause
    station: str | None = None
    blockers: tuple[tuple[str, str], ...] = ()

    def __str__(self) -> str:
        return f"{self.step}: {self.binding}"


@dataclass(frozen=True)
class Link:
    """One cause in a chain of causes: the item that is held, and by what."""

    item: str
    reason: Reason


def explain(problem: Problem, plan: Plan, item_id: str) -> str:
    """What `Explainer.explain` says, for a single question.

    Raises:
        KeyError: the problem has no such item.
    """
    return Explainer(problem, plan).explain(item_id)


class Explainer:
    """Answers any number of questions about one plan; the documents are indexed once."""

    def __init__(self, problem: Problem, plan: Plan) -> None:
        self.problem = problem
        self._known: dict[str, tuple[Reason, ...]] = {}
        self._items = {i.id: i for i in problem.items}
        self._steps = {(i.id, s.id): s for i in problem.items for s in i.steps}
        self._stations = {s.id: s for s in problem.stations}
        self._programmes = {p.id: p for p in problem.programmes}
        self._facts = {(f.item, f.step) for f in problem.fixed}
        self._place = {(p.item, p.step): p for p in plan.placements}
        self._runs = {r.id: r for r in plan.runs}
        self._at: dict[str, list[Placement]] = defaultdict(list)
        self._in_run: dict[str, list[Placement]] = defaultdict(list)
        for placement in plan.placements:
            if placement.station is not None:
                self._at[placement.station].append(placement)
            if placement.run is not None:
                self._in_run[placement.run].append(placement)
        self._runs_at: dict[str, list[Run]] = defaultdict(list)
        for run in sorted(plan.runs, key=lambda r: (r.start, r.id)):
            self._runs_at[run.station].append(run)

    def explain(self, item_id: str) -> str:
        """Whether the item is on time, what it waits for, longest first, and what lies behind
        the longest wait, in sentences.

        Raises:
            KeyError: the problem has no such item.
        """
        item = self._items[item_id]
        end = self._place[item_id, item.steps[-1].id].end
        verdict = f"{self.name(item_id)} ends {when(self.problem, end)}"
        if item.due_min is not None:
            verdict += f", {_against(end, item.due_min)}"
        waits = [r for r in self.reasons(item_id) if r.waited_min > 0]
        kept = "".join(
            f" {run.id} lasts {span(longer)} longer than it must, until a licensed person comes."
            for run, longer in self.kept_closed(item_id)
        )
        if not waits:
            only = "" if kept else ", so only shorter steps would end it sooner"
            return f"{verdict}: it never waits{only}.{kept}"
        waits.sort(key=lambda r: -r.waited_min)
        told = "; ".join(_told(r) for r in waits[:3])
        behind = "".join(f" {self._behind(link)}" for link in self.chain(item_id)[1:])
        return f"{verdict}: {told}.{kept}{behind}"

    def chain(self, item_id: str) -> tuple[Link, ...]:
        """The longest wait of the item, what held the piece in its way, and so on to the root;
        at most three links, none when the item never waits.

        Raises:
            KeyError: the problem has no such item.
        """
        longest = max(self.reasons(item_id), key=lambda r: r.waited_min)
        if not longest.waited_min:
            return ()
        links = [Link(item_id, longest)]
        met = {item_id}
        while len(links) < MOST_LINKS:
            blockers = [b for b in links[-1].reason.blockers if b[0] not in met]
            if not blockers:
                break
            # The last to make way is the one that decided the moment.
            item, step = max(blockers, key=lambda b: (self._place[b].end, b))
            met.add(item)
            root = self._origin(item, step)
            if not root.waited_min and not self._says_something(item, root):
                break
            links.append(Link(item, root))
        return tuple(links)

    def reasons(self, item_id: str) -> tuple[Reason, ...]:
        """For each step of the item, in order, what keeps it from starting sooner.

        Raises:
            KeyError: the problem has no such item.
        """
        if item_id not in self._known:
            self._known[item_id] = tuple(self._reasons(self._items[item_id]))
        return self._known[item_id]

    def _reasons(self, item: Item) -> Iterator[Reason]:
        ready = item.release_min
        cause: Cause = "arrival"
        why = "it is not here before"
        for step in item.steps:
            own = self._place[item.id, step.id]
            ready += step.lag_min
            if step.lag_min:
                cause, why = "rest", f"it must rest {span(step.lag_min)} first"
            if (item.id, step.id) in self._facts:
                yield Reason(step.id, 0, "it is under way or frozen", "fixed")
            elif ready < own.start <= step.not_before_min:
                yield Reason(step.id, own.start - ready, "it was told to wait until then", "held")
            elif own.start <= ready:
                yield Reason(step.id, 0, why, cause)
            else:
                yield self._binding(item, step, own, max(ready, step.not_before_min))
            ready, cause, why = own.end, "route", "the step before ends then"

    def kept_closed(self, item_id: str) -> Iterator[tuple[Run, int]]:
        """Runs that the item is in and that could have ended sooner, had a licensed person been
        there; and how many minutes sooner.

        Raises:
            KeyError: the problem has no such item.
        """
        for step in self._items[item_id].steps:
            place = self._place[item_id, step.id]
            if place.run is None or (item_id, step.id) in self._facts:
                continue
            run = self._runs[place.run]
            over = run.start + self.shortest_min(run)
            cleared = self._programmes[run.programme].licence_at_end
            if cleared and over < run.end and not self._licensed_between(over, run.end):
                yield run, run.end - over

    def shortest_min(self, run: Run) -> int:
        """Minutes that the run must last, for what is in it."""
        inside = (self._steps[p.item, p.step].min_min for p in self._in_run[run.id])
        return max(self._programmes[run.programme].last_moment_min, *inside)

    def _licensed_between(self, start: int, end: int) -> bool:
        """Whether a licensed person is there at any minute in [start, end)."""
        windows = self.problem.licence_windows
        return windows is None or any(max(w.start, start) < min(w.end, end) for w in windows)

    def name(self, item_id: str) -> str:
        """What people call the item."""
        return self._items[item_id].label or item_id

    def _behind(self, link: Link) -> str:
        name, reason = self.name(link.item), link.reason
        if reason.cause == "arrival" and not reason.waited_min:
            release = when(self.problem, self._items[link.item].release_min)
            return f"{name} itself arrives only {release}."
        if reason.cause == "fixed":
            return f"{name} itself is under way or frozen."
        return f"{name} itself was held: {_told(reason)}."

    def _says_something(self, item: str, reason: Reason) -> bool:
        """Whether a reason without a wait is worth telling: a fact, or a late arrival."""
        return reason.cause == "fixed" or (
            reason.cause == "arrival" and self._items[item].release_min > 0
        )

    def _origin(self, item_id: str, step_id: str) -> Reason:
        """The last wait of the item up to this step, or its first step's reason."""
        reasons = self.reasons(item_id)
        n = next(k for k, r in enumerate(reasons) if r.step == step_id)
        while n and not reasons[n].waited_min and reasons[n].cause != "fixed":
            n -= 1
        return reasons[n]

    def _binding(self, item: Item, step: Step, own: Placement, ready: int) -> Reason:
        """What keeps a step that is ready from starting a minute sooner."""
        found: tuple[Cause, str, tuple[Placement, ...]] | None = None
        station = self._stations.get(own.station or "")
        if isinstance(station, Chamber):
            found = self._run_binding(item, station, own, ready)
        elif station is not None:
            closed = _closed(station, own, ready)
            found = ("closed", closed, ()) if closed else self._full(station, own)
        if found is None:
            found = self._held_back(item, step, own)
        cause, why, blockers = found or ("order", "the plan puts other work first", ())
        return Reason(
            step.id,
            own.start - ready,
            why,
            cause,
            own.station,
            tuple((p.item, p.step) for p in blockers),
        )

    def _full(
        self, station: Station, own: Placement
    ) -> tuple[Cause, str, tuple[Placement, ...]] | None:
        """Which resource has no room for the step one minute sooner, and who holds it."""
        sooner = own.model_copy(update={"start": own.start - 1, "end": own.end - 1})
        beside = [
            p
            for p in self._at[station.id]
            if p is not own and p.start < sooner.end and p.end > sooner.start
        ]
        for resource, capacity in _capacities(station, sooner.start).items():
            spells = [(self._load(p, resource), p) for p in beside]
            own_spells = self._load(sooner, resource)
            minute = _overfull([*own_spells, *(s for spell, _ in spells for s in spell)], capacity)
            if minute is None:
                continue
            holders = [p for spell, p in spells if any(a <= minute < b for a, b, _ in spell)]
            names = self._names(p.item for p in holders)
            return "full", _FULL[resource].format(station=named(station), names=names), (*holders,)
        return None

    def _load(self, place: Placement, resource: str) -> list[tuple[int, int, int]]:
        """(start, end, load) of what a placement takes of a resource of its station."""
        item, step = self._items[place.item], self._steps[place.item, place.step]
        start, end = place.start, place.end
        if isinstance(step, RoomStep):
            if resource == "rack":
                return [(start, end, step.rack_mm)]
            if isinstance(step.g_h, int):
                return [(start, end, step.g_h)]
            stop = min(end, start + step.min_min)
            hours = range(start, stop, 60)
            return [(a, min(a + 60, stop), g) for a, g in zip(hours, step.g_h, strict=False)]
        if isinstance(step, StoreStep):
            return [(start, end, item.volume_l if step.litres is None else step.litres)]
        return [(start, end, step.people if isinstance(step, BenchStep) else 0)]

    def _run_binding(
        self, item: Item, chamber: Chamber, own: Placement, ready: int
    ) -> tuple[Cause, str, tuple[Placement, ...]] | None:
        run = self._runs[str(own.run)]
        before = max(
            (r for r in self._runs_at[chamber.id] if r.end <= run.clean_down_start),
            key=lambda r: r.end,
            default=None,
        )
        if any(w.start == run.clean_down_start for w in chamber.windows or ()):
            return "closed", f"{named(chamber)} may run only from then on", ()
        if before is not None and before.end == run.clean_down_start:
            return self._after_run(item, before, run, ready)
        moment = self._licensed_moment(run)
        if moment is not None:
            why = f"{run.programme} needs a licensed person{moment}, available only then"
            return "licence", why, ()
        last = self._last_to_be_ready(run, item)
        if last is not None:
            return "companion", f"its run {run.id} waits for {self.name(last.item)}", (last,)
        return self._held_back(item, self._steps[item.id, own.step], own)

    def _licensed_moment(self, run: Run) -> str | None:
        """Which of the run's moments with a licensed person comes no sooner, in words."""
        programme, sooner = self._programmes[run.programme], run.start - 1
        if programme.needs_licence and not self._licensed_between(sooner, run.start):
            return ""
        for moment in programme.licence_after_min:
            if not self._licensed_between(sooner + moment, run.start + moment):
                return f" {span(moment)} after its start"
        over = sooner + self.shortest_min(run)
        if programme.licence_at_end and not self._licensed_between(over, run.end):
            return " when it ends"
        return None

    def _after_run(
        self, item: Item, before: Run, run: Run, ready: int
    ) -> tuple[Cause, str, tuple[Placement, ...]]:
        """Why the item is not in the run before, or that the chamber is busy with it."""
        inside = tuple(self._in_run[before.id])
        chamber = self._stations[run.station]
        assert isinstance(chamber, Chamber)
        if before.programme == run.programme and ready <= before.start:
            pieces = [self._items[p.item] for p in inside]
            for what, taken, own, capacity in (
                ("L", sum(p.volume_l for p in pieces), item.volume_l, chamber.usable_l),
                ("mm of rail", sum(p.rail_mm for p in pieces), item.rail_mm, chamber.rail_mm),
            ):
                if taken + own > capacity:
                    why = (
                        f"{before.id} before it in {named(chamber)} is full "
                        f"({taken} of {capacity} {what}, it takes {own})"
                    )
                    return "full", why, inside
            apart = next((p for p in pieces if self._apart(item, p)), None)
            if apart is not None:
                why = f"{before.id} before it has {self.name(apart.id)}, and the two travel apart"
                return "busy", why, inside
        clean = run.start - run.clean_down_start
        cleaned = f" and then takes {span(clean)} to clean down" if clean else ""
        why = f"{named(chamber)} is busy with {before.id} ({before.programme}){cleaned}"
        return "busy", why, inside

    def _apart(self, one: Item, other: Item) -> bool:
        return any(
            (a in one.tags and b in other.tags) or (b in one.tags and a in other.tags)
            for a, b in self.problem.apart
        )

    def _last_to_be_ready(self, run: Run, item: Item) -> Placement | None:
        """Where the piece, other than the item, that is ready only when the run begins is."""
        for place in self._in_run[run.id]:
            piece = self._items[place.item]
            n = next(k for k, s in enumerate(piece.steps) if s.id == place.step)
            ready = self._place[piece.id, piece.steps[n - 1].id].end if n else piece.release_min
            if piece.id != item.id and ready + piece.steps[n].lag_min == run.start:
                return place
        return None

    def _held_back(
        self, item: Item, step: Step, own: Placement
    ) -> tuple[Cause, str, tuple[Placement, ...]] | None:
        """Whether the longest lag to the step after is what holds it back."""
        n = item.steps.index(step)
        if n + 1 == len(item.steps):
            return None
        after = item.steps[n + 1]
        start = self._place[item.id, after.id].start
        if after.lag_max is not None and start - own.end == after.lag_max:
            why = f"{after.id} must follow within {span(after.lag_max)} and starts only later"
            return "after", why, ()
        return None

    def _names(self, ids: Iterable[str]) -> str:
        names = [self.name(i) for i in dict.fromkeys(ids)]
        more = len(names) - MOST_NAMES
        return ", ".join(names[:MOST_NAMES]) + (f" and {more} more" if more > 0 else "")


_FULL = {
    "rack": "the rack of {station} is full ({names})",
    "moisture": "{station} can remove no more moisture ({names})",
    "litres": "{station} is full ({names})",
    "people": "everyone at {station} is busy ({names})",
}


def _closed(station: Station, own: Placement, ready: int) -> str | None:
    """Whether the station opens as the step starts, and whether it was open, but full, before."""
    spans: Sequence[tuple[int, ...]] = ()
    if isinstance(station, Bench):
        spans = station.shifts
    elif isinstance(station, Room):
        spans = station.windows or ()
    if all(s[0] != own.start for s in spans):
        return None
    length = own.end - own.start
    if any(s[0] < own.start and max(s[0], ready) + length <= s[1] for s in spans):
        return f"{named(station)} has no room before it closes and opens again only then"
    if any(s[0] <= ready < s[1] for s in spans):
        return f"{named(station)} closes before it would be done and opens again only then"
    return f"{named(station)} opens only then"


def _capacities(station: Station, minute: int) -> dict[str, int]:
    if isinstance(station, Room):
        return {"rack": station.rack_mm, "moisture": station.removal_g_h}
    if isinstance(station, Store):
        return {"litres": station.litres}
    if isinstance(station, Bench):
        return {"people": next((s.people for s in station.shifts if s.end > minute), 0)}
    return {}


def _overfull(spells: Iterable[tuple[int, int, int]], capacity: int) -> int | None:
    """The first minute at which the loads of (start, end, load) exceed the capacity."""
    changes: dict[int, int] = defaultdict(int)
    for start, end, load in spells:
        changes[start] += load
        changes[end] -= load
    level = 0
    for minute in sorted(changes):
        level += changes[minute]
        if level > capacity:
            return minute
    return None


def _told(reason: Reason) -> str:
    return f"{reason.step} waits {span(reason.waited_min)} because {reason.binding}"


def _against(end: int, due: int) -> str:
    if end == due:
        return "just when it is due"
    return f"{span(end - due)} late" if end > due else f"{span(due - end)} before it is due"


def named(station: Station) -> str:
    """What people call the station."""
    return station.label or station.id


def span(minutes: int) -> str:
    """A number of minutes (not negative) in days, hours and minutes."""
    days, rest = divmod(minutes, 1440)
    hours, left = divmod(rest, 60)
    parts = [f"{days} d" * bool(days), f"{hours} h" * bool(hours), f"{left} min" * bool(left)]
    return " ".join(p for p in parts if p) or "0 min"


def when(problem: Problem, minute: int, zone: tzinfo = UTC) -> str:
    """The moment of a minute after the problem's epoch, by the clocks of a zone."""
    moment = problem.epoch + timedelta(minutes=minute)
    return f"{moment.astimezone(zone):%Y-%m-%d %H:%M %Z}"
