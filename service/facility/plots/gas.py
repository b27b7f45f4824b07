"""What the gas does in a chamber: readings by zone, limit, dose so far, earliest check."""

from bisect import bisect_right
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from decimal import Decimal
from itertools import takewhile
from math import floor, log10

from service.facility.plots.chart import (
    COLOURS,
    DASHES,
    FAINT,
    Chart,
    Panel,
    Plot,
    Point,
    hours_between,
    zone_of,
)
from service.facility.plots.climate import climate_by_zone
from service.pages import moment
from shared.clearance import ANYTHING, highest_ppm
from shared.facility import Chamber
from shared.facts import Facts
from shared.gas import (
    MIXING_FACTORS,
    DoseWindow,
    GasReading,
    Rebound,
    RunDose,
    earliest_check_h,
    run_dose,
)
from shared.programmes import ClearanceRule, Programme
from shared.quantities import ppm_from_mg_m3
from shared.records import ClimateReading, FacilityBook, Run
from shared.records import GasReading as LoggedReading
from shared.vocabulary import Phase

LIMIT, CLOSED = COLOURS[4], "#dfe5e8"
LONGEST_GAP_H = 1.0
"""Two gas readings further apart than this count nothing towards the dose; ours."""
CLIMATE_AGE_H = 0.5
"""A temperature or humidity reading speaks for a gas reading up to this much later; ours."""
NOT_A_CLEARANCE = "earliest time to check, not a clearance"


@dataclass(frozen=True)
class _Zone:
    """What was read in one zone: for the dose the least, for clearance the most it can mean."""

    label: str
    dose: tuple[GasReading, ...]
    seen: tuple[Point, ...]
    below_detection: frozenset[float]

    @property
    def newest(self) -> Point:
        """Hour and value of the newest reading."""
        return self.seen[-1]


@dataclass(frozen=True)
class GasPlot(Plot):
    """The plot of a run, with the dose it shows; ``None`` while no zone has a usable reading."""

    dose: RunDose | None
    earliest_check: datetime | None
    dose_due: datetime | None
    """When the least signed dose would be reached in every zone, if the gas stays as it is."""


def gas_plot(
    run: Run,
    programme: Programme,
    chamber: Chamber,
    book: FacilityBook,
    now: datetime,
    *,
    known: Facts,
) -> GasPlot | None:
    """Readings of a gas run by zone, with phases, limit, dose so far and earliest check.

    ``None`` for a programme without gas or a run without a usable reading. A reading below
    detection is drawn at the detection limit and counts as nothing towards the dose.
    """
    rule = programme.clearance
    if rule is None or not run.gas:
        return None
    start = min([run.gas[0].taken_at, *(one.taken_at for one in run.gas), *_dosing(run)])
    zones, unreadable = _zones(run, rule, chamber, book, known=known, start=start)
    if not zones:
        return None
    dose = run_dose({zone.label: zone.dose for zone in zones}, _dose_window(programme))
    silent = [zone for zone in chamber.zones if zone not in {one.label for one in zones}]
    check = _earliest_check(run, rule, chamber, zones, start)
    last = max(zone.newest[0] for zone in zones)
    end = max([last * 1.04, 1.0, *([check * 1.06] if check is not None else [])])
    limit = float(rule.limit_ppm)
    values = [value for zone in zones for _, value in zone.seen if value > 0]
    chart = Chart((0, end), f"Hours since {moment(start, zone_of(book))}")
    low = 10.0 ** floor(log10(min([limit, *values]) * 0.8))
    panel = chart.panel(
        f"{_gas_name(rule, known)}, ppm, each step ten times the one below",
        low,
        max([limit, *values]) * 4,
        log=True,
    )
    _draw_phases(panel, run, start, end)
    for number, zone in enumerate(zones):
        colour, dash = COLOURS[number % 4], DASHES[number % len(DASHES)]
        panel.curve(zone.seen, colour, dash)
        for hollow in (False, True):
            marked = [one for one in zone.seen if (one[0] in zone.below_detection) is hollow]
            panel.dots(marked, colour, hollow=hollow)
        chart.explain("line", f"Zone {zone.label}", colour, dash)
    if any(zone.below_detection for zone in zones):
        chart.explain("hollow", "Below detection, drawn at the detection limit")
    wording = "at most" if rule.compare == "at_most" else "below"
    panel.level(limit, f"limit: {wording} {rule.limit_ppm:f} ppm", LIMIT)
    if run.holds:
        chart.explain("shade", "Held closed, airing off", CLOSED)
    if check is not None:
        panel.moment(check, NOT_A_CLEARANCE, LIMIT, drop=6)
        chart.explain("line", NOT_A_CLEARANCE.capitalize(), LIMIT, "3 3")
    now_h = hours_between(start, now)
    if 0 < now_h < end:
        panel.moment(now_h, "now", drop=1)
    checked_at = start + timedelta(hours=check) if check is not None else None
    due = None if silent else _dose_due(run, programme, dose, zones)
    caption = _gas_caption(
        programme, dose, silent, unreadable, checked_at=checked_at, zone=zone_of(book)
    )
    return GasPlot(
        chart.draw(f"Gas readings of run {run.run}. {caption}"),
        caption,
        _GAS_HEADS,
        tuple(_gas_rows(zones, silent, dose)),
        dose,
        checked_at,
        start + timedelta(hours=due) if due is not None else None,
    )


