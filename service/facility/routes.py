"""The facility lead's and the licensed fumigator's pages."""

import io
import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from decimal import Decimal
from typing import Annotated
from urllib.parse import quote

import structlog
from fastapi import APIRouter, Form, HTTPException, Request, Response
from fastapi.responses import HTMLResponse, RedirectResponse
from pydantic import BaseModel
from sqlmodel import Session

from labels.advice_tag import write_advice_tags
from labels.codes import TagError, parse_tag
from labels.sheets import LAYOUTS, LayoutError, layout_named
from scheduler.plan import Plan
from scheduler.problem import Problem
from service.assessing import (
    choose_programme,
    frozen_intervals,
    needed_steps,
    packing_of,
    remaining_steps,
    triage_of,
)
from service.crew.routes import RefPath, TagPath
from service.facility import board
from service.facility.desk import PlanDesk
from service.facility.form_route import ACTOR, FormRoute, back
from service.facility.planning import HORIZON_DAYS
from service.facility.plans import MissingPlanError, SolveError, adopted, planned_run, timed
from service.facility.plots import drying_plot, gas_plot, mould_plot
from service.facility.runs import NEXT_PHASES, in_hand
from service.facility.sheets import (
    RunPaper,
    advice_tag,
    planned_times,
    run_sheet,
    write_placard,
    write_sheets,
)
from service.installation import Installation
from service.log import reading
from service.log.append import RefusedError
from service.log.reading import EVERYTHING, ItemFilter, within
from service.log.routes import Here
from service.pages import page
from shared import events as ev
from shared.cautions import cautions_for, standing_cautions
from shared.packing import packing_nevers
from shared.records import FacilityBook, Item, Loss
from shared.treatments import legal_next
from shared.triage import Triage
from shared.vocabulary import Band, Phase, Role, StepKind

router = APIRouter(tags=["facility"], include_in_schema=False, route_class=FormRoute)
logger = structlog.get_logger()

PAGE = 60
BOARD_DAYS = 14
SOLVE_S = 60
LONGEST_HOLD_MIN = 7 * 24 * 60
FormText = Annotated[str, Form()]
SUBNAV = [
    ("/facility/", "Today"),
    ("/facility/items", "Pieces"),
    ("/facility/receive", "Receive"),
    ("/facility/plan", "Plan"),
    ("/facility/runs", "Chamber runs"),
    ("/facility/programmes", "Programmes"),
]


def _draw(request: Request, template: str, status: int = 200, **context: object) -> HTMLResponse:
    return page(request, template, {"subnav_links": SUBNAV, **context}, status)


def _say(here: Installation, body: BaseModel, actor: str, role: Role = Role.LEAD) -> str | None:
    """Record an event from a form; the reason when it was refused."""
    if not actor.strip():
        return ACTOR
    try:
        here.log.say(body, actor=actor.strip(), role=role)
    except RefusedError as error:
        return str(error)
    return None


def _typed_tag(text: str) -> tuple[str, str | None]:
    """A scanned or typed tag, or the mend."""
    try:
        return parse_tag(text), None
    except TagError as error:
        return "", str(error)


@dataclass(frozen=True)
class PieceLine:
    """A piece in a list, with what its triage says now."""

    item: Item
    triage: Triage
    photo: str | None
    remaining: Sequence[StepKind]

    @property
    def next_step(self) -> str:
        """The first step still to do."""
        return self.remaining[0].label if self.remaining else "Nothing left to do"


def _lines(session: Session, items: Sequence[Item], here: Installation) -> list[PieceLine]:
    losses: dict[str, Loss] = {one.loss: one for one in reading.losses(session, EVERYTHING)}
    book = reading.facility(session)
    now = here.now()
    return [
        PieceLine(
            item,
            triage_of(item, losses.get(item.loss or ""), now, (), book, known=here.facts),
            item.photos[0].photo if item.photos else None,
            remaining_steps(item, here.facts),
        )
        for item in items
    ]


def _plan_in_use(here: Installation, session: Session) -> tuple[Problem, Plan] | None:
    """The plan being worked by. Pages are drawn without one whose documents are missing."""
    try:
        return adopted(session, here.photos)
    except MissingPlanError as error:
        logger.warning("plan missing", reason=str(error))
        return None


