"""The set-up page: what the facility has, and the whole of it as one file, out and in."""

from typing import Annotated

from fastapi import APIRouter, File, Form, Request, Response, UploadFile
from fastapi.responses import HTMLResponse

from service.facility.drawing import draw, zone
from service.facility.form_route import ACTOR, FormRoute, back
from service.facility.setup import SetupError, setup_of, take_setup
from service.facility.setup_file import LARGEST_BYTES, read_document, write_document
from service.installation import Installation
from service.log import reading
from service.log.append import RefusedError
from service.log.routes import Here
from shared.facility import Bench, Chamber, ColdStore, Room, Shift

router = APIRouter(tags=["facility"], include_in_schema=False, route_class=FormRoute)

NOTHING = ""
"""Stands for the digest while no facility has been described."""
DAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")


@router.get("/facility/setup")
def setup(request: Request, here: Here) -> HTMLResponse:
    """What the facility has, by kind."""
    return _page(request, here)


@router.get("/facility/setup.yaml")
def setup_file(here: Here) -> Response:
    """The whole set-up on record as one file."""
    document = setup_of(here)
    if document is None:
        return Response("nothing is set up yet\n", 404, media_type="text/plain")
    return Response(
        write_document(document),
        media_type="application/yaml",
        headers={"content-disposition": 'attachment; filename="setup.yaml"'},
    )


@router.post("/facility/setup")
def take(
    request: Request,
    here: Here,
    *,
    actor: Annotated[str, Form()] = "",
    made_from: Annotated[str, Form()] = NOTHING,
    file: Annotated[UploadFile | None, File()] = None,
    text: Annotated[str, Form()] = "",
) -> Response:
    """Take the whole set-up from a file, or from its text as it was mended on the page."""
    sent = file.file.read(LARGEST_BYTES + 1) if file is not None and file.size else text.encode()
    problems = []
    if not actor.strip():
        problems.append(("actor", ACTOR))
    if not sent.strip():
        problems.append(("file", "File: choose the set-up file first"))
    if not problems:
        try:
            take_setup(here, read_document(sent), actor.strip(), after=made_from or None)
        except (SetupError, RefusedError) as error:
            problems = [("file", one) for one in str(error).split("; line ")]
        else:
            return back("/facility/setup")
    shown = sent.decode("utf-8", "replace") if len(sent) <= LARGEST_BYTES else ""
    return _page(request, here, problems, actor, shown.replace("\r\n", "\n"))


def _page(
    request: Request,
    here: Installation,
    problems: list[tuple[str, str]] | None = None,
    actor: str = "",
    text: str = "",
) -> HTMLResponse:
    with here.database.read() as session:
        book = reading.facility(session)
        held = reading.counts_by_station(session, reading.EVERYTHING)
    facility = book.facility
    stations = facility.stations if facility else ()
    return draw(
        request,
        "setup.html",
        422 if problems else 200,
        facility=facility,
        stations=[(one, _facts(one), held.get(one.id, 0)) for one in stations],
        hours={
            one.licence_no: _hours(one.hours) for one in (facility.licensed if facility else ())
        },
        instruments=list({one.instrument: one for one in book.instruments}.values()),
        closures=[one for one in book.closures if one.ends_at > here.now()],
        labels={one.id: one.label for one in stations},
        programmes={one.id: one.label for one in book.newest_programmes()},
        digest=facility.digest if facility else NOTHING,
        today=here.now().date(),
        now=here.now(),
        zone=zone(book),
        problems=problems or [],
        errors=dict(reversed(problems or [])),
        actor=actor,
        text=text,
    )


def _facts(station: Chamber | Room | ColdStore | Bench) -> list[tuple[str, str]]:
    match station:
        case Chamber():
            half = station.half_loss_h
            return [
                ("Inside", _millimetres(station.inside_mm) + " (width, height, depth)"),
                ("Door", _millimetres(station.door_mm) + " (width, height)"),
                ("Rail", f"{station.rail_mm} mm"),
                ("Usable fill", f"{station.usable_fill * 100:g} %"),
                ("Air changes", f"{station.air_changes_per_h:g} an hour while airing"),
                ("Gas falls to half in", f"{half:g} h" if half else "not measured"),
                ("Programmes", ", ".join(station.programmes) or "none"),
                ("Gas is measured at", ", ".join(station.zones)),
            ]
        case Room():
            return [
                ("For", ", ".join(step.label.lower() for step in station.serves)),
                ("Rack", f"{station.rack_mm} mm"),
                ("Takes out", f"{station.removal_g_h / 1000:g} kg of water an hour"),
                ("Kept at", f"{station.temperature_c:g} °C, {station.rh * 100:g} %"),
                ("Air moves at", f"{station.air_speed_m_s:g} m/s"),
            ]
        case ColdStore():
            return [
                ("Room for", f"{station.usable_l} L"),
                ("Kept at", f"{station.temperature_c:g} °C"),
            ]
        case Bench():
            return [
                ("For", ", ".join(step.label.lower() for step in station.serves)),
                ("Hours", _hours(station.shifts)),
            ]


def _millimetres(sides: tuple[int, ...]) -> str:
    return " × ".join(str(side) for side in sides) + " mm"


def _hours(shifts: tuple[Shift, ...]) -> str:
    return "; ".join(
        f"{', '.join(DAYS[day] for day in shift.weekdays)} {shift.starts:%H:%M} to "
        f"{shift.ends:%H:%M}, {shift.people} there"
        for shift in shifts
    )
