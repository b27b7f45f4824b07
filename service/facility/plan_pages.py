"""The plan: the board, why it is as it is, what people tell the planner, and planning anew."""

import asyncio
import json
import math
from collections.abc import AsyncIterator, Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import Annotated, Any
from urllib.parse import quote, urlencode
from uuid import uuid4
from zoneinfo import ZoneInfo

from fastapi import APIRouter, Form, HTTPException, Request
from fastapi.responses import HTMLResponse, RedirectResponse, StreamingResponse
from pydantic import BaseModel, ValidationError

from scheduler.changes import Change, changes
from scheduler.explain import Explainer, Reason, span
from scheduler.plan import Plan
from scheduler.problem import Problem, WaitStep
from service.crew.routes import RefPath, TagPath
from service.facility import board
from service.facility.desk import Desk, DeskState, Made, PlanDesk
from service.facility.drawing import (
    FormText,
    draw,
    plan_in_use,
    say,
    station_names,
    typed_tag,
    zone,
)
from service.facility.edits import DONE, PAST, places_of, step_words
from service.facility.form_route import ACTOR, FormRoute, back
from service.facility.planning import HORIZON_DAYS, NoFacilityError
from service.facility.plans import Draft, SolveError, explainer, planned_run, try_edit
from service.installation import Installation
from service.log import reading
from service.log.append import RefusedError
from service.log.reading import EVERYTHING
from service.log.routes import Here
from shared import events as ev
from shared.records import FacilityBook, Item, PlanEdit
from shared.vocabulary import Phase, PlanEditKind

router = APIRouter(tags=["plan"], include_in_schema=False, route_class=FormRoute)

PLAN = "/facility/plan"
ZOOMS = (2, 7, 14, 28)
BOARD_DAYS = 14
SOLVE_S = 60
RISK_H = 12
"""A piece with less time in hand than this before a deadline is at risk; ours, no source."""
MOST_LISTED = 30
STREAM_TICKS, TICK_S = 60, 0.5
"""A stream of progress ends after so many looks, and the browser asks for another."""


def _desk(request: Request) -> PlanDesk:
    desk: PlanDesk = request.app.state.plan_desk
    return desk


@dataclass(frozen=True)
class InUse:
    """The plan being worked by, and what answers why about it."""

    problem: Problem
    plan: Plan
    book: FacilityBook
    why: Explainer

    def at(self, minute: int) -> datetime:
        """The moment of a minute of the plan."""
        return self.problem.epoch + timedelta(minutes=minute)


def _in_use(here: Installation, book: FacilityBook, plan: tuple[Problem, Plan]) -> InUse:
    return InUse(*plan, book, explainer(here.photos, str(book.problem), str(book.plan)))


# --- late and at risk ---------------------------------------------------------------------------


@dataclass(frozen=True)
class Concern:
    """A piece that misses a deadline, or nearly: by how many minutes, and why."""

    tag: str
    title: str
    what: str
    deadline: datetime
    planned: datetime
    minutes: int
    value: str
    why: str

    @property
    def hours(self) -> int:
        """Hours late (rounded up), or in hand (rounded down)."""
        return math.ceil(self.minutes / 60) if self.minutes > 0 else -self.minutes // 60


def concerns(
    used: InUse, items: dict[str, Item], wanted: frozenset[str] | None
) -> tuple[list[Concern], list[Concern]]:
    """Late pieces, and those at risk, each once for its worst deadline, the worst first."""
    found: list[tuple[int, str, str, int, int]] = []
    ends = {(one.item, one.step): one for one in used.plan.placements}
    for item in used.problem.items:
        if wanted is not None and item.id not in wanted:
            continue
        last = item.steps[-1]
        met = [
            (ends[item.id, step.id].start - step.start_by_min, step.id, step.start_by_min)
            for step in item.steps
            if step.start_by_min is not None
        ]
        by_end = ends[item.id, last.id].end
        own = [
            (over, item.id, f"{step_words(step)} must start", due, due + over)
            for over, step, due in met
        ]
        if item.due_min is not None:
            over = by_end - item.due_min
            own.append((over, item.id, "Back by the promised day", item.due_min, by_end))
        found += [max(own)] if own and max(own)[0] > -RISK_H * 60 else []
    found.sort(key=lambda one: (-one[0], one[1]))

    def told(one: tuple[int, str, str, int, int]) -> Concern:
        over, tag, what, due, planned = one
        record = items.get(tag)
        value = record.valuation.value if record and record.valuation else None
        return Concern(
            tag,
            used.why.name(tag),
            what,
            used.at(due),
            used.at(planned),
            over,
            f"{value.amount} {value.currency}" if value else "",
            why_words(used.why, tag),
        )

    late = [one for one in found if one[0] > 0]
    risky = [one for one in found if one[0] <= 0]
    return [told(one) for one in late[:MOST_LISTED]], [told(one) for one in risky[:MOST_LISTED]]


