"""Paper for a chamber run: the run sheet and the placard for the door."""

import io
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from sqlmodel import Session

from labels.advice_tag import AdviceTag
from labels.paper import PageSize
from labels.placard import Placard, write_placards
from labels.runsheet import (
    Fill,
    LoadLine,
    PlannedTime,
    RunSheet,
    write_run_sheets,
)
from labels.runsheet import Programme as PrintedProgramme
from scheduler.plan import Run as PlannedRun
from scheduler.problem import Problem
from service.assessing import materials_of, triage_of
from service.changed_facts import changes_note
from service.facility.loading import RailStretch, litres, loading_order, rail_mm
from service.log import reading
from service.pages import size_words
from shared.cautions import cautions_for, standing_cautions
from shared.facility import Chamber
from shared.facts import Facts, Harm
from shared.programmes import Programme
from shared.records import FacilityBook, Item, Loss
from shared.triage import Triage

SPACINGS = ("art_wall_gap_m", "art_gap_m", "art_fan_gap_m")


@dataclass(frozen=True)
class RunPaper:
    """What a run sheet is made from, whether the run is planned or open."""

    title: str
    chamber: Chamber
    programme: Programme
    tags: Sequence[str]
    times: tuple[tuple[str, datetime], ...]


def planned_times(problem: Problem, planned: PlannedRun) -> tuple[tuple[str, datetime], ...]:
    """The times of a planned run that its papers show."""
    return (
        ("Loaded and sealed by", problem.epoch + timedelta(minutes=planned.start)),
        ("Planned end, cleared or not", problem.epoch + timedelta(minutes=planned.end)),
    )


def run_sheet(
    session: Session, paper: RunPaper, book: FacilityBook, now: datetime, known: Facts
) -> RunSheet:
    """The sheet for one run, its pieces largest first from the far end of the rail."""
    zone = ZoneInfo(book.facility.zone) if book.facility else ZoneInfo("UTC")
    found = reading.items_by_tag(session, reading.EVERYTHING, paper.tags).values()
    order = loading_order(found, known)
    pieces = [one.item for one in order]
    lines = [_line(session, one, now=now, known=known) for one in order]
    hung = sum(rail_mm(piece, known) for piece in pieces)
    cautions = cautions_for(
        agents=[paper.programme.agent],
        hazards=[],
        damages={seen.damage for piece in pieces for seen in piece.damages},
        known=known,
    )
    signed = paper.programme
    return RunSheet(
        title=paper.title,
        chamber=paper.chamber.label,
        programme=PrintedProgramme(
            label=signed.label,
            version=str(signed.version),
            signed_by=signed.signed_by,
            licence=(
                f"{signed.licence_no}, {signed.jurisdiction}"
                if signed.licence_no
                else "no gas; no licence needed"
            ),
        ),
        times=tuple(PlannedTime(what, when.astimezone(zone)) for what, when in paper.times),
        load=tuple(lines),
        fill=Fill(
            volume_used_m3=sum(litres(piece, known) for piece in pieces) / 1000,
            volume_usable_m3=paper.chamber.volume_l * paper.chamber.usable_fill / 1000,
            rail_used_mm=hung,
            rail_available_mm=paper.chamber.rail_mm,
        ),
        rail_length_mm=max(paper.chamber.rail_mm, hung),
        spacing_rules=tuple(
            f"{round(row.value * 1000)} mm: {row.meaning}"
            for row in (known.spacing(name) for name in SPACINGS)
        ),
        cautions=(
            *(one.text for one in (*cautions, *standing_cautions(known))),
            *filter(None, [changes_note(known)]),
        ),
    )


