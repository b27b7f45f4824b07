"""Receiving against the manifest, where every piece is, and moving it by two scans."""

import io
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Annotated
from urllib.parse import urlencode

from fastapi import APIRouter, File, Form, HTTPException, Query, Request, Response, UploadFile
from fastapi.responses import HTMLResponse, RedirectResponse
from pydantic import BaseModel
from sqlmodel import Session

from labels.codes import TagError, parse_station
from labels.station_signs import write_station_signs
from service.assessing import remaining_steps, triage_of
from service.crew.routes import RefPath, TagPath
from service.facility.drawing import (
    FormText,
    draw,
    kept_photo,
    pdf,
    plan_in_use,
    say,
    typed_tag,
    zone,
)
from service.facility.form_route import ACTOR, FormRoute, back
from service.facility.places import (
    Objection,
    Place,
    Proposal,
    objections,
    places,
    proposals,
    why_quarantine,
)
from service.facility.plans import timed
from service.installation import Installation
from service.log import reading
from service.log.append import RefusedError
from service.log.reading import EVERYTHING, ItemFilter
from service.log.routes import Here
from shared import events as ev
from shared.records import FacilityBook, Item, Loss, Manifest
from shared.vocabulary import Phase, PhotoKind, Role

router = APIRouter(tags=["facility"], include_in_schema=False, route_class=FormRoute)

MOST_FOUND = 30
MOST_TOGETHER = 60
"""Pieces moved by one scan of a place; their tags travel in the address."""


class Said(BaseModel):
    """What a page was told by the form before it: so that no scan has to be done twice."""

    problem: str = ""
    done: str = ""
    who: str = ""
    tag: str = ""
    tags: str = ""


def _place(found: Sequence[Place], station: str) -> Place | None:
    return next((one for one in found if one.id == station), None)


def _loss_of(session: Session, item: Item | None) -> Loss | None:
    return reading.loss(session, EVERYTHING, item.loss) if item and item.loss else None


def _proposed(
    here: Installation, session: Session, item: Item | None, around: Sequence[Place]
) -> list[Proposal]:
    loss = _loss_of(session, item)
    triage = (
        triage_of(item, loss, here.now(), (), reading.facility(session), known=here.facts)
        if item
        else None
    )
    return proposals(item, loss, triage, around, here.facts)


def _refusal(found: Sequence[Objection], reason: str) -> str | None:
    """The sentence that stops it: what no reason lifts, or what needs one that is missing."""
    for one in found:
        if not one.lifts or not reason.strip():
            return one.sentence
    return None


def put(
    here: Installation,
    moves: Sequence[ev.ItemMoved | ev.ItemReceived],
    actor: str,
    then: Sequence[BaseModel] = (),
) -> str | None:
    """Record where pieces are put and ``then`` what follows from it, all or none; why not, if not.

    Each is judged in the same breath as it is written.
    """
    if not actor.strip():
        return ACTOR
    now = here.now()
    try:
        with here.database.write() as session:
            for body in moves:
                around = places(session, reading.facility(session), now, here.facts)
                place = _place(around, body.station)
                if place is None:
                    return f"There is no place {body.station}. Scan the code of a place here."
                item = reading.item(session, EVERYTHING, body.tag)
                against = objections(session, item, _loss_of(session, item), place, here.facts)
                problem = _refusal(against, body.reason)
                if problem is not None:
                    raise RefusedError(f"{_name(item, body.tag)}: {problem}")
                here.log.say_in(session, [body], actor=actor.strip(), role=Role.LEAD)
            if then:
                here.log.say_in(session, then, actor=actor.strip(), role=Role.LEAD)
    except RefusedError as error:
        return str(error)
    return None


def _name(item: Item | None, tag: str) -> str:
    return (item.title or item.object_type.label) if item else tag


# --- receiving ----------------------------------------------------------------------------------


@router.get("/facility/receive")
def manifests(request: Request, here: Here) -> HTMLResponse:
    """Trucks on the way and trucks received."""
    with here.database.read() as session:
        return draw(
            request,
            "receive.html",
            manifests=reading.manifests(session, EVERYTHING),
            zone=zone(reading.facility(session)),
        )


