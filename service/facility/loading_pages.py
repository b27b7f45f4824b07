"""Loading a chamber by scan: one field for the next tag, one big answer, and the sheet below."""

from typing import Annotated
from urllib.parse import quote, urlencode

from fastapi import APIRouter, Form, HTTPException, Query, Request
from fastapi.responses import HTMLResponse, RedirectResponse
from pydantic import BaseModel

from service.crew.routes import RefPath
from service.facility.drawing import FormText, draw, say, typed_tag
from service.facility.form_route import FormRoute
from service.facility.loading import loading_order, short_name
from service.log import reading
from service.log.reading import EVERYTHING
from service.log.routes import Here
from shared import events as ev
from shared.vocabulary import Phase

router = APIRouter(tags=["facility"], include_in_schema=False, route_class=FormRoute)


class Answer(BaseModel):
    """What came of the last scan, and who scanned."""

    problem: str = ""
    done: str = ""
    actor: str = ""


@router.get("/facility/runs/{run_id}/load")
def loading(
    request: Request, run_id: RefPath, here: Here, answer: Annotated[Answer, Query()]
) -> HTMLResponse:
    """The run being loaded: the field for the next scan, the last answer, what is in and out."""
    with here.database.read() as session:
        run = reading.run(session, run_id)
        if run is None:
            raise HTTPException(404, f"run {run_id} is not open; open it before loading")
        book = reading.facility(session)
        items = reading.items_by_tag(session, EVERYTHING, run.tags)
        chamber = book.chamber(run.station)
        programme = book.programme(run.programme, run.version)
        last = reading.item(session, EVERYTHING, answer.done) if answer.done else None
        return draw(
            request,
            "loading.html",
            run=run,
            chamber=chamber,
            programme=programme,
            lines=loading_order(items.values(), here.facts),
            is_loading=run.phase is Phase.LOADING and not run.doses,
            may_change=run.phase in {Phase.PLANNED, Phase.LOADING} and not run.doses,
            last=short_name(last) if last and last.tag in run.loaded else None,
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
    return _again(run_id, actor, problem=problem, done="" if problem else tag)


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


def _again(run_id: str, actor: str, *, problem: str | None, done: str = "") -> RedirectResponse:
    """Ready for the next scan, with the answer to this one and the name kept."""
    answer = {"problem": problem} if problem else {"done": done}
    query = urlencode({**answer, "actor": actor}, quote_via=quote)
    return RedirectResponse(f"/facility/runs/{run_id}/load?{query}", status_code=303)