def why_words(why: Explainer, tag: str) -> str:
    """The longest wait of a piece, in a sentence."""
    longest: Reason = max(why.reasons(tag), key=lambda one: one.waited_min)
    if not longest.waited_min:
        return "It never waits; only shorter steps would end it sooner."
    return f"{step_words(longest.step)} waits {span(longest.waited_min)}: {longest.binding}."


# --- the board ----------------------------------------------------------------------------------


@dataclass(frozen=True)
class Seen:
    """What of the plan is looked at, as its address says."""

    day: int
    days: int
    loss: str
    station: str
    piece: str

    def address(self, **changed: object) -> str:
        """The address of the board with something changed."""
        fields = {
            "day": self.day,
            "days": self.days,
            "loss": self.loss,
            "station": self.station,
            "piece": self.piece,
        }
        kept = {name: value for name, value in (fields | changed).items() if value}
        return f"{PLAN}?{urlencode(kept)}" if kept else PLAN


@router.get("/facility/plan")
def plan_board(
    request: Request,
    here: Here,
    *,
    day: int = 0,
    days: int = BOARD_DAYS,
    loss: str = "",
    station: str = "",
    piece: str = "",
    problem: str = "",
    done: str = "",
) -> HTMLResponse:
    """The adopted plan over time, the same as tables, and the next plan in the making."""
    tag, mend = typed_tag(piece) if piece.strip() else ("", None)
    looked = Seen(
        min(max(day, 0), HORIZON_DAYS), days if days in ZOOMS else BOARD_DAYS, loss, station, tag
    )
    with here.database.read() as session:
        book = reading.facility(session)
        plan = plan_in_use(here, session)
        items = {item.tag: item for item in reading.items(session, EVERYTHING)}
        losses = reading.losses(session, EVERYTHING)
    if plan is None and book.plan is not None:
        problem = problem or "The plan being worked by is not here any more; make a new one."
    state, notes = _desk(request).state(), _desk(request).notes()
    context: dict[str, Any] = {
        "plan": plan,
        "looked": looked,
        "zooms": ZOOMS,
        "losses": [(one.loss, one.loss) for one in losses],
        "stations": station_names(book),
        "edits": [one for one in book.edits if not one.withdrawn],
        "notes": notes,
        "fallen_away": {edit for edit, note in notes.items() if note and note not in {DONE, PAST}},
        "edit_words": edit_words(book, items),
        "seen": book.plan_seen,
        "zone": zone(book),
        "desk": state,
        "told": progress_words(state),
        "changed": _changes(state, zone(book), items),
        "decided": book.decided_since(state.ready.seen) if state.ready and state.ready.seen else [],
        "closures": [one for one in book.closures if one.ends_at > here.now()],
        "problem": problem or mend or "",
        "done": done,
        "seconds": SOLVE_S,
        "risk_h": RISK_H,
    }
    if plan is not None:
        context |= _board(_in_use(here, book, plan), looked, items, here.now())
    return draw(request, "plan.html", **context)


