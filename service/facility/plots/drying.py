"""How a piece dries: the likely course with its band, and what the scale says of it."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from decimal import Decimal

import numpy as np

from service.facility.bodies import WetBody, air_in, wet_body
from service.facility.plots.chart import (
    COLOURS,
    DASHES,
    SOFT,
    Chart,
    Plot,
    hours_between,
    span_words,
    zone_of,
)
from service.pages import moment
from shared.drying import (
    DIFFUSIVITY_SPREAD,
    DRY_WITHIN,
    FLUX_SPREAD,
    DryingAir,
    DryingRefit,
    Weighing,
    estimate_drying,
    refit_drying,
    water_left_kg,
)
from shared.facility import Room
from shared.facts import Facts
from shared.quantities import MassUnit, OutOfRange, to_kilograms
from shared.records import FacilityBook, Item
from shared.vocabulary import StepKind

LIKELY, WEIGHED = COLOURS[0], COLOURS[1]


@dataclass(frozen=True)
class Drying:
    """A piece that dries: where, since when, as what slab, and what the scale said."""

    room: Room
    in_room: bool
    start: datetime
    body: WetBody
    weighings: tuple[Weighing, ...]
    scale_error_kg: float

    @property
    def air(self) -> DryingAir:
        """The room's air."""
        return air_in(self.room)

    @property
    def done_kg(self) -> float:
        """Mass at which the piece is within a hundredth of equilibrium, kg."""
        return self.body.slab.dry_mass_kg * (1 + self.body.emc + DRY_WITHIN)


def drying_plot(piece: Item, book: FacilityBook, now: datetime, known: Facts) -> Plot | None:
    """The likely drying of a piece with its band, and what the scale says of it.

    ``None`` when no room dries, or nobody has said what the piece is made of. The dry mass is
    never weighed: it is taken from the share of water that the table gives for such a piece.
    """
    drying = drying_of(piece, book, now, known)
    if drying is None:
        return None
    start_kg = drying.body.slab.dry_mass_kg + drying.body.water_kg
    refit, trouble = _refit(drying)
    likely = estimate_drying(drying.body.slab, drying.air, drying.body.water_kg, drying.body.emc)
    last = max((one.hour for one in drying.weighings), default=0.0)
    end = max(
        likely.likely.total_h * 1.7, last * 1.15, hours_between(drying.start, now) * 1.05, 6.0
    )
    if refit is not None:
        end = max(end, min(refit.total_h.high * 1.1, 4 * end))
    hours = np.linspace(0, end, 120).tolist()
    middle, fast, slow = _expected(drying, hours)
    chart = Chart((0, end), f"Hours since {moment(drying.start, zone_of(book))}")
    heaviest = max([start_kg, *(one.mass_kg for one in drying.weighings)])
    floor = min(
        [
            drying.body.slab.dry_mass_kg * (1 + drying.body.emc),
            *(w.mass_kg for w in drying.weighings),
        ]
    )
    room_above = 0.08 * (heaviest - floor) or 0.1
    panel = chart.panel("Mass of the piece, kg", floor - room_above, heaviest + room_above)
    panel.band(list(zip(hours, fast, strict=True)), list(zip(hours, slow, strict=True)), LIKELY)
    panel.curve(list(zip(hours, middle, strict=True)), LIKELY)
    chart.explain("line", "Likely, from the table", LIKELY)
    chart.explain("band", "Diffusivity × or ÷ 3, evaporation × or ÷ 1.5", LIKELY)
    panel.level(
        drying.done_kg, f"{drying.done_kg:.2f} kg: within 1 % of the room's own moisture", SOFT
    )
    fitted: list[float] = []
    if refit is not None:
        fitted = _mass(
            drying,
            refit.diffusivity_m2_s.likely / drying.body.slab.diffusivity_m2_s,
            refit.rate_factor.likely,
            hours,
        )
        panel.curve(list(zip(hours, fitted, strict=True)), WEIGHED, DASHES[1])
        panel.span(refit.total_h.low, refit.total_h.high, drying.done_kg, WEIGHED)
        chart.explain("line", "Fitted to the weighings", WEIGHED, DASHES[1])
        chart.explain("line", "When it gets there: nine in ten", WEIGHED)
    if drying.weighings:
        panel.dots([(one.hour, one.mass_kg) for one in drying.weighings], WEIGHED)
        chart.explain("dot", "Weighed", WEIGHED)
    if 0 < hours_between(drying.start, now) < end:
        panel.moment(hours_between(drying.start, now), "now")
    caption = _drying_caption(drying, refit, trouble, likely.likely.total_h)
    rows = _drying_rows(drying, end, refit)
    return Plot(chart.draw(f"Drying. {caption}"), caption, _DRYING_HEADS, rows)


