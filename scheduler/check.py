"""Independent verifier: judges a plan from the two documents alone.

It shares no code with what makes plans. It holds every rule against the plan, works out the
objective again, and names whatever is broken.
"""

from bisect import bisect_right
from collections import Counter, defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from functools import cached_property

from scheduler.plan import Amounts, Placement, Plan, Run, Verified, gap_between
from scheduler.problem import (
    BatchStep,
    Bench,
    BenchStep,
    Chamber,
    FixedPlacement,
    Item,
    Problem,
    Programme,
    Room,
    RoomStep,
    Station,
    Step,
    Store,
    StoreStep,
    Window,
)

RULES = {
    "problem": "the plan is for this problem document",
    "complete": "every step of every item is placed exactly once, and nothing else",
    "fixed": "work under way or frozen is where it was, and its runs took nothing new",
    "station": "each step is at a station it names, of the right kind",
    "release": "nothing starts before it is here, nor before its step may",
    "horizon": "everything ends by the horizon",
    "duration": "each step lasts between its shortest and longest duration",
    "lag": "each step keeps the least and most minutes after the one before",
    "run": "runs and placements tell the same story",
    "programme": "a run has one programme, offered by its chamber",
    "fit": "each piece passes the chamber's door and fits inside",
    "volume": "the pieces of a run fill no more litres than the chamber has",
    "rail": "the pieces of a run take no more rail than the chamber has",
    "apart": "no run mixes groups that must travel apart",
    "together": "items that travel together share their runs",
    "clean_down": "each run follows the one before after the clean-down it needs",
    "chamber_window": "a clean-down and its run lie inside one window of the chamber",
    "licence": "a licensed person is there at each moment of a run that needs one",
    "rack": "a room's rack is never overfilled",
    "moisture": "a room never gets more moisture than it can remove",
    "room_window": "a stay lies inside one window of the room",
    "store": "a store is never overfilled",
    "shift": "bench work lies inside one shift",
    "people": "those working at a bench need no more people than the shift has",
    "objective": "the amounts and the objective are those of this plan",
    "bound": "the bound, the gap and the status agree with the objective",
}


@dataclass(frozen=True)
class Breach:
    """One broken rule: its name in `RULES`, and where."""

    rule: str
    detail: str

    def __str__(self) -> str:
        return f"{self.rule}: {RULES[self.rule]}; broken by {self.detail}"


@dataclass(frozen=True)
class Report:
    """What the verifier found. `amounts` and `objective` are its own, from the placements."""

    breaches: tuple[Breach, ...]
    amounts: Amounts
    objective: int

    @property
    def passed(self) -> bool:
        """Whether no rule is broken."""
        return not self.breaches

    @property
    def first(self) -> Breach | None:
        """The first broken rule, in the order of `RULES`."""
        return self.breaches[0] if self.breaches else None


class PlanBrokenError(ValueError):
    """A plan breaks a rule."""

    def __init__(self, report: Report) -> None:
        super().__init__(report)
        self.report = report

    def __str__(self) -> str:
        return "\n".join(map(str, self.report.breaches))


def check(problem: Problem, plan: Plan) -> Report:
    """Hold every rule in `RULES` against the plan."""
    return _Check(problem, plan).report()


def stamp(problem: Problem, plan: Plan) -> Plan:
    """The plan with the verifier's stamp.

    Raises:
        PlanBrokenError: the plan breaks a rule.
    """
    report = check(problem, plan)
    if not report.passed:
        raise PlanBrokenError(report)
    verified = Verified(plan_sha256=plan.sha256(), rules=len(RULES))
    return plan.model_copy(update={"verified": verified})