def _board(used: InUse, looked: Seen, items: dict[str, Item], now: datetime) -> dict[str, Any]:
    """What the board shows of the plan in use."""
    wanted: frozenset[str] | None = None
    if looked.loss:
        wanted = frozenset(tag for tag, item in items.items() if item.loss == looked.loss)
    if looked.piece:
        wanted = frozenset({looked.piece}) & (wanted or frozenset({looked.piece}))
    present = round((now - used.problem.epoch).total_seconds() / 60)
    shown = board.Shown(
        pieces=wanted,
        station=looked.station or None,
        now=present,
        address=looked.address(station="")
        + ("&" if "?" in looked.address(station="") else "?")
        + "station=",
    )
    start, local = looked.day * 24 * 60, zone(used.book)
    late, risky = concerns(used, items, wanted)
    end = start + looked.days * 24 * 60
    filtered = wanted is not None or bool(looked.station)
    return {
        "picture": board.draw(used.problem, used.plan, start, looked.days, local, shown=shown),
        "lines": board.day_lines(used.problem, used.plan, start, looked.days, local, shown=shown),
        "late": late,
        "risky": risky,
        "at": used.at,
        "places": [
            one
            for one in sorted(used.plan.placements, key=lambda one: (one.start, one.item))
            if one.start < end
            and one.end > start
            and shown.has(one.item)
            and looked.station in {"", one.station}
        ]
        if filtered
        else None,
        "names": {item.id: item.label or item.id for item in used.problem.items},
        "step_words": step_words,
        "programmes": {one.id: one.label or one.id for one in used.problem.programmes},
    }


def _changes(state: DeskState[Draft], local: str, items: dict[str, Item]) -> Sequence[Change]:
    """What the ready plan changes from the plan in use; nothing when there was none."""
    if state.ready is None or not state.ready.planning.problem.previous:
        return ()
    found = changes(state.ready.planning.problem, state.ready.plan, None, ZoneInfo(local))
    # What is no longer planned is known to the planner by its tag alone.
    titles = {one.item: items[one.item].title for one in found if one.item in items}
    return [
        replace(one, sentence=one.sentence.replace(one.item, titles.get(one.item) or one.item, 1))
        for one in found
    ]


def edit_words(book: FacilityBook, items: dict[str, Item]) -> dict[str, str]:
    """What each edit asks for, in words."""
    stations, local = station_names(book), ZoneInfo(zone(book))

    def names(tags: Iterable[str]) -> str:
        known = [(items[tag].title if tag in items else "") or tag for tag in tags]
        more = f" and {len(known) - 3} more" if len(known) > 3 else ""
        return ", ".join(known[:3]) + more

    def of(edit: PlanEdit) -> str:
        step = f", {step_words(edit.step).lower()}" if edit.step else ""
        when = f"{edit.not_before.astimezone(local):%a %d %b, %H:%M}" if edit.not_before else ""
        match edit.kind:
            case PlanEditKind.MOVE:
                where = f" at {stations.get(edit.station, edit.station)}" if edit.station else ""
                later = f" no sooner than {when}" if when else ""
                return f"{names(edit.pieces)}{step}:{where}{later}"
            case PlanEditKind.HOLD:
                until = f" until {when}" if when else f" until withdrawn, for {edit.waits_for}"
                return f"{names(edit.pieces)}{step}: held{until}"
            case PlanEditKind.PIN:
                return f"{names(edit.pieces)}: stays as planned"
            case _:
                return f"{names(edit.pieces)} in no run with {names(edit.others)}"

    return {edit.edit: of(edit) for edit in book.edits}


# --- planning anew ------------------------------------------------------------------------------


class SolveForm(BaseModel):
    """How long to plan, for whom, and what stays as it is."""

    seconds: int = SOLVE_S
    actor: str = ""
    keep: list[str] = []


@router.post("/facility/plan/solve")
def start_solving(
    request: Request, here: Here, form: Annotated[SolveForm, Form()]
) -> RedirectResponse:
    """Plan anew in the background; what is ticked stays as the plan in use has it."""
    state = _desk(request).state()
    kept = frozenset(form.keep) | (
        state.ready.kept if state.ready is not None and form.keep else frozenset()
    )
    seconds = min(max(form.seconds, 5), 600)
    return back(PLAN, _desk(request).start(here, seconds, form.actor.strip(), kept))


@router.post("/facility/plan/stop")
def stop_solving(request: Request) -> RedirectResponse:
    """End the search; the best plan so far is kept."""
    return back(PLAN, _desk(request).stop())


