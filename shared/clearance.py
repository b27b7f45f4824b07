"""The clearance interlock: whether a chamber may be opened after a run.

NOT CLEARED is the answer whenever anything is missing, late, unclear or contradictory. A run is
cleared only by measurement: every zone within the limit that the signed programme cites, before
and after a closed hold, with oxygen in range, and two people's names under exactly these
readings. No decay formula takes part.

The answer is advice to people who stand at the door. It is never the sole barrier, and it says
nothing about whether the space may be entered: that is for the licensed fumigator.

A closed hold and a second look are asked for because a load gives gas back after airing (measured
for fumigated houses aerated and closed again). The freshness, hold and spacing of passes are the
programme's own, set by its signer.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from decimal import ROUND_UP, Decimal, InvalidOperation
from enum import StrEnum
from hashlib import sha256
from typing import TypeVar

from shared.ledger import canonical_bytes
from shared.programmes import ClearanceRule, Programme
from shared.quantities import FactBook, Mark, ppm_from_mg_m3
from shared.records import GasReading, Instrument, OxygenReading, Run
from shared.vocabulary import Phase, Role

FACTS = FactBook()
OXYGEN_LOW = FACTS.note(
    "least oxygen at opening", Decimal("19.5"), "% v/v", "29 CFR 1910.146(b)", Mark.PUBLISHED
)
OXYGEN_HIGH = FACTS.note(
    "most oxygen at opening", Decimal("23.5"), "% v/v", "29 CFR 1910.146(b)", Mark.PUBLISHED
)
SIGNATURES_NEEDED = FACTS.note(
    "different people who sign the readings, one of them the licensed fumigator",
    2,
    "people",
    "ours",
    Mark.COMMON_PRACTICE,
)
CLOCK_SKEW = timedelta(
    seconds=FACTS.note(
        "how far ahead of the service a reading's clock may run",
        120,
        "s",
        "ours: beyond it a reading counts as from the future",
        Mark.COMMON_PRACTICE,
    )
)

Reading = TypeVar("Reading", GasReading, OxygenReading)


class State(StrEnum):
    """The interlock's three answers."""

    NOT_CLEARED = "not_cleared"
    CLEARED = "cleared"
    NO_GAS = "no_gas"
    """The programme uses no gas and none was dosed: there is nothing to clear by measurement."""


@dataclass(frozen=True)
class Clearance:
    """The answer and its reasons.

    Attributes:
        state: the answer.
        reasons: every unmet condition, in words; empty when cleared.
        readings: digest of the newest reading of each zone, to be signed; ``None`` while a zone
            has none.
        signed_by: whose valid signatures count.
    """

    state: State
    reasons: tuple[str, ...]
    readings: str | None = None
    signed_by: tuple[str, ...] = ()

    @property
    def may_open(self) -> bool:
        """Whether the service lets the opening be recorded."""
        return self.state is not State.NOT_CLEARED


@dataclass(frozen=True)
class Setting:
    """What the interlock has to know beside the run itself.

    Attributes:
        zones: every zone of the chamber; each must be measured.
        molar_mass_g_mol: of the programme's gas, to convert mg/m³ to ppm; ``None`` if unknown.
        gas: key of the gas.
        instruments: registrations by name.
        licences: licence numbers on file and the day each expires.
        now: the service's time, which must never run backwards.
    """

    zones: tuple[str, ...]
    gas: str | None
    molar_mass_g_mol: float | None
    instruments: Mapping[str, Instrument]
    licences: Mapping[str, date]
    now: datetime


def clearance(run: Run, programme: Programme | None, setting: Setting) -> Clearance:
    """Whether ``run`` is cleared for opening, and every reason why not."""
    if programme is None:
        return _refused("the programme of this run is not on file")
    if run.phase is not Phase.AIRING:
        return _refused(f"the run is in phase “{run.phase.label}”, not “{Phase.AIRING.label}”")
    if programme.clearance is None:
        if run.doses:
            return _refused("agent was dosed, but the programme names no gas to measure")
        return Clearance(State.NO_GAS, ())
    return _by_measurement(run, programme.clearance, setting)


def _refused(reason: str) -> Clearance:
    return Clearance(State.NOT_CLEARED, (reason,))


