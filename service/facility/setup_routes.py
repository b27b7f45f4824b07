"""The set-up page: what the facility has, and the whole of it as one file, out and in."""

from typing import Annotated
from urllib.parse import urlencode
from zoneinfo import ZoneInfo

from fastapi import APIRouter, File, Form, Request, Response, UploadFile
from fastapi.responses import HTMLResponse

from service.facility import setup_forms as forms
from service.facility.drawing import draw, zone
from service.facility.form_route import ACTOR, FormRoute, back
from service.facility.setup import SetupError, setup_of, take_setup
from service.facility.setup_file import LARGEST_BYTES, read_document, write_document
from service.facility.setup_needs import missing, reached_only_here, warned
from service.facility.setup_units import CHOICES, units_of
from service.installation import Installation
from service.log import reading
from service.log.append import RefusedError
from service.log.routes import Here
from shared.vocabulary import Phase

router = APIRouter(tags=["facility"], include_in_schema=False, route_class=FormRoute)

NOTHING = ""
"""Stands for the digest while no facility has been described."""


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
        running = {
            run.station: run.run for run in reading.runs(session) if run.phase is not Phase.UNLOADED
        }
    facility = book.facility
    stations = facility.stations if facility else ()
    units = units_of(request.query_params)
    today = here.now().astimezone(ZoneInfo(zone(book))).date()
    return draw(
        request,
        "setup.html",
        422 if problems else 200,
        facility=facility,
        stations=[
            (one, forms.described(forms.PARTS[one.kind], one, units), held.get(one.id, 0))
            for one in stations
        ],
        running=running,
        house=forms.described(forms.HOUSE, facility, units) if facility else [],
        licensed=[
            (number, person, forms.described(forms.PERSON, person, units), warned(person, today))
            for number, person in sorted(
                enumerate(facility.licensed if facility else ()), key=lambda one: one[1].expires
            )
        ],
        today=today,
        missing=missing(book, today),
        base_url=here.settings.base_url,
        only_here=reached_only_here(here.settings.base_url),
        units=units,
        query="?" + urlencode(units.chosen),
        unit_choices=CHOICES,
        part_forms=forms.PARTS,
        instruments=list({one.instrument: one for one in book.instruments}.values()),
        closures=[one for one in book.closures if one.ends_at > here.now()],
        labels={one.id: one.label for one in stations},
        programmes={one.id: one.label for one in book.newest_programmes()},
        digest=facility.digest if facility else NOTHING,
        now=here.now(),
        zone=zone(book),
        problems=problems or [],
        errors=dict(reversed(problems or [])),
        actor=actor,
        text=text,
    )