def _zone(book: FacilityBook) -> str:
    return book.facility.zone if book.facility else "UTC"


class StepForm(BaseModel):
    """A finished step, as typed."""

    step: str
    actor: str
    hours: str = ""
    note: str = ""


class ReceiptForm(BaseModel):
    """A piece off the truck, as scanned."""

    scanned: str
    station: str
    actor: str
    condition: str = ""


class ReadingForm(BaseModel):
    """A gas reading and the oxygen beside it, as typed."""

    zone: str
    instrument: str
    value: str
    unit: str
    oxygen: str
    actor: str
    temperature_c: str = "20"
    pressure_pa: str = "101325"


class SignForm(BaseModel):
    """A signature under readings."""

    readings: str
    actor: str
    role: str
    licence_no: str = ""


# --- today --------------------------------------------------------------------------------------


@router.get("/facility/")
def today(request: Request, here: Here) -> HTMLResponse:
    """What must start now, what is about to miss, and what waits on whom."""
    now = here.now()
    with here.database.read() as session:
        book = reading.facility(session)
        items = reading.items(session, EVERYTHING)
        here_now = [item for item in items if item.received_at and not item.returned_to]
        urgent = [
            line
            for line in _lines(session, here_now, here)
            if line.triage.band is Band.NOW and line.remaining
        ]
        urgent.sort(key=lambda line: (line.triage.rank, -line.triage.score, line.item.tag))
        runs = [run for run in reading.runs(session) if run.phase is not Phase.UNLOADED]
        plan = _plan_in_use(here, session)
        soon = _soon(plan, now, items) if plan else []
        manifests = [one for one in reading.manifests(session, EVERYTHING) if one.missing]
        return _draw(
            request,
            "today.html",
            zone=_zone(book),
            now=now,
            book=book,
            stations=_station_names(book),
            counts=reading.counts_by_station(session, EVERYTHING),
            here_now=here_now,
            on_the_way=sum(len(one.missing) for one in manifests),
            manifests=manifests,
            urgent=urgent[:12],
            urgent_count=len(urgent),
            runs=[hand for run in runs if (hand := in_hand(session, run.run, now, here.facts))],
            soon=soon,
            plan=plan,
            conflicts=sum(1 for item in items if item.conflicts),
            closures=[one for one in book.closures if one.ends_at > now],
        )


def _station_names(book: FacilityBook) -> dict[str, str]:
    return {one.id: one.label for one in book.facility.stations} if book.facility else {}


@dataclass(frozen=True)
class Soon:
    """A group of pieces whose next planned step starts within a day, at one place."""

    starts: datetime
    step: str
    station: str | None
    run: str | None
    tags: list[str]


def _soon(plan: tuple[Problem, Plan], now: datetime, items: Sequence[Item]) -> list[Soon]:
    done = {(item.tag, step.value) for item in items for step in item.steps_done}
    groups: dict[tuple[datetime, str, str | None, str | None], list[str]] = {}
    for one in timed(*plan):
        kind = one.placement.step.partition("-")[0]
        if now - timedelta(hours=1) <= one.starts < now + timedelta(hours=24):
            if (one.placement.item, kind) in done:
                continue
            key = (one.starts, kind, one.placement.station, one.placement.run)
            groups.setdefault(key, []).append(one.placement.item)
    return [Soon(*key, tags) for key, tags in sorted(groups.items(), key=lambda one: one[0][0])]


# --- pieces -------------------------------------------------------------------------------------


@router.get("/facility/items")
def pieces(
    request: Request, here: Here, q: str = "", station: str = "", page_no: int = 1
) -> HTMLResponse:
    """Where is it: by tag, title, maker or room on site."""
    typed, _ = _typed_tag(q) if q else ("", None)
    with here.database.read() as session:
        if typed:
            found = reading.item(session, EVERYTHING, typed)
            if found is not None:
                return back(f"/facility/items/{found.tag}")  # type: ignore[return-value]
        book = reading.facility(session)
        items = reading.items(session, EVERYTHING, ItemFilter(words=q, station=station or None))
        pages = max(1, math.ceil(len(items) / PAGE))
        number = min(max(page_no, 1), pages)
        shown = items[(number - 1) * PAGE : number * PAGE]
        return _draw(
            request,
            "pieces.html",
            q=q,
            station=station,
            stations=_station_names(book),
            lines=_lines(session, shown, here),
            count=len(items),
            page=number,
            pages=pages,
            query=f"/facility/items?q={quote(q)}&station={quote(station)}&page_no=",
        )