def _by_measurement(run: Run, rule: ClearanceRule, setting: Setting) -> Clearance:
    since = _clean_since(run)
    gas = _by_zone(run.gas, since)
    oxygen = _by_zone(run.oxygen, since)
    reasons: list[str] = []
    if not setting.zones:
        reasons.append("the chamber has no zones on file, so nothing can be measured")
    if setting.gas != rule.gas:
        reasons.append(f"the limits table has no entry for {rule.gas}")
    passed_from, why_not = _closed_hold(run, rule, since, setting.now)
    reasons += why_not
    for zone in setting.zones:
        reasons += _zone_gas(zone, gas.get(zone, []), rule, setting, passed_from)
        reasons += _zone_oxygen(zone, oxygen.get(zone, []), rule, setting, passed_from)
    readings = _digest(_newest(gas, setting.zones), _newest(oxygen, setting.zones), setting.zones)
    signed_by, unsigned = _signatures(run, readings, setting)
    reasons += unsigned
    state = State.NOT_CLEARED if reasons else State.CLEARED
    return Clearance(state, tuple(reasons), readings, signed_by)


def _clean_since(run: Run) -> datetime | None:
    """The moment from which readings count: after the last dose and within the airing phase."""
    moments = [dose.at for dose in run.doses]
    airing = run.began(Phase.AIRING)
    if airing is not None:
        moments.append(airing)
    return max(moments, default=None)


def _by_zone(readings: list[Reading], since: datetime | None) -> dict[str, list[Reading]]:
    """Readings that count, by zone, oldest first."""
    zones: dict[str, list[Reading]] = {}
    for reading in sorted(readings, key=lambda one: (one.taken_at, one.event)):
        if since is None or reading.taken_at > since:
            zones.setdefault(reading.zone, []).append(reading)
    return zones


def _closed_hold(
    run: Run, rule: ClearanceRule, since: datetime | None, now: datetime
) -> tuple[datetime | None, list[str]]:
    """From when on a reading is one of the passes after the closed hold."""
    need = timedelta(seconds=rule.closed_hold_s)
    long_enough = [
        hold.starts_at + need
        for hold in run.holds
        if hold.ends_at - hold.starts_at >= need
        and hold.starts_at + need <= now
        and (since is None or hold.starts_at >= since)
    ]
    if long_enough:
        return max(long_enough), []
    return None, [
        f"no closed hold of {_span(rule.closed_hold_s)} since airing began and the last dose"
    ]


def _zone_gas(
    zone: str,
    readings: list[GasReading],
    rule: ClearanceRule,
    setting: Setting,
    passed_from: datetime | None,
) -> list[str]:
    if not readings:
        return [f"zone {zone}: no {rule.gas} reading since airing began and the last dose"]
    reasons = _freshness(f"zone {zone}: the {rule.gas} reading", readings[-1], rule, setting.now)
    passes = [one for one in readings if passed_from is not None and one.taken_at >= passed_from]
    apart = timedelta(seconds=rule.passes_apart_s)
    if len(passes) < 2 or passes[-1].taken_at - passes[0].taken_at < apart:
        reasons.append(
            f"zone {zone}: needs two passes at least {_span(rule.passes_apart_s)} apart "
            "after the closed hold"
        )
    for reading in passes or readings[-1:]:
        reasons += _within_limit(zone, reading, rule, setting)
    return reasons


def _within_limit(
    zone: str, reading: GasReading, rule: ClearanceRule, setting: Setting
) -> list[str]:
    instrument = setting.instruments.get(reading.instrument)
    if instrument is None or instrument.gas != rule.gas:
        return [f"zone {zone}: instrument {reading.instrument} is not registered for {rule.gas}"]
    reasons = []
    if instrument.calibrated_until <= max(reading.taken_at, setting.now):
        reasons.append(f"zone {zone}: instrument {reading.instrument} is out of calibration")
    lowest_seen = _number(instrument.detection_limit_ppm)
    if lowest_seen is None or lowest_seen > rule.limit_ppm:
        reasons.append(
            f"zone {zone}: instrument {reading.instrument} cannot see {rule.limit_ppm} ppm"
        )
    value = highest_ppm(reading, instrument, setting.molar_mass_g_mol)
    if value is None:
        reasons.append(
            f"zone {zone}: “{reading.value} {reading.unit}” cannot be read as ppm; measure in ppm, "
            "or in mg/m3 with the temperature and pressure at the sensor"
        )
    elif value > rule.limit_ppm or (value == rule.limit_ppm and rule.compare == "below"):
        wording = "at most" if rule.compare == "at_most" else "below"
        reasons.append(
            f"zone {zone}: {value.normalize():f} ppm {rule.gas}, but the limit is {wording} "
            f"{rule.limit_ppm} ppm ({rule.cited_from})"
        )
    return reasons


