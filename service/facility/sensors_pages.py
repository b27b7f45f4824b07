"""The pages on which the lead makes sensors known and gives and stops their leave to write."""

from fastapi import APIRouter, HTTPException, Request, Response
from fastapi.responses import HTMLResponse

from service.crew.routes import RefPath
from service.facility.drawing import draw, zone
from service.facility.form_route import ACTOR, FormRoute, Sent, back, typed_in
from service.facility.programme_forms import Fault, FormReader, Typed
from service.facility.sensors import (
    Token,
    make_token,
    read_sensor,
    revoke_token,
    sensor_lines,
    spots,
    token,
    tokens,
    typed_of,
)
from service.facility.sensors_sent import MAX_PUSH_BYTES, MOST_READINGS
from service.installation import Installation
from service.log import reading
from service.log.routes import Here
from shared.vocabulary import Measure, Role

router = APIRouter(tags=["facility"], include_in_schema=False, route_class=FormRoute)

PATH = "/facility/sensors"


# --- what is known ------------------------------------------------------------------------------


@router.get("/facility/sensors")
def all_sensors(request: Request, here: Here) -> HTMLResponse:
    """Every sensor with what it said last, and every token."""
    return _list(request, here, {}, [])


@router.post("/facility/sensors/tokens")
def new_token(request: Request, here: Here, sent: Sent) -> HTMLResponse:
    """Show a secret token once: it is not kept, so that no page can show it again."""
    typed = typed_in(sent)
    form = FormReader(typed)
    name, actor, chosen = form.text("name"), form.text("actor"), list(typed.get("sensors", []))
    with here.database.read() as session:
        known = {one.sensor for one in reading.sensors(session)}
    if not 0 < len(name) <= 300:
        form.wrong("name", "Who sends: say it in a few words, such as Gateway of the dry room")
    if not chosen or not set(chosen) <= known:
        form.wrong("sensors", "Sensors: tick those that it may write for")
    if not actor:
        form.wrong("actor", ACTOR)
    if form.faults:
        return _list(request, here, typed, form.faults)
    made = make_token(here, name=name, sensors=chosen, actor=actor)
    return _list(request, here, {"actor": [actor]}, [], made)


def _list(
    request: Request,
    here: Installation,
    typed: Typed,
    faults: list[Fault],
    made: Token | None = None,
) -> HTMLResponse:
    with here.database.read() as session:
        book = reading.facility(session)
        lines = sensor_lines(session, here.now())
        given = tokens(session)
    answer = draw(
        request,
        "sensors.html",
        422 if faults else 200,
        lines=lines,
        tokens=given,
        made=made,
        typed=FormReader(typed),
        faults=faults,
        address=f"{here.settings.base_url.rstrip('/')}/sensors/readings",
        most_kib=MAX_PUSH_BYTES // 1024,
        most_readings=MOST_READINGS,
        zone=zone(book),
    )
    # A secret may stand on it, and stands nowhere else.
    answer.headers["cache-control"] = "no-store"
    return answer


# --- one sensor ---------------------------------------------------------------------------------


@router.get("/facility/sensors/new")
def new_sensor(request: Request, here: Here) -> HTMLResponse:
    """An empty form."""
    return _form(request, here, {}, [], None)


@router.post("/facility/sensors/new")
def make_known(request: Request, here: Here, sent: Sent) -> Response:
    """Make a sensor known, or show every fault beside its field."""
    return _save(request, here, typed_in(sent), None)


@router.get("/facility/sensors/{sensor_id}")
def one_sensor(request: Request, sensor_id: RefPath, here: Here) -> HTMLResponse:
    """A sensor as last described, to be changed."""
    with here.database.read() as session:
        known = reading.sensor(session, sensor_id)
        clocks = zone(reading.facility(session))
    if known is None:
        raise HTTPException(404, f"no sensor {sensor_id} is known here")
    return _form(request, here, typed_of(known, clocks), [], sensor_id)


@router.post("/facility/sensors/{sensor_id}")
def change(request: Request, sensor_id: RefPath, here: Here, sent: Sent) -> Response:
    """The sensor was moved or calibrated."""
    return _save(request, here, {**typed_in(sent), "sensor": [sensor_id]}, sensor_id)


def _save(request: Request, here: Installation, typed: Typed, sensor_id: str | None) -> Response:
    form = FormReader(typed)
    with here.database.read() as session:
        facility = reading.facility(session).facility
        known = reading.sensor(session, form.text("sensor"))
    bodies, faults = read_sensor(typed, facility, here.facts)
    if sensor_id is None and known is not None:
        faults.append(("sensor", f"Short name: {known.sensor} is {known.name}; take another"))
    if not form.text("actor"):
        faults.append(("actor", ACTOR))
    if faults:
        return _form(request, here, typed, faults, sensor_id)
    here.log.say_all(bodies, actor=form.text("actor"), role=Role.LEAD)
    return back(PATH)


def _form(
    request: Request,
    here: Installation,
    typed: Typed,
    faults: list[Fault],
    sensor_id: str | None,
) -> HTMLResponse:
    with here.database.read() as session:
        facility = reading.facility(session).facility
    return draw(
        request,
        "sensor.html",
        422 if faults else 200,
        sensor_id=sensor_id,
        typed=FormReader(typed),
        chosen=list(typed.get("measures", [])),
        faults=faults,
        spots=spots(facility) if facility else [],
        measures=[(one.value, one.label) for one in Measure],
        gases=[("", "None")] + [(key, row.label) for key, row in here.facts.gases.items()],
    )


# --- stopping a token ---------------------------------------------------------------------------


@router.get("/facility/sensors/tokens/{token_id}/revoke")
def ask_revoke(request: Request, token_id: RefPath, here: Here) -> HTMLResponse:
    """What revoking does, before it is done."""
    return _revoke(request, here, token_id, {}, [])


@router.post("/facility/sensors/tokens/{token_id}/revoke")
def revoke(request: Request, token_id: RefPath, here: Here, sent: Sent) -> Response:
    """Stop the token from its next request on."""
    typed = typed_in(sent)
    form = FormReader(typed)
    if not form.text("reason"):
        form.wrong("reason", "Reason: say why, in a few words")
    if not form.text("actor"):
        form.wrong("actor", ACTOR)
    if form.faults:
        return _revoke(request, here, token_id, typed, form.faults)
    revoke_token(here, token_id, reason=form.text("reason"), actor=form.text("actor"))
    return back(PATH)


def _revoke(
    request: Request, here: Installation, token_id: str, typed: Typed, faults: list[Fault]
) -> HTMLResponse:
    with here.database.read() as session:
        line = token(session, token_id)
        clocks = zone(reading.facility(session))
    if line is None:
        raise HTTPException(404, f"no token {token_id} is known here")
    return draw(
        request,
        "sensor_token_revoke.html",
        422 if faults else 200,
        line=line,
        typed=FormReader(typed),
        faults=faults,
        zone=clocks,
    )
