"""What a set-up lacks before a plan can be made by it, and whose licence is about to run out."""

from collections.abc import Sequence
from datetime import date
from urllib.parse import urlsplit

from shared.facility import Bench, Chamber, ColdStore, Facility, LicensedPerson, Room, Shift
from shared.programmes import SOON_D, standing_of
from shared.records import FacilityBook
from shared.vocabulary import StepKind

HANDWORK = (
    StepKind.STABILISE,
    StepKind.SOOT_REMOVAL,
    StepKind.MOULD_REMOVAL,
    StepKind.STUDIO,
)
WEEK = ("Mondays", "Tuesdays", "Wednesdays", "Thursdays", "Fridays", "Saturdays", "Sundays")


def warned(person: LicensedPerson, day: date) -> str:
    """What is to be said of a licence on ``day``: run out, or about to; empty when neither."""
    left = (person.expires - day).days
    if left < 0:
        return f"Licence ran out on {person.expires}"
    if left <= SOON_D:
        return f"Licence runs out on {person.expires}, in {left} days"
    return ""


def missing(book: FacilityBook, day: date) -> list[str]:
    """What a plan would stumble over, in the order in which it is best set up."""
    facility = book.facility
    if facility is None:
        return ["The house itself: its name and its time zone. Begin there."]
    return [*_places(facility), *_programmes(book, facility, day), *_people(book, facility, day)]


def _places(facility: Facility) -> list[str]:
    served = {
        kind for one in facility.stations if isinstance(one, Room | Bench) for kind in one.serves
    }
    found = [
        f"No {word}: nothing can be planned there."
        for word, model in (("chamber", Chamber), ("cold store", ColdStore))
        if not any(isinstance(one, model) for one in facility.stations)
    ]
    found += [
        f"No room for this step: {kind.label.lower()}."
        for kind in (StepKind.DRY, StepKind.AIR)
        if kind not in served
    ]
    return found + [
        f"No bench for this step: {kind.label.lower()}." for kind in HANDWORK if kind not in served
    ]


def _programmes(book: FacilityBook, facility: Facility, day: date) -> list[str]:
    usable = {one.id for one in book.newest_programmes() if standing_of(one, facility, day).usable}
    return [
        f"{one.label} may run no programme that is signed and in force."
        for one in facility.chambers
        if not usable & set(one.programmes)
    ]


def _people(book: FacilityBook, facility: Facility, day: date) -> list[str]:
    allowed = {one for chamber in facility.chambers for one in chamber.programmes}
    gas = any(one.needs_licence for one in book.newest_programmes() if one.id in allowed)
    good = [one for one in facility.licensed if one.expires >= day]
    if not good:
        return ["Nobody's licence is in force: no gas programme can be signed or run."]
    idle = _days_without([shift for one in good for shift in one.hours])
    return [f"No one licensed works on {', '.join(idle)}."] if idle and gas else []


def _days_without(shifts: Sequence[Shift]) -> list[str]:
    worked = {day for shift in shifts for day in shift.weekdays}
    return [name for day, name in enumerate(WEEK) if day not in worked]


def reached_only_here(address: str) -> bool:
    """Whether the address leads a phone to itself, and not to the service."""
    return urlsplit(address).hostname in {None, "localhost", "127.0.0.1", "::1"}