_GAS_HEADS = (
    "Zone",
    "Readings",
    "Newest, ppm",
    "Highest, ppm",
    "Dose counted, ppm·h",
    "Hours counted",
    "Hours not counted",
)


def _dosing(run: Run) -> list[datetime]:
    return [change.at for change in run.phases if change.phase is Phase.DOSING]


def _gas_name(rule: ClearanceRule, known: Facts) -> str:
    row = known.gases.get(rule.gas)
    return row.label if row else rule.gas


def _zones(
    run: Run,
    rule: ClearanceRule,
    chamber: Chamber,
    book: FacilityBook,
    *,
    known: Facts,
    start: datetime,
) -> tuple[list[_Zone], int]:
    """What was read, by zone in the chamber's order, and how many readings mean nothing."""
    row = known.gases.get(rule.gas)
    molar_mass = row.molar_mass_g_mol if row else None
    dose: dict[str, dict[float, GasReading]] = {}
    seen: dict[str, dict[float, float]] = {}
    below: dict[str, set[float]] = {}
    unreadable = 0
    climates = climate_by_zone(run)
    for reading in sorted(run.gas, key=lambda one: one.taken_at):
        instrument = book.instrument(reading.instrument)
        most = highest_ppm(reading, instrument, molar_mass) if instrument else ANYTHING
        least = _least_ppm(reading, molar_mass)
        if most == ANYTHING or least is None or instrument is None or instrument.gas != rule.gas:
            unreadable += 1
            continue
        hour = hours_between(start, reading.taken_at)
        zone = reading.zone
        t_c, rh = _climate(climates.get(zone, ()), reading.taken_at)
        one = GasReading(hour, least, t_c, rh)
        at_hour = dose.setdefault(zone, {})
        # Two instruments at one moment: the lower counts towards the dose, the higher is shown.
        if hour not in at_hour or least < at_hour[hour].ppm:
            at_hour[hour] = one
        highest = seen.setdefault(zone, {})
        highest[hour] = max(highest.get(hour, 0.0), float(most))
        if reading.value == "<LOD":
            below.setdefault(zone, set()).add(hour)
    labels = sorted(dose, key=lambda zone: (zone not in chamber.zones, zone))
    return [
        _Zone(
            zone,
            tuple(dose[zone].values()),
            tuple(seen[zone].items()),
            frozenset(below.get(zone, ())),
        )
        for zone in labels
    ], unreadable


def _least_ppm(reading: LoggedReading, molar_mass: float | None) -> float | None:
    """The least that a reading can mean; what is below detection may be nothing at all."""
    if reading.value == "<LOD":
        return 0.0
    try:
        if reading.unit == "ppm":
            return GasReading(0, float(reading.value)).ppm
        if reading.unit != "mg/m3" or molar_mass is None:
            return None
        t_c, p_pa = float(reading.temperature_c), float(reading.pressure_pa)
        return float(ppm_from_mg_m3(float(reading.value), molar_mass, t_c, p_pa))
    except ValueError:
        return None


def _climate(readings: Sequence[ClimateReading], at: datetime) -> tuple[float | None, float | None]:
    """The newest temperature and humidity of a zone that still speak for a moment."""
    until = bisect_right(readings, at, key=lambda one: one.taken_at)
    oldest = at - timedelta(hours=CLIMATE_AGE_H)
    recent = list(takewhile(lambda one: one.taken_at >= oldest, reversed(readings[:until])))
    t_c = next((float(one.temperature_c) for one in recent if one.temperature_c), None)
    rh = next((float(one.rh_percent) / 100 for one in recent if one.rh_percent), None)
    return t_c, rh


def _dose_window(programme: Programme) -> DoseWindow:
    """The signed programme's conditions for an exposure to count."""
    least = programme.concentration_ppm[0] if programme.concentration_ppm else Decimal(0)
    return DoseWindow(
        longest_gap_h=LONGEST_GAP_H,
        ppm_min=float(least),
        t_min_c=programme.temperature_c[0],
        t_max_c=programme.temperature_c[1],
        rh_min=programme.rh[0],
        rh_max=programme.rh[1],
    )


