"""The pages on which a facility is set up, a part at a time."""

from collections.abc import Mapping, Sequence

from fastapi import APIRouter, HTTPException, Request, Response
from fastapi.responses import HTMLResponse, RedirectResponse
from pydantic import BaseModel, ValidationError

from service.facility import setup_forms as forms
from service.facility.drawing import draw, zone
from service.facility.form_route import ACTOR, FormRoute, Sent, back, typed_in
from service.facility.programme_forms import Fault
from service.facility.setup_forms import PartForm
from service.facility.setup_units import CHOICES, Units, units_of
from service.installation import Installation
from service.log import reading
from service.log.append import RefusedError
from service.log.routes import Here
from service.pages import moment
from shared import events as ev
from shared.facility import Facility
from shared.records import FacilityBook
from shared.vocabulary import Role, StepKind

router = APIRouter(tags=["facility"], include_in_schema=False, route_class=FormRoute)

SETUP = "/facility/setup"
HOUSE = "house"
NEW = "new"


def _book(here: Installation) -> FacilityBook:
    with here.database.read() as session:
        return reading.facility(session)


def _form_of(kind: str) -> PartForm:
    if kind not in forms.PARTS:
        raise HTTPException(404, f"{kind} is no part of a set-up")
    return forms.PARTS[kind]


def _on_file(book: FacilityBook, form: PartForm, key: str) -> BaseModel | None:
    """The part by its id, or by its place in its list where it has none."""
    parts = forms.parts_of(book.facility, form) if book.facility else []
    if form.held_in == "stations":
        return next((one for one in parts if forms.told_by(form, one) == key), None)
    return parts[int(key)] if key.isdecimal() and len(key) < 6 and int(key) < len(parts) else None


@router.get("/facility/setup/house")
def house(request: Request, here: Here) -> HTMLResponse:
    """The house itself: its name, its time zone and its height above the sea."""
    book, units = _book(here), units_of(request.query_params)
    typed = forms.typed_of(forms.HOUSE, book.facility, units) if book.facility else {}
    return _page(request, book, forms.HOUSE, HOUSE, typed=typed, units=units)


@router.post("/facility/setup/house")
def save_house(request: Request, here: Here, sent: Sent) -> Response:
    """Save the house itself; the first step of a set-up."""
    return _taken(request, here, forms.HOUSE, HOUSE, typed_in(sent))


@router.get("/facility/setup/{kind}/{key}")
def part(request: Request, here: Here, kind: str, key: str) -> Response:
    """The form of one part, empty for a new one."""
    form, book, units = _form_of(kind), _book(here), units_of(request.query_params)
    if book.facility is None:
        return RedirectResponse(f"{SETUP}/{HOUSE}", 303)
    found = _on_file(book, form, key)
    if found is None and key != NEW:
        raise HTTPException(404, f"{form.word}: this one is not there any more")
    typed = forms.typed_of(form, found, units) if found else {}
    return _page(request, book, form, key, typed=typed, units=units)


@router.post("/facility/setup/{kind}/{key}")
def save_part(request: Request, here: Here, kind: str, key: str, sent: Sent) -> Response:
    """Save one part, take it out, or show it in other units."""
    return _taken(request, here, _form_of(kind), key, typed_in(sent))


def _taken(
    request: Request, here: Installation, form: PartForm, key: str, typed: dict[str, list[str]]
) -> Response:
    def said(name: str) -> str:
        return (typed.get(name) or [""])[0].strip()

    book = _book(here)
    units = units_of({name: said(name) for name in CHOICES})
    if book.facility is None and form is not forms.HOUSE:
        return back(f"{SETUP}/{HOUSE}")
    was = _was(book, form, key, said("was"))
    if said("act") == "units":
        wanted = units_of({name: said(f"new_{name}") for name in CHOICES})
        typed, faults = forms.in_other_units(form, typed, was, units, wanted)
        return _page(
            request,
            book,
            form,
            key,
            typed=typed,
            units=units if faults else wanted,
            faults=faults,
            was=was,
        )
    if said("act") == "more":
        row = min(forms.rows_of(form, typed), forms.MOST_SHIFTS - 1)
        typed.setdefault(forms.row_field(form, row, "people"), [""])
        return _page(request, book, form, key, typed=typed, units=units, was=was)
    faults = [] if said("actor") else [("actor", ACTOR)]
    now = None
    if said("act") != "out":
        taken = [one.id for one in book.facility.stations] if book.facility else []
        now, found = forms.read_part(form, typed, units, base=was, taken=taken)
        faults = [*found, *faults]
    elif was is None or form is forms.HOUSE:
        faults.append((form.told_by, f"{form.word}: it is not there any more"))
    digest = book.facility.digest if book.facility else ""
    meanwhile = said("made_from") != digest
    if faults or meanwhile:
        told = _meanwhile(here, book, said("made_from"), units) if meanwhile else []
        return _page(
            request,
            book,
            form,
            key,
            typed=typed,
            units=units,
            faults=faults,
            meanwhile=told,
            was=was,
        )
    try:
        facility = forms.with_part(book.facility, form, was, now) if book.facility else _first(now)
        if facility != book.facility:
            body = ev.FacilityDescribed(facility=facility, after=digest or None)
            here.log.say(body, actor=said("actor"), role=Role.LEAD)
    except ValidationError as error:
        faults = [(form.told_by, str(error.errors()[0]["msg"]).removeprefix("Value error, "))]
    except RefusedError as error:
        first = form.entries[0].name
        faults = [(first, str(error).partition(": ")[2] or str(error))]
    else:
        query = "&".join(f"{name}={value}" for name, value in units.chosen.items())
        return RedirectResponse(f"{SETUP}?{query}", 303)
    return _page(request, book, form, key, typed=typed, units=units, faults=faults, was=was)


