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
from service.crew.routes import TagPath
from service.facility.drawing import (
    draw,
    pdf,
    plan_in_use,
    say,
    station_names,
    typed_tag,
    zone,
)
from service.facility.form_route import FormRoute, back
from service.facility.plans import timed
from service.facility.plots import drying_plot, mould_plot
from service.facility.sheets import (
    advice_tag,
)
from service.installation import Installation
from service.log import reading
from service.log.reading import EVERYTHING, ItemFilter
from service.log.routes import Here
from shared import events as ev
from shared.cautions import cautions_for
from shared.packing import packing_nevers
from shared.records import Item, Loss
from shared.treatments import legal_next
from shared.triage import Triage
from shared.vocabulary import StepKind

router = APIRouter(tags=["facility"], include_in_schema=False, route_class=FormRoute)

PAGE = 60


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
