"""The facility lead's and the licensed fumigator's pages."""

import io
import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import timedelta
from decimal import Decimal
from typing import Annotated
from urllib.parse import quote

from fastapi import APIRouter, Form, HTTPException, Request, Response
from fastapi.responses import HTMLResponse, RedirectResponse
from pydantic import BaseModel
from sqlmodel import Session

from labels.advice_tag import write_advice_tags
from labels.codes import TagError
from labels.sheets import LAYOUTS, LayoutError, layout_named
from service.assessing import (
    choose_programme,
    frozen_intervals,
    needed_steps,
    packing_of,
    remaining_steps,
    triage_of,
)
from service.crew.routes import RefPath, TagPath
from service.facility.drawing import (
    FormText,
    draw,
    pdf,
    plan_in_use,
    say,
    station_names,
    typed_tag,
    zone,
)
from service.facility.form_route import FormRoute, back
from service.facility.plans import planned_run, timed
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
from service.log.reading import EVERYTHING, ItemFilter
from service.log.routes import Here
from shared import events as ev
from shared.cautions import cautions_for, standing_cautions
from shared.packing import packing_nevers
from shared.records import FacilityBook, Item, Loss
from shared.treatments import legal_next
from shared.triage import Triage
from shared.vocabulary import Phase, Role, StepKind

router = APIRouter(tags=["facility"], include_in_schema=False, route_class=FormRoute)

PAGE = 60
LONGEST_HOLD_MIN = 7 * 24 * 60


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


class StepForm(BaseModel):
    """A finished step, as typed."""

    step: str
    actor: str
    hours: str = ""
    note: str = ""


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


# --- pieces -------------------------------------------------------------------------------------