_DRYING_HEADS = ("Hours", "Likely, kg", "Fast to slow, kg", "By the weighings, kg", "Weighed, kg")


def drying_of(piece: Item, book: FacilityBook, now: datetime, known: Facts) -> Drying | None:
    """How a piece dries, as far as anybody knows.

    ``None`` when no room dries, or nobody has said what the piece is made of.
    """
    rooms = [
        one
        for one in (book.facility.stations if book.facility else ())
        if isinstance(one, Room) and StepKind.DRY in one.serves
    ]
    if not rooms or not piece.materials:
        return None
    here = next((room for room in rooms if room.id == piece.station), None)
    point = known.room_for(piece.materials)
    wanted = (point.rh_low_percent + point.rh_high_percent) / 200
    room = here or min(rooms, key=lambda one: abs(one.rh - wanted))
    body = wet_body(piece, room, known)
    if body is None:
        return None
    taken = sorted(piece.weighings, key=lambda one: one.taken_at)
    start = taken[0].taken_at if taken else drying_began(piece, book) or now
    weighings: dict[float, Weighing] = {}
    for one in taken:
        kg = to_kilograms(Decimal(one.mass.value), MassUnit(one.mass.unit))
        hour = hours_between(start, one.taken_at)
        weighings[hour] = Weighing(hour, kg)
    if weighings:
        body = _as_heavy_as(body, next(iter(weighings.values())).mass_kg)
    return Drying(
        room, here is not None, start, body, tuple(weighings.values()), _scale_error(piece)
    )


def drying_began(piece: Item, book: FacilityBook) -> datetime | None:
    """When the piece began to dry in a room, as far as the record tells."""
    done = [step.started_at for step in piece.steps if step.step is StepKind.DRY]
    rooms = {
        one.id
        for one in (book.facility.stations if book.facility else ())
        if isinstance(one, Room) and StepKind.DRY in one.serves
    }
    if piece.station in rooms and piece.station_since:
        done.append(datetime.fromisoformat(piece.station_since))
    return min(done, default=None)


def _as_heavy_as(body: WetBody, mass_kg: float) -> WetBody:
    """The body with the table's share of water, scaled to what the scale first said."""
    supposed = body.slab.dry_mass_kg + body.water_kg
    factor = mass_kg / supposed
    slab = replace(
        body.slab,
        dry_mass_kg=body.slab.dry_mass_kg * factor,
        open_area_m2=body.slab.open_area_m2 * factor,
    )
    return replace(body, slab=slab, water_kg=body.water_kg * factor)


def _scale_error(piece: Item) -> float:
    """Half the last digit written down, kg, and no less than a tenth of a gram."""
    errors = [1e-4]
    for one in piece.weighings:
        exponent = Decimal(one.mass.value).as_tuple().exponent
        if isinstance(exponent, int):
            step = Decimal(1).scaleb(exponent)
            errors.append(to_kilograms(step, MassUnit(one.mass.unit)) / 2)
    return max(errors)


