"""A chamber run: its load, its phases, its readings, its clearance and its papers."""

import io
from datetime import datetime, timedelta
from decimal import Decimal, InvalidOperation
from typing import Annotated

from fastapi import APIRouter, Form, HTTPException, Request, Response
from fastapi.responses import HTMLResponse, RedirectResponse
from pydantic import BaseModel
from sqlmodel import Session

from service.crew.routes import RefPath
from service.facility.drawing import (
    FormText,
    draw,
    pdf,
    plan_in_use,
    say,
    station_names,
    zone,
)
from service.facility.form_route import FormRoute, back
from service.facility.plans import planned_run
from service.facility.plots import climate_plot, excursions, gas_plot
from service.facility.receiving import put
from service.facility.runs import NEXT_PHASES, checks_missing, in_hand
from service.facility.sheets import (
    RunPaper,
    planned_times,
    run_sheet,
    write_placard,
    write_sheets,
)
from service.installation import Installation
from service.log import reading
from service.log.reading import EVERYTHING
from service.log.routes import Here
from shared import events as ev
from shared.cautions import cautions_for, leak_steps, standing_cautions
from shared.facility import Chamber
from shared.quantities import OutOfRange, TemperatureUnit, to_celsius
from shared.records import FacilityBook
from shared.vocabulary import Phase, Role, StepKind

router = APIRouter(tags=["facility"], include_in_schema=False, route_class=FormRoute)

LONGEST_HOLD_MIN = 7 * 24 * 60


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


class PhaseForm(BaseModel):
    """The phase to enter, and the one that the page showed when the form was filled in."""

    phase: str
    actor: str
    after: str = ""
    reason: str = ""


class ClimateForm(BaseModel):
    """Temperature and humidity of a zone, as typed."""

    zone: str
    temperature: str
    unit: TemperatureUnit
    rh_percent: str
    actor: str


class SignForm(BaseModel):
    """A signature under readings."""

    readings: str
    seen_to: datetime
    actor: str
    role: str
    licence_no: str = ""


class UnloadForm(BaseModel):
    """Where the load goes from the chamber, and whether the treatment counts as done."""

    station: str
    counts: str
    actor: str
    reason: str = ""


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
        outside = excursions(hand.run, programme) if hand and programme else []
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
            air=climate_plot(hand.run, programme, book, outside) if hand and programme else None,
            outside=outside,
            unchecked=checks_missing(hand.run, programme, here.facts) if hand else (),
            checks=here.facts.dosing_checks,
            leak=leak_steps(programme.agent, here.facts) if programme else (),
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
            places=[
                (one.id, one.label)
                for one in (book.facility.stations if book.facility else ())
                if not isinstance(one, Chamber)
            ],
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
        return back(
            f"/facility/runs/{run_id}",
            "This run is not in the plan being worked by. Look at the plan.",
        )
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
    run_id: RefPath, here: Here, form: Annotated[PhaseForm, Form()]
) -> RedirectResponse:
    """The run moves on from the phase that the page showed; refused when it has moved already."""
    path = f"/facility/runs/{run_id}"
    for name, phase in (("phase", form.phase), ("after", form.after)):
        if phase and phase not in set(Phase):
            return back(path, f"{name}: {phase} is no phase of a run; choose one of the list")
    if form.phase == Phase.ABORTED and not form.reason.strip():
        return back(path, "reason: say why the run is given up; those who air it must know.")
    body = ev.PhaseEntered(
        run=run_id,
        phase=Phase(form.phase),
        after=Phase(form.after) if form.after else None,
        at=here.now(),
        reason=form.reason.strip(),
    )
    return back(path, say(here, body, form.actor))


@router.post("/facility/runs/{run_id}/abort")
def abort(
    run_id: RefPath, here: Here, actor: FormText, reason: FormText, after: FormText = ""
) -> RedirectResponse:
    """The run is given up; it is aired and cleared like any other."""
    form = PhaseForm(phase=Phase.ABORTED, after=after, actor=actor, reason=reason)
    return enter_phase(run_id, here, form)


@router.post("/facility/runs/{run_id}/check")
def check(
    run_id: RefPath,
    here: Here,
    actor: FormText,
    checks: Annotated[list[str] | None, Form()] = None,
) -> RedirectResponse:
    """Somebody looked at what has to be looked at before the gas goes in."""
    path = f"/facility/runs/{run_id}"
    ticked = [one for one in here.facts.dosing_checks if one in (checks or ())]
    if not ticked:
        return back(path, "checks: tick what you have looked at yourself.")
    body = ev.DosingChecked(run=run_id, checks=tuple(ticked), at=here.now())
    return back(path, say(here, body, actor, Role.FUMIGATOR))


@router.post("/facility/runs/{run_id}/climate")
def log_climate(
    run_id: RefPath, here: Here, form: Annotated[ClimateForm, Form()]
) -> RedirectResponse:
    """Temperature and humidity of a zone, entered by hand."""
    path = f"/facility/runs/{run_id}"
    try:
        degrees = Decimal(form.temperature.strip())
        humidity = Decimal(form.rh_percent.strip())
        celsius = to_celsius(degrees, form.unit)
    except (InvalidOperation, OutOfRange):
        return back(path, "temperature, humidity: write each as a number, such as 19.5 and 48.")
    if not 0 <= humidity <= 100:
        return back(path, "humidity: write per cent, 0 to 100.")
    body = ev.ClimateRead(
        run=run_id,
        zone=form.zone,
        temperature_c=f"{celsius:.2f}",
        rh_percent=f"{humidity:f}",
        taken_at=here.now(),
    )
    return back(path, say(here, body, form.actor, Role.FUMIGATOR))


@router.post("/facility/runs/{run_id}/unload")
def unload(run_id: RefPath, here: Here, form: Annotated[UnloadForm, Form()]) -> RedirectResponse:
    """The load comes out: where it goes, and whether the treatment counts as done."""
    path, now = f"/facility/runs/{run_id}", here.now()
    if form.counts not in {"yes", "no"}:
        return back(path, "counts: say whether the treatment counts as done.")
    with here.database.read() as session:
        run = reading.run_sheet(session, run_id)
        if run is None:
            raise HTTPException(404, f"there is no open run {run_id}")
        pieces = reading.items_by_tag(session, EVERYTHING, run.loaded)
    inside = [tag for tag in run.loaded if tag in pieces and pieces[tag].run == run_id]
    moves = [
        ev.ItemMoved(tag=tag, station=form.station, reason=form.reason.strip()) for tag in inside
    ]
    done: list[BaseModel] = [
        ev.StepDone(
            tag=tag,
            step=StepKind.CHAMBER,
            started_at=run.began(Phase.SEALED) or now,
            ended_at=now,
            note=f"run {run_id}",
        )
        for tag in inside
        if form.counts == "yes"
    ]
    unloaded = ev.PhaseEntered(run=run_id, phase=Phase.UNLOADED, after=Phase.CLEARED, at=now)
    return back(path, put(here, moves, form.actor, then=[*done, unloaded]))


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
        run=run_id,
        signer=form.actor,
        licence_no=form.licence_no,
        readings=form.readings,
        seen_to=form.seen_to,
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
    run = reading.run_sheet(session, run_id)
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
