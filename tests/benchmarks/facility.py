"""Invented facilities and the losses that come to them, as problem documents.

    python -m tests.benchmarks.facility --items 1000 --seed 1 --out problem.json

Everything here is invented, made to look like the trade's work without describing anybody's. The
facility grows with the number of pieces, then the losses are spread over just as much time as
keeps the busiest station at the load asked for.

What is drawn, from what, and why:

========================  =========================================  =============================
what                      distribution                               why
========================  =========================================  =============================
pieces of a loss          log-normal, median 60, sigma 0.8, at most  many small losses, few large
                          a third of all pieces
cause of a loss           shares of `CAUSES`                         fire is the commonest
moment of a loss          uniform over `ARRIVAL_SHARE` of the time   independent events
first truck               6 h + exponential, mean 12 h               access, then a drive
trucks after the first    `TRUCK_PIECES` each, 1 h + exponential,    crews pack them in turn
                          mean 3 h
material                  shares of `MATERIALS`                      a mixed picture collection
width                     log-normal, median 550 mm, sigma 0.45      sizes spread by ratio
height / width            log-normal, median 1.15, sigma 0.25        most pictures are upright
depth                     log-normal, median 50 mm, sigma 0.5        framed, some in boxes
drying time               log-normal about the material's median,    thickness and diffusivity
                          sigma 0.4                                  both spread by ratio
moisture                  a constant stage, then two lower levels    drying in two stages
value                     log-normal, median 900, sigma 1.6          few pieces hold most of it
studio work               log-normal, median 60 min, sigma 0.7       most need little, some a day
promise of a loss         log-normal, median 21 d, sigma 0.35, from  one date for a client, with
                          the event; `PRIORITY_SHARE` of the         some pieces wanted sooner
                          pieces at 0.6 of it
frozen, parts, apart      Bernoulli                                  independent choices
========================  =========================================  =============================

Every draw is cut off at the bounds of `BOUNDS`, so that each piece fits the smallest facility.
"""

import argparse
import math
import random
import sys
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from itertools import pairwise
from pathlib import Path
from typing import NamedTuple

from scheduler.consistency import why_unusable
from scheduler.problem import (
    BatchStep,
    Bench,
    BenchStep,
    Chamber,
    CleanDown,
    CleanDownDefault,
    Extent,
    Item,
    Opening,
    Problem,
    Programme,
    Room,
    RoomStep,
    Shift,
    Station,
    Step,
    Store,
    StoreStep,
    Weights,
    Window,
)

HOUR, DAY = 60, 1440
EPOCH = datetime(2031, 3, 3, tzinfo=UTC)
SIZES = (50, 200, 1_000, 5_000, 10_000)

DEFAULT_LOAD = 0.7
BUILT_FOR_LOAD = 0.7
BENCH_LOAD, ROOM_LOAD = 0.6, 0.5
# Trucks come in bursts and what is wet cannot wait: first aid has people to spare.
FIRST_AID_LOAD = 0.3
ARRIVAL_SHARE = 0.8
TRUCK_PIECES = 60
RUN_FILL = 0.75
MOULD_CLOCK_H = 48
FREEZE_SHARE, MOULDY_SHARE, INSECT_SHARE = 0.3, 0.25, 0.15
PARTS_SHARE, PRIORITY_SHARE, APART_SHARE = 0.04, 0.15, 0.1
AIRING_MIN, AIRING_WAIT_MIN, CHAMBER_WAIT_MIN, THAW_MIN = DAY, 8 * HOUR, 7 * DAY, 2 * HOUR
LONGEST_DRYING_H, LISTED_HOURS = 480, 96

WEIGHTS = Weights(
    lateness=1, late_items=2_000, running_min=1, clean_down_cost=1, changes=50, finish=1
)