def _mass(drying: Drying, diffusivity: float, rate: float, hours: Sequence[float]) -> list[float]:
    """Mass at each hour with the diffusivity and the evaporation rate multiplied, kg."""
    slab = replace(
        drying.body.slab,
        diffusivity_m2_s=drying.body.slab.diffusivity_m2_s * diffusivity,
        open_area_m2=drying.body.slab.open_area_m2 * rate,
    )
    left = water_left_kg(slab, drying.air, drying.body.water_kg, drying.body.emc, hours)
    return [float(kg) for kg in slab.dry_mass_kg + left]


def _expected(drying: Drying, hours: Sequence[float]) -> tuple[list[float], ...]:
    """Mass at each hour as the table has it, and at the fast and slow ends of what may be, kg."""
    d, rate = DIFFUSIVITY_SPREAD, FLUX_SPREAD
    return tuple(
        _mass(drying, by_d, by_rate, hours)
        for by_d, by_rate in ((1, 1), (d, rate), (1 / d, 1 / rate))
    )


def _refit(drying: Drying) -> tuple[DryingRefit | None, str]:
    """What two or more weighings say, or why no time is drawn from them."""
    if len(drying.weighings) < 2:
        return None, ""
    try:
        refit = refit_drying(
            drying.body.slab,
            drying.air,
            drying.body.emc,
            drying.weighings,
            scale_error_kg=drying.scale_error_kg,
        )
    except OutOfRange:
        return None, (
            "It has been weighed lighter than the dry mass that the table supposes, so the table "
            "does not fit it: go by the scale alone."
        )
    newest = drying.weighings[-1]
    overdue = newest.mass_kg > drying.done_kg and newest.hour > refit.total_h.high
    if refit.outside_expectation or overdue:
        return None, (
            "The weighings contradict what the table supposes of it, so no time is drawn from "
            "them: go by the scale alone."
        )
    return refit, ""


def _drying_caption(
    drying: Drying, refit: DryingRefit | None, trouble: str, likely_h: float
) -> str:
    row, slab = drying.body.row, drying.body.slab
    where = (
        f"in {drying.room.label}" if drying.in_room else f"if it were put in {drying.room.label}"
    )
    parts = [
        f"Likely {span_words(likely_h)} {where}, as the table's “{row.body.label}” ({row.mark}).",
        f"Nobody has weighed it dry: its dry mass is taken as {slab.dry_mass_kg:.2f} kg, "
        + (
            "from its first weighing and the table's share of water."
            if drying.weighings
            else "from its size and the table, and nothing has been weighed yet."
        ),
    ]
    if refit is not None:
        parts.append(
            f"By {refit.weighings_used} weighings {span_words(refit.total_h.likely)} in all, "
            f"nine in ten between {span_words(refit.total_h.low)} "
            f"and {span_words(refit.total_h.high)}."
        )
        if refit.gained_water:
            parts.append("One weighing is heavier than one before it: look for the reason.")
    if trouble:
        parts.append(trouble)
    parts.append(
        "The level alone does not make it dry: its mass must also stand still for a day and its "
        "surface be below 65 % RH."
    )
    return " ".join(parts)


def _drying_rows(
    drying: Drying, end: float, refit: DryingRefit | None
) -> tuple[tuple[str, ...], ...]:
    weighed = {one.hour: one.mass_kg for one in drying.weighings}
    hours = sorted({*np.linspace(0, end, 9).tolist(), *weighed})
    middle, fast, slow = _expected(drying, hours)
    fitted: Sequence[float | None] = [None] * len(hours)
    if refit is not None:
        factor = refit.diffusivity_m2_s.likely / drying.body.slab.diffusivity_m2_s
        fitted = _mass(drying, factor, refit.rate_factor.likely, hours)
    return tuple(
        (
            f"{hour:.1f}",
            f"{mid:.3f}",
            f"{low:.3f} to {high:.3f}",
            "" if by_scale is None else f"{by_scale:.3f}",
            f"{weighed[hour]:.3f}" if hour in weighed else "",
        )
        for hour, mid, low, high, by_scale in zip(hours, middle, fast, slow, fitted, strict=True)
    )
