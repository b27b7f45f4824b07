"""What the log refuses to record about a run, and why, in words for a person in a hurry.

Facts (a reading, a dose) are never refused: the record must say what happened. Acts are: loading
what must not be loaded, skipping a phase, opening a chamber that is not cleared.
"""

from collections.abc import Sequence
from datetime import datetime
from functools import partial

from sqlmodel import Session

from service.facility.loading import why_not_enter, why_not_load
from service.facility.programmes import faults_in
from service.facility.runs import NEXT_PHASES, checks_missing, in_hand
from service.facility.studio import (
    why_not_done,
    why_not_listed,
    why_not_over,
    why_not_withdrawn,
)
from service.log import reading
from service.log.append import Guard
from shared import events as ev
from shared.facility import Chamber
from shared.facts import Facts
from shared.programmes import standing_of
from shared.records import PlanAct, RunSheet
from shared.vocabulary import Phase, Role

MEANWHILE = "Not done, because meanwhile:"
MOST_DECIDED = 4


def why_not(
    known: Facts, session: Session, event: ev.Event, body: ev.Body, now: datetime
) -> str | None:
    """Why ``body`` must not be recorded now by the facts ``known`` here, or ``None``."""
    match body:
        case ev.ProgrammeSigned():
            return _why_not_programme(session, body, now, known)
        case ev.FacilityDescribed():
            return _why_not_described(session, body)
        case ev.RunOpened():
            return _why_not_run(session, body, now)
        case ev.RunItemAdded():
            return _why_not_added(session, body, now, known)
        case ev.RunItemRemoved():
            return _why_not_removed(session, body)
        case ev.ItemLoaded():
            return why_not_load(session, body, now, known)
        case ev.PhaseEntered():
            return _why_not_phase(session, body, now, known)
        case ev.ChamberOpened():
            return _why_not_open(session, body, now, known)
        case ev.OverrideSigned() if event.role is not Role.CONSERVATOR:
            return "role: only a conservator may sign an override; ask one"
        case ev.PlanAdopted() | ev.PlanEdited() | ev.PlanEditWithdrawn():
            return _why_not_plan(session, body)
        case ev.StudioPlanned():
            return why_not_listed(session, event, body, known)
        case ev.StudioTaskDone():
            return why_not_done(session, body, known)
        case ev.StudioTaskWithdrawn():
            return why_not_withdrawn(session, event, body)
        case ev.StepDone():
            return why_not_over(session, body)
        case ev.TagReplaced():
            if reading.item(session, reading.EVERYTHING, body.new_tag) is not None:
                return f"new_tag: {body.new_tag} is already tied to a piece; take a blank tag"
    return None


JUDGED = (
    ev.FacilityDescribed,
    ev.ProgrammeSigned,
    ev.RunOpened,
    ev.RunItemAdded,
    ev.RunItemRemoved,
    ev.ItemLoaded,
    ev.PhaseEntered,
    ev.ChamberOpened,
    ev.OverrideSigned,
    ev.TagReplaced,
    ev.StepDone,
    ev.StudioPlanned,
    ev.StudioTaskDone,
    ev.StudioTaskWithdrawn,
    ev.PlanAdopted,
    ev.PlanEdited,
    ev.PlanEditWithdrawn,
)


def facility_guard(known: Facts) -> Guard:
    """The guard of an installation that works by the facts ``known``."""
    return Guard(judges=JUDGED, why_not=partial(why_not, known))


def _why_not_programme(
    session: Session, body: ev.ProgrammeSigned, now: datetime, known: Facts
) -> str | None:
    signed = body.programme
    book = reading.facility(session)
    on_file = book.programme(signed.id, signed.version)
    if on_file is None:
        faults = faults_in(signed, book.facility, now.date(), known)
        return "; ".join(f"{field}: {sentence}" for field, sentence in faults) or None
    if on_file == signed:
        return None
    return (
        f"version: {on_file.label} version {signed.version} is signed already and stays as it is; "
        "sign the change as a new version"
    )


