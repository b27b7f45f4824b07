"""From records to a problem for the planner, and from a plan back to what each piece does next.

Every number here comes from the record, the facility's description or a table; what is left out
of a problem is listed with the reason, never dropped in silence.
"""

import math
from collections.abc import Iterable, Sequence, Set
from dataclasses import dataclass, replace
from datetime import datetime, time, timedelta
from decimal import Decimal
from functools import lru_cache
from itertools import pairwise
from zoneinfo import ZoneInfo

from sqlmodel import Session

import scheduler.problem as sp
from scheduler.consistency import why_unlicensed, why_unusable
from scheduler.plan import Plan
from service.assessing import (
    ProgrammeRuling,
    choose_programme,
    remaining_steps,
    state_of,
    triage_of,
)
from service.facility.bodies import (
    air_in,
    equilibrium,
    face_m2,
    is_soaked,
    slab_of,
    slabs_in,
    water_in,
)
from service.facility.edits import Judged, with_edits
from service.facility.loading import litres, rack_mm, rail_mm, sides_m
from service.facility.studio import hours_left
from service.log import reading
from service.log.reading import ItemFilter
from shared import facility as fa
from shared.drying import estimate_drying, moisture_release_kg_h
from shared.facts import Action, Constant, DryingBodyRow, Facts
from shared.programmes import Programme
from shared.records import Item, Loss, Manifest, PlanEdit, RunSheet
from shared.studio import MOST_COUNTED
from shared.treatments import may_do
from shared.vocabulary import Damage, Decision, Phase, StepKind

HORIZON_DAYS = 150
VALUE_PER_WEIGHT = Decimal(500)
MOST_WEIGHT = 40
GRID_MIN = 15
WEIGHTS = sp.Weights(
    lateness=1, late_items=2000, running_min=1, clean_down_cost=1, changes=50, finish=1
)


@dataclass(frozen=True)
class LeftOut:
    """A piece that is not planned, and why."""

    tag: str
    title: str
    why: str


@dataclass(frozen=True)
class Planning:
    """A problem, and what a person has to know beside it."""

    problem: sp.Problem
    left_out: tuple[LeftOut, ...]
    programmes: dict[str, Programme]
    freezable: frozenset[str]
    edits: tuple[Judged, ...] = ()


class NoFacilityError(ValueError):
    """Nothing can be planned before the facility is described."""