@router.get("/facility/items/{tag}")
def piece(request: Request, tag: TagPath, here: Here, problem: str = "") -> HTMLResponse:
    """One piece: what it is, what must never be done to it, what comes next and why."""
    with here.database.read() as session:
        item = reading.item(session, EVERYTHING, tag)
        if item is None:
            raise HTTPException(404, f"no piece carries the tag {tag}")
        book = reading.facility(session)
        loss = reading.loss(session, EVERYTHING, item.loss) if item.loss else None
        parts = reading.parts_of(session, EVERYTHING, item.tag)
        triage = triage_of(item, loss, here.now(), parts, book, known=here.facts)
        needed = needed_steps(item, here.facts)
        plan = _plan_in_use(here, session)
        placed = [one for one in (timed(*plan) if plan else []) if one.placement.item == item.tag]
        programme, rulings = choose_programme(item, [], book, here.now(), known=here.facts)
        frozen = frozen_intervals(item, book, here.now())
        return _draw(
            request,
            "piece.html",
            item=item,
            loss=loss,
            parts=parts,
            triage=triage,
            packing=packing_nevers(packing_of(item, here.facts)),
            needed=needed,
            choices={
                choice.step: choice
                for choice in legal_next(
                    item.steps_done, [need.step for need in needed], here.facts
                )
            },
            placed=placed,
            rulings=rulings,
            programme=programme,
            wants_chamber=StepKind.CHAMBER in [need.step for need in needed],
            stations=_station_names(book),
            layouts=[(one.name, one.words) for one in LAYOUTS.values()],
            zone=_zone(book),
            cautions=cautions_for(
                damages=[seen.damage for seen in item.damages],
                materials=item.materials,
                known=here.facts,
            ),
            drying=(
                drying_plot(item, book, here.now(), here.facts)
                if StepKind.DRY in remaining_steps(item, here.facts) or item.weighings
                else None
            ),
            mould=mould_plot(item, loss, frozen, book=book, now=here.now(), known=here.facts),
            problem=problem,
        )


@router.get("/facility/items/{tag}/second-tag.pdf")
def second_tag(tag: TagPath, here: Here, layout: str, first_label: int = 1) -> Response:
    """The tag that hangs beside the first: how soon, what first, what never, which cautions."""
    now = here.now()
    with here.database.read() as session:
        item = reading.item(session, EVERYTHING, tag)
        if item is None:
            raise HTTPException(404, f"no piece carries the tag {tag}")
        book = reading.facility(session)
        loss = reading.loss(session, EVERYTHING, item.loss) if item.loss else None
        parts = reading.parts_of(session, EVERYTHING, item.tag)
    triage = triage_of(item, loss, now, parts, book, known=here.facts)
    out = io.BytesIO()
    try:
        write_advice_tags(
            out,
            [advice_tag(item, loss, triage, parts, book=book, now=now, known=here.facts)],
            layout_named(layout),
            here.settings.base_url,
            first_label=first_label,
            title=f"Second tag of {item.title or item.object_type.label}",
        )
    except (LayoutError, TagError, ValueError) as error:
        raise HTTPException(422, str(error)) from error
    return _pdf(out.getvalue(), f"second-tag-{item.tag}.pdf")