BOUNDS: dict[str, tuple[int, int]] = {
    "width_mm": (150, 1_800),
    "height_mm": (150, 2_200),
    "depth_mm": (15, 400),
    "drying_h": (6, LONGEST_DRYING_H),
    "value": (50, 2_000_000),
    "studio_min": (15, 420),
    "promise_h": (10 * 24, 60 * 24),
}


class Cause(NamedTuple):
    """What happened, its share of losses, and what it leaves on the pieces."""

    name: str
    share: float
    soot: bool
    wet: bool


CAUSES = (
    Cause("fire", 0.40, soot=True, wet=False),
    Cause("fire and hoses", 0.25, soot=True, wet=True),
    Cause("burst pipe or flood", 0.25, soot=False, wet=True),
    Cause("damp store", 0.10, soot=False, wet=False),
)


class Material(NamedTuple):
    """A kind of piece: its share, drying time, and whether freezing and chambers are allowed."""

    name: str
    share: float
    drying_h: float
    freezable: bool
    chamber: bool


MATERIALS = (
    Material("oil on canvas", 0.26, 72, freezable=False, chamber=True),
    Material("framed work on paper", 0.30, 36, freezable=True, chamber=True),
    Material("photograph", 0.10, 24, freezable=True, chamber=True),
    Material("bound volume", 0.08, 168, freezable=True, chamber=True),
    Material("panel or carving", 0.08, 240, freezable=False, chamber=True),
    Material("gilded frame", 0.07, 144, freezable=False, chamber=True),
    Material("textile", 0.06, 48, freezable=True, chamber=True),
    Material("ceramic or metal", 0.05, 12, freezable=False, chamber=False),
)

# Wet pieces give off this much per m2 of both faces at first, g/h: free water at 18-20 degC and
# 45-55 % RH in slow air (58-77 g/m2 h, calculated).
FIRST_STAGE_G_M2_H = 70
STAGES = ((0.15, 1.0), (0.15, 0.5), (0.20, 0.2))


class ChamberSize(NamedTuple):
    """One of the sizes that chambers come in."""

    name: str
    usable_l: int
    rail_mm: int
    door_mm: Opening
    inside_mm: Extent


MEDIUM = ChamberSize("medium", 4_000, 3_600, Opening(1_100, 2_200), Extent(2_600, 2_100, 2_300))
LARGE = ChamberSize("large", 8_000, 6_000, Opening(1_800, 2_400), Extent(4_000, 2_400, 2_500))
CABINET = ChamberSize("cabinet", 1_400, 1_800, Opening(700, 1_300), Extent(1_500, 1_200, 1_400))
IN_TURN = (MEDIUM, CABINET, LARGE, MEDIUM, LARGE, LARGE)

PROGRAMMES = (
    Programme(id="odour-light", family="odour", label="Smoke odour, light"),
    Programme(id="odour-heavy", family="odour", label="Smoke odour, heavy"),
    Programme(id="mould", family="fumigation", label="Mould", needs_licence=True),
    Programme(id="insects", family="low oxygen", label="Insects, low oxygen", needs_licence=True),
)
RUN_MIN = {"odour-light": DAY, "odour-heavy": 2 * DAY, "mould": 3 * DAY, "insects": 21 * DAY}
SHARED_PROGRAMMES = ("odour-light", "odour-heavy", "mould")
CLEAN_DOWNS = (
    CleanDown(after="odour-light", into="odour-heavy", minutes=60, cost=100),
    CleanDown(after="odour-heavy", into="odour-light", minutes=120, cost=200),
    CleanDown(after="mould", into="odour-light", minutes=480, cost=900),
    CleanDown(after="mould", into="odour-heavy", minutes=480, cost=900),
)
OTHER_CLEAN_DOWN = CleanDownDefault(minutes=240, cost=400)


@dataclass(frozen=True)
class Facility:
    """A problem document and what it was made to be."""

    problem: Problem
    campaign_min: int
    """By when the work is meant to be done; loads are measured over it."""

    def loads(self) -> dict[str, float]:
        """Work over capacity of each station, from the epoch to the end of the campaign."""
        work = work_by_station(self.problem.stations, self.problem.items)
        return {
            s.id: work[s.id] / capacity_until(s, self.campaign_min) for s in self.problem.stations
        }


