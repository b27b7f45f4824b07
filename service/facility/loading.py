"""Guarded loading: what stops a piece at the chamber door, in words for a person in a hurry."""

from datetime import datetime
from decimal import Decimal

from sqlmodel import Session

from service.assessing import rule_on, state_of
from service.log import reading
from shared import events as ev
from shared.facility import Chamber
from shared.facts import Facts
from shared.quantities import LengthUnit, to_metres
from shared.records import Item, RunSheet
from shared.vocabulary import Phase


def sides_m(item: Item, known: Facts) -> tuple[float, float, float] | None:
    """Height, width and depth in metres; ``None`` when nobody measured the piece."""
    if item.size is None:
        return None
    height, width = _metres(item.size.height), _metres(item.size.width)
    depth = item.size.depth
    if depth is None:
        return height, width, known.spacing("envelope_depth_m").value
    return height, width, max(_metres(depth), 0.005)


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
        return f"STOP: there is no run {body.run}; open it first"
    if item is None:
        return f"STOP: no piece carries the tag {body.tag}; scan it again"
    name = item.title or item.object_type.label.lower()
    if run.phase is not Phase.LOADING:
        return f"STOP: this run is not being loaded; it is “{run.phase.label}”"
    if run.doses:
        return "STOP: agent has been dosed into this chamber; keep it shut"
    if item.tag not in run.tags:
        return f"STOP: wrong piece. {name} is not on this run's sheet"
    book = reading.facility(session)
    programme = book.programme(run.programme, run.version)
    chamber = book.chamber(run.station)
    if programme is None or chamber is None:
        return "STOP: the run's programme or chamber is not on file"
    parts = reading.parts_of(session, reading.EVERYTHING, item.tag)
    inside = [part for part in parts if part.tag in run.tags]
    ruling = rule_on(programme, item, inside, state_of(item, known), now, known=known)
    if not ruling.allowed:
        return f"STOP: {name}. " + " ".join(ruling.refusals)
    too_big = fits(item, chamber, known)
    if too_big:
        return f"STOP: {name} does not fit: {too_big}"
    return _over_capacity(session, run, item, chamber, known)


def _over_capacity(
    session: Session, run: RunSheet, item: Item, chamber: Chamber, known: Facts
) -> str | None:
    loaded = reading.items_by_tag(session, reading.EVERYTHING, run.loaded).values()
    together = [item, *(inside for inside in loaded if inside.tag != item.tag)]
    filled, usable = (
        sum(litres(one, known) for one in together),
        chamber.volume_l * chamber.usable_fill,
    )
    if filled > usable:
        return f"STOP: over fill. {filled:.0f} L with this piece, and {usable:.0f} L may be used"
    hung = sum(rail_mm(one, known) for one in together)
    if hung > chamber.rail_mm:
        return f"STOP: rail full. {hung} mm with this piece, of {chamber.rail_mm} mm"
    return None