@dataclass(frozen=True)
class Surplus:
    """A piece that came and is not on the list, and what is known of it."""

    tag: str
    item: Item | None
    words: str


def _surplus(session: Session, manifest: Manifest, items: dict[str, Item]) -> list[Surplus]:
    known = reading.manifests(session, EVERYTHING)
    lists = [one for one in known if one.manifest != manifest.manifest]
    found = []
    for tag in manifest.surplus:
        item = items.get(tag)
        other = next((one.manifest for one in lists if tag in one.tags), None)
        if item is None:
            words = "Unknown tag: nobody has described it. Keep it apart and ask the crew."
        elif item.loss != manifest.loss:
            words = f"Of another loss: {item.loss or 'none named'}. Tell the office."
        elif other is not None:
            words = f"Listed on {other}."
        else:
            words = "Of this loss, on no list."
        found.append(Surplus(tag, item, words))
    return found


@router.get("/facility/receive/{manifest_id}")
def receiving(
    request: Request, manifest_id: RefPath, here: Here, said: Annotated[Said, Query()]
) -> HTMLResponse:
    """Scan against the manifest; missing, surplus and damaged pieces are shown."""
    with here.database.read() as session:
        manifest = reading.manifest(session, EVERYTHING, manifest_id)
        if manifest is None:
            raise HTTPException(404, f"there is no manifest {manifest_id}")
        asked = [*manifest.tags, *manifest.received, *(one for one in (said.done, said.tag) if one)]
        items = reading.items_by_tag(session, EVERYTHING, asked)
        book = reading.facility(session)
        around = places(session, book, here.now(), here.facts)
        return draw(
            request,
            "receiving.html",
            manifest=manifest,
            items=items,
            surplus=_surplus(session, manifest, items),
            apart={one: why_quarantine(items[one], _loss_of(session, items[one])) for one in items},
            damaged=[
                tag for tag in manifest.received if tag in items and items[tag].damaged_in_transit
            ],
            around=around,
            proposed=_proposed(here, session, items.get(said.tag), around) if said.tag else [],
            stations={one.id: one.label for one in around},
            zone=zone(book),
            said=said,
        )


class ReceiptForm(BaseModel):
    """A piece off the truck, as scanned. No station: the place that is proposed."""

    scanned: str
    actor: str
    station: str = ""
    condition: str = ""
    damaged: str = ""
    reason: str = ""


@router.post("/facility/receive/{manifest_id}")
def receive(
    manifest_id: RefPath,
    here: Here,
    form: Annotated[ReceiptForm, Form()],
) -> RedirectResponse:
    """One piece came off the truck."""
    path = f"/facility/receive/{manifest_id}"
    tag, mend = typed_tag(form.scanned)
    if mend:
        return _again(path, problem=mend, who=form.actor)
    station = form.station
    if not station:
        with here.database.read() as session:
            item = reading.item(session, EVERYTHING, tag)
            around = places(session, reading.facility(session), here.now(), here.facts)
            first = next(iter(_proposed(here, session, item, around)), None)
        if first is None:
            why = "No place can be proposed for this piece. Choose where you put it."
            return _again(path, problem=why, who=form.actor, tag=tag)
        station = first.place.id
    body = ev.ItemReceived(
        tag=tag,
        manifest=manifest_id,
        station=station,
        condition=form.condition,
        damaged_in_transit=True if form.damaged else None,
        reason=form.reason.strip(),
    )
    problem = put(here, [body], form.actor)
    if problem:
        return _again(path, problem=problem, who=form.actor, tag=tag)
    return _again(path, done=tag, who=form.actor)


def _again(path: str, **said: str) -> RedirectResponse:
    return RedirectResponse(f"{path}?{urlencode({k: v for k, v in said.items() if v})}", 303)


