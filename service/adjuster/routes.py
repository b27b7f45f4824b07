"""The adjuster's pages: the pieces of a loss or of one claim, and the decisions on them.

Every query goes through the scope that :func:`reach` makes, so that a claim's adjuster is shown
nothing of another claim.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Annotated

from fastapi import APIRouter, Form, HTTPException, Query, Request, Response
from fastapi.responses import FileResponse, HTMLResponse, RedirectResponse
from pydantic import Field
from sqlmodel import Session

from labels.paper import PageSize
from service.adjuster.history import Line, line_of
from service.adjuster.listing import PAGE, UNDECIDED, Wanted, listing, rooms
from service.crew.routes import RefPath, TagPath
from service.installation import Installation
from service.log import reading
from service.log.append import RefusedError
from service.log.folding import entries_of
from service.log.reading import EVERYTHING, Scope
from service.log.routes import Here
from service.office.downloads import covers_whole_loss, custody_file, inventory_file
from service.pages import page
from service.reports import wording
from service.reports.inventory import InventoryDocument, Restorable
from service.reports.inventory_document import (
    Amount,
    AmountRange,
    CostResult,
    GroupTotal,
    ItemEntry,
)
from service.reports.inventory_totals import totals_of
from service.reports.issue import InventoryFormat, NotFoundError, inventory_from
from shared import events as ev
from shared.cautions import cautions_for
from shared.records import FacilityBook, Loss
from shared.vocabulary import Damage, Decision, Labelled, Material, Phase, Role

router = APIRouter(tags=["adjuster"], include_in_schema=False)

PREPARED_BY = "Lagan, for the adjuster"
ClaimQuery = Annotated[str, Query()]


def reach(loss_id: str, claim: str) -> Scope:
    """What an adjuster may see: one loss, and in it one claim if ``claim`` is given."""
    return Scope(losses=frozenset({loss_id}), claims=frozenset({claim}) if claim.strip() else None)


def _document(
    here: Installation, loss_id: str, claim: str, only: str | None = None
) -> InventoryDocument:
    try:
        return inventory_from(
            here, reach(loss_id, claim), loss_id, prepared_by=PREPARED_BY, only=only
        )
    except NotFoundError as error:
        raise HTTPException(404, str(error)) from error


# --- losses -------------------------------------------------------------------------------------


@router.get("/adjuster/")
def losses(request: Request, here: Here, claim: ClaimQuery = "") -> HTMLResponse:
    """Every loss with its claims, or those that a claim number finds."""
    wanted = claim.strip()
    with here.database.read() as session:
        found: list[Loss] = reading.losses(session, EVERYTHING)
    if wanted:
        narrowed = [
            loss.model_copy(update={"claims": [one for one in loss.claims if one.claim == wanted]})
            for loss in found
        ]
        found = [loss for loss in narrowed if loss.claims]
    found.sort(
        key=lambda loss: loss.happened_at.timestamp() if loss.happened_at else 0.0, reverse=True
    )
    return page(request, "adjuster_losses.html", {"losses": found, "claim": wanted})


# --- the list -----------------------------------------------------------------------------------


class DecideForm(Wanted):
    """A decision as typed, on ticked pieces or on all that a filter picks."""

    tags: list[str] = Field(default_factory=list)
    everything: str = ""
    chosen: str = ""
    reason: str = ""
    decided_by: str = ""

    def faults(self) -> dict[str, str]:
        """The mend for each field that cannot be taken."""
        found: dict[str, str] = {}
        if self.chosen not in set(Decision):
            found["chosen"] = "Decision: choose one."
        if not self.reason.strip():
            found["reason"] = "Reason: write it down; the owner will ask."
        elif len(self.reason) > 4000:
            found["reason"] = "Reason: shorten it to 4,000 characters."
        if not 0 < len(self.decided_by.strip()) <= 300:
            found["decided_by"] = "Your name: say who decides, so that the record can."
        return found

    def on(self, tag: str) -> ev.DecisionMade:
        """The decision on one piece."""
        return ev.DecisionMade(
            tag=tag,
            decision=Decision(self.chosen),
            reason=self.reason.strip(),
            decided_by=self.decided_by.strip(),
        )


def _options(words: type[Labelled]) -> list[tuple[str, str]]:
    return [(word.value, word.label) for word in words]


def _figures(total: GroupTotal) -> list[dict[str, str]]:
    """What the pieces are worth and have cost so far, each currency apart."""
    found = []
    for one in total.amounts:
        found.append({"label": "Value stated", "value": f"{one.value:,.0f}", "unit": one.currency})
        found.append(
            {"label": "Charged so far", "value": f"{one.charged:,.0f}", "unit": one.currency}
        )
    return found


def _list_page(
    request: Request,
    here: Installation,
    document: InventoryDocument,
    form: DecideForm,
    **shown: object,
) -> HTMLResponse:
    found = listing(document, form)
    wanted = [photo.sha256 for item in found.shown for photo in item.photos[:1]]
    with here.database.read() as session:
        held = reading.photos_held(session, wanted)
    scope = reach(document.loss.loss, form.claim)
    return page(
        request,
        "adjuster_items.html",
        {
            "document": document,
            "loss": document.loss,
            "found": found,
            "totals": totals_of(found.found).everything,
            "overall": document.totals,
            "form": form,
            "held": held,
            "figures": _figures,
            "Amount": Amount,
            "AmountRange": AmountRange,
            "rooms": [(room, room) for room in rooms(document.items)],
            "decisions": _options(Decision),
            "restorables": _options(Restorable),
            "undecided": UNDECIDED,
            "page_size": PAGE,
            "whole": covers_whole_loss(here, scope, document.loss.loss),
            "wording": wording,
            "above": CostResult.ABOVE.value,
            "faults": shown.get("faults", {}),
            "done": shown.get("done", 0),
        },
        422 if shown.get("faults") else 200,
    )


class ListQuery(Wanted):
    """Which pieces to show, and how many were just decided on."""

    done: int = 0


@router.get("/adjuster/losses/{loss_id}")
def items(
    request: Request, loss_id: RefPath, here: Here, wanted: Annotated[ListQuery, Query()]
) -> HTMLResponse:
    """The pieces of a loss or of one claim, a page at a time, with what they add up to."""
    document = _document(here, loss_id, wanted.claim)
    form = DecideForm(**wanted.model_dump(exclude={"done"}))
    return _list_page(request, here, document, form, done=wanted.done)


@router.post("/adjuster/losses/{loss_id}/decide")
def decide_many(
    request: Request, loss_id: RefPath, here: Here, form: Annotated[DecideForm, Form()]
) -> Response:
    """Decide on every ticked piece, or on every piece that the filter picks; all or none."""
    document = _document(here, loss_id, form.claim)
    within = {item.tag for item in document.items}
    picked = (
        [item.tag for item in listing(document, form).found]
        if form.everything
        else list(dict.fromkeys(form.tags))
    )
    faults = form.faults()
    if not picked:
        faults["tags"] = "Pieces: tick at least one, or choose all that were found."
    elif not within.issuperset(picked):
        faults["tags"] = "Pieces: one of those ticked is not in this list; look at it again."
    if not faults:
        fault = _decide(here, loss_id, form, picked)
        if fault is None:
            again = Wanted(**form.model_dump(include=set(Wanted.model_fields)))
            return RedirectResponse(
                f"/adjuster/losses/{loss_id}?{again.query(done=len(picked))}", status_code=303
            )
        faults["tags"] = fault
    return _list_page(request, here, document, form, faults=faults)


def _decide(here: Installation, loss_id: str, form: DecideForm, tags: Sequence[str]) -> str | None:
    """Record the decision on each piece; why not, if the log refuses."""
    try:
        here.log.say_all(
            [form.on(tag) for tag in tags],
            actor=form.decided_by.strip(),
            role=Role.ADJUSTER,
            loss=loss_id,
        )
    except RefusedError as error:
        return str(error)
    return None


# --- one piece ----------------------------------------------------------------------------------


@dataclass(frozen=True)
class RunFacts:
    """What an adjuster is told of a chamber run: the piece's share of it, and no other piece."""

    run: str
    chamber: str
    programme: str
    agent: str
    phases: list[tuple[Phase, datetime]]
    doses: list[str]
    readings: int
    cleared_by: list[str]
    opened_at: datetime | None