@router.post("/facility/items/{tag}/step")
def finish_step(tag: TagPath, here: Here, form: Annotated[StepForm, Form()]) -> RedirectResponse:
    """A step is finished."""
    now = here.now()
    try:
        step = StepKind(form.step)
    except ValueError:
        return back(f"/facility/items/{tag}", "step: choose the step that is finished")
    try:
        spent = Decimal(form.hours) if form.hours.strip() else None
        if spent is not None and spent < 0:
            raise ValueError
        length = timedelta(hours=float(spent)) if spent is not None else timedelta(0)
        body = ev.StepDone(
            tag=tag,
            step=step,
            started_at=now - length,
            ended_at=now,
            hours=f"{spent:f}" if spent is not None else None,
            note=form.note,
        )
    except (ArithmeticError, ValueError):
        return back(f"/facility/items/{tag}", "hours: write a number of hours, such as 1.5")
    return back(f"/facility/items/{tag}", _say(here, body, form.actor))


@router.post("/facility/items/{tag}/move")
def move(tag: TagPath, here: Here, station: FormText, actor: FormText) -> RedirectResponse:
    """The piece goes to another place."""
    return back(f"/facility/items/{tag}", _say(here, ev.ItemMoved(tag=tag, station=station), actor))


# --- receiving ----------------------------------------------------------------------------------


@router.get("/facility/receive")
def manifests(request: Request, here: Here) -> HTMLResponse:
    """Trucks on the way and trucks received."""
    with here.database.read() as session:
        return _draw(
            request,
            "receive.html",
            manifests=reading.manifests(session, EVERYTHING),
            zone=_zone(reading.facility(session)),
        )


@router.get("/facility/receive/{manifest_id}")
def receiving(
    request: Request, manifest_id: RefPath, here: Here, problem: str = "", done: str = ""
) -> HTMLResponse:
    """Scan against the manifest; missing and surplus are shown."""
    with here.database.read() as session:
        manifest = reading.manifest(session, EVERYTHING, manifest_id)
        if manifest is None:
            raise HTTPException(404, f"there is no manifest {manifest_id}")
        items = reading.items_by_tag(
            session,
            within(manifest.loss),
            [*manifest.tags, *manifest.received, *([done] if done else [])],
        )
        book = reading.facility(session)
        return _draw(
            request,
            "receiving.html",
            manifest=manifest,
            items=items,
            stations=_station_names(book),
            zone=_zone(book),
            problem=problem,
            done=done,
        )


@router.post("/facility/receive/{manifest_id}")
def receive(
    manifest_id: RefPath, here: Here, form: Annotated[ReceiptForm, Form()]
) -> RedirectResponse:
    """One piece came off the truck."""
    path = f"/facility/receive/{manifest_id}"
    tag, mend = _typed_tag(form.scanned)
    if mend:
        return back(path, mend)
    body = ev.ItemReceived(
        tag=tag, manifest=manifest_id, station=form.station, condition=form.condition
    )
    problem = _say(here, body, form.actor)
    return back(path, problem) if problem else RedirectResponse(f"{path}?done={tag}", 303)


# --- the plan -----------------------------------------------------------------------------------


def _desk(request: Request) -> PlanDesk:
    desk: PlanDesk = request.app.state.plan_desk
    return desk


@router.get("/facility/plan")
def plan_board(request: Request, here: Here, day: int = 0, problem: str = "") -> HTMLResponse:
    """The adopted plan over time, and the same as a table."""
    with here.database.read() as session:
        book = reading.facility(session)
        plan = _plan_in_use(here, session)
        items = {item.tag: item for item in reading.items(session, EVERYTHING)}
        zone = _zone(book)
        desk = _desk(request)
        day = min(max(day, 0), HORIZON_DAYS)
        start = day * 24 * 60
        if plan is None and book.plan is not None:
            problem = problem or "The plan being worked by is not here any more; make a new one."
        return _draw(
            request,
            "plan.html",
            plan=plan,
            picture=board.draw(*plan, start, BOARD_DAYS, zone) if plan else None,
            day=day,
            days=BOARD_DAYS,
            late=_late(plan, items) if plan else [],
            runs=[
                (
                    run,
                    plan[0].epoch + timedelta(minutes=run.start),
                    plan[0].epoch + timedelta(minutes=run.end),
                )
                for run in sorted(plan[1].runs, key=lambda run: (run.start, run.station))
            ]
            if plan
            else [],
            stations=_station_names(book),
            programmes={one.id: one.label for one in book.programmes},
            desk=desk.state(),
            zone=zone,
            problem=problem,
            seconds=SOLVE_S,
        )