def _line(session: Session, hung: RailStretch, *, now: datetime, known: Facts) -> LoadLine:
    piece = hung.item
    loss = reading.loss(session, reading.EVERYTHING, piece.loss) if piece.loss else None
    triage = triage_of(piece, loss, now, known=known)
    materials = ", ".join(material.label.lower() for material in piece.materials)
    part = f"; {piece.role.label.lower()} of {piece.parent}" if piece.role and piece.parent else ""
    notes = f"{piece.quantity} pieces" if piece.quantity > 1 else ""
    return LoadLine(
        tag=piece.tag,
        title=piece.title or piece.object_type.label,
        what=f"{piece.object_type.label}: {materials}{part}",
        size=size_words(piece.size) or "not measured",
        rail_from_mm=hung.from_mm,
        rail_to_mm=hung.to_mm,
        layer="rail",
        notes=notes,
        warnings=tuple(one.sentence for one in triage.never[:2]),
    )


def advice_tag(
    item: Item,
    loss: Loss | None,
    triage: Triage,
    parts: Sequence[Item],
    *,
    book: FacilityBook,
    now: datetime,
    known: Facts,
) -> AdviceTag:
    """What the second tag of a piece says: its triage as of ``now``, in the facility's zone.

    Cautions of the site alone are left out once the piece has arrived at the facility.
    """
    zone = ZoneInfo(book.facility.zone) if book.facility else ZoneInfo("UTC")
    damages = [seen.damage for seen in item.damages]
    waters = (
        seen.water_category
        or (loss.water_category if loss else None)
        or known.damages[seen.damage].assumed_water
        for seen in item.damages
    )
    own = cautions_for(
        damages=damages,
        water_categories=filter(None, waters),
        mould_conditions=filter(None, (seen.mould_condition for seen in item.damages)),
        materials=materials_of(item, parts),
        known=known,
    )
    of_site = [
        one
        for one in cautions_for(hazards=loss.hazards if loss else (), known=known)
        if item.received_at is None or not known.cautions[one.id].site_only
    ]
    guards: dict[str, list[str]] = {"people": [], "piece": []}
    for one in (*own, *of_site):
        guards[known.cautions[one.id].guards].append(one.text)
    hurtful = [one.sentence for one in triage.never if one.harm is Harm.PEOPLE]
    changed = changes_note(known) if triage.changed_facts else None
    return AdviceTag(
        tag=item.tag,
        band=triage.band.label,
        as_of=now.astimezone(zone),
        first=triage.first,
        hours_left=triage.hours_left,
        deadline=triage.deadline.astimezone(zone) if triage.deadline else None,
        is_paused=triage.paused,
        cautions=tuple(
            dict.fromkeys(
                (
                    *(one.sentence for one in triage.gates),
                    *hurtful,
                    *guards["people"],
                    *filter(None, [changed]),
                )
            )
        ),
        care=(
            *(one.sentence for one in triage.never if one.harm is not Harm.PEOPLE),
            *guards["piece"],
        ),
        title=item.title,
    )


def write_sheets(target: io.BytesIO, sheets: Sequence[RunSheet], *, title: str) -> int:
    """Write run sheets as one PDF and return its number of pages."""
    return write_run_sheets(target, sheets, PageSize.A4, title=title)


def write_placard(
    target: io.BytesIO, paper: RunPaper, book: FacilityBook, introduced_at: datetime, known: Facts
) -> int:
    """Write the placard for the chamber's door. ``ValueError`` for a programme without gas."""
    programme = paper.programme
    if programme.clearance is None or programme.licence_no is None:
        raise ValueError(f"{programme.label} uses no gas, so it needs no placard")
    person = next(
        (
            one
            for one in (book.facility.licensed if book.facility else ())
            if one.licence_no == programme.licence_no
        ),
        None,
    )
    if person is None:
        raise ValueError(f"licence {programme.licence_no} is not on file; add the licensed person")
    zone = ZoneInfo(book.facility.zone) if book.facility else ZoneInfo("UTC")
    placard = Placard(
        space=paper.chamber.label,
        agent=programme.agent.label,
        hazards=tuple(one.text for one in cautions_for(agents=[programme.agent], known=known))[:3],
        introduced_at=introduced_at.astimezone(zone),
        licensed_person=person.name,
        licence=f"{person.licence_no}, {person.jurisdiction}",
        phone=person.phone,
    )
    return write_placards(target, [placard], PageSize.A4, title=f"Placard, {paper.title}")
