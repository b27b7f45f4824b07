"""How soon a loss that is not taken yet could be done: the question, the search, the answer."""

from datetime import UTC, datetime
from typing import Annotated
from zoneinfo import ZoneInfo

from fastapi import APIRouter, Form, Request, Response
from fastapi.responses import HTMLResponse, RedirectResponse, StreamingResponse

from scheduler.explain import span
from service.facility.desk import DeskState, PromiseDesk
from service.facility.drawing import draw, zone
from service.facility.form_route import FormRoute, back
from service.facility.plan_pages import told_as_made
from service.facility.promise import (
    MOST_PIECES,
    MOST_ROWS,
    SECONDS,
    GuessForm,
    Outlook,
    Reader,
    SizeClass,
)
from service.log import reading
from service.log.routes import Here
from service.pages import moment
from shared.vocabulary import Damage, Material, ObjectType

router = APIRouter(tags=["plan"], include_in_schema=False, route_class=FormRoute)

PROMISE = "/facility/promise"
PHASES = {
    "beside": "leaving everything where it is",
    "with room": "moving pieces, none made late",
    "with harm": "letting pieces be late",
    "least harm": "with the least harm",
    "what would help": "what would bring it forward",
}
MOST_NAMED = 20


def _desk(request: Request) -> PromiseDesk:
    desk: PromiseDesk = request.app.state.promise_desk
    return desk


@router.get(PROMISE)
def promise_page(request: Request, here: Here, problem: str = "") -> HTMLResponse:
    """The question as it was last typed, and the newest answer."""
    return _page(request, here, _desk(request).asked or GuessForm(), {}, problem=problem)


@router.post(PROMISE)
def ask(request: Request, here: Here, form: Annotated[GuessForm, Form()]) -> Response:
    """Begin to look; with faults, or asked for more rows, the page again with all as typed."""
    if form.more:
        return _page(request, here, form, {})
    with here.database.read() as session:
        local = ZoneInfo(zone(reading.facility(session)))
    reader = Reader(local, here.now())
    guess = reader.guess(form)
    if guess is None:
        return _page(request, here, form, reader.faults, status=422)
    busy = _desk(request).start(here, guess, form)
    if busy is not None:
        return _page(request, here, form, {}, problem=busy, status=409)
    return RedirectResponse(PROMISE, 303)


@router.post(f"{PROMISE}/stop")
def stop_looking(request: Request) -> RedirectResponse:
    """End the search; what it found so far is shown."""
    return back(PROMISE, _desk(request).stop())


@router.get(f"{PROMISE}/progress")
async def progress(request: Request, here: Here) -> StreamingResponse:
    """How far the search is, as server-sent events (HTML Living Standard, 9.2)."""
    with here.database.read() as session:
        local = zone(reading.facility(session))
    return told_as_made(_desk(request), lambda state: progress_words(state, local))


def progress_words(state: DeskState[Outlook], local: str) -> dict[str, str]:
    """What is told of a search; ``over`` is said when it has ended."""
    known = state.progress
    since = state.working_since
    best = ""
    if known is not None and known.objective is not None and since is not None:
        epoch = since.replace(second=0, microsecond=0).timestamp()
        best = moment(datetime.fromtimestamp(epoch + known.objective * 60, UTC), local)
    return {
        "phase": PHASES.get(known.phase, known.phase) if known else "putting the plan in order",
        "best": best or "none yet",
        "seconds": f"{known.seconds:.0f} of {state.seconds:.0f}" if known else "",
        "over": "" if since is not None else "over",
    }


def _page(
    request: Request,
    here: Here,
    form: GuessForm,
    faults: dict[str, str],
    *,
    problem: str = "",
    status: int = 200,
) -> HTMLResponse:
    with here.database.read() as session:
        book = reading.facility(session)
    state = _desk(request).state()
    local = zone(book)
    today = f"{here.now().astimezone(ZoneInfo(local)):%Y-%m-%d}"
    return draw(
        request,
        "promise.html",
        status,
        form=form.model_copy(update={"arrives": form.arrives or (today if not faults else "")}),
        rows=form.rows,
        may_add=len(form.rows) < MOST_ROWS,
        faults=faults,
        problem=problem,
        facility=book.facility,
        zone=local,
        today=today,
        desk=state,
        told=progress_words(state, local),
        seconds=[(one, f"{one} seconds") for one in SECONDS],
        kinds=_options(ObjectType),
        materials=_options(Material),
        damages=_options(Damage, Damage.NONE_SEEN),
        sizes=_options(SizeClass),
        most=MOST_PIECES,
        most_named=MOST_NAMED,
        span=span,
    )


def _options(
    among: type[ObjectType | Material | Damage | SizeClass], *without: str
) -> list[tuple[str, str]]:
    """What a list offers, after an empty first."""
    return [("", "choose"), *((one.value, one.label) for one in among if one not in without)]