def _why_not_described(session: Session, body: ev.FacilityDescribed) -> str | None:
    """A chamber that is in use stays as it is: its zones are what clearance measures."""
    before = reading.facility(session)
    stations = {one.id: one for one in body.facility.stations}
    if body.after is not None and (before.facility is None or before.facility.digest != body.after):
        return (
            "facility: somebody else has changed it since you opened the form; look at both and "
            "save again"
        )
    held = reading.counts_by_station(session, reading.EVERYTHING)
    for station in before.facility.stations if before.facility else ():
        if station.id not in stations and held.get(station.id):
            return (
                f"stations: {station.label} holds {held[station.id]} pieces and can't be taken "
                "out; move them first"
            )
    for run in reading.runs(session):
        if run.phase is Phase.UNLOADED:
            continue
        chamber, after = before.chamber(run.station), stations.get(run.station)
        if run.phase is Phase.PLANNED and after is not None:
            continue
        if chamber is None or chamber == after:
            continue
        if not isinstance(after, Chamber):
            return (
                f"stations: {chamber.label} is needed by run {run.run} and can't be taken out; "
                "abort or unload the run first"
            )
        for name in ("inside_mm", "zones", "air_changes_per_h"):
            if getattr(after, name) != getattr(chamber, name):
                return (
                    f"stations.{chamber.id}.{name}: {chamber.label} holds run {run.run}, begun by "
                    "what it says now; change it after unloading"
                )
    return None


def _why_not_plan(
    session: Session, body: ev.PlanAdopted | ev.PlanEdited | ev.PlanEditWithdrawn
) -> str | None:
    """Two people plan at once: the second is told what the first decided."""
    book = reading.facility(session)
    if body.after is not None and body.after != book.plan_seen:
        return f"{MEANWHILE} {decided(book.decided_since(body.after))} Look again, then decide."
    if isinstance(body, ev.PlanAdopted):
        return None
    known = {one.edit: one for one in book.edits}
    if isinstance(body, ev.PlanEdited):
        if body.edit in known:
            return f"edit: {body.edit} is there already; give it another id"
        return None
    if body.edit not in known or known[body.edit].withdrawn:
        return f"edit: {body.edit} does not count any more; nothing is left to withdraw"
    return None


def decided(acts: Sequence[PlanAct]) -> str:
    """Who decided what, newest last; the last few of many."""
    last = acts[-MOST_DECIDED:]
    earlier = f"{len(acts) - len(last)} decisions, and then: " if len(acts) > len(last) else ""
    return earlier + " ".join(f"{act.actor} {act.words}." for act in last)


def _why_not_added(
    session: Session, body: ev.RunItemAdded, now: datetime, known: Facts
) -> str | None:
    run = reading.run_sheet(session, body.run)
    if run is None:
        return f"run: there is no run {body.run}; look at the list of runs"
    item = reading.item(session, reading.EVERYTHING, body.tag)
    if item is None:
        return f"tag: no piece carries the tag {body.tag}; scan it again"
    if body.tag in run.tags:
        return f"tag: {body.tag} is on the sheet of run {body.run} already; scan the next"
    closed = _why_not_listed(run)
    return closed or why_not_enter(session, run, item, run.tags, now, known=known)


def _why_not_removed(session: Session, body: ev.RunItemRemoved) -> str | None:
    run = reading.run_sheet(session, body.run)
    if run is None:
        return f"run: there is no run {body.run}; look at the list of runs"
    if body.tag not in run.tags:
        return f"tag: {body.tag} is not on the sheet of run {body.run}; scan another"
    if len(run.tags) == 1:
        return "tag: it is the last piece of the run; abort the run instead"
    return _why_not_listed(run)


def _why_not_listed(run: RunSheet) -> str | None:
    """Why the sheet of a run can't be changed any more, or ``None``."""
    if run.doses:
        return "run: agent has been dosed; keep it shut, and take the piece out at unloading"
    if run.phase is Phase.SEALED:
        return "run: the chamber is sealed; go back to loading first"
    if run.phase not in {Phase.PLANNED, Phase.LOADING}:
        return f"run: its sheet is closed, for the run is “{run.phase.label}”; ask the lead"
    return None


def _why_not_run(session: Session, body: ev.RunOpened, now: datetime) -> str | None:
    if reading.run_sheet(session, body.run) is not None:
        return f"run: {body.run} is open already; give another run another id"
    book = reading.facility(session)
    programme = book.programme(body.programme, body.version)
    if programme is None:
        return f"programme: {body.programme} version {body.version} is not on file; have it signed"
    standing = standing_of(programme, book.facility, now.date())
    if not standing.usable:
        return f"programme: {programme.label} {standing.words}"
    newest = book.programme(body.programme)
    if newest is not None and newest.version != body.version:
        return f"version: {programme.label} now stands at version {newest.version}; use that"
    chamber = book.chamber(body.station)
    if chamber is None:
        return f"station: {body.station} is no chamber of this facility; choose another"
    if body.programme not in chamber.programmes:
        return f"station: {chamber.label} may not run {programme.label}; choose another chamber"
    holding = _held_by(session, body.station)
    if holding is not None:
        return f"station: {chamber.label} still holds run {holding}; unload it first"
    return None