@dataclass(frozen=True)
class Late:
    """A piece whose planned start comes after its deadline."""

    tag: str
    title: str
    step: str
    deadline: datetime
    starts: datetime

    @property
    def hours(self) -> int:
        """Hours late."""
        return math.ceil((self.starts - self.deadline).total_seconds() / 3600)


def _late(plan: tuple[Problem, Plan], items: dict[str, Item]) -> list[Late]:
    problem, made = plan
    starts = {(one.item, one.step): one.start for one in made.placements}
    found = []
    for item in problem.items:
        for step in item.steps:
            start = starts[item.id, step.id]
            if step.start_by_min is not None and start > step.start_by_min:
                record = items.get(item.id)
                found.append(
                    Late(
                        item.id,
                        (record.title if record else "") or item.label,
                        step.id.replace("_", " "),
                        problem.epoch + timedelta(minutes=step.start_by_min),
                        problem.epoch + timedelta(minutes=start),
                    )
                )
    return sorted(found, key=lambda one: one.deadline)


@router.post("/facility/plan/solve")
def start_solving(
    request: Request, here: Here, seconds: Annotated[int, Form()] = SOLVE_S
) -> RedirectResponse:
    """Plan anew in the background."""
    return back("/facility/plan", _desk(request).start(here, min(max(seconds, 5), 600)))


@router.post("/facility/plan/adopt")
def adopt_plan(request: Request, here: Here, plan: FormText, actor: FormText) -> RedirectResponse:
    """Work by the new plan from now on, if it is still the one that was looked at."""
    if not actor.strip():
        return back("/facility/plan", "Your name: say who adopts the plan.")
    try:
        _desk(request).adopt(here, plan, actor.strip())
    except (SolveError, RefusedError) as error:
        return back("/facility/plan", str(error))
    return back("/facility/plan")


# --- chamber runs -------------------------------------------------------------------------------


@router.get("/facility/runs")
def all_runs(request: Request, here: Here) -> HTMLResponse:
    """Open runs, finished runs and planned runs."""
    now = here.now()
    with here.database.read() as session:
        book = reading.facility(session)
        plan = _plan_in_use(here, session)
        hands = [
            hand
            for run in reading.runs(session)
            if (hand := in_hand(session, run.run, now, here.facts))
        ]
        opened = {hand.run.run for hand in hands}
        planned = (
            [
                (run, plan[0].epoch + timedelta(minutes=run.start))
                for run in sorted(plan[1].runs, key=lambda run: run.start)
                if run.id not in opened
            ]
            if plan
            else []
        )
        return _draw(
            request,
            "runs.html",
            hands=hands,
            planned=planned[:40],
            stations=_station_names(book),
            programmes={one.id: one.label for one in book.programmes},
            zone=_zone(book),
        )


@router.get("/facility/runs/{run_id}")
def one_run(request: Request, run_id: RefPath, here: Here, problem: str = "") -> HTMLResponse:
    """A run in hand: load, readings, dose, clearance; or a planned run to open."""
    now = here.now()
    with here.database.read() as session:
        book = reading.facility(session)
        hand = in_hand(session, run_id, now, here.facts)
        plan = _plan_in_use(here, session)
        planned = planned_run(plan[1], run_id) if plan else None
        if hand is None and planned is None:
            raise HTTPException(404, f"there is no run {run_id}, planned or open")
        tags = hand.run.tags if hand else list(planned.items if planned else ())
        items = reading.items_by_tag(session, EVERYTHING, tags)
        programme = hand.programme if hand else book.programme(planned.programme if planned else "")
        chamber = book.chamber(hand.run.station if hand else planned.station if planned else "")
        return _draw(
            request,
            "run.html",
            run_id=run_id,
            hand=hand,
            planned=planned,
            planned_start=(
                plan[0].epoch + timedelta(minutes=planned.start) if plan and planned else None
            ),
            items=items,
            tags=tags,
            programme=programme,
            chamber=chamber,
            gas=(
                gas_plot(hand.run, programme, chamber, book, now, known=here.facts)
                if hand and programme and chamber
                else None
            ),
            next_phases=NEXT_PHASES[hand.run.phase] if hand else (),
            instruments=[
                one
                for one in book.instruments
                if programme and programme.clearance and one.gas == programme.clearance.gas
            ],
            cautions=cautions_for(agents=[programme.agent], known=here.facts) if programme else (),
            standing=standing_cautions(here.facts),
            zone=_zone(book),
            now=now,
            problem=problem,
        )