class _Planner:
    """Builds one problem."""

    def __init__(
        self,
        session: Session,
        now: datetime,
        previous: tuple[sp.Problem, Plan] | None,
        known: Facts,
        told: Sequence[PlanEdit] = (),
    ) -> None:
        self.told = told
        self.session, self.known = session, known
        self.epoch = now.replace(second=0, microsecond=0)
        self.book = reading.facility(session)
        if self.book.facility is None:
            raise NoFacilityError("describe the facility first: its chambers, rooms and benches")
        self.facility = self.book.facility
        self.zone = ZoneInfo(self.facility.zone)
        self.horizon = HORIZON_DAYS * 24 * 60
        self.previous = previous
        self.left_out: list[LeftOut] = []
        self.programmes: dict[str, Programme] = {}
        self.freezable: set[str] = set()
        self.stations = {station.id: station for station in self._stations()}
        self.planned_programmes = {one.id: one for one in self._programmes()}
        self.licence_windows = self._licence_windows()
        self.longest_shift = {
            bench.id: max(span.minutes for day in _working_spans(bench.shifts) for span in day)
            for bench in self.facility.stations
            if isinstance(bench, fa.Bench)
        }
        self.open_runs = {
            tag: run
            for run in reading.runs(session)
            if run.phase not in {Phase.PLANNED, Phase.UNLOADED}
            for tag in run.loaded
        }
        self.manifests = {
            one.manifest: one for one in reading.manifests(session, reading.EVERYTHING)
        }
        self.losses = {one.loss: one for one in reading.losses(session, reading.EVERYTHING)}

    def build(self) -> Planning:
        """The problem for everything that is here or on its way."""
        pieces = reading.items(self.session, reading.EVERYTHING, ItemFilter())
        by_parent: dict[str, list[Item]] = {}
        for piece in pieces:
            if piece.parent is not None:
                by_parent.setdefault(piece.parent, []).append(piece)
        planned: list[sp.Item] = []
        fixed: list[sp.FixedPlacement] = []
        for piece in pieces:
            item = self._item(piece)
            if item is None:
                continue
            planned.append(item)
            fixed += self._fixed(piece, item)
        ids = {item.id for item in planned}
        problem = sp.Problem(
            epoch=self.epoch,
            horizon_min=self.horizon,
            stations=tuple(self.stations.values()),
            programmes=tuple(self.planned_programmes.values()),
            clean_downs=tuple(self._clean_downs()),
            licence_windows=self.licence_windows,
            items=tuple(planned),
            together=tuple(self._together(by_parent, planned)),
            apart=(("mould", "no-mould"),),
            fixed=tuple(fixed),
            previous=tuple(self._previous(ids)),
            change_tolerance_min=60,
            weights=WEIGHTS,
        )
        edited = with_edits(problem, (*self.book.edits, *self.told))
        labels = {item.id: item.label for item in planned}
        self.left_out += [LeftOut(tag, labels[tag], why) for tag, why in edited.held.items()]
        return Planning(
            edited.problem,
            tuple(self.left_out),
            self.programmes,
            frozenset(self.freezable),
            edited.judged,
        )

    def guessed(
        self, pieces: Sequence[Item], arrives: datetime
    ) -> tuple[list[sp.Item], list[LeftOut]]:
        """Pieces that nobody has recorded, as if they were on one truck."""
        truck = Manifest(manifest="guess", expected_at=arrives)
        self.manifests[truck.manifest] = truck
        found = [self._item(one.model_copy(update={"manifest": truck.manifest})) for one in pieces]
        return [one for one in found if one is not None], self.left_out

    # --- pieces -------------------------------------------------------------------------------

    def _item(self, piece: Item) -> sp.Item | None:
        release = self._release(piece)
        if release is None or piece.returned_to is not None:
            return None
        if piece.decision is not None and piece.decision.decision is Decision.SETTLE:
            self._leave(piece, "the adjuster settled it as a loss")
            return None
        loss = self.losses.get(piece.loss or "")
        steps = self._steps(piece, loss, release)
        if not steps:
            return None
        sides = sides_m(piece, self.known)
        mouldy = any(seen.damage is Damage.MOULD_VISIBLE for seen in piece.damages)
        item = sp.Item(
            id=piece.tag,
            label=piece.title or piece.object_type.label,
            claim=piece.claim or "",
            weight=_weight(piece),
            release_min=release,
            due_min=release + round(self.known.constant(Constant.PROMISE_D) * 24 * 60),
            volume_l=math.ceil(litres(piece, self.known)),
            rail_mm=rail_mm(piece, self.known),
            size_mm=(sp.Extent(*(max(1, round(side * 1000)) for side in sides)) if sides else None),
            tags=("mould" if mouldy else "no-mould",),
            steps=tuple(steps),
        )
        return self._as_far_as_possible(piece, item)

    def _as_far_as_possible(self, piece: Item, item: sp.Item) -> sp.Item | None:
        """The item up to the first step that no station can take; ``None`` if that is its first."""
        ends = item.release_min
        for number, step in enumerate(item.steps):
            if piece.tag in self.open_runs and step.kind == "batch":
                continue
            ends += step.min_min
            why = self._why_impossible(item, step)
            if why is None and ends > self.horizon:
                why = f"it would not be done within {HORIZON_DAYS} days"
            if why is not None:
                what = StepKind(step.id.partition("-")[0]).label.lower()
                self._leave(piece, f"{what}: {why}")
                done = item.steps[:number]
                return item.model_copy(update={"steps": done}) if done else None
        return item

    def _why_impossible(self, item: sp.Item, step: sp.Step) -> str | None:
        if isinstance(step, sp.WaitStep):
            return None
        reasons = {one: why_unusable(item, step, self.stations[one]) for one in step.stations}
        if not all(reasons.values()):
            return self._why_unlicensed(step)
        return "; ".join(
            f"{self.stations[one].label or one}: {why}" for one, why in reasons.items()
        )

    def _why_unlicensed(self, step: sp.Step) -> str | None:
        """Whether licensed people are never there both to start such a run and to clear it."""
        if not isinstance(step, sp.BatchStep):
            return None
        programme = self.planned_programmes[step.programme]
        if why_unlicensed(step, programme, self.licence_windows) is None:
            return None
        return (
            f"no licensed person is there both to start {programme.label} and to clear it in time"
        )

    def _leave(self, piece: Item, why: str) -> None:
        self.left_out.append(LeftOut(piece.tag, piece.title or piece.object_type.label, why))

    def _release(self, piece: Item) -> int | None:
        """When the piece is here, in minutes; ``None`` while nobody can say.

        That is while it is still on site, and when its truck has come without it.
        """
        if piece.received_at is not None:
            return 0
        manifest = self.manifests.get(piece.manifest or "")
        if manifest is None or manifest.expected_at is None:
            return None
        if manifest.received:
            self._leave(piece, f"truck {manifest.manifest} is here, but it has not been scanned in")
            return None
        return max(0, self._minute(manifest.expected_at))

    def _minute(self, moment: datetime) -> int:
        return math.ceil((moment - self.epoch).total_seconds() / 60)

    def _steps(self, piece: Item, loss: Loss | None, release: int) -> list[sp.Step]:
        arrives = self.epoch + timedelta(minutes=release)
        triage = triage_of(piece, loss, self.epoch, (), self.book, known=self.known)
        deadline = None if triage.deadline is None else self._minute(triage.deadline)
        found: list[sp.Step] = []
        held: set[StepKind] = set()
        for kind in self._still_to_plan(piece):
            if held.intersection(self.known.steps[kind].requires):
                held.add(kind)
                continue
            match kind:
                case StepKind.DRY:
                    planned = self._drying(piece, deadline)
                    deadline = None
                case StepKind.CHAMBER:
                    planned = self._chamber(piece, arrives)
                case StepKind.AIR:
                    planned = self._airing(piece)
                case _:
                    start_by = None if kind is StepKind.STABILISE else deadline
                    planned = self._bench(piece, kind, start_by)
                    deadline = deadline if start_by is None else None
            if not planned:
                held.add(kind)
            found += planned
        state = state_of(piece, self.known)
        if (
            state.wet
            and may_do(
                Action.FREEZE_WET, piece.materials, state, at=self.epoch, known=self.known
            ).allowed
        ):
            self.freezable.add(piece.tag)
        return found

    def _still_to_plan(self, piece: Item) -> list[StepKind]:
        """What is left to plan for; what is in a chamber has what comes before it behind it."""
        elsewhere = {StepKind.FREEZE, StepKind.RETURN}
        left = [kind for kind in remaining_steps(piece, self.known) if kind not in elsewhere]
        if piece.tag in self.open_runs and StepKind.CHAMBER in left:
            return left[left.index(StepKind.CHAMBER) :]
        return left

    def _bench(self, piece: Item, kind: StepKind, start_by: int | None) -> list[sp.Step]:
        minutes = self._bench_min(piece, kind)
        benches = [
            one.id
            for one in self.facility.stations
            if isinstance(one, fa.Bench) and kind in one.serves
        ]
        if not benches:
            self._leave(piece, f"no bench is set up for: {kind.label.lower()}")
            return []
        longest = min(self.longest_shift[bench] for bench in benches)
        sessions = math.ceil(minutes / longest)
        each = _rounded(minutes / sessions)
        return [
            sp.BenchStep(
                id=kind.value if sessions == 1 else f"{kind.value}-{number + 1}",
                stations=tuple(benches),
                min_min=min(each, longest),
                start_by_min=start_by if number == 0 else None,
                start_by_weight=self._urgency(piece) if number == 0 else 0,
            )
            for number in range(sessions)
        ]

    def _bench_min(self, piece: Item, kind: StepKind) -> int:
        """Handwork of a step, by what a conservator listed or else by the table.

        What is done of the list is left out; what is all done still has to be looked over.
        """
        if kind is StepKind.STUDIO and piece.studio.listed is not None:
            return _rounded(float(hours_left(piece)) * 60)
        row = self.known.work_times[kind]
        each = _rounded(row.base_min + row.per_m2_min * face_m2(piece, self.known))
        return each * min(piece.quantity, MOST_COUNTED)

    def _urgency(self, piece: Item) -> int:
        """What a minute past a mould or soot deadline costs."""
        return round(_weight(piece) * self.known.constant(Constant.START_BY_FACTOR))

    def _drying(self, piece: Item, deadline: int | None) -> list[sp.Step]:
        rooms = self._rooms(StepKind.DRY)
        if not rooms:
            self._leave(piece, "no room is set up for drying")
            return []
        rooms = [room for room in rooms if _suits(room, piece, self.known)] or rooms
        minutes, grams = max((self._dries(piece, room) for room in rooms), key=lambda one: one[0])
        return [
            sp.RoomStep(
                id=StepKind.DRY.value,
                stations=tuple(room.id for room in rooms),
                min_min=minutes,
                rack_mm=min(rack_mm(piece, self.known), *(room.rack_mm for room in rooms)),
                g_h=grams,
                start_by_min=deadline,
                start_by_weight=self._urgency(piece),
            )
        ]

    def _rooms(self, kind: StepKind) -> list[fa.Room]:
        return [
            one for one in self.facility.stations if isinstance(one, fa.Room) and kind in one.serves
        ]

    def _dries(self, piece: Item, room: fa.Room) -> tuple[int, tuple[int, ...]]:
        """Minutes to dry in ``room`` at the likely rate, and the grams given off each hour.

        The slowest material decides; the slab model is in proportion to area, so it is worked
        out once for each kind of body and scaled.
        """
        area = max(face_m2(piece, self.known), 0.02) * piece.quantity
        soaked = is_soaked(piece)
        bodies = {self.known.ratings[material].drying_body for material in piece.materials}
        slowest = max(
            (
                _course(
                    self.known.drying_bodies[body],
                    round(slabs_in(self.known.drying_bodies[body], piece, self.known), 2),
                    soaked,
                    room,
                )
                for body in sorted(bodies)
            ),
            key=len,
        )
        return len(slowest) * 60, plateaus([kg * 1000 * area for kg in slowest])

    def _chamber(self, piece: Item, at: datetime) -> list[sp.Step]:
        run = self.open_runs.get(piece.tag)
        programme = self.book.programme(run.programme, run.version) if run else None
        if run is not None and programme is not None:
            stations: tuple[str, ...] = (run.station,)
        else:
            programme, rulings = choose_programme(piece, [], self.book, at, known=self.known)
            if programme is None:
                self._leave(piece, why_none(rulings))
                return []
            stations = tuple(
                one.id for one in self.facility.chambers if programme.id in one.programmes
            )
        if not stations:
            self._leave(piece, f"no chamber may run {programme.label}")
            return []
        self.programmes[piece.tag] = programme
        least, most = programme.run_min
        if programme.needs_licence:
            # It stays closed and aired until a licensed person reads that it may be opened.
            most += round(self.known.constant(Constant.CLEARANCE_WAIT_H) * 60)
        return [
            sp.BatchStep(
                id=StepKind.CHAMBER.value,
                stations=stations,
                programme=programme.id,
                min_min=least,
                max_min=most,
            )
        ]

    def _airing(self, piece: Item) -> list[sp.Step]:
        rooms = self._rooms(StepKind.AIR)
        if not rooms:
            self._leave(piece, "no room is set up for airing")
            return []
        return [
            sp.RoomStep(
                id=StepKind.AIR.value,
                stations=tuple(room.id for room in rooms),
                min_min=round(self.known.work_times[StepKind.AIR].base_min),
                rack_mm=min(rack_mm(piece, self.known), *(room.rack_mm for room in rooms)),
            )
        ]

    def _fixed(self, piece: Item, item: sp.Item) -> Iterable[sp.FixedPlacement]:
        """A piece that is in a chamber now stays there till the run ends, and is cleared."""
        run = self.open_runs.get(piece.tag)
        if run is None or not any(step.kind == "batch" for step in item.steps):
            return
        start, end = self._span(run)
        yield sp.FixedPlacement(
            item=piece.tag,
            step=StepKind.CHAMBER.value,
            station=run.station,
            start=start,
            end=end,
            run=run.run,
            state="in_progress",
        )

    def _span(self, run: RunSheet) -> tuple[int, int]:
        began = run.began(Phase.LOADING) or self.epoch
        programme = self.book.programme(run.programme, run.version)
        longest = programme.run_min[1] if programme else 24 * 60
        start = self._minute(began)
        end = max(start + longest, GRID_MIN)
        if programme is not None and programme.needs_licence:
            # Nobody licensed any more: it is for people to say when it ends.
            hours = (max(end, opens) for opens, closes in self.licence_windows if closes > end)
            end = next(hours, end)
        return start, end

    def _together(
        self, by_parent: dict[str, list[Item]], planned: Sequence[sp.Item]
    ) -> Iterable[tuple[str, ...]]:
        """A piece and its parts share their run wherever the rules give them one programme."""
        in_chamber = {
            item.id: step
            for item in planned
            for step in item.steps
            if isinstance(step, sp.BatchStep) and item.id not in self.open_runs
        }
        by_id = {item.id: item for item in planned}
        for parent, parts in sorted(by_parent.items()):
            same = [
                tag
                for tag in (parent, *(part.tag for part in parts))
                if tag in in_chamber
                and parent in self.programmes
                and self.programmes[tag].id == self.programmes[parent].id
            ]
            if len(same) < 2 or parent not in same:
                continue
            together = [(by_id[tag], in_chamber[tag]) for tag in same]
            if self._may_share(together):
                yield tuple(same)

    def _may_share(self, together: Sequence[tuple[sp.Item, sp.BatchStep]]) -> bool:
        """Whether some chamber takes all of these at once, and nothing keeps them apart."""
        if len({item.tags for item, _ in together}) > 1:
            return False
        litres_all = sum(item.volume_l for item, _ in together)
        rail_all = sum(item.rail_mm for item, _ in together)
        return any(
            chamber.usable_l >= litres_all
            and chamber.rail_mm >= rail_all
            and all(
                chamber.id in step.stations and why_unusable(item, step, chamber) is None
                for item, step in together
            )
            for chamber in self.stations.values()
            if isinstance(chamber, sp.Chamber)
        )

    def _previous(self, ids: set[str]) -> Iterable[sp.PreviousPlacement]:
        if self.previous is None:
            return
        problem, plan = self.previous
        shift = self._minute(problem.epoch)
        for one in plan.placements:
            if one.item in ids and one.end + shift > 0:
                yield sp.PreviousPlacement(
                    item=one.item,
                    step=one.step,
                    station=one.station,
                    start=one.start + shift,
                    end=one.end + shift,
                    run=one.run,
                )

    # --- the facility -------------------------------------------------------------------------

    def _stations(self) -> Iterable[sp.Station]:
        signed = {programme.id for programme in self.book.programmes}
        for station in self.facility.stations:
            match station:
                case fa.Chamber():
                    yield sp.Chamber(
                        id=station.id,
                        label=station.label,
                        usable_l=math.floor(station.volume_l * station.usable_fill),
                        rail_mm=station.rail_mm,
                        door_mm=sp.Opening(*station.door_mm),
                        inside_mm=sp.Extent(*station.inside_mm),
                        programmes=tuple(one for one in station.programmes if one in signed),
                        windows=self._open_windows(station.id),
                        windows_join=True,
                    )
                case fa.Room():
                    yield sp.Room(
                        id=station.id,
                        label=station.label,
                        rack_mm=station.rack_mm,
                        removal_g_h=station.removal_g_h,
                        windows=self._open_windows(station.id),
                    )
                case fa.ColdStore():
                    yield sp.Store(id=station.id, label=station.label, litres=station.usable_l)
                case fa.Bench():
                    yield sp.Bench(
                        id=station.id,
                        label=station.label,
                        shifts=tuple(self._bench_shifts(station)),
                    )

    def _bench_shifts(self, bench: fa.Bench) -> Iterable[sp.Shift]:
        """Working times at a bench without those in which it is closed."""
        windows = self._open_windows(bench.id)
        for shift in self._shifts(bench.shifts):
            if windows is None:
                yield shift
                continue
            for window in windows:
                start, end = max(shift.start, window.start), min(shift.end, window.end)
                if end > start:
                    yield sp.Shift(start, end, shift.people)

    def _open_windows(self, station: str) -> tuple[sp.Window, ...] | None:
        closed = sorted(
            (self._minute(one.starts_at), self._minute(one.ends_at))
            for one in self.book.closures
            if one.station == station and one.ends_at > self.epoch
        )
        if not closed:
            return None
        windows, at = [], 0
        for start, end in closed:
            if start > at:
                windows.append(sp.Window(at, start))
            at = max(at, end)
        windows.append(sp.Window(at, self.horizon))
        return tuple(window for window in windows if window.end > window.start)

    def _shifts(self, shifts: Sequence[fa.Shift]) -> Iterable[sp.Shift]:
        """Working times over the horizon, by start, on the facility's own clocks.

        Nobody works on a holiday.
        """
        holidays = {one.day for one in self.facility.holidays}
        first = self.epoch.astimezone(self.zone).date()
        spans = _working_spans(shifts)
        for day in range(HORIZON_DAYS):
            date = first + timedelta(days=day)
            if date in holidays:
                continue
            for span in spans[date.weekday()]:
                start = max(self._minute(datetime.combine(date, span.starts, self.zone)), 0)
                end = self._minute(datetime.combine(date, span.ends, self.zone))
                if min(end, self.horizon) > start:
                    yield sp.Shift(start, min(end, self.horizon), span.people)

    def _programmes(self) -> Iterable[sp.Programme]:
        for programme in self.book.newest_programmes():
            yield sp.Programme(
                id=programme.id,
                family=programme.family,
                label=programme.label,
                needs_licence=programme.needs_licence,
                licence_at_end=programme.clearance is not None,
            )

    def _clean_downs(self) -> Iterable[sp.CleanDown]:
        signed = {programme.id for programme in self.book.programmes}
        for one in self.facility.clean_downs:
            if {one.before, one.after} <= signed:
                yield sp.CleanDown(
                    after=one.before, into=one.after, minutes=one.minutes, cost=one.cost
                )

    def _licence_windows(self) -> tuple[sp.Window, ...]:
        spans: list[tuple[int, int]] = []
        for person in self.facility.licensed:
            last = self._minute(datetime.combine(person.expires, time.max, self.zone))
            spans += [
                (shift.start, min(shift.end, last))
                for shift in self._shifts(person.hours)
                if shift.start < last
            ]
        merged: list[sp.Window] = []
        for start, end in sorted(spans):
            if merged and start <= merged[-1].end:
                merged[-1] = sp.Window(merged[-1].start, max(merged[-1].end, end))
            else:
                merged.append(sp.Window(start, end))
        return tuple(merged)