@router.post("/facility/receive/{manifest_id}/told")
def told(
    manifest_id: RefPath, here: Here, told: FormText, actor: FormText, note: FormText = ""
) -> RedirectResponse:
    """Somebody was told of the pieces that are missing."""
    path = f"/facility/receive/{manifest_id}"
    if not told.strip():
        return back(path, "told: write who was told that the pieces are missing.")
    with here.database.read() as session:
        manifest = reading.manifest(session, EVERYTHING, manifest_id)
    if manifest is None or not manifest.untold:
        return back(path, "Nothing is missing that nobody was told of.")
    body = ev.MissingTold(manifest=manifest_id, tags=tuple(manifest.untold), told=told, note=note)
    return back(path, say(here, body, actor))


@router.post("/facility/receive/{manifest_id}/photo")
def photo(
    manifest_id: RefPath,
    here: Here,
    tag: FormText,
    actor: FormText,
    picture: Annotated[UploadFile, File()],
) -> RedirectResponse:
    """A photo of the harm that came to a piece on the way."""
    path = f"/facility/receive/{manifest_id}"
    digest, problem = kept_photo(here, picture.file.read())
    if problem:
        return back(path, f"picture: {problem}")
    body = ev.PhotoTaken(tag=tag, photo=digest, kind=PhotoKind.DETAIL, caption="Damaged on the way")
    return back(path, say(here, body, actor))


# --- where is it --------------------------------------------------------------------------------


@dataclass(frozen=True)
class Whereabouts:
    """Where a piece is, since when, in which run and what is planned next."""

    item: Item
    where: str
    since: str | None
    run: str | None
    following: str


def _whereabouts(
    here: Installation, session: Session, found: Sequence[Item], book: FacilityBook
) -> list[Whereabouts]:
    names = {one.id: one.label for one in book.facility.stations} if book.facility else {}
    plan = plan_in_use(here, session)
    steps = sorted(timed(*plan), key=lambda one: one.starts) if plan else []
    lines = []
    for item in found:
        run = reading.run_sheet(session, item.run) if item.run else None
        inside = run is not None and item.tag in run.loaded and run.phase is not Phase.UNLOADED
        if inside and run is not None:
            where = f"{names.get(run.station, run.station)} ({run.phase.label.lower()})"
        elif item.station:
            where = names.get(item.station, item.station)
        elif item.returned_to:
            where = f"returned to {item.returned_to}"
        elif item.received_at:
            where = "no place on record: scan it, then the place it stands in"
        else:
            where = f"on site: {item.found}" if str(item.found) else "on site"
        left = [step.value for step in remaining_steps(item, here.facts)]
        planned = next(
            (
                one
                for one in steps
                if one.placement.item == item.tag and one.placement.step.partition("-")[0] in left
            ),
            None,
        )
        step = next(iter(remaining_steps(item, here.facts)), None)
        following = step.label if step else "Nothing left to do"
        if planned is not None:
            place = names.get(planned.placement.station or "", "anywhere")
            following = f"{planned.placement.step.replace('_', ' ').capitalize()}, {place}"
        lines.append(
            Whereabouts(item, where, item.station_since, item.run if inside else None, following)
        )
    return lines


@router.get("/facility/find")
def find(request: Request, here: Here, q: str = "") -> Response:
    """Where is it: by tag, what is left of a tag, title, maker, room on site or container."""
    tag, _ = typed_tag(q) if q.strip() else ("", None)
    with here.database.read() as session:
        book = reading.facility(session)
        named = parse_station(q)
        if book.facility and any(one.id == named for one in book.facility.stations):
            return back(f"/facility/places/{named}")
        item = reading.item(session, EVERYTHING, tag) if tag else None
        if item is not None:
            found = [item]
        else:
            words = tag or q
            found = reading.items(session, EVERYTHING, ItemFilter(words=words)) if q.strip() else []
            if not found and "-" in q:
                bare = q.replace("-", "")
                found = reading.items(session, EVERYTHING, ItemFilter(words=bare))
        return draw(
            request,
            "find.html",
            q=q,
            count=len(found),
            lines=_whereabouts(here, session, found[:MOST_FOUND], book),
            zone=zone(book),
        )


