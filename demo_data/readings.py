"""Readings of an invented chamber run, as instruments would have shown them.

The gas rises to the middle of the signed window, is held until the middle of the signed dose and
falls while the chamber is aired. What the load has taken up it gives back: in the first closed
hold the reading climbs above the limit again, after more airing it no longer does.
"""

import math
from dataclasses import dataclass
from datetime import datetime, timedelta
from random import Random
from typing import Final

from pydantic import BaseModel

from demo_data.facility import METERS, Meters
from shared.events import (
    ClimateRead,
    DoseAdded,
    GasRead,
    HoldClosed,
    InstrumentRegistered,
    Mass,
    OxygenRead,
    PhaseEntered,
)
from shared.facility import Chamber
from shared.facts import facts
from shared.gas import charge_mass_g
from shared.programmes import ClearanceRule, Programme
from shared.vocabulary import Phase

RISE: Final = timedelta(minutes=30)
STEP: Final = timedelta(minutes=10)
FIRST_AIRING: Final = timedelta(hours=2)
SECOND_AIRING: Final = timedelta(hours=6)

REBOUND_FIRST: Final = 2.4
REBOUND_SECOND: Final = 0.35
"""What the load gives back in each closed hold, as a multiple of the limit."""

_REBOUND_TIME_H: Final = 0.7
_PRESSURE_PA: Final = 101_000.0
_MIXING: Final = 0.6
"""Share of the air changes that counts, because a loaded chamber never mixes fully."""


@dataclass(frozen=True)
class Entry:
    """One thing that happened or was read, and when."""

    at: datetime
    body: BaseModel


@dataclass(frozen=True)
class RunReadings:
    """A run after sealing, in order of time.

    Attributes:
        timeline: ``PhaseEntered``, ``DoseAdded``, ``GasRead``, ``ClimateRead``, ``OxygenRead`` and
            ``HoldClosed`` bodies. Loading, signatures and opening are left to people.
        checks: moments at which clearance is looked at. For a gas the first is too early, because
            of the rebound; at the last the measurements are good. For a programme without gas
            there is one: its end.
    """

    timeline: tuple[Entry, ...]
    checks: tuple[datetime, ...]

    def until(self, moment: datetime) -> tuple[Entry, ...]:
        """The entries up to and including ``moment``."""
        return tuple(entry for entry in self.timeline if entry.at <= moment)


def simulate_run(
    run: str, programme: Programme, chamber: Chamber, starts_at: datetime, *, seed: int = 1
) -> RunReadings:
    """Readings of ``programme`` in ``chamber``, sealed at ``starts_at`` (with its zone).

    The same arguments give the same readings. ``KeyError`` for a gas programme that has no
    meters in :data:`demo_data.facility.METERS`.
    """
    rng = Random(f"{seed}:{run}")
    if programme.clearance is None:
        return _without_gas(run, programme, chamber, starts_at, rng)
    gas_run = _GasRun(
        run=run,
        programme=programme,
        rule=programme.clearance,
        chamber=chamber,
        starts_at=starts_at,
        meters=METERS[programme.id],
        rng=rng,
    )
    return gas_run.readings()


def _without_gas(
    run: str, programme: Programme, chamber: Chamber, starts_at: datetime, rng: Random
) -> RunReadings:
    ends_at = starts_at + timedelta(minutes=programme.run_min[0])
    timeline = [
        Entry(starts_at, PhaseEntered(run=run, phase=Phase.HOLDING, at=starts_at)),
        Entry(ends_at, PhaseEntered(run=run, phase=Phase.AIRING, at=ends_at)),
    ]
    for moment in _every(starts_at, ends_at, timedelta(hours=3)):
        timeline += _air(run, programme, chamber, moment, rng)
    return RunReadings(_sorted(timeline), (ends_at,))