@router.post("/facility/plan/drop")
def drop_plan(request: Request) -> RedirectResponse:
    """Lay the ready plan aside; the one in use stays."""
    _desk(request).drop()
    return back(PLAN)


@router.get("/facility/plan/progress")
async def progress(request: Request) -> StreamingResponse:
    """How far planning is, as server-sent events (HTML Living Standard, 9.2)."""
    return told_as_made(_desk(request), progress_words)


def told_as_made(
    desk: Desk[Made], words: Callable[[DeskState[Made]], dict[str, str]]
) -> StreamingResponse:
    """What ``words`` tell of a desk, again and again until it is done, as server-sent events."""

    async def told() -> AsyncIterator[str]:
        for _ in range(STREAM_TICKS):
            state = desk.state()
            yield f"data: {json.dumps(words(state))}\n\n"
            if state.working_since is None:
                return
            await asyncio.sleep(TICK_S)

    return StreamingResponse(
        told(), media_type="text/event-stream", headers={"cache-control": "no-store"}
    )


def progress_words(state: DeskState[Draft]) -> dict[str, str]:
    """What is told of a search; ``over`` is said when it has ended."""
    known = state.progress
    gap = known.gap if known else None
    return {
        "best": f"{known.objective:,}" if known and known.objective is not None else "none yet",
        "bound": f"{known.bound:,}" if known else "",
        "gap": f"{gap:.1%}" if gap is not None else "",
        "seconds": f"{known.seconds:.0f} of {state.seconds:.0f}" if known else "",
        "over": "" if state.working_since is not None else "over",
    }


@router.post("/facility/plan/adopt")
def adopt_plan(request: Request, here: Here, plan: FormText, actor: FormText) -> RedirectResponse:
    """Work by the new plan from now on, if it is still the one that was looked at."""
    if not actor.strip():
        return back(PLAN, "Your name: say who adopts the plan.")
    try:
        _desk(request).adopt(here, plan, actor.strip())
    except (SolveError, RefusedError) as error:
        return back(PLAN, str(error))
    return back(PLAN)


class CloseForm(BaseModel):
    """A station out of use from now on, as typed."""

    station: str
    until: str
    reason: str
    actor: str


@router.post("/facility/plan/close")
def close_station(
    request: Request, here: Here, form: Annotated[CloseForm, Form()]
) -> RedirectResponse:
    """A station is out of use from now on: recorded at once, and the plan put back around it."""
    now = here.now()
    with here.database.read() as session:
        book = reading.facility(session)
        inside = [
            run.run
            for run in reading.runs(session, form.station)
            if run.phase not in {Phase.PLANNED, Phase.UNLOADED}
        ]
    if form.station not in station_names(book):
        return back(PLAN, "station: choose what is out of use")
    until, mend = _moment(form.until, zone(book))
    if until is None or until <= now:
        return back(PLAN, mend or "until: give a time from now on; nothing was recorded")
    body = ev.StationClosed(
        station=form.station, starts_at=now, ends_at=until, reason=form.reason.strip()
    )
    problem = say(here, body, form.actor)
    if problem:
        return back(PLAN, problem)
    busy = _desk(request).repair(here, form.actor.strip())
    told = f"{station_names(book)[form.station]} is out of use from now."
    if inside:
        told += f" Run {inside[0]} is in it: say on its own page what becomes of it."
    if busy:
        told += f" {busy} Then plan anew."
    return RedirectResponse(f"{PLAN}?done={quote(told)}", 303)


def _moment(text: str, local: str) -> tuple[datetime | None, str | None]:
    """A typed local date and time; ``None`` for nothing typed, and the mend."""
    if not text.strip():
        return None, None
    try:
        return datetime.fromisoformat(text.strip()).replace(tzinfo=ZoneInfo(local)), None
    except ValueError:
        return None, "time: write a day and an hour, such as 2031-05-06T14:00"


# --- a piece or a run of the plan: why, and what to tell the planner ----------------------------