@router.get("/facility/items")
def pieces(
    request: Request, here: Here, q: str = "", station: str = "", page_no: int = 1
) -> HTMLResponse:
    """Where is it: by tag, title, maker or room on site."""
    typed, _ = typed_tag(q) if q else ("", None)
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
        return draw(
            request,
            "pieces.html",
            q=q,
            station=station,
            stations=station_names(book),
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
        plan = plan_in_use(here, session)
        placed = [one for one in (timed(*plan) if plan else []) if one.placement.item == item.tag]
        programme, rulings = choose_programme(item, [], book, here.now(), known=here.facts)
        frozen = frozen_intervals(item, book, here.now())
        return draw(
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
            stations=station_names(book),
            layouts=[(one.name, one.words) for one in LAYOUTS.values()],
            zone=zone(book),
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
    return pdf(out.getvalue(), f"second-tag-{item.tag}.pdf")


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
    return back(f"/facility/items/{tag}", say(here, body, form.actor))


# --- chamber runs -------------------------------------------------------------------------------


@router.get("/facility/runs")
def all_runs(request: Request, here: Here) -> HTMLResponse:
    """Open runs, finished runs and planned runs."""
    now = here.now()
    with here.database.read() as session:
        book = reading.facility(session)
        plan = plan_in_use(here, session)
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
        return draw(
            request,
            "runs.html",
            hands=hands,
            planned=planned[:40],
            stations=station_names(book),
            programmes={one.id: one.label for one in book.programmes},
            zone=zone(book),
        )


@router.get("/facility/runs/{run_id}")
def one_run(request: Request, run_id: RefPath, here: Here, problem: str = "") -> HTMLResponse:
    """A run in hand: load, readings, dose, clearance; or a planned run to open."""
    now = here.now()
    with here.database.read() as session:
        book = reading.facility(session)
        hand = in_hand(session, run_id, now, here.facts)
        plan = plan_in_use(here, session)
        planned = planned_run(plan[1], run_id) if plan else None
        if hand is None and planned is None:
            raise HTTPException(404, f"there is no run {run_id}, planned or open")
        tags = hand.run.tags if hand else list(planned.items if planned else ())
        items = reading.items_by_tag(session, EVERYTHING, tags)
        programme = hand.programme if hand else book.programme(planned.programme if planned else "")
        chamber = book.chamber(hand.run.station if hand else planned.station if planned else "")
        return draw(
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
            zone=zone(book),
            now=now,
            problem=problem,
        )


@router.post("/facility/runs/{run_id}/open")
def open_run(run_id: RefPath, here: Here, actor: FormText) -> RedirectResponse:
    """Begin to load a planned run."""
    with here.database.read() as session:
        plan = plan_in_use(here, session)
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
    problem = say(here, opened, actor) or say(
        here, ev.PhaseEntered(run=run_id, phase=Phase.LOADING, at=here.now()), actor
    )
    return back(f"/facility/runs/{run_id}", problem)


@router.post("/facility/runs/{run_id}/phase")
def enter_phase(
    run_id: RefPath, here: Here, phase: FormText, actor: FormText, reason: FormText = ""
) -> RedirectResponse:
    """The run moves on."""
    if phase not in set(Phase):
        return back(f"/facility/runs/{run_id}", f"phase: {phase} is no phase of a run")
    body = ev.PhaseEntered(run=run_id, phase=Phase(phase), at=here.now(), reason=reason)
    return back(f"/facility/runs/{run_id}", say(here, body, actor))


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
    problem = say(here, gas, form.actor, Role.FUMIGATOR)
    return back(path, problem or say(here, air, form.actor, Role.FUMIGATOR))


@router.post("/facility/runs/{run_id}/dose")
def add_dose(
    run_id: RefPath, here: Here, mass: FormText, unit: FormText, actor: FormText
) -> RedirectResponse:
    """Agent was introduced."""
    body = ev.DoseAdded.model_validate(
        {"run": run_id, "mass": {"value": mass.strip(), "unit": unit}, "at": here.now()}
    )
    return back(f"/facility/runs/{run_id}", say(here, body, actor, Role.FUMIGATOR))


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
    return back(f"/facility/runs/{run_id}", say(here, body, actor, Role.FUMIGATOR))


@router.post("/facility/runs/{run_id}/sign")
def sign(run_id: RefPath, here: Here, form: Annotated[SignForm, Form()]) -> RedirectResponse:
    """A name under exactly these readings."""
    path = f"/facility/runs/{run_id}"
    if form.role not in {Role.FUMIGATOR, Role.LEAD}:
        return back(path, "role: choose who signs")
    body = ev.ClearanceSigned(
        run=run_id, signer=form.actor, licence_no=form.licence_no, readings=form.readings
    )
    return back(path, say(here, body, form.actor, Role(form.role)))


@router.post("/facility/runs/{run_id}/unseal")
def open_chamber(
    run_id: RefPath, here: Here, actor: FormText, readings: FormText = "0" * 64
) -> RedirectResponse:
    """Open the chamber: refused unless it is cleared at this moment."""
    now = here.now()
    body = ev.ChamberOpened(run=run_id, readings=readings, at=now)
    problem = say(here, body, actor, Role.FUMIGATOR) or say(
        here, ev.PhaseEntered(run=run_id, phase=Phase.CLEARED, at=now), actor, Role.FUMIGATOR
    )
    return back(f"/facility/runs/{run_id}", problem)


def _paper(here: Installation, session: Session, run_id: str) -> tuple[RunPaper, FacilityBook]:
    """What a run's papers are made from, opened or planned."""
    book = reading.facility(session)
    plan = plan_in_use(here, session)
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


@router.get("/facility/runs/{run_id}/sheet.pdf")
def sheet(run_id: RefPath, here: Here) -> Response:
    """The printed run sheet."""
    out = io.BytesIO()
    with here.database.read() as session:
        paper, book = _paper(here, session, run_id)
        made = run_sheet(session, paper, book, here.now(), here.facts)
    write_sheets(out, [made], title=paper.title)
    return pdf(out.getvalue(), f"run-{run_id}.pdf")


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
    return pdf(out.getvalue(), f"placard-{run_id}.pdf")
