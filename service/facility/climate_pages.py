"""The climate of every place: what it is now, how it went, and what a person reads there."""

from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from types import MappingProxyType
from zoneinfo import ZoneInfo

from fastapi import APIRouter, HTTPException, Request, Response
from fastapi.responses import HTMLResponse
from pydantic import BaseModel, Field
from sqlmodel import Session
from starlette.datastructures import UploadFile

from service.facility.climate import (
    Band,
    Series,
    Window,
    band_of,
    caps_of,
    climate_plot,
    dew_point_c,
    excursions,
    humidities,
    marked,
    temperatures_c,
)
from service.facility.drawing import draw, zone
from service.facility.form_route import ACTOR, FormRoute, Sent, back, typed_in
from service.facility.programme_forms import Fault, FormReader, Typed
from service.facility.sensors_push import ReadingAnswer, take_file
from service.facility.sensors_sent import MAX_PUSH_BYTES, BodyError, read_csv
from service.installation import Installation
from service.log import reading
from service.log.append import Outcome
from service.log.reading import EVERYTHING, ItemFilter
from service.log.routes import Here
from service.pages import moment
from shared import events as ev
from shared.facility import Bench, Chamber, ColdStore, Room
from shared.records import AirReading, FacilityBook, Item
from shared.vocabulary import Role

router = APIRouter(tags=["facility"], include_in_schema=False, route_class=FormRoute)

SPANS = {"day": ("A day", 1), "week": ("A week", 7), "month": ("A month", 30)}
AHEAD = timedelta(days=365)
"""How far ahead a reading's clock may have run and still be listed."""
NEWEST = 20
FAULTS_SHOWN = 20
STALE = timedelta(hours=2)
NOTHING_TYPED: Typed = MappingProxyType({})


class PlaceAir(BaseModel):
    """The air of a place as it was last read."""

    id: str
    label: str
    said: str
    at: datetime | None
    stale: bool
    has_band: bool
    outside: str


def _stations(book: FacilityBook) -> dict[str, Chamber | Room | ColdStore | Bench]:
    return {one.id: one for one in book.facility.stations} if book.facility else {}


def _readings(session: Session, station: str, window: Window) -> list[AirReading]:
    ends = ev.utc_text(window.ends + AHEAD)
    return reading.air_of_station(session, station, ev.utc_text(window.starts), ends)


def _wanted(
    session: Session, here: Installation, station: Chamber | Room | ColdStore | Bench
) -> tuple[Band | None, list[Item]]:
    if not isinstance(station, Room):
        return None, []
    pieces = reading.items(session, EVERYTHING, ItemFilter(station=station.id))
    return band_of(station, pieces, here.facts), pieces


@router.get("/facility/climate")
def all_places(request: Request, here: Here) -> HTMLResponse:
    """Every place with its air now."""
    now = here.now()
    with here.database.read() as session:
        book = reading.facility(session)
        clocks = zone(book)
        window = Window(now - timedelta(days=1), now, clocks)
        around = []
        for station in _stations(book).values():
            readings = _readings(session, station.id, window)
            if not readings and not isinstance(station, Room):
                continue
            t_c, rh = temperatures_c(readings), humidities(readings)
            band, _ = _wanted(session, here, station)
            last = {
                unit: max((points[-1] for points in series.values()), default=None)
                for unit, series in (("°C", t_c), ("% RH", rh))
            }
            times = [one[0] for one in last.values() if one]
            out = [one for one in excursions(t_c, rh, band, now) if one.lasts] if band else []
            around.append(
                PlaceAir(
                    id=station.id,
                    label=station.label,
                    said=", ".join(f"{one[1]:.1f} {unit}" for unit, one in last.items() if one),
                    at=max(times, default=None),
                    stale=bool(times) and now - max(times) > STALE,
                    has_band=band is not None,
                    outside=", ".join(sorted({one.what.split(",")[0].lower() for one in out})),
                )
            )
    return draw(request, "climate.html", around=around, zone=clocks)


@router.get("/facility/climate/{station}")
def one_place(request: Request, station: str, here: Here, span: str = "day") -> HTMLResponse:
    """The air of one place over a day, a week or a month."""
    return _page(request, here, station, span=span if span in SPANS else "day")


class Brought(BaseModel):
    """What became of a file."""

    stored: int
    already: int
    refused: list[str] = Field(default_factory=list)


@router.post("/facility/climate/{station}/readings")
def enter(request: Request, station: str, here: Here, sent: Sent) -> Response:
    """A person read the air there."""
    typed = typed_in(sent)
    form = FormReader(typed)
    bodies = _typed_readings(form, station, here)
    if not form.text("actor"):
        form.wrong("actor", ACTOR)
    if form.faults:
        return _page(request, here, station, typed=typed, faults=form.faults)
    here.log.say_all(bodies, actor=form.text("actor"), role=Role.LEAD)
    return back(f"/facility/climate/{station}")