@dataclass(frozen=True)
class _Loss:
    number: int
    cause: Cause
    moment: float
    """Where in the arrivals it falls, 0 to 1."""
    promise_h: int


@dataclass(frozen=True)
class _Draft:
    """A piece before it is known when its loss happens; hours count from the event."""

    loss: _Loss
    material: Material
    arrives_h: float
    size_mm: Extent
    value: int
    drying_h: int
    studio_min: int
    programme: str | None
    mouldy: bool
    frozen: bool
    priority: bool
    part_of: int | None

    @property
    def face_m2(self) -> float:
        return self.size_mm.first * self.size_mm.second / 1e6

    @property
    def volume_l(self) -> int:
        """With 50 mm free around the faces and 100 mm in front."""
        width, height, depth = self.size_mm
        return math.ceil((width + 50) * (height + 50) * (depth + 100) / 1e6)

    @property
    def rail_mm(self) -> int:
        return self.size_mm.third + 100

    @property
    def rack_mm(self) -> int:
        return self.size_mm.first + 100


def facility(count: int, seed: int = 1, load: float = DEFAULT_LOAD) -> Facility:
    """A facility with `count` pieces to treat, its busiest station at `load` of its capacity.

    The same count, seed and load always give the same document.

    Raises:
        ValueError: count is below 1, or load is not in (0, 2].
    """
    if count < 1:
        raise ValueError(f"count is {count}; ask for at least one piece")
    if not 0 < load <= 2:
        raise ValueError(f"load is {load}; give a share of the capacity above 0, up to 2")
    drafts = _drafts(count, random.Random(seed))
    stations = _Stations(drafts)
    # Where a step may be done does not hang on when, so neither does the work.
    items = [_item(n, draft, 0, stations) for n, draft in enumerate(drafts)]
    campaign = _campaign(stations, items, load)
    horizon = _horizon(campaign, items)
    days = -(-horizon // DAY)
    event = [_on_grid(d.loss.moment * ARRIVAL_SHARE * campaign) for d in drafts]
    problem = Problem(
        epoch=EPOCH,
        horizon_min=horizon,
        stations=tuple(stations.made(days)),
        programmes=PROGRAMMES,
        clean_downs=CLEAN_DOWNS,
        clean_down_default=OTHER_CLEAN_DOWN,
        licence_windows=tuple(Window(s, e) for s, e in stations.licensed_hours(days)),
        items=tuple(_item(n, d, event[n], stations) for n, d in enumerate(drafts)),
        together=tuple(_together(drafts)),
        apart=(("mouldy", "clean"), *_claims_apart(drafts, random.Random(seed + 1))),
        weights=WEIGHTS,
    )
    return Facility(problem, campaign)


def _drafts(count: int, rng: random.Random) -> list[_Draft]:
    drafts: list[_Draft] = []
    number = 0
    while len(drafts) < count:
        size = round(_lognormal(rng, 60, 0.8, (1, max(1, count // 3))))
        loss = _Loss(
            number=number,
            cause=rng.choices(CAUSES, [c.share for c in CAUSES])[0],
            # The first loss opens the campaign.
            moment=rng.random() if number else 0.0,
            promise_h=round(_lognormal(rng, 21 * 24, 0.35, BOUNDS["promise_h"])),
        )
        drafts += _pieces(rng, loss, min(size, count - len(drafts)), len(drafts))
        number += 1
    return drafts


def _pieces(rng: random.Random, loss: _Loss, size: int, first: int) -> list[_Draft]:
    pieces: list[_Draft] = []
    arrives_h = 6 + rng.expovariate(1 / 12)
    for n in range(size):
        if n and n % TRUCK_PIECES == 0:
            arrives_h += 1 + rng.expovariate(1 / 3)
        before = pieces[-1] if pieces and rng.random() < PARTS_SHARE else None
        piece = _piece(rng, loss, arrives_h, before)
        if before is not None and before.programme is not None:
            root = first + n - 1 if before.part_of is None else before.part_of
            piece = _as_part(piece, before, root)
        pieces.append(piece)
    return pieces


def _piece(rng: random.Random, loss: _Loss, arrives_h: float, before: _Draft | None) -> _Draft:
    material = (
        rng.choices(MATERIALS, [m.share for m in MATERIALS])[0]
        if before is None
        else before.material
    )
    width = round(_lognormal(rng, 550, 0.45, BOUNDS["width_mm"]))
    low, high = BOUNDS["height_mm"]
    height = round(min(high, max(low, width * rng.lognormvariate(math.log(1.15), 0.25))))
    depth = round(_lognormal(rng, 50, 0.5, BOUNDS["depth_mm"]))
    mouldy = not loss.cause.soot and rng.random() < (
        MOULDY_SHARE if loss.cause.wet else 1 - INSECT_SHARE
    )
    return _Draft(
        loss=loss,
        material=material,
        arrives_h=arrives_h,
        size_mm=Extent(width, height, depth),
        value=round(_lognormal(rng, 900, 1.6, BOUNDS["value"])),
        drying_h=round(_lognormal(rng, material.drying_h, 0.4, BOUNDS["drying_h"])),
        studio_min=_on_grid(_lognormal(rng, 60, 0.7, BOUNDS["studio_min"])),
        programme=_programme(rng, loss, material, mouldy),
        mouldy=mouldy,
        frozen=loss.cause.wet and material.freezable and rng.random() < FREEZE_SHARE,
        priority=rng.random() < PRIORITY_SHARE,
        part_of=None,
    )


def _programme(rng: random.Random, loss: _Loss, material: Material, mouldy: bool) -> str | None:
    if not material.chamber:
        return None
    if mouldy:
        return "mould"
    if loss.cause.soot:
        return "odour-heavy" if rng.random() < 0.4 else "odour-light"
    return None if loss.cause.wet else "insects"


def _as_part(piece: _Draft, before: _Draft, root: int) -> _Draft:
    """The piece as another part of the object before it: same treatment, same place in it."""
    return _Draft(
        loss=piece.loss,
        material=piece.material,
        arrives_h=before.arrives_h,
        size_mm=piece.size_mm,
        value=piece.value,
        drying_h=before.drying_h,
        studio_min=piece.studio_min,
        programme=before.programme,
        mouldy=before.mouldy,
        frozen=before.frozen,
        priority=before.priority,
        part_of=root,
    )


class _Stations:
    """The stations for a number of pieces, sized for `BUILT_FOR_LOAD` over a nominal campaign of
    10 days for 50 pieces that grows with the cube root, roughly, of their number: a larger
    facility has both more stations and more time.
    """

    def __init__(self, drafts: Sequence[_Draft]) -> None:
        self.count = len(drafts)
        self.drafts = drafts
        self.nominal_min: float = 10 * DAY * max(1.0, self.count / 50) ** 0.35
        self.long_days = self.count >= 1_000
        self.seven_days = self.count >= 5_000
        self.chambers = self._shared_chambers()
        self.enclosures = self._enclosures()
        self.rooms = 1 + self.count // 2_000
        self.programme_stations = {
            p: tuple(f"chamber-{n + 1}" for n in range(len(self.chambers)))
            for p in SHARED_PROGRAMMES
        }
        self.programme_stations["insects"] = tuple(
            f"enclosure-{n + 1}" for n in range(self.enclosures)
        )
        self.drying = tuple(f"drying-{n + 1}" for n in range(self.rooms))
        self.airing = tuple(f"airing-{n + 1}" for n in range(self.rooms))

    def _shared_chambers(self) -> list[ChamberSize]:
        """Enough chambers, in turn of size, for rail and litres; at least two."""
        shared = [d for d in self.drafts if d.programme in SHARED_PROGRAMMES]
        share = self.nominal_min * BUILT_FOR_LOAD * RUN_FILL
        rail = sum(d.rail_mm * RUN_MIN[str(d.programme)] for d in shared) / share
        litres = sum(d.volume_l * RUN_MIN[str(d.programme)] for d in shared) / share
        chosen: list[ChamberSize] = []
        while (
            len(chosen) < 2
            or sum(c.rail_mm for c in chosen) < rail
            or sum(c.usable_l for c in chosen) < litres
        ):
            chosen.append(IN_TURN[len(chosen) % len(IN_TURN)])
        return chosen

    def _enclosures(self) -> int:
        """Low-oxygen enclosures are cheap and a run takes weeks: one for every two losses that
        have insects, more where that is too few.
        """
        insects = [d for d in self.drafts if d.programme == "insects"]
        share = self.nominal_min * BUILT_FOR_LOAD * RUN_FILL
        rail = sum(d.rail_mm for d in insects) * RUN_MIN["insects"] / share
        losses = len({d.loss.number for d in insects})
        return max(math.ceil(rail / LARGE.rail_mm), math.ceil(losses / 2))

    def hours(self, days: int, *, first_aid: bool = False) -> list[tuple[int, int]]:
        """Opening hours of the benches: a long day at large facilities. First aid has long days
        and every day.
        """
        long = self.long_days or first_aid
        opens, closes = (7 * HOUR, 21 * HOUR) if long else (8 * HOUR, 17 * HOUR)
        return [
            (d * DAY + opens, d * DAY + closes)
            for d in range(days)
            if self.seven_days or first_aid or d % 7 < 5
        ]

    def licensed_hours(self, days: int) -> list[tuple[int, int]]:
        """When a licensed person is there: office hours, on Saturdays too where the days are
        long, every day at the largest.
        """
        worked = 7 if self.seven_days else 6 if self.long_days else 5
        return [(d * DAY + 8 * HOUR, d * DAY + 17 * HOUR) for d in range(days) if d % 7 < worked]

    def made(self, days: int) -> list[Station]:
        """The stations, with calendars for so many days."""
        stations: list[Station] = []
        for n, size in enumerate(self.chambers):
            stations.append(
                Chamber(
                    id=f"chamber-{n + 1}",
                    label=f"Chamber {n + 1} ({size.name})",
                    usable_l=size.usable_l,
                    rail_mm=size.rail_mm,
                    door_mm=size.door_mm,
                    inside_mm=size.inside_mm,
                    programmes=SHARED_PROGRAMMES,
                    windows=_serviced(days, n) if n % 3 == 2 else None,
                    starts_in="odour-light" if n % 2 == 0 else None,
                )
            )
        for name in self.programme_stations["insects"]:
            stations.append(
                Chamber(
                    id=name,
                    label=f"Low-oxygen {name}",
                    usable_l=LARGE.usable_l,
                    rail_mm=LARGE.rail_mm,
                    programmes=("insects",),
                )
            )
        return stations + self._rooms() + self._benches(days)

    def _rooms(self) -> list[Station]:
        share = self.nominal_min * ROOM_LOAD
        wet = [d for d in self.drafts if d.loss.cause.wet]
        dry_rack = sum(d.rack_mm * d.drying_h * HOUR for d in wet) / share
        moisture = sum(HOUR * sum(_moisture_g_h(d)) for d in wet) / share
        # All chambers may end on one day, and what was in them has to hang somewhere.
        aired = [d for d in self.drafts if d.programme is not None]
        run_rack = sum(d.rack_mm for d in aired) / max(1, sum(d.rail_mm for d in aired))
        air_rack = sum(d.rack_mm * AIRING_MIN for d in aired) / share
        least_air = run_rack * sum(c.rail_mm for c in self.chambers) / self.rooms
        widest = BOUNDS["width_mm"][1] + 100
        frozen = sum(d.volume_l for d in self.drafts if d.frozen)
        return [
            *(
                Room(
                    id=name,
                    label=f"Drying room {n}",
                    rack_mm=_rounded_up(max(3 * widest, dry_rack / self.rooms), 1_000),
                    removal_g_h=_rounded_up(max(2_000, moisture / self.rooms), 100),
                )
                for n, name in enumerate(self.drying, start=1)
            ),
            *(
                Room(
                    id=name,
                    label=f"Airing room {n}",
                    rack_mm=_rounded_up(max(3 * widest, least_air, air_rack / self.rooms), 1_000),
                )
                for n, name in enumerate(self.airing, start=1)
            ),
            Store(id="cold-store", label="Cold store", litres=_rounded_up(1_000 + frozen / 2, 100)),
        ]

    def _benches(self, days: int) -> list[Station]:
        stations: list[Station] = []
        for name, label, minutes in (
            ("stabilise", "Stabilising bench", sum(map(_stabilise_min, self.drafts))),
            ("cleaning", "Soot and mould bench", sum(map(_cleaning_min, self.drafts))),
            ("studio", "Studio bench", sum(d.studio_min for d in self.drafts)),
        ):
            first_aid = name == "stabilise"
            hours = self.hours(days, first_aid=first_aid)
            open_min = sum(_within(spans, self.nominal_min) for spans in hours)
            target = FIRST_AID_LOAD if first_aid else BENCH_LOAD
            people = max(1, math.ceil(minutes / (open_min * target)))
            shifts = tuple(Shift(start, end, people) for start, end in hours)
            stations.append(Bench(id=name, label=label, shifts=shifts))
        return stations


def _serviced(days: int, number: int) -> tuple[Window, ...]:
    """Always, but for eight hours of service every fourth week."""
    stops = range((number % 4) * 7, days, 28)
    edges = [0, *(d * DAY + part * HOUR for d in stops for part in (8, 16)), (days + 1) * DAY]
    return tuple(Window(a, b) for a, b in zip(edges[::2], edges[1::2], strict=True) if b > a)


def _item(number: int, draft: _Draft, event_min: int, stations: _Stations) -> Item:
    release = event_min + _on_grid(draft.arrives_h * HOUR)
    weight = 1 + min(39, draft.value // 500)
    steps = _steps(draft, event_min, weight, stations)
    promise = draft.loss.promise_h * HOUR * (0.6 if draft.priority else 1.0)
    # Nobody promises what cannot be kept even with the facility to itself.
    alone = sum(s.min_min for s in steps) * 1.3 + 3 * DAY
    mixing = "mouldy" if draft.mouldy else "clean"
    return Item(
        id=f"piece-{number:05d}",
        label=f"{draft.material.name} {number}",
        claim=_claim(draft.loss),
        weight=weight,
        release_min=release,
        due_min=_on_grid(max(event_min + promise, release + alone)),
        volume_l=draft.volume_l,
        rail_mm=draft.rail_mm,
        size_mm=draft.size_mm,
        tags=(mixing, _claim(draft.loss)),
        steps=tuple(steps),
    )


def _steps(draft: _Draft, event_min: int, weight: int, stations: _Stations) -> list[Step]:
    """The route: stabilise, freeze or not, dry, clean, chamber, air, studio."""
    clock = event_min + MOULD_CLOCK_H * HOUR
    steps: list[Step] = [
        BenchStep(id="stabilise", stations=("stabilise",), min_min=_stabilise_min(draft))
    ]
    if draft.frozen:
        steps.append(
            StoreStep(
                id="freeze",
                stations=("cold-store",),
                min_min=DAY,
                max_min=90 * DAY,
                start_by_min=clock,
                start_by_weight=weight,
            )
        )
    if draft.loss.cause.wet:
        steps.append(
            RoomStep(
                id="dry",
                stations=stations.drying,
                min_min=draft.drying_h * HOUR,
                max_min=draft.drying_h * HOUR + 5 * DAY,
                lag_max=THAW_MIN if draft.frozen else None,
                rack_mm=draft.rack_mm,
                g_h=_moisture_g_h(draft),
                start_by_min=None if draft.frozen else clock,
                start_by_weight=0 if draft.frozen else weight,
            )
        )
    if _cleaning_min(draft):
        steps.append(BenchStep(id="clean", stations=("cleaning",), min_min=_cleaning_min(draft)))
    if draft.programme is not None:
        shortest = RUN_MIN[draft.programme]
        if draft.size_mm.third > 100:
            shortest += shortest // 4
        steps += [
            BatchStep(
                id="chamber",
                stations=stations.programme_stations[draft.programme],
                programme=draft.programme,
                min_min=shortest,
                max_min=RUN_MIN[draft.programme] * 3 // 2,
                lag_max=CHAMBER_WAIT_MIN,
            ),
            RoomStep(
                id="air",
                stations=stations.airing,
                min_min=AIRING_MIN,
                max_min=AIRING_MIN + 10 * DAY,
                lag_max=AIRING_WAIT_MIN,
                rack_mm=draft.rack_mm,
            ),
        ]
    steps.append(BenchStep(id="studio", stations=("studio",), min_min=draft.studio_min))
    return steps


def _stabilise_min(draft: _Draft) -> int:
    """Fifteen minutes and thirty for each m2 (common practice, no source)."""
    return _on_grid(min(420, 15 + 30 * draft.face_m2))


def _cleaning_min(draft: _Draft) -> int:
    """Dry soot: 15 min and 45 for each m2; mould: 20 and 60 (common practice, no source)."""
    if draft.mouldy:
        return _on_grid(min(420, 20 + 60 * draft.face_m2))
    return _on_grid(min(420, 15 + 45 * draft.face_m2)) if draft.loss.cause.soot else 0


def _moisture_g_h(draft: _Draft) -> tuple[int, ...]:
    """What a wet piece gives off hour by hour: `STAGES` of its drying time at levels that fall."""
    first = FIRST_STAGE_G_M2_H * 2 * draft.face_m2
    hours: list[int] = []
    for share, level in STAGES:
        hours += [max(1, round(first * level))] * max(1, round(share * draft.drying_h))
    return tuple(hours[:LISTED_HOURS])


def _together(drafts: Sequence[_Draft]) -> list[tuple[str, ...]]:
    """Parts of one object, each group by its pieces."""
    groups: dict[int, list[int]] = defaultdict(list)
    for n, draft in enumerate(drafts):
        if draft.part_of is not None:
            groups[draft.part_of].append(n)
    return [tuple(f"piece-{n:05d}" for n in (root, *parts)) for root, parts in groups.items()]


def _claims_apart(drafts: Sequence[_Draft], rng: random.Random) -> list[tuple[str, str]]:
    """Pairs of claims, one after the other, whose owners will not share a run."""
    claims = list(dict.fromkeys(_claim(d.loss) for d in drafts))
    return [pair for pair in pairwise(claims) if rng.random() < APART_SHARE]


def _claim(loss: _Loss) -> str:
    return f"claim-{loss.number + 1:03d}"


def work_by_station(stations: Sequence[Station], items: Sequence[Item]) -> dict[str, float]:
    """Work that each station is asked for, in the unit of `capacity_until`.

    What several stations could do is split between them by size. A piece takes the share of a
    station that it fills, times its shortest stay; of a chamber's rail and litres, and of a room's
    rack and moisture, that counts which all pieces together fill more of. Runs are taken as
    `RUN_FILL` full.
    """
    by_id = {s.id: s for s in stations}
    work: dict[tuple[str, str], float] = defaultdict(float)
    for item in items:
        for step in item.steps:
            if step.kind == "wait":
                continue
            named = (by_id[name] for name in step.stations)
            pool = [s for s in named if why_unusable(item, step, s) is None]
            for resource, amount in _asked(item, step).items():
                total = sum(_size(s, resource) for s in pool)
                for station in pool:
                    work[station.id, resource] += amount / total
    return {
        s.id: max((w for (name, _), w in work.items() if name == s.id), default=0.0)
        for s in stations
    }


def _asked(item: Item, step: Step) -> dict[str, float]:
    """What a step takes of each resource of its stations, times minutes."""
    if isinstance(step, BatchStep):
        minutes = step.min_min / RUN_FILL
        return {"rail": item.rail_mm * minutes, "litres": item.volume_l * minutes}
    if isinstance(step, RoomStep):
        rates = (step.g_h,) if isinstance(step.g_h, int) else step.g_h
        return {"rack": step.rack_mm * step.min_min, "moisture": HOUR * sum(rates)}
    if isinstance(step, StoreStep):
        return {"litres": item.volume_l * step.min_min}
    if isinstance(step, BenchStep):
        return {"people": step.people * step.min_min}
    return {}


def _size(station: Station, resource: str) -> int:
    if isinstance(station, Chamber):
        return station.rail_mm if resource == "rail" else station.usable_l
    if isinstance(station, Room):
        return station.rack_mm if resource == "rack" else station.removal_g_h
    if isinstance(station, Store):
        return station.litres
    return 1


def capacity_until(station: Station, minute: int) -> float:
    """Minutes that the station is open from the epoch until then; people times minutes at a
    bench.
    """
    if isinstance(station, Bench):
        return sum(s.people * _within((s.start, s.end), minute) for s in station.shifts)
    windows = None if isinstance(station, Store) else station.windows
    return minute if windows is None else sum(_within(w, minute) for w in windows)


def _within(span: tuple[int, int], end: float) -> float:
    return max(0.0, min(span[1], end) - span[0])


def _campaign(stations: _Stations, items: Sequence[Item], load: float) -> int:
    """The least minutes over which no station is asked for more than `load` of its capacity."""
    long = 40 * stations.nominal_min / load
    made = stations.made(math.ceil(long / DAY))
    work = work_by_station(made, items)

    def enough(minute: int) -> bool:
        return all(work[s.id] <= load * capacity_until(s, minute) for s in made)

    low, high = 0, math.ceil(long)
    while high - low > 1:
        middle = (low + high) // 2
        if enough(middle):
            high = middle
        else:
            low = middle
    return high


def _horizon(campaign: int, items: Sequence[Item]) -> int:
    """Room enough for any order: three campaigns and three of the longest routes, whole weeks."""
    longest = max(sum(s.min_min for s in item.steps) for item in items)
    return _rounded_up(3 * campaign + 3 * longest + 14 * DAY, 7 * DAY)


def _lognormal(rng: random.Random, median: float, sigma: float, bounds: tuple[int, int]) -> float:
    low, high = bounds
    return min(high, max(low, rng.lognormvariate(math.log(median), sigma)))


def _on_grid(minutes: float) -> int:
    """To the next quarter of an hour."""
    return _rounded_up(minutes, 15)


def _rounded_up(value: float, step: int) -> int:
    return math.ceil(value / step) * step


def main(arguments: Sequence[str] | None = None) -> int:
    """Write a problem document and tell the load of its stations."""
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks.facility")
    parser.add_argument("--items", type=int, default=1_000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--load", type=float, default=DEFAULT_LOAD)
    parser.add_argument("--out", type=Path, required=True, help="write the problem here (JSON)")
    options = parser.parse_args(arguments)
    made = facility(options.items, options.seed, options.load)
    options.out.write_text(made.problem.model_dump_json(indent=1) + "\n")
    print(f"campaign of {made.campaign_min / DAY:.1f} days")
    for station, load in made.loads().items():
        print(f"{station}: {load:.0%}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