def _first(now: BaseModel | None) -> Facility:
    if not isinstance(now, Facility):
        raise HTTPException(404, "nothing is set up yet; begin with the house")
    return now


def _was(book: FacilityBook, form: PartForm, key: str, told: str) -> BaseModel | None:
    """The part that the form was made from, found by what it was called then, not by its place."""
    if form is forms.HOUSE:
        return book.facility
    if key == NEW or book.facility is None:
        return None
    if form.held_in == "stations":
        return _on_file(book, form, key)
    found = forms.parts_of(book.facility, form)
    return next((one for one in found if forms.told_by(form, one) == told), None)


def _meanwhile(here: Installation, book: FacilityBook, seen: str, units: Units) -> list[str]:
    """Who described the facility since ``seen``, and what they changed, in words."""
    with here.database.read() as session:
        told = reading.descriptions(session)
    at = max((n for n, (_, body) in enumerate(told) if body.facility.digest == seen), default=-1)
    later = [event for event, _ in told[at + 1 :]]
    found = [f"{one.actor} saved at {moment(one.device_time, zone(book))}." for one in later]
    if at >= 0 and book.facility is not None:
        found += [f"{one}." for one in forms.changes(told[at][1].facility, book.facility, units)]
    return found


def _options(book: FacilityBook, form: PartForm, chosen: Sequence[str]) -> list[tuple[str, str]]:
    """What a form offers, first of all what stands there already."""
    if form.kind in forms.SERVED:
        offered = {one.value: one.label for one in forms.SERVED[form.kind]}
        known = {one.value: one.label for one in StepKind}
    else:
        offered = {one.id: one.label for one in book.newest_programmes()}
        known = offered
    odd = {one: known.get(one, f"{one} (not signed here yet)") for one in chosen if one}
    return list({**odd, **offered}.items())


def _page(
    request: Request,
    book: FacilityBook,
    form: PartForm,
    key: str,
    *,
    typed: Mapping[str, Sequence[str]],
    units: Units,
    faults: Sequence[Fault] = (),
    meanwhile: Sequence[str] = (),
    was: BaseModel | None = None,
) -> HTMLResponse:
    found = was or (book.facility if form is forms.HOUSE else _on_file(book, form, key))
    several = {
        entry.name: _options(book, form, typed.get(entry.name, ()))
        for entry in form.entries
        if entry.input in {forms.Input.SEVERAL, forms.Input.SELECT}
    }
    rows = max(forms.rows_of(form, typed), 1) if form.shifts else 0
    return draw(
        request,
        "setup_form.html",
        422 if faults or meanwhile else 200,
        form=form,
        key=key,
        found=found,
        was=forms.told_by(form, found) if found and form is not forms.HOUSE else "",
        name=forms.name_of(form, found) if found else "",
        typed={name: values[0] if values else "" for name, values in typed.items()},
        many={name: list(values) for name, values in typed.items()},
        options=several,
        units=units,
        unit_choices=CHOICES,
        days=list(enumerate(forms.DAYS)),
        rows=[(row, {one: forms.row_field(form, row, one) for one in ROW}) for row in range(rows)],
        digest=book.facility.digest if book.facility else "",
        faults=list(faults),
        errors=dict(reversed(list(faults))),
        meanwhile=list(meanwhile),
    )


ROW = ("days", "starts", "ends", "people")
