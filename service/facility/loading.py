"""Guarded loading: what stops a piece at the chamber door, in words for a person in a hurry."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from functools import lru_cache

from sqlmodel import Session

from service.assessing import ProgrammeRuling, rule_on, state_of
from service.log import reading
from shared import events as ev
from shared.facility import Chamber
from shared.facts import Facts
from shared.quantities import LengthUnit, to_metres
from shared.records import Item, RunSheet
from shared.vocabulary import Phase

NAME_WORDS = 3


def sides_m(item: Item, known: Facts) -> tuple[float, float, float] | None:
    """Height, width and depth in metres; ``None`` when nobody measured the piece."""
    if item.size is None:
        return None
    height, width, depth = _sides_m(item.size)
    return height, width, known.spacing("envelope_depth_m").value if depth is None else depth


@lru_cache(maxsize=20_000)
def _sides_m(size: ev.Size) -> tuple[float, float, float | None]:
    """The sides as entered, in metres, once for each size: a plan asks for them again and again."""
    depth = None if size.depth is None else max(_metres(size.depth), 0.005)
    return _metres(size.height), _metres(size.width), depth


def _metres(side: ev.Length) -> float:
    return to_metres(Decimal(side.value), LengthUnit(side.unit))


def litres(item: Item, known: Facts) -> float:
    """The envelope of a piece, or of a whole set, in litres; 60 L for one not measured."""
    sides = sides_m(item, known)
    one = sides[0] * sides[1] * sides[2] * 1000 if sides else 60.0
    return one * item.quantity


def rail_gap_mm(known: Facts) -> int:
    """Free space beside a hung piece."""
    return round(known.spacing("art_gap_m").value * 1000)


def rail_mm(item: Item, known: Facts) -> int:
    """Rail taken: the depth of a hung piece and the gap beside it, for each of a set."""
    sides = sides_m(item, known)
    depth = sides[2] if sides else known.spacing("envelope_depth_m").value
    return (round(depth * 1000) + rail_gap_mm(known)) * item.quantity


def rack_mm(item: Item, known: Facts) -> int:
    """Rack taken: the width of a piece and the gap beside it, for each of a set."""
    sides = sides_m(item, known)
    width = sides[1] if sides else 0.4
    gap = round(known.spacing("rack_gap_m").value * 1000)
    return (round(width * 1000) + gap) * item.quantity


@dataclass(frozen=True)
class RailStretch:
    """Where a piece hangs: millimetres from the far end of the rail."""

    item: Item
    from_mm: int
    to_mm: int


def loading_order(items: Iterable[Item], known: Facts) -> list[RailStretch]:
    """The pieces in loading order: the largest envelope first, from the far end to the door.

    A suggestion. Equal pieces go by tag, so that two sheets of one run never differ.
    """
    order, at = [], 0
    for item in sorted(items, key=lambda one: (-litres(one, known), one.tag)):
        taken = rail_mm(item, known)
        order.append(RailStretch(item, at, at + taken - rail_gap_mm(known)))
        at += taken
    return order


def fits(item: Item, chamber: Chamber, known: Facts) -> str | None:
    """Why the piece does not go through the door or stand inside, or ``None``."""
    sides = sides_m(item, known)
    if sides is None:
        return None
    small, middle, large = sorted(max(1, round(side * 1000)) for side in sides)
    door = sorted(chamber.door_mm)
    if small > door[0] or middle > door[1]:
        return f"it is {small} × {middle} mm at its narrowest, the door {door[0]} × {door[1]} mm"
    inside = sorted(chamber.inside_mm)
    if small > inside[0] or middle > inside[1] or large > inside[2]:
        return (
            f"it is {small} × {middle} × {large} mm, the chamber inside "
            f"{inside[0]} × {inside[1]} × {inside[2]} mm"
        )
    return None


def why_not_load(session: Session, body: ev.ItemLoaded, now: datetime, known: Facts) -> str | None:
    """Why the piece must not go into this run, or ``None``."""
    run = reading.run_sheet(session, body.run)
    item = reading.item(session, reading.EVERYTHING, body.tag)
    if run is None:
        return f"STOP: there is no run {body.run}. Open it first."
    if item is None:
        return f"STOP: no piece carries the tag {body.tag}. Scan it again."
    if run.doses:
        return "STOP: agent has been dosed into this chamber. Keep it shut."
    if run.phase is not Phase.LOADING:
        return f"STOP: this run is not being loaded; it is “{run.phase.label}”. Ask the lead."
    if body.station is not None and body.station != run.station:
        return "STOP: wrong chamber for this run. Keep the piece out and ask the lead."
    if item.tag not in run.tags:
        return (
            f"STOP: wrong piece. {short_name(item)} is not on this run's sheet. "
            "Put it back, or add it to the sheet."
        )
    return why_not_enter(session, run, item, run.loaded, now, known=known)


def short_name(item: Item) -> str:
    """What a piece is called at the door: its first few words."""
    words = (item.title or item.object_type.label.lower()).split()
    return " ".join(words[:NAME_WORDS]) + ("…" if len(words) > NAME_WORDS else "")


def first_sentence(text: str) -> str:
    """The first sentence of a refusal: what is read at the door. The page below has the rest."""
    return text.partition(". ")[0].rstrip(".") + "."


def why_not_enter(
    session: Session,
    run: RunSheet,
    item: Item,
    beside: Sequence[str],
    now: datetime,
    *,
    known: Facts,
) -> str | None:
    """Why the piece can't be in this run beside the pieces ``beside``, or ``None``.

    Asked when a piece is put on the sheet and again at the door: much may have changed.
    """
    elsewhere = [one.run for one in runs_holding(session, item.tag) if one.run != run.run]
    if elsewhere:
        return (
            f"STOP: {short_name(item)} stands in run {elsewhere[0]}. Take it out of that run first."
        )
    book = reading.facility(session)
    chamber = book.chamber(run.station)
    ruling = ruling_on(session, run, item, now, known)
    if ruling is None or chamber is None:
        return "STOP: the run's programme or chamber is not on file. Ask the lead."
    if not ruling.allowed:
        todo = "Ask a conservator." if ruling.liftable else "Put it aside."
        return f"STOP: {short_name(item)}. {first_sentence(ruling.refusals[0])} {todo}"
    too_big = fits(item, chamber, known)
    if too_big:
        return f"STOP: {short_name(item)} does not fit: {too_big}. Put it aside."
    return _over_capacity(session, beside, item, chamber, known)


def ruling_on(
    session: Session, run: RunSheet, item: Item, now: datetime, known: Facts
) -> ProgrammeRuling | None:
    """What the rules say of the run's programme on the piece, with the parts that are inside too.

    ``None`` when the programme is not on file.
    """
    book = reading.facility(session)
    programme = book.programme(run.programme, run.version)
    if programme is None:
        return None
    return rule_on(
        programme,
        item,
        inside_with(session, run, item),
        state_of(item, known),
        now,
        facility=book.facility,
        known=known,
    )


def inside_with(session: Session, run: RunSheet, item: Item) -> list[Item]:
    """The parts of a piece that are on the same run's sheet."""
    parts = reading.parts_of(session, reading.EVERYTHING, item.tag)
    return [part for part in parts if part.tag in run.tags]


def runs_holding(session: Session, tag: str) -> list[RunSheet]:
    """The runs that have the piece inside by their own lists, whatever was said of its place.

    A sheet alone does not hold a piece: it may have to pass through two programmes in turn.
    """
    return [
        run
        for run in reading.runs(session)
        if run.phase is not Phase.UNLOADED and tag in run.loaded
    ]


def _over_capacity(
    session: Session, beside: Sequence[str], item: Item, chamber: Chamber, known: Facts
) -> str | None:
    others = reading.items_by_tag(session, reading.EVERYTHING, beside).values()
    together = [item, *(one for one in others if one.tag != item.tag)]
    filled, usable = (
        sum(litres(one, known) for one in together),
        chamber.volume_l * chamber.usable_fill,
    )
    if filled > usable:
        return (
            f"STOP: over fill. {filled:.0f} L with this piece, and {usable:.0f} L may be used. "
            "Keep it out for the next run."
        )
    hung = sum(rail_mm(one, known) for one in together)
    if hung > chamber.rail_mm:
        return (
            f"STOP: rail full. {hung} mm with this piece, of {chamber.rail_mm} mm. "
            "Keep it out for the next run."
        )
    return None