@lru_cache(maxsize=2_000)
def _course(row: DryingBodyRow, slabs: float, soaked: bool, room: fa.Room) -> tuple[float, ...]:
    """Water given off by 1 m² of a body in each hour until it is dry, kg/h.

    Kept from plan to plan: the same few bodies and rooms come again, and a plan put back around a
    failure must not wait for them.
    """
    air, slab = air_in(room), slab_of(row, 1.0, slabs)
    emc = equilibrium(row, room)
    water = water_in(row, emc, soaked=soaked) * slabs
    hours = max(1, math.ceil(estimate_drying(slab, air, water, emc).likely.total_h))
    released = moisture_release_kg_h(slab, air, water, emc, hours)
    return tuple(float(kg) for kg in released)


def build_problem(
    session: Session,
    now: datetime,
    previous: tuple[sp.Problem, Plan] | None = None,
    *,
    known: Facts,
    told: Sequence[PlanEdit] = (),
) -> Planning:
    """The problem for everything that is here or on its way at ``now``, by ``known`` facts.

    ``previous`` is the adopted plan and its problem: what it moved is charged as a change. What
    people told the planner is kept, and then what is ``told`` beside it. Raises
    ``NoFacilityError`` before the facility is described.
    """
    return _Planner(session, now, previous, known, told).build()