class _GasRun:
    """One gas run in the making."""

    def __init__(
        self,
        *,
        run: str,
        programme: Programme,
        rule: ClearanceRule,
        chamber: Chamber,
        starts_at: datetime,
        meters: Meters,
        rng: Random,
    ) -> None:
        self.run, self.programme, self.rule, self.chamber = run, programme, rule, chamber
        self.meters, self.rng = meters, rng
        self.limit = float(rule.limit_ppm)
        low, high = (float(end) for end in programme.concentration_ppm or (0, 0))
        least, most = (float(end) for end in programme.dose_ppm_h or (0, 0))
        self.level = math.sqrt(low * high)
        self.starts_at = starts_at
        self.holding_at = starts_at + RISE
        held = _to_step(math.sqrt(least * most) / self.level)
        self.airing_at = self.holding_at + held
        check = timedelta(seconds=rule.closed_hold_s + rule.passes_apart_s)
        first = self.airing_at + FIRST_AIRING
        second = first + check + SECOND_AIRING
        self.holds = ((first, first + check), (second, second + check))
        self.zone_share = {zone: self.rng.uniform(0.94, 1.05) for zone in chamber.zones}

    def readings(self) -> RunReadings:
        """The whole run."""
        timeline = [
            self._phase(Phase.DOSING, self.starts_at),
            Entry(self.starts_at, DoseAdded(run=self.run, mass=self._mass(), at=self.starts_at)),
            self._phase(Phase.HOLDING, self.holding_at),
            self._phase(Phase.AIRING, self.airing_at),
        ]
        last = self.holds[-1][1]
        for number, moment in enumerate(_every(self.starts_at + STEP, last, STEP), start=1):
            timeline += self._gas(number, moment)
            timeline += _air(self.run, self.programme, self.chamber, moment, self.rng)
        for starts, ends in self.holds:
            body = HoldClosed(run=self.run, starts_at=starts, ends_at=ends)
            timeline.append(Entry(ends, body))
        return RunReadings(_sorted(timeline), tuple(ends for _, ends in self.holds))

    def _phase(self, phase: Phase, at: datetime) -> Entry:
        return Entry(at, PhaseEntered(run=self.run, phase=phase, at=at))

    def _mass(self) -> Mass:
        grams = charge_mass_g(
            chamber_m3=self.chamber.volume_l / 1000,
            solids_m3=0.0,
            signed_ppm=self.level,
            molar_mass_g_mol=facts().gases[self.rule.gas].molar_mass_g_mol,
            t_c=_middle(self.programme.temperature_c),
            p_pa=_PRESSURE_PA,
        )
        return Mass(value=f"{grams:.4f}", unit="g")

    def _gas(self, number: int, moment: datetime) -> list[Entry]:
        return [
            Entry(
                moment,
                GasRead(
                    run=self.run,
                    reading=f"{self.run}-g{number}-{place}",
                    zone=zone,
                    instrument=meter.instrument,
                    value=value,
                    unit="ppm",
                    temperature_c=f"{_middle(self.programme.temperature_c):.1f}",
                    pressure_pa=f"{_PRESSURE_PA + self.rng.uniform(-80, 80):.0f}",
                    taken_at=moment,
                ),
            )
            for place, zone in enumerate(self.chamber.zones, start=1)
            for meter, value in [
                self._shown(self._true_ppm(moment) * self.zone_share[zone], moment)
            ]
        ]

    def _shown(self, ppm: float, moment: datetime) -> tuple[InstrumentRegistered, str]:
        """What the meter in use shows for a true concentration of ``ppm``."""
        meter = self.meters.dosing if moment <= self.airing_at else self.meters.clearance
        noisy = ppm * self.rng.gauss(1, 0.012)
        if noisy < float(meter.detection_limit_ppm):
            return meter, "<LOD"
        return meter, f"{noisy:.3f}"

    def _true_ppm(self, moment: datetime) -> float:
        if moment < self.holding_at:
            return self.level * (1 - math.exp(-4.5 * ((moment - self.starts_at) / RISE)))
        if moment <= self.airing_at:
            return self.level
        for (starts, ends), rebound in zip(
            self.holds, (REBOUND_FIRST, REBOUND_SECOND), strict=True
        ):
            if starts < moment <= ends:
                rest = self._aired(starts, self.airing_at)
                risen = 1 - math.exp(-_hours(moment - starts) / _REBOUND_TIME_H)
                return max(rest, rebound * self.limit * risen)
        first_end = self.holds[0][1]
        if moment > first_end:
            return REBOUND_FIRST * self.limit * self._share_left(moment - first_end)
        return self._aired(moment, self.airing_at)

    def _aired(self, moment: datetime, since: datetime) -> float:
        return self.level * self._share_left(moment - since)

    def _share_left(self, aired: timedelta) -> float:
        return math.exp(-_MIXING * self.chamber.air_changes_per_h * _hours(aired))


def _air(
    run: str, programme: Programme, chamber: Chamber, moment: datetime, rng: Random
) -> list[Entry]:
    """Temperature, humidity and oxygen in every zone, inside the programme's windows."""
    entries = []
    for zone in chamber.zones:
        temperature = _middle(programme.temperature_c) + rng.uniform(-0.6, 0.6)
        humidity = 100 * _middle(programme.rh) + rng.uniform(-1.5, 1.5)
        climate = ClimateRead(
            run=run,
            zone=zone,
            temperature_c=f"{temperature:.1f}",
            rh_percent=f"{humidity:.1f}",
            taken_at=moment,
        )
        percent = f"{20.9 + rng.uniform(-0.1, 0.1):.1f}"
        oxygen = OxygenRead(run=run, zone=zone, percent=percent, taken_at=moment)
        entries += [Entry(moment, climate), Entry(moment, oxygen)]
    return entries


def _every(starts: datetime, ends: datetime, step: timedelta) -> list[datetime]:
    """``starts``, then every ``step``, up to and always including ``ends``."""
    count = math.ceil((ends - starts) / step)
    return [*(starts + number * step for number in range(count)), ends]


def _sorted(timeline: list[Entry]) -> tuple[Entry, ...]:
    """By time; what was written first stays first within one moment."""
    return tuple(sorted(timeline, key=lambda entry: entry.at))


def _to_step(hours: float) -> timedelta:
    return math.ceil(timedelta(hours=hours) / STEP) * STEP


def _hours(span: timedelta) -> float:
    return span / timedelta(hours=1)


def _middle(window: tuple[float, float]) -> float:
    return (window[0] + window[1]) / 2
