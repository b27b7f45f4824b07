"""A drying piece: is a weighing likely, is it dry by the rule, and what is missing.

A piece is called dry only when readings meet every sign of the rule (:func:`judge_dryness`). What
the table supposes of a piece is shown, and makes nothing dry.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from decimal import Decimal
from typing import TypeVar

from service.facility.plots.chart import zone_of
from service.facility.plots.drying import Drying, drying_of
from service.pages import moment
from shared import events as ev
from shared.drying import DRY_SURFACE_RH, DRY_WITHIN, STEADY_WITHIN, judge_dryness
from shared.facts import Facts
from shared.quantities import MassUnit, to_kilograms
from shared.records import FacilityBook, Item, MoistureReading, SurfaceReading, Weighing
from shared.vocabulary import MoistureScale

DAY = timedelta(hours=24)
SLIP = 5
"""A weighing so many times another is more likely a slip of the unit or of a digit; ours."""
HEAVIER = 1.01
"""More than a hundredth heavier is more than a scale explains; ours."""
_UNITS = (MassUnit.KILOGRAM, MassUnit.GRAM, MassUnit.POUND)

Taken = TypeVar("Taken", MoistureReading, SurfaceReading)


def kilograms(mass: ev.Mass) -> float:
    """A mass as entered, in kg. Raises ``OutOfRange``."""
    return to_kilograms(Decimal(mass.value), MassUnit(mass.unit))


def weighed_before(piece: Item, now: datetime) -> list[Weighing]:
    """What the piece weighed until now, oldest first; what is dated ahead tells nothing yet."""
    told = (one for one in piece.weighings if one.taken_at <= now and Decimal(one.mass.value) > 0)
    return sorted(told, key=lambda one: one.taken_at)


# --- is a weighing likely -----------------------------------------------------------------------


def doubts(
    piece: Item, mass: ev.Mass, book: FacilityBook, now: datetime, known: Facts
) -> list[str]:
    """What makes a weighing unlikely, each as a question to whoever stands at the scale."""
    kg = kilograms(mass)
    before = weighed_before(piece, now)
    if not before:
        drying = drying_of(piece, book, now, known)
        if drying is None:
            return []
        soaked = drying.body.slab.dry_mass_kg + drying.body.water_kg
        slip = _slip(mass, kg, soaked, f"such a piece soaked is about {soaked:.2g} kg")
        return [slip] if slip else []
    last, first = before[-1], before[0]
    slip = _slip(mass, kg, kilograms(last.mass), f"last time it was {_words(last.mass)}")
    if slip:
        return [slip]
    if kg > HEAVIER * kilograms(first.mass):
        return [f"{_words(mass)} is heavier than at first, {_words(first.mass)}. Is it so?"]
    if kg > HEAVIER * kilograms(last.mass):
        return [f"{_words(mass)} is heavier than last time, {_words(last.mass)}. Is it so?"]
    return []


def _slip(mass: ev.Mass, kg: float, expected_kg: float, beside: str) -> str | None:
    if expected_kg / SLIP < kg < expected_kg * SLIP:
        return None
    meant = [
        unit
        for unit in _UNITS
        if unit != mass.unit
        and expected_kg / 2 < to_kilograms(Decimal(mass.value), unit) < expected_kg * 2
    ]
    asked = f"Did you mean {mass.value} {meant[0]}?" if meant else "Are unit and digits right?"
    return f"{_words(mass)}, but {beside}. {asked}"


def _words(mass: ev.Mass) -> str:
    return f"{mass.value} {mass.unit}"


# --- is it dry ----------------------------------------------------------------------------------


@dataclass(frozen=True)
class Sign:
    """One sign of the rule: what it asks, whether readings meet it, and in words why.

    ``met`` is ``None`` while a reading is missing.
    """

    asks: str
    met: bool | None
    words: str


@dataclass(frozen=True)
class DoneWhen:
    """The rule, sign by sign."""

    signs: tuple[Sign, ...]
    as_of: datetime | None

    @property
    def is_dry(self) -> bool:
        """Whether readings meet every sign."""
        return all(one.met is True for one in self.signs)

    @property
    def missing(self) -> tuple[str, ...]:
        """What is still to be read or still to happen."""
        return tuple(one.words for one in self.signs if one.met is not True)


def done_when(piece: Item, book: FacilityBook, now: datetime, known: Facts) -> DoneWhen:
    """The done-when rule for a piece, by its readings until now."""
    clocks = zone_of(book)
    drying = drying_of(piece, book, now, known)
    weighed = weighed_before(piece, now)
    last = weighed[-1].taken_at if weighed else None
    around = last or now
    signs = (
        _near_equilibrium(piece, drying, around, now),
        _steady(weighed, clocks),
        _surface(piece, around, now),
    )
    return DoneWhen(signs, last)


def _near_equilibrium(piece: Item, drying: Drying | None, around: datetime, now: datetime) -> Sign:
    within = f"{DRY_WITHIN * 100:g} %"
    asks = f"Its moisture is within {within} of the room's own, by a meter."
    if drying is None:
        return Sign(asks, None, "Say what it is made of, and describe a drying room.")
    wood = drying.body.row.equilibrium == "wood"
    scales = {None, MoistureScale.DRY_MASS} | ({MoistureScale.WOOD_EQUIVALENT} if wood else set())
    told = (one for one in piece.moisture if one.scale in scales and 0 <= float(one.percent) < 1000)
    read = _of_each_spot(told, around, now)
    emc = drying.body.emc
    if not read:
        others = any(one.scale not in scales for one in piece.moisture)
        why = "Its meter's scale can't be compared. " if others else ""
        return Sign(
            asks, None, f"{why}Read its moisture in per cent of the dry mass, near a weighing."
        )
    wettest = max(float(one.percent) for one in read) / 100
    met = judge_dryness(wettest, emc, 1, 1, 0).near_equilibrium
    return Sign(
        asks,
        met,
        f"Wettest spot {_percent(wettest, 1)}; the room's own is {_percent(emc, 1)} at "
        f"{_percent(drying.room.rh)} RH.",
    )


def _steady(weighed: Sequence[Weighing], clocks: str) -> Sign:
    asks = f"Its mass changed by less than {_percent(STEADY_WITHIN, 1)} over a day."
    if not weighed:
        return Sign(asks, None, "Weigh it, and again a day later.")
    last = weighed[-1]
    a_day_before = [one for one in weighed if last.taken_at - one.taken_at >= DAY]
    if not a_day_before:
        due = moment(weighed[0].taken_at + DAY, clocks)
        return Sign(asks, None, f"Weigh it again on {due} or later.")
    before = a_day_before[-1]
    now_kg, then_kg = kilograms(last.mass), kilograms(before.mass)
    met = judge_dryness(0, 0, now_kg, then_kg, 0).steady_for_a_day
    hours = (last.taken_at - before.taken_at) / timedelta(hours=1)
    change = now_kg / then_kg - 1
    return Sign(asks, met, f"It changed by {change * 100:+.1f} % in {hours:.0f} h.")


def _surface(piece: Item, around: datetime, now: datetime) -> Sign:
    asks = f"The air at its surface is below {_percent(DRY_SURFACE_RH)} RH."
    told = (one for one in piece.surface if 0 <= float(one.rh_percent) <= 100)
    read = _of_each_spot(told, around, now)
    if not read:
        return Sign(asks, None, "Read the RH at its surface, near a weighing.")
    dampest = max(float(one.rh_percent) for one in read) / 100
    met = judge_dryness(0, 0, 1, 1, dampest).surface_dry
    return Sign(asks, met, f"Dampest spot {_percent(dampest)} RH.")


def _percent(share: float, places: int = 0) -> str:
    return f"{share * 100:.{places}f}\N{NO-BREAK SPACE}%"


def _of_each_spot(read: Iterable[Taken], around: datetime, now: datetime) -> list[Taken]:
    """The newest reading of each spot, of those within a day of a moment and not ahead."""
    near = [one for one in read if one.taken_at <= now and abs(one.taken_at - around) <= DAY]
    near.sort(key=lambda one: one.taken_at)
    return list({one.spot.casefold(): one for one in near}.values())