def _held_by(session: Session, station: str) -> str | None:
    """The run that has begun in a chamber and is not unloaded; ``None`` when it is free."""
    return next(
        (
            run.run
            for run in reading.runs(session, station)
            if run.phase not in {Phase.UNLOADED, Phase.PLANNED}
        ),
        None,
    )


def _why_not_phase(
    session: Session, body: ev.PhaseEntered, now: datetime, known: Facts
) -> str | None:
    run = reading.run_sheet(session, body.run)
    if run is None:
        return f"run: there is no run {body.run}; look at the list of runs"
    if body.after is not None and body.after is not run.phase:
        return (
            f"phase: the run has moved on from “{body.after.label}” to “{run.phase.label}”; "
            "look at it again"
        )
    if body.phase not in NEXT_PHASES[run.phase]:
        allowed = ", ".join(phase.label for phase in NEXT_PHASES[run.phase]) or "nothing more"
        return f"phase: after “{run.phase.label}” comes: {allowed}; choose that"
    if body.phase in {Phase.LOADING, Phase.SEALED, Phase.DOSING}:
        lapsed = _why_lapsed(session, run, now)
        if lapsed is not None:
            return f"phase: {lapsed}"
    if run.phase is Phase.PLANNED:
        holding = _held_by(session, run.station)
        if holding is not None:
            return f"phase: the chamber still holds run {holding}; unload it first"
    if run.opened_at is not None and body.phase not in {Phase.CLEARED, Phase.UNLOADED}:
        return "phase: the chamber was opened and can only be unloaded; say where the load goes"
    if body.phase is Phase.CLEARED:
        return _why_not_cleared(run)
    if body.phase is Phase.DOSING:
        return _why_not_dosed(session, run, known)
    if body.phase is Phase.UNLOADED:
        return _why_not_unloaded(session, run)
    if body.phase is Phase.LOADING and run.doses:
        return "phase: agent has been dosed; keep the chamber shut until it is aired and cleared"
    if body.phase is Phase.SEALED and set(run.loaded) != set(run.tags):
        missing = len(set(run.tags) - set(run.loaded))
        return f"phase: {missing} of the run's pieces are not loaded; load them or take them off"
    return None


def _why_lapsed(session: Session, run: RunSheet, now: datetime) -> str | None:
    """Why the run's programme can't be started or dosed now, or ``None``.

    It is asked again at every step towards the gas: days may lie between planning and dosing.
    """
    book = reading.facility(session)
    programme = book.programme(run.programme, run.version)
    if programme is None:
        return f"{run.programme} version {run.version} is not on file; have it signed first"
    standing = standing_of(programme, book.facility, now.date())
    return None if standing.usable else f"{programme.label} {standing.words}"


def _why_not_cleared(run: RunSheet) -> str | None:
    if run.opened_at is None:
        return "phase: the chamber has not been opened under clearance; clear and open it first"
    if any(dose.at >= run.opened_at for dose in run.doses):
        return "phase: agent was dosed after the opening; air the chamber and clear it again"
    return None


def _why_not_dosed(session: Session, run: RunSheet, known: Facts) -> str | None:
    programme = reading.facility(session).programme(run.programme, run.version)
    left = len(checks_missing(run, programme, known))
    if left == 0:
        return None
    checks = "one check before dosing is" if left == 1 else f"{left} checks before dosing are"
    return f"phase: {checks} not done. Nothing goes in; do them first, on the run's page."


def _why_not_unloaded(session: Session, run: RunSheet) -> str | None:
    """A chamber is unloaded when nothing of the run is on record as standing in it."""
    pieces = reading.items_by_tag(session, reading.EVERYTHING, run.loaded).values()
    inside = sum(one.run == run.run and one.station == run.station for one in pieces)
    if inside == 0:
        return None
    what = "one piece still stands" if inside == 1 else f"{inside} pieces still stand"
    return f"phase: {what} in the chamber; say where the load goes"


def _why_not_open(
    session: Session, body: ev.ChamberOpened, now: datetime, known: Facts
) -> str | None:
    try:
        hand = in_hand(session, body.run, now, known)
    except Exception:
        # Whatever fails, the answer is no: an unchecked chamber is not a cleared one.
        return "NOT CLEARED: the check itself failed; do not open"
    if hand is None:
        return f"NOT CLEARED: there is no run {body.run}; do not open"
    if not hand.clearance.may_open:
        return "NOT CLEARED: " + "; ".join(hand.clearance.reasons)
    if hand.programme is not None and hand.programme.clearance is None:
        return None
    if body.readings not in hand.clearance.signed:
        return "NOT CLEARED: the readings have changed since they were signed"
    return None