def highest_ppm(
    reading: GasReading, instrument: Instrument, molar_mass_g_mol: float | None
) -> Decimal | None:
    """The most that ``reading`` can mean, in ppm by volume; ``None`` when it means nothing.

    A value below detection counts as the detection limit. A conversion from mg/m³ (ideal gas, at
    the reading's own temperature and pressure) is rounded up to 0.0001 ppm, never down past a
    limit.
    """
    if reading.value == "<LOD":
        return _number(instrument.detection_limit_ppm)
    value = _number(reading.value)
    if value is None or reading.unit not in {"ppm", "mg/m3"}:
        return None
    if reading.unit == "ppm":
        return value
    temperature, pressure = (
        _number(reading.temperature_c, lowest=None),
        _number(reading.pressure_pa),
    )
    if molar_mass_g_mol is None or temperature is None or pressure is None:
        return None
    try:
        ppm = float(
            ppm_from_mg_m3(float(value), molar_mass_g_mol, float(temperature), float(pressure))
        )
        return Decimal(repr(ppm)).quantize(Decimal("0.0001"), rounding=ROUND_UP)
    except (ValueError, InvalidOperation):
        return None


def _zone_oxygen(
    zone: str,
    readings: list[OxygenReading],
    rule: ClearanceRule,
    setting: Setting,
    passed_from: datetime | None,
) -> list[str]:
    if not readings:
        return [f"zone {zone}: no oxygen reading since airing began and the last dose"]
    reasons = _freshness(f"zone {zone}: the oxygen reading", readings[-1], rule, setting.now)
    # Every reading since the hold counts, not the newest alone: two that contradict each other
    # say that one of them is wrong, and not which.
    after_hold = [
        one for one in readings if passed_from is not None and one.taken_at >= passed_from
    ]
    for reading in after_hold or readings[-1:]:
        percent = _number(reading.percent)
        if percent is None or not OXYGEN_LOW <= percent <= OXYGEN_HIGH:
            reasons.append(
                f"zone {zone}: oxygen {reading.percent} %, outside {OXYGEN_LOW} to "
                f"{OXYGEN_HIGH} % (29 CFR 1910.146(b))"
            )
    return reasons


def _freshness(
    what: str, reading: GasReading | OxygenReading, rule: ClearanceRule, now: datetime
) -> list[str]:
    age = now - reading.taken_at
    if age < -CLOCK_SKEW or reading.taken_at - reading.received_at > CLOCK_SKEW:
        return [f"{what} is dated in the future; check the clock it was taken by"]
    if age >= timedelta(seconds=rule.fresh_s):
        return [
            f"{what} is {_span(int(age.total_seconds()))} old; it counts for less than "
            f"{_span(rule.fresh_s)}"
        ]
    return []


def _newest(zones: Mapping[str, list[Reading]], wanted: tuple[str, ...]) -> dict[str, Reading]:
    return {zone: zones[zone][-1] for zone in wanted if zones.get(zone)}


def _digest(
    gas: Mapping[str, GasReading], oxygen: Mapping[str, OxygenReading], zones: tuple[str, ...]
) -> str | None:
    """Digest of one reading of each kind in each zone; ``None`` when one is missing."""
    if not zones or set(gas) != set(zones) or set(oxygen) != set(zones):
        return None
    looked_at = {
        zone: {
            "gas": [gas[zone].event, gas[zone].value, gas[zone].unit],
            "oxygen": [oxygen[zone].event, oxygen[zone].percent],
        }
        for zone in zones
    }
    return sha256(canonical_bytes(looked_at)).hexdigest()


def _signatures(
    run: Run, readings: str | None, setting: Setting
) -> tuple[tuple[str, ...], list[str]]:
    """Two different people under exactly the newest readings, one of them licensed."""
    valid = {
        (" ".join(one.signer.split()).casefold(), one.actor): one
        for one in run.signatures
        if readings is not None and one.readings == readings
    }
    names = {name for name, _ in valid}
    actors = {actor for _, actor in valid}
    reasons = []
    if len(names) < SIGNATURES_NEEDED or len(actors) < SIGNATURES_NEEDED:
        reasons.append("two different people must sign these very readings")
    licensed = [
        one
        for one in valid.values()
        if one.role is Role.FUMIGATOR
        and setting.licences.get(one.licence_no, date.min) >= setting.now.date()
    ]
    if not licensed:
        reasons.append("one of the two must be the licensed fumigator, with a licence in force")
    return tuple(sorted(one.signer for one in valid.values())), reasons


def _number(text: str, lowest: Decimal | None = Decimal(0)) -> Decimal | None:
    """``text`` as a finite number, not below ``lowest``; ``None`` when it is no such thing."""
    try:
        value = Decimal(text)
    except InvalidOperation:
        return None
    if not value.is_finite() or (lowest is not None and value < lowest):
        return None
    return value


def _span(seconds: int) -> str:
    """A length of time in words."""
    if seconds % 3600 == 0 and seconds >= 3600:
        return f"{seconds // 3600} h"
    if seconds >= 120:
        return f"{seconds // 60} min"
    return f"{seconds} s"