def guessed_items(
    session: Session,
    now: datetime,
    pieces: Sequence[Item],
    arrives: datetime,
    *,
    known: Facts,
) -> tuple[list[sp.Item], list[LeftOut]]:
    """What the planner would do with pieces that nobody has recorded, if they came at ``arrives``:
    those that can be planned, and what is left out with the reason. Raises ``NoFacilityError``.
    """
    return _Planner(session, now, None, known).guessed(pieces, arrives)


def plateaus(rates: Sequence[float]) -> tuple[int, ...]:
    """Hourly rates in few levels, none below its hour's and none above by more than a third, or
    a gram.

    A room's share of each piece is a step for each level, so hundreds of hours that fall by a
    hair each would make a large problem of no use to anybody.
    """
    levels: list[int] = []
    for rate in rates:
        level = levels[-1] if levels else 0
        if not 0.75 * level <= rate <= level:
            level = math.ceil(rate)
        levels.append(level)
    return tuple(levels)


def with_freezing(planning: Planning, plan: Plan, *, known: Facts) -> Planning:
    """Where drying would start too late and the piece may be frozen wet, hold it frozen first.

    Freezing stops the clock, so the deadline moves from the drying to the freezing.
    """
    starts = {(one.item, one.step): one.start for one in plan.placements}
    late = {
        item.id
        for item in planning.problem.items
        for step in item.steps
        if step.id == StepKind.DRY.value
        and step.start_by_min is not None
        and starts[item.id, step.id] > max(step.start_by_min, 0)
    }
    return _frozen(planning, late, known)


