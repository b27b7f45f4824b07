"""Loading a chamber by scan: one field for the next tag, one big answer, and the sheet below."""

from dataclasses import dataclass
from datetime import date
from typing import Annotated
from urllib.parse import quote, urlencode

from fastapi import APIRouter, Form, HTTPException, Query, Request
from fastapi.responses import HTMLResponse, RedirectResponse
from pydantic import BaseModel
from sqlmodel import Session

from service.assessing import materials_of
from service.crew.routes import RefPath
from service.facility.drawing import FormText, draw, say, typed_tag
from service.facility.form_route import FormRoute
from service.facility.loading import inside_with, loading_order, ruling_on, short_name
from service.facility.plots.load import draw_load
from service.installation import Installation
from service.log import reading
from service.log.reading import EVERYTHING
from service.log.routes import Here
from shared import events as ev
from shared.records import Item, RunSheet
from shared.vocabulary import Phase, Role

NOBODY_SIGNS = "no signature lifts this. Put the piece aside; the lead finds another way."
MOST_REF = 64
"""Characters of a reference in the log."""

router = APIRouter(tags=["facility"], include_in_schema=False, route_class=FormRoute)


class Answer(BaseModel):
    """What came of the last scan, and who scanned.

    ``stopped`` is the tag of a piece that was kept out, ``signed`` of one that was signed for.
    """

    problem: str = ""
    done: str = ""
    stopped: str = ""
    signed: str = ""
    actor: str = ""


class OverrideForm(BaseModel):
    """A conservator's signature for one piece and this run's agent."""

    scanned: str
    reason: str
    expires: date
    actor: str


@dataclass(frozen=True)
class Stopped:
    """A piece that the rules keep out of this run, and whether a conservator may sign for it."""

    item: Item
    refusals: tuple[str, ...]
    liftable: bool


def _stopped(session: Session, run: RunSheet, tag: str, here: Installation) -> Stopped | None:
    item = reading.item(session, EVERYTHING, tag) if tag else None
    ruling = ruling_on(session, run, item, here.now(), here.facts) if item else None
    if item is None or ruling is None or ruling.allowed:
        return None
    return Stopped(item, ruling.refusals, ruling.liftable)


@router.get("/facility/runs/{run_id}/load")
def loading(
    request: Request, run_id: RefPath, here: Here, answer: Annotated[Answer, Query()]
) -> HTMLResponse:
    """The run being loaded: the field for the next scan, the last answer, what is in and out."""
    with here.database.read() as session:
        run = reading.run_sheet(session, run_id)
        if run is None:
            raise HTTPException(404, f"run {run_id} is not open; open it before loading")
        book = reading.facility(session)
        items = reading.items_by_tag(session, EVERYTHING, run.tags)
        chamber = book.chamber(run.station)
        programme = book.programme(run.programme, run.version)
        lines = loading_order(items.values(), here.facts)
        last = reading.item(session, EVERYTHING, answer.done) if answer.done else None
        signed = reading.item(session, EVERYTHING, answer.signed) if answer.signed else None
        return draw(
            request,
            "loading.html",
            run=run,
            chamber=chamber,
            programme=programme,
            lines=lines,
            picture=draw_load(lines, run.loaded, chamber, here.facts) if chamber else None,
            is_loading=run.phase is Phase.LOADING and not run.doses,
            may_change=run.phase in {Phase.PLANNED, Phase.LOADING} and not run.doses,
            last=short_name(last) if last and last.tag in run.loaded else None,
            stopped=_stopped(session, run, answer.stopped, here),
            signed=short_name(signed) if signed else None,
            today=here.now().date(),
            problem=answer.problem,
            actor=answer.actor,
        )


@router.post("/facility/runs/{run_id}/load")
def load(run_id: RefPath, here: Here, actor: FormText, scanned: FormText = "") -> RedirectResponse:
    """Scan a piece into the chamber; the guard stops what must not go in."""
    if not scanned.strip():
        return _again(run_id, actor, problem="STOP: nothing was scanned. Scan the tag again.")
    tag, mend = typed_tag(scanned)
    if mend:
        return _again(run_id, actor, problem=f"STOP: this is no tag of ours. {mend}")
    with here.database.read() as session:
        run = reading.run_sheet(session, run_id)
    station = run.station if run else None
    problem = say(here, ev.ItemLoaded(run=run_id, tag=tag, station=station), actor)
    if problem:
        return _again(run_id, actor, problem=problem, stopped=tag)
    return _again(run_id, actor, done=tag)


@router.post("/facility/runs/{run_id}/load/override")
def sign_override(
    run_id: RefPath, here: Here, form: Annotated[OverrideForm, Form()]
) -> RedirectResponse:
    """A conservator signs that a piece may go in, where the rules let a conservator decide."""
    tag, mend = typed_tag(form.scanned)
    with here.database.read() as session:
        run = reading.run_sheet(session, run_id)
        if run is None:
            raise HTTPException(404, f"run {run_id} is not open; open it before loading")
        book = reading.facility(session)
        programme = book.programme(run.programme, run.version)
        stopped = _stopped(session, run, tag, here)
        parts = inside_with(session, run, stopped.item) if stopped else []
    if mend or stopped is None or programme is None:
        return _again(run_id, "", problem=mend or "Nothing stands against this piece. Scan it.")
    if not stopped.liftable:
        return _again(run_id, "", problem=f"STOP: {NOBODY_SIGNS}", stopped=tag)
    if form.expires < here.now().date():
        return _again(run_id, "", problem="expires: give today or a later day.", stopped=tag)
    body = ev.OverrideSigned(
        override=f"{run_id}-{tag}-{here.now():%Y%m%dT%H%M%S%f}"[-MOST_REF:],
        tags=(stopped.item.tag,),
        agent=programme.agent,
        materials=materials_of(stopped.item, parts),
        reason=form.reason,
        signed_by=form.actor,
        expires=form.expires,
    )
    problem = say(here, body, form.actor, Role.CONSERVATOR)
    if problem:
        return _again(run_id, "", problem=problem, stopped=tag)
    return _again(run_id, "", signed=tag)


@router.post("/facility/runs/{run_id}/load/add")
def add(
    run_id: RefPath,
    here: Here,
    scanned: FormText,
    actor: FormText,
    reason: Annotated[str, Form()] = "",
) -> RedirectResponse:
    """Put a piece on the sheet; the same guard as at the door has its say."""
    tag, mend = typed_tag(scanned)
    problem = mend or say(here, ev.RunItemAdded(run=run_id, tag=tag, reason=reason), actor)
    return _again(run_id, actor, problem=problem)


@router.post("/facility/runs/{run_id}/load/take-off")
def take_off(
    run_id: RefPath, here: Here, scanned: FormText, actor: FormText, reason: FormText
) -> RedirectResponse:
    """Take a piece off the sheet, and out of the chamber if it stood there."""
    tag, mend = typed_tag(scanned)
    problem = mend or say(here, ev.RunItemRemoved(run=run_id, tag=tag, reason=reason), actor)
    return _again(run_id, actor, problem=problem)


def _again(
    run_id: str,
    actor: str,
    *,
    problem: str | None = None,
    done: str = "",
    stopped: str = "",
    signed: str = "",
) -> RedirectResponse:
    """Ready for the next scan, with the answer to this one and the name kept."""
    answer = {
        "problem": problem or "",
        "done": done,
        "stopped": stopped,
        "signed": signed,
        "actor": actor,
    }
    query = urlencode({name: value for name, value in answer.items() if value}, quote_via=quote)
    return RedirectResponse(f"/facility/runs/{run_id}/load?{query}", status_code=303)