@dataclass
class _Check:
    problem: Problem
    plan: Plan
    breaches: list[Breach] = field(default_factory=list)

    def report(self) -> Report:
        self._identity()
        self._complete()
        self._fixed()
        self._routes()
        self._runs()
        self._mixing()
        self._chambers()
        self._rooms_and_stores()
        self._benches()
        amounts, objective = self._objective()
        order = list(RULES)
        self.breaches.sort(key=lambda b: order.index(b.rule))
        return Report(tuple(self.breaches), amounts, objective)

    def _break(self, rule: str, detail: str) -> None:
        self.breaches.append(Breach(rule, detail))

    @cached_property
    def stations(self) -> dict[str, Station]:
        return {s.id: s for s in self.problem.stations}

    @cached_property
    def items(self) -> dict[str, Item]:
        return {i.id: i for i in self.problem.items}

    @cached_property
    def steps(self) -> dict[tuple[str, str], Step]:
        return {(i.id, s.id): s for i in self.problem.items for s in i.steps}

    @cached_property
    def facts(self) -> dict[tuple[str, str], FixedPlacement]:
        return {(f.item, f.step): f for f in self.problem.fixed}

    @cached_property
    def fixed_runs(self) -> dict[str, set[str]]:
        members: dict[str, set[str]] = defaultdict(set)
        for fact in self.problem.fixed:
            if fact.run is not None:
                members[fact.run].add(fact.item)
        return members

    @cached_property
    def placed(self) -> dict[tuple[str, str], Placement]:
        return {(p.item, p.step): p for p in self.plan.placements if (p.item, p.step) in self.steps}

    @cached_property
    def by_station(self) -> dict[str | None, list[tuple[Placement, Step]]]:
        """Placements, each with its step, by station."""
        found: dict[str | None, list[tuple[Placement, Step]]] = defaultdict(list)
        for key, placement in self.placed.items():
            found[placement.station].append((placement, self.steps[key]))
        return found

    def _at(self, station: str) -> Sequence[tuple[Placement, Step]]:
        return self.by_station.get(station, ())

    def _is_fixed(self, placement: Placement) -> bool:
        return (placement.item, placement.step) in self.facts

    def _identity(self) -> None:
        if self.plan.problem_sha256 != self.problem.sha256():
            self._break("problem", "another hash in problem_sha256")

    def _complete(self) -> None:
        count = Counter((p.item, p.step) for p in self.plan.placements)
        for key in self.steps.keys() - count.keys():
            self._break("complete", f"{_name(*key)}, not placed")
        for key, times in count.items():
            if key not in self.steps:
                self._break("complete", f"{_name(*key)}, not in the problem")
            elif times > 1:
                self._break("complete", f"{_name(*key)}, placed {times} times")

    def _fixed(self) -> None:
        for key, fact in self.facts.items():
            place = self.placed.get(key)
            if place is not None and (place.station, place.start, place.end, place.run) != (
                fact.station,
                fact.start,
                fact.end,
                fact.run,
            ):
                self._break("fixed", f"{_name(*key)}, moved")
        for run in self.plan.runs:
            if run.id in self.fixed_runs and set(run.items) != self.fixed_runs[run.id]:
                self._break("fixed", f"run {run.id!r}, whose pieces changed")

    def _routes(self) -> None:
        for item in self.problem.items:
            before: Placement | None = None
            for step in item.steps:
                place = self.placed.get((item.id, step.id))
                if place is None:
                    before = None
                    continue
                self._one_step(item, step, place)
                if before is not None and not (self._is_fixed(before) and self._is_fixed(place)):
                    lag = place.start - before.end
                    if lag < step.lag_min or (step.lag_max is not None and lag > step.lag_max):
                        self._break("lag", f"{_name(item.id, step.id)}, {lag} min after")
                before = place

    def _one_step(self, item: Item, step: Step, place: Placement) -> None:
        name = _name(item.id, step.id)
        if self._is_fixed(place):
            return
        if step.kind == "wait":
            if place.station is not None:
                self._break("station", f"{name}, a wait at {place.station!r}")
        elif place.station not in step.stations:
            self._break("station", f"{name} at {place.station!r}")
        if place.start < max(item.release_min, step.not_before_min):
            self._break("release", f"{name} at {place.start}")
        if place.start < 0 or place.end > self.problem.horizon_min:
            self._break("horizon", f"{name}, {place.start} to {place.end}")
        if not step.min_min <= place.end - place.start <= step.longest_min:
            self._break("duration", f"{name}, {place.end - place.start} min")

    @cached_property
    def members(self) -> dict[str, list[tuple[Placement, BatchStep]]]:
        """Placed batch steps by run id."""
        found: dict[str, list[tuple[Placement, BatchStep]]] = defaultdict(list)
        for key, place in self.placed.items():
            step = self.steps[key]
            if isinstance(step, BatchStep) and place.run is not None:
                found[place.run].append((place, step))
        return found

    def _runs(self) -> None:
        for key, place in self.placed.items():
            if isinstance(self.steps[key], BatchStep) != (place.run is not None):
                self._break("run", f"{_name(*key)}, with run {place.run!r}")
        for name, times in Counter(r.id for r in self.plan.runs).items():
            if times > 1:
                self._break("run", f"run {name!r}, listed {times} times")
        listed = {r.id for r in self.plan.runs}
        for name in self.members.keys() - listed:
            self._break("run", f"run {name!r}, not listed")
        for run in self.plan.runs:
            self._one_run(run)

    def _one_run(self, run: Run) -> None:
        members = self.members.get(run.id, [])
        told = sorted(p.item for p, _ in members)
        if not told or told != sorted(run.items):
            self._break("run", f"run {run.id!r}, whose items are not those placed in it")
        for place, step in members:
            if (place.station, place.start, place.end) != (run.station, run.start, run.end):
                self._break("run", f"run {run.id!r} and {_name(place.item, place.step)}")
            if step.programme != run.programme:
                self._break("programme", f"run {run.id!r} with {_name(place.item, place.step)}")
        chamber = self.stations.get(run.station)
        if not isinstance(chamber, Chamber):
            self._break("run", f"run {run.id!r} at {run.station!r}, which is no chamber")
            return
        if run.id in self.fixed_runs:
            return
        if run.programme not in chamber.programmes:
            self._break("programme", f"run {run.id!r}: {run.programme!r} in {chamber.id!r}")
        pieces = [self.items[p.item] for p, _ in members]
        for piece in pieces:
            if not _fits(piece, chamber):
                self._break("fit", f"{piece.id!r} in {chamber.id!r}")
        litres, rail = sum(p.volume_l for p in pieces), sum(p.rail_mm for p in pieces)
        if litres > chamber.usable_l:
            self._break("volume", f"run {run.id!r}, {litres} of {chamber.usable_l} L")
        if rail > chamber.rail_mm:
            self._break("rail", f"run {run.id!r}, {rail} of {chamber.rail_mm} mm")

    def _mixing(self) -> None:
        for run in self.plan.runs:
            if run.id in self.fixed_runs:
                continue
            tags = [set(self.items[i].tags) for i in run.items if i in self.items]
            present = set().union(*tags)
            for a, b in self.problem.apart:
                if a not in present or b not in present:
                    continue
                with_a = [n for n, own in enumerate(tags) if a in own]
                with_b = [n for n, own in enumerate(tags) if b in own]
                if any(n != m for n in with_a for m in with_b):
                    self._break("apart", f"run {run.id!r} with {a!r} and {b!r}")
        for group in self.problem.together:
            batches = [[s for s in self.items[i].steps if s.kind == "batch"] for i in group]
            for steps in zip(*batches, strict=True):
                keys = list(zip(group, (s.id for s in steps), strict=True))
                if any(k in self.facts or k not in self.placed for k in keys):
                    continue
                if len({self.placed[k].run for k in keys}) > 1:
                    self._break("together", f"{', '.join(map(repr, group))} at {steps[0].id!r}")

    def _clean_down(self, after: str | None, into: str) -> tuple[int, int]:
        """(minutes, cost) between two runs of a chamber."""
        for entry in self.problem.clean_downs:
            if entry.after == after and entry.into == into:
                return entry.minutes, entry.cost
        if after is None or after == into:
            return 0, 0
        default = self.problem.clean_down_default
        return default.minutes, default.cost

    @cached_property
    def by_chamber(self) -> dict[str, list[Run]]:
        """Runs by chamber, in time."""
        found: dict[str, list[Run]] = defaultdict(list)
        for run in sorted(self.plan.runs, key=lambda r: (r.start, r.end, r.id)):
            found[run.station].append(run)
        return found

    def _chambers(self) -> None:
        programmes = {p.id: p for p in self.problem.programmes}
        for name, runs in self.by_chamber.items():
            chamber = self.stations.get(name)
            if not isinstance(chamber, Chamber):
                continue
            windows = _chamber_windows(chamber)
            before: Run | None = None
            for run in runs:
                after = before.programme if before else chamber.starts_in
                minutes, _ = self._clean_down(after, run.programme)
                fixed = run.id in self.fixed_runs
                if run.start - run.clean_down_start != minutes:
                    self._break("clean_down", f"run {run.id!r}, which needs {minutes} min")
                both_fixed = fixed and before is not None and before.id in self.fixed_runs
                if before is not None and run.clean_down_start < before.end and not both_fixed:
                    self._break("clean_down", f"runs {before.id!r} and {run.id!r}, which overlap")
                if not fixed:
                    if not _inside(windows, run.clean_down_start, run.end):
                        self._break("chamber_window", f"run {run.id!r}")
                    if run.clean_down_start < 0:
                        self._break("horizon", f"run {run.id!r}, cleaned down before the epoch")
                    if run.programme in programmes:
                        self._licence(run, programmes[run.programme])
                before = run

    def _licence(self, run: Run, programme: Programme) -> None:
        moments = [(f"{m} min after its start", run.start + m) for m in programme.licence_after_min]
        for what, minute in moments:
            if minute > run.end:
                self._break("licence", f"run {run.id!r}, over before {what}")
        if programme.needs_licence:
            moments.append(("its start", run.start))
        if programme.licence_at_end:
            moments.append(("its end", run.end))
        licence = self.problem.licence_windows
        for what, minute in moments:
            if licence is not None and not any(w.start <= minute < w.end for w in licence):
                self._break("licence", f"run {run.id!r} at {minute}, {what}")

    def _rooms_and_stores(self) -> None:
        for station in self.problem.stations:
            if isinstance(station, Room):
                self._room(station)
            elif isinstance(station, Store):
                stays = [
                    (p.start, p.end, _litres(self.items[p.item], s))
                    for p, s in self._at(station.id)
                    if isinstance(s, StoreStep)
                ]
                minute = _overfilled(stays, station.litres)
                if minute is not None:
                    self._break("store", f"{station.id!r} at minute {minute}")

    def _room(self, room: Room) -> None:
        racks, moisture = [], []
        for place, step in self._at(room.id):
            if not isinstance(step, RoomStep):
                continue
            racks.append((place.start, place.end, step.rack_mm))
            moisture += _moisture(place, step)
            if not self._is_fixed(place) and not _inside(room.windows, place.start, place.end):
                self._break("room_window", _name(place.item, place.step))
        for rule, stays, capacity in (
            ("rack", racks, room.rack_mm),
            ("moisture", moisture, room.removal_g_h),
        ):
            minute = _overfilled(stays, capacity)
            if minute is not None:
                self._break(rule, f"{room.id!r} at minute {minute}")

    def _benches(self) -> None:
        for bench in self.problem.stations:
            if not isinstance(bench, Bench):
                continue
            starts = [s.start for s in bench.shifts]
            by_shift: dict[int, list[tuple[int, int, int]]] = defaultdict(list)
            for place, step in self._at(bench.id):
                if not isinstance(step, BenchStep):
                    continue
                n = bisect_right(starts, place.start) - 1
                if n < 0 or place.end > bench.shifts[n].end:
                    if not self._is_fixed(place):
                        self._break("shift", _name(place.item, place.step))
                    continue
                by_shift[n].append((place.start, place.end, step.people))
            for n, work in by_shift.items():
                minute = _overfilled(work, bench.shifts[n].people)
                if minute is not None:
                    self._break("people", f"{bench.id!r} at minute {minute}")

    def _objective(self) -> tuple[Amounts, int]:
        lateness = late_items = finish = 0
        for item in self.problem.items:
            for step in item.steps:
                place = self.placed.get((item.id, step.id))
                if place is None:
                    continue
                finish = max(finish, place.end)
                if step.due_min is not None:
                    lateness += item.weight * max(0, place.end - step.due_min)
                if step.start_by_min is not None:
                    lateness += step.start_by_weight * max(0, place.start - step.start_by_min)
            last = self.placed.get((item.id, item.steps[-1].id))
            if last is not None and item.due_min is not None and last.end > item.due_min:
                lateness += item.weight * (last.end - item.due_min)
                late_items += 1
        amounts = Amounts(
            lateness=lateness,
            late_items=late_items,
            running_min=sum(max(0, r.end - r.start) for r in self.plan.runs),
            clean_down_cost=self._clean_down_cost(),
            changes=self._changes(),
            finish=finish,
            energy_kwh=self._energy_kwh(),
        )
        weights = self.problem.weights
        objective = (
            weights.lateness * amounts.lateness
            + weights.late_items * amounts.late_items
            + weights.running_min * amounts.running_min
            + weights.clean_down_cost * amounts.clean_down_cost
            + weights.changes * amounts.changes
            + weights.finish * amounts.finish
            + weights.energy * amounts.energy_kwh
        )
        plan = self.plan
        if plan.amounts != amounts:
            self._break("objective", f"amounts, which are {amounts!r}")
        if plan.objective != objective:
            self._break("objective", f"{plan.objective}, which is {objective}")
        if plan.bound > plan.objective:
            self._break("bound", f"bound {plan.bound} above objective {plan.objective}")
        elif plan.gap != gap_between(plan.objective, plan.bound):
            self._break("bound", f"gap {plan.gap}")
        if (plan.status == "optimal") != (plan.bound == plan.objective):
            self._break("bound", f"status {plan.status!r}")
        return amounts, objective

    def _clean_down_cost(self) -> int:
        cost = 0
        for name, runs in self.by_chamber.items():
            chamber = self.stations.get(name)
            before = chamber.starts_in if isinstance(chamber, Chamber) else None
            for run in runs:
                cost += self._clean_down(before, run.programme)[1]
                before = run.programme
        return cost

    def _energy_kwh(self) -> int:
        used = 0
        for name, runs in self.by_chamber.items():
            chamber = self.stations.get(name)
            if isinstance(chamber, Chamber):
                watt_minutes = [chamber.power_w * max(0, r.end - r.start) for r in runs]
                used += sum((taken + 59_999) // 60_000 for taken in watt_minutes)
        return used

    def _changes(self) -> int:
        moved = 0
        for last in self.problem.previous:
            key = (last.item, last.step)
            place = self.placed.get(key)
            if place is None or key in self.facts:
                continue
            moved += (
                place.station != last.station
                or abs(place.start - last.start) > self.problem.change_tolerance_min
            )
        return moved


def _name(item: str, step: str) -> str:
    return f"step {step!r} of {item!r}"


def _litres(item: Item, step: StoreStep) -> int:
    return item.volume_l if step.litres is None else step.litres


def _fits(piece: Item, chamber: Chamber) -> bool:
    if piece.size_mm is None:
        return True
    short, middle, long = sorted(piece.size_mm)
    if chamber.door_mm is not None:
        narrow, wide = sorted(chamber.door_mm)
        if short > narrow or middle > wide:
            return False
    if chamber.inside_mm is not None:
        a, b, c = sorted(chamber.inside_mm)
        return short <= a and middle <= b and long <= c
    return True


def _chamber_windows(chamber: Chamber) -> Sequence[Window] | None:
    if chamber.windows is None or not chamber.windows_join:
        return chamber.windows
    spans: list[Window] = []
    for window in chamber.windows:
        if spans and spans[-1].end == window.start:
            spans[-1] = Window(spans[-1].start, window.end)
        else:
            spans.append(window)
    return spans


def _inside(windows: Sequence[Window] | None, start: int, end: int) -> bool:
    return windows is None or any(w.start <= start and end <= w.end for w in windows)


def _moisture(place: Placement, step: RoomStep) -> list[tuple[int, int, int]]:
    """(start, end, g/h) of a stay; a list gives one value an hour until min_min."""
    if isinstance(step.g_h, int):
        return [(place.start, place.end, step.g_h)]
    return [
        (
            place.start + 60 * hour,
            min(place.end, place.start + min(60 * hour + 60, step.min_min)),
            rate,
        )
        for hour, rate in enumerate(step.g_h)
        if 60 * hour < min(step.min_min, place.end - place.start)
    ]


def _overfilled(stays: Iterable[tuple[int, int, int]], capacity: int) -> int | None:
    """The first minute at which the loads of (start, end, load) exceed the capacity."""
    changes: dict[int, int] = defaultdict(int)
    for start, end, load in stays:
        changes[start] += load
        changes[end] -= load
    level = 0
    for minute in sorted(changes):
        level += changes[minute]
        if level > capacity:
            return minute
    return None