def _run_facts(session: Session, book: FacilityBook, run_id: str) -> RunFacts | None:
    run = reading.run(session, run_id)
    if run is None:
        return None
    programme = book.programme(run.programme, run.version)
    chamber = book.chamber(run.station)
    return RunFacts(
        run=run.run,
        chamber=chamber.label if chamber else run.station,
        programme=f"{programme.label if programme else run.programme}, version {run.version}",
        agent=programme.agent.label if programme else "",
        phases=[(change.phase, change.at) for change in run.phases],
        doses=[f"{dose.mass.value} {dose.mass.unit}" for dose in run.doses],
        readings=len(run.gas),
        cleared_by=[
            f"{one.signer} ({one.role.label.lower()}"
            + (f", licence {one.licence_no})" if one.licence_no else ")")
            for one in run.signatures
            if one.readings == run.opened_on
        ],
        opened_at=run.opened_at,
    )


def _item_page(
    request: Request,
    here: Installation,
    document: InventoryDocument,
    tag: str,
    form: DecideForm,
    **shown: object,
) -> HTMLResponse:
    loss = document.loss
    entry = _entry(document, tag)
    scope = reach(loss.loss, form.claim)
    with here.database.read() as session:
        book = reading.facility(session)
        entries = sorted(entries_of(session, f"item:{entry.tag}"), key=lambda one: one.event.order)
        held = reading.photos_held(session, [photo.sha256 for photo in entry.photos])
        record = reading.item(session, Scope(losses=scope.losses), entry.tag)
        runs = [
            facts
            for run_id in (dict.fromkeys(record.runs) if record else ())
            if (facts := _run_facts(session, book, run_id)) is not None
        ]
    history: list[Line] = [line_of(one, loss.zone) for one in entries]
    return page(
        request,
        "adjuster_item.html",
        {
            "document": document,
            "loss": loss,
            "item": entry,
            "former_tags": [wording.shown_tag(tag) for tag in entry.former_tags],
            "parts": [one for one in document.items if one.parent == entry.tag],
            "stations": {one.id: one.label for one in book.facility.stations}
            if book.facility
            else {},
            "runs": runs,
            "history": history,
            "decided": [line for line in history if line.title == "Decided"],
            "held": held,
            "form": form,
            "decisions": _options(Decision),
            "wording": wording,
            "cautions": [
                one.text
                for one in cautions_for(
                    damages=[Damage(seen.damage.code) for seen in entry.condition.damages],
                    materials=[Material(one.code) for one in entry.identification.materials],
                    known=here.facts,
                )
            ],
            "whole": covers_whole_loss(here, scope, loss.loss),
            "faults": shown.get("faults", {}),
        },
        422 if shown.get("faults") else 200,
    )