@router.get("/S/{station}")
def scanned_place(station: str) -> RedirectResponse:
    """What the code on a place leads to."""
    return back(f"/facility/places/{parse_station(station)}")


@router.get("/facility/places")
def all_places(request: Request, here: Here) -> HTMLResponse:
    """Every place with what it holds and how much is left."""
    with here.database.read() as session:
        book = reading.facility(session)
        around = places(session, book, here.now(), here.facts)
        return draw(request, "places.html", around=around)


@router.get("/facility/places/signs.pdf")
def signs(here: Here) -> Response:
    """The signs of every place, to print."""
    with here.database.read() as session:
        book = reading.facility(session)
    stations = [(one.id, one.label) for one in book.facility.stations] if book.facility else []
    out = io.BytesIO()
    try:
        write_station_signs(out, stations, here.settings.base_url)
    except (TagError, ValueError) as error:
        raise HTTPException(422, str(error)) from error
    return pdf(out.getvalue(), "places.pdf")


@router.get("/facility/places/{station}")
def one_place(request: Request, station: str, here: Here) -> HTMLResponse:
    """What is at one place."""
    with here.database.read() as session:
        book = reading.facility(session)
        place = _place(places(session, book, here.now(), here.facts), station)
        if place is None:
            raise HTTPException(404, f"there is no place {station}")
        return draw(
            request,
            "place.html",
            spot=place,
            lines=_whereabouts(here, session, place.pieces, book),
            zone=zone(book),
        )


# --- moving -------------------------------------------------------------------------------------


@router.get("/facility/move")
def moving(request: Request, here: Here, said: Annotated[Said, Query()]) -> HTMLResponse:
    """Scan one or more pieces, then the place they go to."""
    chosen = [one for one in said.tags.split(",") if one]
    with here.database.read() as session:
        return draw(
            request,
            "move.html",
            items=reading.items_by_tag(session, EVERYTHING, chosen),
            said=said,
            around=places(session, reading.facility(session), here.now(), here.facts),
        )


@router.post("/facility/move")
def scan_to_move(
    here: Here,
    scanned: FormText,
    actor: FormText,
    tags: FormText = "",
    reason: FormText = "",
) -> RedirectResponse:
    """A scan: a piece joins those to be moved, a place takes them all."""
    path = "/facility/move"
    chosen = [one for one in tags.split(",") if one]
    with here.database.read() as session:
        book = reading.facility(session)
        named = parse_station(scanned)
        place = next(
            (one for one in (book.facility.stations if book.facility else ()) if one.id == named),
            None,
        )
        if place is None:
            tag, mend = typed_tag(scanned)
            item = reading.item(session, EVERYTHING, tag) if tag else None
            if item is None:
                why = mend or f"No piece carries the tag {tag}. Scan it again."
                return _again(path, tags=tags, who=actor, problem=why)
            if len(chosen) >= MOST_TOGETHER:
                why = f"{MOST_TOGETHER} pieces are enough at once. Scan the place now."
                return _again(path, tags=tags, who=actor, problem=why)
            return _again(path, tags=",".join(dict.fromkeys([*chosen, item.tag])), who=actor)
    if not chosen:
        return _again(path, who=actor, problem="Scan a piece first, then the place.")
    moves = [ev.ItemMoved(tag=one, station=place.id, reason=reason.strip()) for one in chosen]
    problem = put(here, moves, actor)
    if problem:
        return _again(path, tags=tags, who=actor, problem=problem)
    count = f"{len(chosen)} pieces" if len(chosen) > 1 else "One piece"
    return _again(path, who=actor, done=f"{count} now at {place.label}")


@router.post("/facility/items/{tag}/move")
def move(
    tag: TagPath, here: Here, station: FormText, actor: FormText, reason: FormText = ""
) -> RedirectResponse:
    """The piece goes to another place."""
    body = ev.ItemMoved(tag=tag, station=station, reason=reason.strip())
    return back(f"/facility/items/{tag}", put(here, [body], actor))