@router.get("/facility/plan/pieces/{tag}")
def plan_piece(
    request: Request, tag: TagPath, here: Here, problem: str = "", done: str = ""
) -> HTMLResponse:
    """One piece in the plan: its steps, why they start when they do, and the planner's orders."""
    used = _plan_or_404(here)
    item = next((one for one in used.problem.items if one.id == tag), None)
    if item is None:
        raise HTTPException(404, f"the plan in use has no piece {tag}")
    placed = {one.step: one for one in used.plan.placements if one.item == tag}
    kinds = {one for step in item.steps if not isinstance(step, WaitStep) for one in step.stations}
    last = placed[item.steps[-1].id].end
    return _page(
        request,
        here,
        used,
        "plan_piece.html",
        item=item,
        steps=[(placed[one.step], one) for one in used.why.reasons(tag)],
        chain=used.why.chain(tag),
        kept_closed=[(run, span(longer)) for run, longer in used.why.kept_closed(tag)],
        late_min=0 if item.due_min is None else max(0, last - item.due_min),
        run=next((one.run for one in placed.values() if one.run), None),
        has_run=any(step.kind == "batch" for step in item.steps),
        stations=[(one, name) for one, name in station_names(used.book).items() if one in kinds],
        path=f"{PLAN}/pieces/{tag}",
        mine={tag},
        problem=problem,
        done=done,
    )


@router.get("/facility/plan/runs/{run_id}")
def plan_run(
    request: Request, run_id: RefPath, here: Here, problem: str = "", done: str = ""
) -> HTMLResponse:
    """One run of the plan: what is in it, why it starts when it does, and the planner's orders."""
    used = _plan_or_404(here)
    run = planned_run(used.plan, run_id)
    if run is None:
        raise HTTPException(404, f"the plan in use has no run {run_id}")
    step_of = {one.item: one.step for one in used.plan.placements if one.run == run_id}
    why: dict[str, list[str]] = {}
    for tag in run.items:
        reason = next(one for one in used.why.reasons(tag) if one.step == step_of[tag])
        waits = f"waits {span(reason.waited_min)}: " if reason.waited_min else ""
        why.setdefault(f"{waits}{reason.binding}", []).append(used.why.name(tag))
    offered = [
        (one.id, one.label or one.id)
        for one in used.problem.stations
        if one.kind == "chamber" and run.programme in one.programmes
    ]
    return _page(
        request,
        here,
        used,
        "plan_run.html",
        run=run,
        why=why,
        stations=offered,
        path=f"{PLAN}/runs/{run_id}",
        mine=set(run.items),
        problem=problem,
        done=done,
    )


def _plan_or_404(here: Installation) -> InUse:
    with here.database.read() as session:
        book = reading.facility(session)
        plan = plan_in_use(here, session)
    if plan is None:
        raise HTTPException(404, "no plan is in use; make one first")
    return _in_use(here, book, plan)


def _page(
    request: Request,
    here: Installation,
    used: InUse,
    template: str,
    *,
    mine: set[str],
    **context: Any,
) -> HTMLResponse:
    with here.database.read() as session:
        items = {item.tag: item for item in reading.items(session, EVERYTHING)}
    edits = [
        one
        for one in used.book.edits
        if not one.withdrawn and mine.intersection((*one.pieces, *one.others))
    ]
    return draw(
        request,
        template,
        used=used,
        at=used.at,
        zone=zone(used.book),
        seen=used.book.plan_seen,
        names={item.id: item.label or item.id for item in used.problem.items},
        station_names=station_names(used.book),
        programmes={one.id: one.label or one.id for one in used.problem.programmes},
        step_words=step_words,
        span=span,
        edits=edits,
        notes=_desk(request).notes(),
        edit_words=edit_words(used.book, items),
        **context,
    )


class EditForm(BaseModel):
    """What a person tells the planner, as typed."""

    actor: str
    reason: str = ""
    seen: str = ""
    step: str = ""
    station: str = ""
    not_before: str = ""
    waits_for: str = ""
    other: str = ""
    pieces: list[str] = []