def _earliest_check(
    run: Run, rule: ClearanceRule, chamber: Chamber, zones: Sequence[_Zone], start: datetime
) -> float | None:
    """Hour of the earliest check while airing, or ``None`` where nothing is to be projected.

    From the highest of each zone's newest reading, with the typical mixing factor. What the load
    gives back is not in it, for nobody has measured how fast.
    """
    airing = run.began(Phase.AIRING)
    if run.phase is not Phase.AIRING or airing is None:
        return None
    since = hours_between(start, max([airing, *(dose.at for dose in run.doses)]))
    newest = [zone.newest for zone in zones if zone.newest[0] >= since]
    if not newest:
        return None
    hour, ppm = max(newest, key=lambda point: point[1])
    if ppm <= float(rule.limit_ppm):
        return None
    _, typical, _ = MIXING_FACTORS
    hours = earliest_check_h(
        ppm,
        float(rule.limit_ppm),
        Rebound(ppm=0.0, half_life_h=1.0),
        air_changes_per_h=chamber.air_changes_per_h,
        mixing_factor=typical,
    )
    return hour + hours


def _dose_due(
    run: Run, programme: Programme, dose: RunDose, zones: Sequence[_Zone]
) -> float | None:
    """Hour at which every zone has the least signed dose, if each newest reading stays as it is.

    ``None`` outside dosing and holding, and where a zone's newest reading counts nothing.
    """
    if run.phase not in {Phase.DOSING, Phase.HOLDING} or programme.dose_ppm_h is None:
        return None
    hours = []
    for zone in zones:
        newest = zone.dose[-1]
        if newest.ppm <= 0 or newest.ppm < _dose_window(programme).ppm_min:
            return None
        left = float(programme.dose_ppm_h[0]) - dose.by_sensor[zone.label].dose_ppm_h
        hours.append(newest.hour + max(left, 0.0) / newest.ppm)
    return max(hours)


def _draw_phases(panel: Panel, run: Run, start: datetime, end: float) -> None:
    """Each phase as a band with its name, and each closed hold."""
    changes = sorted(run.phases, key=lambda change: change.at)
    for number, change in enumerate(changes):
        begins = max(hours_between(start, change.at), 0.0)
        until = hours_between(start, changes[number + 1].at) if number + 1 < len(changes) else end
        if until > begins and begins < end:
            shade = FAINT if number % 2 else "#ffffff"
            panel.shade(begins, min(until, end), shade, change.phase.label)
    for hold in run.holds:
        begins, until = hours_between(start, hold.starts_at), hours_between(start, hold.ends_at)
        panel.shade(max(begins, 0.0), min(until, end), CLOSED)


def _gas_caption(
    programme: Programme,
    dose: RunDose,
    silent: Sequence[str],
    unreadable: int,
    *,
    checked_at: datetime | None,
    zone: str,
) -> str:
    signed = programme.dose_ppm_h
    window = f" of {signed[0]:f} to {signed[1]:f} ppm·h signed" if signed else ""
    parts = [
        f"Dose so far, by the zone least treated ({dose.lowest_sensor}): "
        f"{dose.lowest.dose_ppm_h:.3g} ppm·h{window}, in {dose.lowest.hours_counted:.1f} h inside "
        "the signed window. Time between readings more than "
        f"{LONGEST_GAP_H:g} h apart counts nothing."
    ]
    if silent:
        parts.append(f"Not measured, so no dose can be claimed there: {', '.join(silent)}.")
    if unreadable:
        parts.append(
            f"{unreadable} readings are not drawn: their instrument or unit says nothing in ppm."
        )
    if checked_at is not None:
        parts.append(
            f"{moment(checked_at, zone)}: {NOT_A_CLEARANCE}. Reckoned from the newest readings, "
            "the air changes and a typical mixing factor; what the load gives back comes on top."
        )
    parts.append("Only the full check of every zone clears a chamber.")
    return " ".join(parts)


def _gas_rows(
    zones: Sequence[_Zone], silent: Sequence[str], dose: RunDose
) -> Iterable[tuple[str, ...]]:
    for zone in zones:
        of = dose.by_sensor[zone.label]
        reasons: dict[str, float] = {}
        for gap in of.uncounted:
            reasons[gap.reason] = reasons.get(gap.reason, 0.0) + gap.to_hour - gap.from_hour
        lost = "; ".join(f"{hours:.1f}: {reason}" for reason, hours in reasons.items())
        newest_h, newest = zone.newest
        mark = "at most " if newest_h in zone.below_detection else ""
        yield (
            zone.label,
            str(len(zone.seen)),
            f"{mark}{newest:.3g}",
            f"{max(value for _, value in zone.seen):.3g}",
            f"{of.dose_ppm_h:.3g}",
            f"{of.hours_counted:.1f}",
            lost or "none",
        )
    for label in silent:
        yield (label, "0", "not measured", "not measured", "0", "0", "not measured")