@router.post("/facility/runs/{run_id}/open")
def open_run(run_id: RefPath, here: Here, actor: FormText) -> RedirectResponse:
    """Begin to load a planned run."""
    with here.database.read() as session:
        plan = _plan_in_use(here, session)
        planned = planned_run(plan[1], run_id) if plan else None
        programme = reading.facility(session).programme(planned.programme) if planned else None
    if planned is None or programme is None:
        return back(f"/facility/runs/{run_id}", "This run is not in the plan being worked by.")
    opened = ev.RunOpened(
        run=run_id,
        station=planned.station,
        programme=programme.id,
        version=programme.version,
        tags=planned.items,
    )
    problem = _say(here, opened, actor) or _say(
        here, ev.PhaseEntered(run=run_id, phase=Phase.LOADING, at=here.now()), actor
    )
    return back(f"/facility/runs/{run_id}", problem)


@router.post("/facility/runs/{run_id}/load")
def load(run_id: RefPath, here: Here, scanned: FormText, actor: FormText) -> RedirectResponse:
    """Scan a piece into the chamber; the guard stops what must not go in."""
    tag, mend = _typed_tag(scanned)
    problem = mend or _say(here, ev.ItemLoaded(run=run_id, tag=tag), actor)
    return back(f"/facility/runs/{run_id}", problem)


@router.post("/facility/runs/{run_id}/phase")
def enter_phase(
    run_id: RefPath, here: Here, phase: FormText, actor: FormText, reason: FormText = ""
) -> RedirectResponse:
    """The run moves on."""
    if phase not in set(Phase):
        return back(f"/facility/runs/{run_id}", f"phase: {phase} is no phase of a run")
    body = ev.PhaseEntered(run=run_id, phase=Phase(phase), at=here.now(), reason=reason)
    return back(f"/facility/runs/{run_id}", _say(here, body, actor))


@router.post("/facility/runs/{run_id}/reading")
def log_reading(
    run_id: RefPath, here: Here, form: Annotated[ReadingForm, Form()]
) -> RedirectResponse:
    """A gas reading and the oxygen beside it, entered by hand."""
    path, now = f"/facility/runs/{run_id}", here.now()
    gas = ev.GasRead.model_validate(
        {
            "run": run_id,
            "reading": f"hand-{now:%Y%m%dT%H%M%S%f}",
            "zone": form.zone,
            "instrument": form.instrument,
            "value": form.value.strip(),
            "unit": form.unit,
            "temperature_c": form.temperature_c.strip(),
            "pressure_pa": form.pressure_pa.strip(),
            "taken_at": now,
        }
    )
    air = ev.OxygenRead(run=run_id, zone=form.zone, percent=form.oxygen.strip(), taken_at=now)
    problem = _say(here, gas, form.actor, Role.FUMIGATOR)
    return back(path, problem or _say(here, air, form.actor, Role.FUMIGATOR))


@router.post("/facility/runs/{run_id}/dose")
def add_dose(
    run_id: RefPath, here: Here, mass: FormText, unit: FormText, actor: FormText
) -> RedirectResponse:
    """Agent was introduced."""
    body = ev.DoseAdded.model_validate(
        {"run": run_id, "mass": {"value": mass.strip(), "unit": unit}, "at": here.now()}
    )
    return back(f"/facility/runs/{run_id}", _say(here, body, actor, Role.FUMIGATOR))