def frozen_as_before(planning: Planning, previous: Plan, *, known: Facts) -> Planning:
    """What the last plan holds frozen before it dries is held so again."""
    freeze = StepKind.FREEZE.value
    return _frozen(planning, {one.item for one in previous.placements if one.step == freeze}, known)


def _frozen(planning: Planning, wanted: Set[str], known: Facts) -> Planning:
    problem = planning.problem
    thaw_min = round(known.constant(Constant.THAW_MOST_H) * 60)
    stores = {one.id: one.litres for one in problem.stations if isinstance(one, sp.Store)}
    pinned = {one.item for one in problem.fixed if one.step == StepKind.DRY.value}
    items = []
    for item in problem.items:
        dry = any(step.id == StepKind.DRY.value for step in item.steps)
        large_enough = tuple(one for one, held in stores.items() if held >= item.volume_l)
        may_be = dry and large_enough and item.id in planning.freezable - pinned
        if not (may_be and item.id in wanted):
            items.append(item)
            continue
        steps = tuple(_frozen_first(item, large_enough, thaw_min))
        items.append(item.model_copy(update={"steps": steps}))
    if tuple(items) == problem.items:
        return planning
    changed = problem.model_dump() | {"items": [item.model_dump() for item in items]}
    return replace(planning, problem=sp.Problem.model_validate(changed))