@router.post("/facility/plan/pieces/{tag}/{kind}")
def edit_piece(
    request: Request, tag: TagPath, kind: str, here: Here, form: Annotated[EditForm, Form()]
) -> RedirectResponse:
    """Tell the planner something about a piece."""
    path, used = f"{PLAN}/pieces/{tag}", _plan_or_404(here)
    others: tuple[str, ...] = ()
    if kind == PlanEditKind.SEPARATE:
        if form.other.strip():
            other, mend = typed_tag(form.other)
            if mend:
                return back(path, mend)
            others = (other,)
        else:
            run = next((one for one in used.plan.runs if tag in one.items), None)
            others = tuple(one for one in (run.items if run else ()) if one != tag)
            if not others:
                return back(path, "other: it shares no run; scan the piece to keep it apart from")
    return _edit(request, here, used, at=(path, kind), form=form, pieces=(tag,), others=others)


@router.post("/facility/plan/runs/{run_id}/{kind}")
def edit_run(
    request: Request, run_id: RefPath, kind: str, here: Here, form: Annotated[EditForm, Form()]
) -> RedirectResponse:
    """Tell the planner something about all pieces of a run."""
    path, used = f"{PLAN}/runs/{run_id}", _plan_or_404(here)
    run = planned_run(used.plan, run_id)
    if run is None:
        return back(PLAN, f"The plan in use has no run {run_id} any more.")
    if kind != PlanEditKind.SEPARATE:
        return _edit(request, here, used, at=(path, kind), form=form, pieces=run.items, others=())
    apart = tuple(one for one in run.items if one in form.pieces)
    rest = tuple(one for one in run.items if one not in form.pieces)
    if not apart or not rest:
        return back(path, "pieces: tick some of the pieces, not all, to go in a run of their own")
    return _edit(request, here, used, at=(path, kind), form=form, pieces=apart, others=rest)


def _edit(
    request: Request,
    here: Installation,
    used: InUse,
    *,
    at: tuple[str, str],
    form: EditForm,
    pieces: tuple[str, ...],
    others: tuple[str, ...],
) -> RedirectResponse:
    """Try an edit; record it if it can be kept."""
    path, kind = at
    if not form.actor.strip():
        return back(path, ACTOR)
    not_before, mend = _moment(form.not_before, zone(used.book))
    if mend:
        return back(path, mend)
    run = path.rpartition("/")[2] if "/runs/" in path else None
    step = form.step or _run_step(used.plan, run)
    try:
        body = ev.PlanEdited(
            edit=f"e-{uuid4().hex[:12]}",
            kind=PlanEditKind(kind),
            pieces=pieces,
            step=step or None,
            station=form.station or None,
            not_before=not_before,
            waits_for=form.waits_for if not_before is None else "",
            placed=places_of(used.problem, used.plan, pieces, step or None)
            if kind == PlanEditKind.PIN
            else (),
            others=others,
            reason=form.reason,
            after=form.seen or None,
        )
    except ValidationError as error:
        first = error.errors()[0]
        return back(path, ev.describe(error) if first["loc"] else str(first["ctx"]["error"]))
    except ValueError:
        return back(path, f"{kind}: the planner can't be told that")
    told = PlanEdit.model_validate(
        body.model_dump(exclude={"type", "after"})
        | {"actor": form.actor, "at": ev.utc_text(here.now())}
    )
    try:
        trial = try_edit(here, told)
    except (SolveError, NoFacilityError) as error:
        return back(path, f"Cannot: {error}")
    problem = say(here, body, form.actor)
    if problem:
        return back(path, problem)
    _desk(request).note(trial.planning.edits)
    moved = len(changes(trial.planning.problem, trial.plan))
    words = "Taken. The next plan keeps it; as far as a quick look shows, "
    words += f"it moves {moved} piece{'s' * (moved != 1)}." if moved else "nothing else moves."
    return RedirectResponse(f"{path}?done={quote(words)}", 303)


def _run_step(plan: Plan, run: str | None) -> str:
    """The step that a run is of its pieces; empty for no run."""
    return next((one.step for one in plan.placements if run and one.run == run), "")


@router.post("/facility/plan/withdraw")
def withdraw(here: Here, edit: FormText, actor: FormText, seen: FormText = "") -> RedirectResponse:
    """An edit no longer counts."""
    body = ev.PlanEditWithdrawn(edit=edit, after=seen or None)
    return back(PLAN, say(here, body, actor))