def _entry(document: InventoryDocument, tag: str) -> ItemEntry:
    for one in document.items:
        if one.tag == tag:
            return one
    raise HTTPException(404, f"there is no piece {tag} in loss {document.loss.loss}")


def _first_tag(here: Installation, tag: str) -> str:
    """The name of the piece that carries ``tag`` or once carried it."""
    with here.database.read() as session:
        item = reading.item(session, EVERYTHING, tag)
    return item.tag if item else tag


@router.get("/adjuster/losses/{loss_id}/items/{tag}")
def one_item(
    request: Request, loss_id: RefPath, tag: TagPath, here: Here, claim: ClaimQuery = ""
) -> HTMLResponse:
    """One piece: what it is, what befell it, what was done, what it costs and is worth."""
    name = _first_tag(here, tag)
    document = _document(here, loss_id, claim, only=name)
    return _item_page(request, here, document, name, DecideForm(claim=claim))


@router.post("/adjuster/losses/{loss_id}/items/{tag}/decide")
def decide_one(
    request: Request,
    loss_id: RefPath,
    tag: TagPath,
    here: Here,
    form: Annotated[DecideForm, Form()],
) -> Response:
    """Decide on this piece."""
    name = _first_tag(here, tag)
    document = _document(here, loss_id, form.claim, only=name)
    faults = form.faults()
    if not faults:
        fault = _decide(here, loss_id, form, [name])
        if fault is None:
            query = Wanted(claim=form.claim).query()
            return RedirectResponse(
                f"/adjuster/losses/{loss_id}/items/{name}?{query}", status_code=303
            )
        faults["chosen"] = fault
    return _item_page(request, here, document, name, form, faults=faults)


# --- downloads ----------------------------------------------------------------------------------


@router.get("/adjuster/losses/{loss_id}/inventory.{form}")
def inventory(
    loss_id: RefPath,
    form: InventoryFormat,
    here: Here,
    claim: ClaimQuery = "",
    paper: PageSize = PageSize.A4,
) -> FileResponse:
    """The inventory of the loss, or of one claim."""
    try:
        return inventory_file(
            here,
            reach(loss_id, claim),
            loss_id,
            form,
            prepared_by=PREPARED_BY,
            page_size=paper,
        )
    except NotFoundError as error:
        raise HTTPException(404, str(error)) from error


@router.get("/adjuster/losses/{loss_id}/custody.zip")
def custody(loss_id: RefPath, here: Here, claim: ClaimQuery = "") -> FileResponse:
    """The custody bundle, for a reader whose reach is the whole loss."""
    try:
        return custody_file(here, reach(loss_id, claim), loss_id)
    except NotFoundError as error:
        raise HTTPException(404, str(error)) from error