def _frozen_first(item: sp.Item, stores: tuple[str, ...], thaw_min: int) -> Iterable[sp.Step]:
    for step in item.steps:
        if not (isinstance(step, sp.RoomStep) and step.id == StepKind.DRY.value):
            yield step
            continue
        yield sp.StoreStep(
            id=StepKind.FREEZE.value,
            stations=stores,
            min_min=60,
            max_min=HORIZON_DAYS * 24 * 60,
            start_by_min=step.start_by_min,
            start_by_weight=step.start_by_weight,
        )
        yield step.model_copy(
            update={"start_by_min": None, "start_by_weight": 0, "lag_max": thaw_min}
        )


def _suits(room: fa.Room, piece: Item, known: Facts) -> bool:
    """Whether the room is kept near the set point that all of the piece needs, and no warmer
    than any of it stands.
    """
    point = known.room_for(piece.materials)
    by_rh = known.constant(Constant.ROOM_RH_MARGIN_PERCENT)
    by_t = known.constant(Constant.ROOM_T_MARGIN_C)
    return (
        point.rh_low_percent - by_rh <= room.rh * 100 <= point.rh_high_percent + by_rh
        and point.t_low_c - by_t <= room.temperature_c <= point.t_high_c + by_t
        and room.temperature_c <= known.heat_ceiling_c(piece.materials)
    )