@router.post("/facility/runs/{run_id}/hold")
def record_hold(
    run_id: RefPath, here: Here, minutes: Annotated[int, Form()], actor: FormText
) -> RedirectResponse:
    """The chamber stood closed, airing off, until now."""
    now = here.now()
    if not 0 < minutes <= LONGEST_HOLD_MIN:
        return back(
            f"/facility/runs/{run_id}",
            f"minutes: write how many minutes it stood closed, 1 to {LONGEST_HOLD_MIN}",
        )
    body = ev.HoldClosed(run=run_id, starts_at=now - timedelta(minutes=minutes), ends_at=now)
    return back(f"/facility/runs/{run_id}", _say(here, body, actor, Role.FUMIGATOR))


@router.post("/facility/runs/{run_id}/sign")
def sign(run_id: RefPath, here: Here, form: Annotated[SignForm, Form()]) -> RedirectResponse:
    """A name under exactly these readings."""
    path = f"/facility/runs/{run_id}"
    if form.role not in {Role.FUMIGATOR, Role.LEAD}:
        return back(path, "role: choose who signs")
    body = ev.ClearanceSigned(
        run=run_id, signer=form.actor, licence_no=form.licence_no, readings=form.readings
    )
    return back(path, _say(here, body, form.actor, Role(form.role)))


@router.post("/facility/runs/{run_id}/unseal")
def open_chamber(
    run_id: RefPath, here: Here, actor: FormText, readings: FormText = "0" * 64
) -> RedirectResponse:
    """Open the chamber: refused unless it is cleared at this moment."""
    now = here.now()
    body = ev.ChamberOpened(run=run_id, readings=readings, at=now)
    problem = _say(here, body, actor, Role.FUMIGATOR) or _say(
        here, ev.PhaseEntered(run=run_id, phase=Phase.CLEARED, at=now), actor, Role.FUMIGATOR
    )
    return back(f"/facility/runs/{run_id}", problem)


def _paper(here: Installation, session: Session, run_id: str) -> tuple[RunPaper, FacilityBook]:
    """What a run's papers are made from, opened or planned."""
    book = reading.facility(session)
    plan = _plan_in_use(here, session)
    planned = planned_run(plan[1], run_id) if plan else None
    run = reading.run(session, run_id)
    if run is None and planned is None:
        raise HTTPException(404, f"there is no run {run_id}, planned or open")
    station = run.station if run else planned.station if planned else ""
    programme = (
        book.programme(run.programme, run.version)
        if run
        else book.programme(planned.programme if planned else "")
    )
    chamber = book.chamber(station)
    if programme is None or chamber is None:
        raise HTTPException(404, "the run's programme or chamber is not on file")
    paper = RunPaper(
        title=f"{run_id}: {programme.label}",
        chamber=chamber,
        programme=programme,
        tags=run.tags if run else planned.items if planned else (),
        times=planned_times(plan[0], planned) if plan and planned else (),
    )
    return paper, book


def _pdf(data: bytes, name: str) -> Response:
    return Response(
        data,
        media_type="application/pdf",
        headers={"content-disposition": f'inline; filename="{name}"'},
    )


@router.get("/facility/runs/{run_id}/sheet.pdf")
def sheet(run_id: RefPath, here: Here) -> Response:
    """The printed run sheet."""
    out = io.BytesIO()
    with here.database.read() as session:
        paper, book = _paper(here, session, run_id)
        made = run_sheet(session, paper, book, here.now(), here.facts)
    write_sheets(out, [made], title=paper.title)
    return _pdf(out.getvalue(), f"run-{run_id}.pdf")


@router.get("/facility/runs/{run_id}/placard.pdf")
def placard(run_id: RefPath, here: Here) -> Response:
    """The placard for the chamber's door."""
    out = io.BytesIO()
    with here.database.read() as session:
        paper, book = _paper(here, session, run_id)
    try:
        write_placard(out, paper, book, here.now(), here.facts)
    except ValueError as error:
        raise HTTPException(404, str(error)) from error
    return _pdf(out.getvalue(), f"placard-{run_id}.pdf")


@router.get("/facility/programmes")
def programmes(request: Request, here: Here) -> HTMLResponse:
    """Signed programmes on file, as their signers wrote them."""
    with here.database.read() as session:
        book = reading.facility(session)
    return _draw(
        request,
        "programmes.html",
        programmes=book.newest_programmes(),
        book=book,
        today=here.now().date(),
        standing=standing_cautions(here.facts),
    )
