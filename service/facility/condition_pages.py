"""The pages for drying pieces: the weighing round, and the condition of one piece."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Annotated
from urllib.parse import quote, urlencode

from fastapi import APIRouter, HTTPException, Query, Request, Response
from fastapi.responses import HTMLResponse, RedirectResponse
from pydantic import BaseModel, ValidationError
from sqlmodel import Session
from starlette.datastructures import UploadFile

from service.crew.routes import TagPath
from service.facility.condition import DoneWhen, done_when, doubts, weighed_before
from service.facility.drawing import draw, kept_photo, say, station_names, typed_tag, zone
from service.facility.form_route import ACTOR, FormRoute, Sent, back, typed_in
from service.facility.loading import short_name
from service.facility.plots import drying_plot
from service.facility.programme_forms import Fault, FormReader, Typed
from service.installation import Installation
from service.log import reading
from service.log.reading import EVERYTHING, ItemFilter
from service.log.routes import Here
from service.storage.photos import MAX_BYTES
from shared import events as ev
from shared.facility import Room
from shared.quantities import OutOfRange
from shared.records import FacilityBook, Item
from shared.vocabulary import MoistureScale, PhotoKind, StepKind

router = APIRouter(tags=["facility"], include_in_schema=False, route_class=FormRoute)

WEIGH = "/facility/weigh"
MASS_UNITS = ("kg", "g", "lb", "oz")
ROUND = timedelta(hours=12)
"""A piece weighed within it is done for this round; ours."""
MOST_SHOWN = {
    MoistureScale.DRY_MASS: 1000,
    MoistureScale.WOOD_EQUIVALENT: 1000,
    MoistureScale.RELATIVE: 10_000,
}
NEVER_WEIGHED = '"weighings":[]'
"""What stands in the record of a piece that was never weighed."""
STAGES = (PhotoKind.INTAKE, PhotoKind.DURING, PhotoKind.AFTER, PhotoKind.DETAIL)


@dataclass(frozen=True)
class DryingLine:
    """A piece that dries: when it was weighed last, and whether it is dry by the rule."""

    item: Item
    place: str
    done: DoneWhen


def _drying_pieces(session: Session, book: FacilityBook, here: Installation) -> list[DryingLine]:
    """What stands in the drying rooms, and what else was weighed and is not finished drying.

    What was weighed longest ago comes first.
    """
    rooms = {
        one.id
        for one in (book.facility.stations if book.facility else ())
        if isinstance(one, Room) and StepKind.DRY in one.serves
    }
    # The records are read as text first, for few of many pieces were ever weighed.
    weighed = (
        Item.model_validate_json(one.data)
        for one in reading.item_texts(session)
        if NEVER_WEIGHED not in one.data
    )
    found = {
        item.tag: item
        for room in sorted(rooms)
        for item in reading.items(session, EVERYTHING, ItemFilter(station=room))
    } | {
        item.tag: item
        for item in weighed
        if item.station is not None and StepKind.DRY not in item.steps_done
    }
    names = station_names(book)
    lines = [
        DryingLine(
            item,
            names.get(item.station or "", item.station or ""),
            done_when(item, book, here.now(), here.facts),
        )
        for item in found.values()
    ]
    never = datetime.min.replace(tzinfo=UTC)
    return sorted(lines, key=lambda one: (one.done.as_of or never, one.item.tag))


@router.get("/facility/condition")
def drying(request: Request, here: Here) -> HTMLResponse:
    """Every piece that dries, and what it still needs to be called dry."""
    with here.database.read() as session:
        book = reading.facility(session)
        lines = _drying_pieces(session, book, here)
    return draw(request, "condition.html", lines=lines, zone=zone(book))


# --- the weighing round -------------------------------------------------------------------------


class Round(BaseModel):
    """What stays the same from piece to piece, and what came of the last one."""

    done: str = ""
    actor: str = ""
    unit: str = ""
    instrument: str = ""


@router.get("/facility/weigh")
def weigh(request: Request, here: Here, said: Annotated[Round, Query()]) -> HTMLResponse:
    """The field for the next piece, and what is still to be weighed."""
    typed = {name: [getattr(said, name)] for name in ("actor", "unit", "instrument")}
    return _round(request, here, typed, done=said.done)


@router.post("/facility/weigh")
def weighed(request: Request, here: Here, sent: Sent) -> Response:
    """A piece and its mass. Without a mass it is only shown; an unlikely one is asked about."""
    typed = typed_in(sent)
    form = FormReader(typed)
    item = _scanned(here, form)
    if item is None or not form.text("mass"):
        return _round(request, here, typed, item=item, faults=form.faults)
    body = _weighing(form, item.tag, here)
    if not form.text("actor"):
        form.wrong("actor", ACTOR)
    if form.faults or body is None:
        return _round(request, here, typed, item=item, faults=form.faults)
    asked = _doubts(here, form, item, body)
    if asked:
        return _round(request, here, typed, item=item, asked=asked)
    problem = say(here, body, form.text("actor"))
    if problem:
        return _round(request, here, typed, item=item, faults=[("scanned", problem)])
    kept = {name: form.text(name) for name in ("actor", "unit", "instrument")}
    query = urlencode({"done": item.tag, **kept}, quote_via=quote)
    return RedirectResponse(f"{WEIGH}?{query}", status_code=303)


def _doubts(here: Installation, form: FormReader, item: Item, body: ev.Weighed) -> list[str]:
    """Questions that were not answered yet: a yes counts for exactly the mass it was said of."""
    if form.text("sure") == f"{item.tag} {body.mass.value} {body.mass.unit}":
        return []
    with here.database.read() as session:
        book = reading.facility(session)
    return doubts(item, body.mass, book, here.now(), here.facts)


def _scanned(here: Installation, form: FormReader) -> Item | None:
    text = form.text("scanned")
    if not text:
        form.wrong("scanned", "Scan the piece, or type its tag")
        return None
    tag, mend = typed_tag(text)
    with here.database.read() as session:
        item = reading.item(session, EVERYTHING, tag) if tag else None
    if item is None:
        form.wrong("scanned", mend or f"No piece carries the tag {tag}. Scan it again")
    return item


def _weighing(form: FormReader, tag: str, here: Installation) -> ev.Weighed | None:
    mass = form.number("mass", "Mass")
    unit = form.text("unit")
    if unit not in MASS_UNITS:
        form.wrong("unit", "Unit: choose what the scale shows")
        return None
    if mass is None:
        return None
    try:
        if mass <= 0:
            raise OutOfRange("mass", mass, "above nothing")
        return ev.Weighed.model_validate(
            {
                "tag": tag,
                "mass": {"value": f"{mass:f}", "unit": unit},
                "taken_at": here.now(),
                "instrument": form.text("instrument"),
            }
        )
    except (OutOfRange, ValidationError):
        form.wrong("mass", f"Mass: {mass} {unit} can't be; write it as the scale shows it")
        return None


def _round(
    request: Request,
    here: Installation,
    typed: Typed,
    *,
    item: Item | None = None,
    asked: list[str] | None = None,
    faults: list[Fault] | None = None,
    done: str = "",
) -> HTMLResponse:
    form = FormReader(typed)
    now = here.now()
    with here.database.read() as session:
        book = reading.facility(session)
        lines = _drying_pieces(session, book, here)
        last = reading.item(session, EVERYTHING, done) if done else None
    told = weighed_before(last, now) if last else []
    to_weigh = [one for one in lines if not _same_round(one, now)]
    return draw(
        request,
        "weigh.html",
        422 if faults or asked else 200,
        typed=form,
        faults=faults or [],
        asked=asked or [],
        sure=f"{item.tag} {form.text('mass')} {form.text('unit')}" if item else "",
        item=item,
        name=short_name(item) if item else "",
        before=weighed_before(item, now)[-3:] if item else [],
        last=short_name(last) if last else "",
        told=told[-2:],
        to_weigh=to_weigh,
        weighed=len(lines) - len(to_weigh),
        units=[(one, one) for one in MASS_UNITS],
        zone=zone(book),
    )


def _same_round(line: DryingLine, now: datetime) -> bool:
    """Whether the piece was weighed within this working half day."""
    return line.done.as_of is not None and now - line.done.as_of < ROUND


# --- one piece ----------------------------------------------------------------------------------


@router.get("/facility/items/{tag}/condition")
def condition(request: Request, tag: TagPath, here: Here) -> HTMLResponse:
    """How a piece dries: the rule with what is missing, the curve, and what was read."""
    return _page(request, here, tag, {}, [])


@router.post("/facility/items/{tag}/moisture")
def moisture(request: Request, tag: TagPath, here: Here, sent: Sent) -> Response:
    """What a moisture meter showed at one spot, on the scale that it is set to."""
    form = FormReader(typed_in(sent))
    value = form.number("percent", "Moisture")
    scale = form.text("scale")
    if scale not in set(MoistureScale):
        form.wrong("scale", "Scale: choose what the meter is set to")
    elif value is not None and not 0 <= value < MOST_SHOWN[MoistureScale(scale)]:
        form.wrong("percent", f"Moisture: {value:f} can't be; write what the meter shows")
    if not form.text("method"):
        form.wrong("method", "Meter: name it, and how it measures")
    return _kept(
        request,
        here,
        form,
        ev.MoistureRead,
        {
            "tag": tag,
            "taken_at": here.now(),
            "percent": f"{value:f}" if value is not None else "",
            "scale": scale,
            "method": form.text("method"),
            "spot": form.text("spot"),
        },
    )


@router.post("/facility/items/{tag}/surface")
def surface(request: Request, tag: TagPath, here: Here, sent: Sent) -> Response:
    """Temperature and humidity of the air at the surface of a piece."""
    form = FormReader(typed_in(sent))
    t, rh = form.number("temperature", "Temperature"), form.number("rh", "Relative humidity")
    if form.text("temperature_unit") not in {"degC", "degF"}:
        form.wrong("temperature_unit", "Unit: choose °C or °F")
    if rh is not None and not 0 <= rh <= 100:
        form.wrong("rh", f"Relative humidity: {rh:f} % can't be; it lies from 0 to 100")
    return _kept(
        request,
        here,
        form,
        ev.SurfaceRead,
        {
            "tag": tag,
            "taken_at": here.now(),
            "temperature": f"{t:f}" if t is not None else "",
            "unit": form.text("temperature_unit"),
            "rh_percent": f"{rh:f}" if rh is not None else "",
            "spot": form.text("surface_spot"),
            "instrument": form.text("instrument"),
        },
    )


@router.post("/facility/items/{tag}/photo")
def photo(request: Request, tag: TagPath, here: Here, sent: Sent) -> Response:
    """A photo of the piece at one stage of its treatment."""
    form = FormReader(typed_in(sent))
    file = sent.get("picture")
    data = file.file.read(MAX_BYTES + 1) if isinstance(file, UploadFile) else b""
    if not data:
        form.wrong("picture", "Photo: choose a picture")
    if form.text("kind") not in {one.value for one in STAGES}:
        form.wrong("kind", "Stage: choose when it was taken")
    digest = ""
    if not form.faults and form.text("actor"):
        digest, problem = kept_photo(here, data)
        if problem:
            form.wrong("picture", f"Photo: {problem}")
    said = {"photo": digest, "kind": form.text("kind"), "caption": form.text("caption")}
    return _kept(request, here, form, ev.PhotoTaken, {"tag": tag, **said})


def _kept(
    request: Request,
    here: Installation,
    form: FormReader,
    kind: type[ev.MoistureRead | ev.SurfaceRead | ev.PhotoTaken],
    said: Mapping[str, object],
) -> Response:
    """Record what was read, or show the form again with every fault."""
    actor, tag = form.text("actor"), str(said["tag"])
    if not actor:
        form.wrong("actor", ACTOR)
    if not form.faults:
        try:
            problem = say(here, kind.model_validate(said), actor)
        except ValidationError as error:
            problem = ev.describe(error)
        if problem is None:
            return back(f"/facility/items/{tag}/condition")
        form.wrong("actor", problem)
    return _page(request, here, tag, form.typed, form.faults)


def _page(
    request: Request, here: Installation, tag: str, typed: Typed, faults: list[Fault]
) -> HTMLResponse:
    now = here.now()
    with here.database.read() as session:
        item = reading.item(session, EVERYTHING, tag)
        book = reading.facility(session)
    if item is None:
        raise HTTPException(404, f"no piece carries the tag {tag}")
    return draw(
        request,
        "condition_piece.html",
        422 if faults else 200,
        item=item,
        name=item.title or item.object_type.label,
        done=done_when(item, book, now, here.facts),
        drying=drying_plot(item, book, now, here.facts),
        scales=[("", "Choose"), *((one.value, one.label) for one in MoistureScale)],
        stages=[("", "Choose"), *((one.value, one.label) for one in STAGES)],
        typed=FormReader(typed),
        faults=faults,
        zone=zone(book),
    )
