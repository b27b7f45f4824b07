"""The facility, its signed programmes and its instruments as one file, read and written whole."""

from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field

from service.facility.programmes import missing_exclusions
from service.installation import Installation
from service.log import reading
from shared import events as ev
from shared.facility import Facility
from shared.programmes import Programme
from shared.vocabulary import Role


class SetupError(ValueError):
    """The file does not describe a facility; every fault is named with its field."""


class SetupDocument(BaseModel):
    """What ``lagan facility`` reads."""

    model_config = ConfigDict(extra="forbid")

    facility: Facility
    programmes: tuple[Programme, ...] = ()
    instruments: Annotated[
        tuple[ev.InstrumentRegistered, ...], Field(description="Gas instruments.")
    ] = ()


def take_setup(
    here: Installation, document: SetupDocument, actor: str, *, after: str | None = None
) -> int:
    """Record what the file says and the log does not say yet; returns the number of events.

    ``after`` is the digest of the description that the writer saw: a newer one is not written over.
    Raises ``SetupError`` and ``RefusedError``.
    """
    with here.database.read() as session:
        book = reading.facility(session)
    known_programmes = {(one.id, one.version): one for one in book.programmes}
    bodies: list[BaseModel] = []
    if book.facility != document.facility:
        bodies.append(ev.FacilityDescribed(facility=document.facility, after=after))
    for programme in document.programmes:
        known = known_programmes.get((programme.id, programme.version))
        if known is not None and known != programme:
            raise SetupError(
                f"programmes: {programme.id} version {programme.version} was signed with other "
                "figures; have it signed as a new version"
            )
        if known is None:
            missing = missing_exclusions(programme, here.facts)
            if missing:
                raise SetupError(f"programmes: {programme.id}: {missing[0][0]}: {missing[0][1]}")
            bodies.append(ev.ProgrammeSigned(programme=programme))
    on_file = {one.instrument: one.model_dump() for one in book.instruments}
    bodies += [
        one
        for one in document.instruments
        if on_file.get(one.instrument) != one.model_dump(exclude={"type"})
    ]
    if bodies:
        here.log.say_all(bodies, actor=actor, role=Role.LEAD)
    return len(bodies)


def setup_of(here: Installation) -> SetupDocument | None:
    """The set-up on record, to be kept or changed as a file; ``None`` before the first."""
    with here.database.read() as session:
        book = reading.facility(session)
    if book.facility is None:
        return None
    latest = {one.instrument: one for one in book.instruments}
    return SetupDocument(
        facility=book.facility,
        programmes=tuple(book.newest_programmes()),
        instruments=tuple(
            ev.InstrumentRegistered.model_validate(one.model_dump()) for one in latest.values()
        ),
    )