def why_none(rulings: Sequence[ProgrammeRuling]) -> str:
    """Why no programme on file may be run on a piece, for the programmes meant for its damage."""
    meant = [ruling for ruling in rulings if ruling.serves]
    if not meant:
        return "no programme on file acts on what it suffers from; the licensed person decides"
    reasons = dict.fromkeys(reason for ruling in meant for reason in ruling.refusals)
    return "a conservator decides on the chamber: " + " ".join(reasons)


def _weight(piece: Item) -> int:
    if piece.valuation is None:
        return 1
    steps = int(Decimal(piece.valuation.value.amount) // VALUE_PER_WEIGHT)
    return 1 + max(0, min(steps, MOST_WEIGHT - 1))


def _rounded(minutes: float) -> int:
    return max(GRID_MIN, math.ceil(minutes / GRID_MIN) * GRID_MIN)


@dataclass(frozen=True)
class _Span:
    """A stretch of a working day with so many people throughout."""

    starts: time
    ends: time
    people: int

    @property
    def minutes(self) -> int:
        """How long it is by the clock."""
        return (self.ends.hour - self.starts.hour) * 60 + self.ends.minute - self.starts.minute


def _working_spans(shifts: Sequence[fa.Shift]) -> list[list[_Span]]:
    """For each weekday the spans in order; where shifts overlap, their people add up."""
    week: list[list[_Span]] = []
    for weekday in range(7):
        changes: dict[time, int] = {}
        for shift in shifts:
            if weekday in shift.weekdays:
                changes[shift.starts] = changes.get(shift.starts, 0) + shift.people
                changes[shift.ends] = changes.get(shift.ends, 0) - shift.people
        spans, people = [], 0
        for starts, ends in pairwise(sorted(changes)):
            people += changes[starts]
            if people:
                spans.append(_Span(starts, ends, people))
        week.append(spans)
    return week