def _typed_readings(form: FormReader, station: str, here: Installation) -> list[ev.AirRead]:
    with here.database.read() as session:
        clocks = zone(reading.facility(session))
    taken_at = here.now()
    if form.text("taken_at"):
        try:
            local = datetime.fromisoformat(form.text("taken_at"))
            taken_at = local.replace(tzinfo=ZoneInfo(clocks)).astimezone(UTC)
        except (ValueError, OverflowError):
            form.wrong("taken_at", "Read at: write a date and a time, or leave it empty for now")
    found = []
    unit = form.text("temperature_unit")
    for name, words, said in (
        ("temperature", "Temperature", unit),
        ("rh", "Relative humidity", "%RH"),
    ):
        if not form.text(name):
            continue
        value = form.number(name, words)
        if value is None:
            continue
        if name == "temperature" and unit not in {"degC", "degF"}:
            form.wrong("temperature_unit", "Unit: choose °C or °F")
        elif name == "rh" and not 0 <= value <= 100:
            form.wrong("rh", f"Relative humidity: {value:f} % can't be; it lies from 0 to 100")
        elif abs(value) > 1000:
            form.wrong(name, f"{words}: {value:f} can't be; look at the digits")
        else:
            body = {
                "station": station,
                "instrument": form.text("instrument"),
                "value": f"{value:f}",
                "unit": said,
                "taken_at": taken_at,
            }
            found.append(ev.AirRead.model_validate(body))
    if not found and not form.faults:
        form.wrong("temperature", "Write the temperature, the humidity or both")
    return found


@router.post("/facility/climate/{station}/file")
def bring(request: Request, station: str, here: Here, sent: Sent) -> HTMLResponse:
    """A file from a sensor of this place that keeps its readings itself."""
    typed = typed_in(sent)
    form = FormReader(typed)
    file = sent.get("file")
    data = file.file.read(MAX_PUSH_BYTES + 1) if isinstance(file, UploadFile) else b""
    if not data:
        form.wrong("file", "File: choose a CSV file that is not empty")
    elif len(data) > MAX_PUSH_BYTES:
        form.wrong("file", f"File: at most {MAX_PUSH_BYTES // 1024} KiB at once; bring it in parts")
    if not form.text("actor"):
        form.wrong("file-actor", ACTOR)
    answers: list[ReadingAnswer] = []
    if not form.faults:
        with here.database.read() as session:
            standing = [one.sensor for one in reading.sensors(session) if one.station == station]
        try:
            answers = take_file(here, read_csv(data), standing, form.text("actor"))
        except BodyError as error:
            form.wrong("file", f"File: {error}")
    if form.faults:
        return _page(request, here, station, typed=typed, faults=form.faults)
    counted = [one.outcome for one in answers]
    brought = Brought(
        stored=counted.count(Outcome.STORED),
        already=counted.count(Outcome.ALREADY_STORED),
        refused=[f"Line {one.line}: {one.why}" for one in answers if one.why],
    )
    return _page(request, here, station, brought=brought)


def _page(
    request: Request,
    here: Installation,
    station_id: str,
    *,
    span: str = "day",
    typed: Typed = NOTHING_TYPED,
    faults: Sequence[Fault] = (),
    brought: Brought | None = None,
) -> HTMLResponse:
    now = here.now()
    with here.database.read() as session:
        book = reading.facility(session)
        station = _stations(book).get(station_id)
        if station is None:
            raise HTTPException(404, f"there is no place {station_id}")
        clocks = zone(book)
        window = Window(now - timedelta(days=SPANS[span][1]), now, clocks)
        readings = _readings(session, station_id, window)
        band, pieces = _wanted(session, here, station)
    t_c, rh = temperatures_c(readings), humidities(readings)
    out = excursions(t_c, rh, band, now) if band else []
    lines = marked(readings)
    return draw(
        request,
        "climate_place.html",
        422 if faults else 200,
        station=station,
        set_point=(
            f"{station.temperature_c:g} °C, {station.rh * 100:g} % RH"
            if isinstance(station, Room)
            else ""
        ),
        figures=_figures(t_c, rh, clocks),
        plot=climate_plot(t_c, rh, band, window),
        excursions=out[:NEWEST],
        excursions_left=len(out) - NEWEST,
        caps=caps_of(pieces, rh, here.facts),
        newest=sorted(lines, key=lambda one: one.reading.taken_at, reverse=True)[:NEWEST],
        count=len(lines),
        odd=sum(bool(one.marks) for one in lines),
        span=span,
        spans=SPANS,
        typed=FormReader(typed),
        faults=faults,
        brought=brought,
        faults_shown=FAULTS_SHOWN,
        zone=clocks,
    )


def _figures(t_c: Series, rh: Series, clocks: str) -> list[dict[str, str]]:
    found = []
    for label, unit, series in (("Temperature", "°C", t_c), ("Relative humidity", "%", rh)):
        last = max((points[-1] for points in series.values()), default=None)
        if last:
            note = moment(last[0], clocks)
            found.append({"label": label, "value": f"{last[1]:.1f}", "unit": unit, "note": note})
    dew = dew_point_c(t_c, rh)
    if dew is not None:
        note = "A surface colder than this gets wet"
        found.append({"label": "Dew point", "value": f"{dew:.1f}", "unit": "°C", "note": note})
    return found
