"""Issuing an inventory: gathers what the log, the rules and the charges say of a loss's pieces.

What a reader may not see takes no part in it: neither the pieces, nor the claims, nor the charges
that an estimate is drawn from.
"""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import replace
from datetime import datetime
from decimal import Decimal
from enum import StrEnum
from pathlib import Path
from typing import BinaryIO, Final

from sqlmodel import Session

from labels.codes import list_url
from labels.paper import PageSize
from service.assessing import choose_programme, needed_steps, packing_of, triage_of
from service.installation import Installation
from service.log import reading
from service.log.reading import ItemFilter, Scope
from service.reports.inventory import (
    METHOD,
    CustodySummary,
    InventoryDocument,
    ItemAssessment,
    PlannedStep,
    Range,
    Restorable,
    StepStatus,
    build_inventory,
)
from service.reports.inventory_csv import write_inventory_csv
from service.reports.inventory_json import write_inventory_json
from service.reports.inventory_pdf import write_inventory_pdf
from service.reports.inventory_xlsx import write_inventory_xlsx
from service.reports.manifest_pdf import write_manifest_pdf
from service.storage.photos import PhotoStore
from shared import ledger
from shared.facts import Facts, Gate
from shared.packing import packing_nevers
from shared.records import FacilityBook, Item, Loss, Run
from shared.triage import Triage
from shared.vocabulary import Damage, Decision, Phase, StepKind

ESTIMATE_METHOD: Final = (
    "An estimate is the charges so far plus, for every step still to do, the least and the most "
    "that this step has been charged for another piece of this inventory. Where a step has not "
    "been charged for any piece yet, no estimate is given."
)
_WAITING: Final = {Decision.HOLD, Decision.QUESTION, Decision.SETTLE}
_RUN_OVER: Final = {Phase.UNLOADED, Phase.ABORTED}
_NEVER_CHARGED: Final = {StepKind.RETURN}
_EMPTY_ROOT: Final = ledger.CompactRange().root().hex()


class NotFoundError(LookupError):
    """There is no such loss, claim or piece within the reader's scope."""


class InventoryFormat(StrEnum):
    """The forms an inventory can be had in; the value is the ending of the file."""

    PDF = "pdf"
    XLSX = "xlsx"
    CSV = "csv"
    JSON = "json"

    @property
    def media_type(self) -> str:
        """The media type to send it under."""
        return _MEDIA_TYPES[self]


_MEDIA_TYPES: Final = {
    InventoryFormat.PDF: "application/pdf",
    InventoryFormat.XLSX: "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
    InventoryFormat.CSV: "text/csv; charset=utf-8",
    InventoryFormat.JSON: "application/json",
}


class SealedPhotos:
    """The sealed originals, as a report reads them."""

    def __init__(self, photos: PhotoStore) -> None:
        self._photos = photos

    def read(self, digest: str) -> bytes | None:
        """The bytes with this SHA-256, or ``None`` while they have not come in."""
        try:
            return self._photos.get(digest)
        except KeyError:
            return None


def loss_within(session: Session, scope: Scope, loss_id: str) -> Loss:
    """The loss with only those of its claims that the reader may see. ``NotFoundError``."""
    loss = reading.loss(session, scope, loss_id)
    if loss is None:
        raise NotFoundError(f"there is no loss {loss_id}")
    if scope.claims is None:
        return loss
    claims = [one for one in loss.claims if one.claim in scope.claims]
    if not claims:
        raise NotFoundError(f"there is no loss {loss_id}")
    return loss.model_copy(update={"claims": claims})


def pieces_within(session: Session, scope: Scope, loss_id: str) -> list[Item]:
    """The pieces of a loss that the reader may see, by tag.

    A part without a claim of its own goes with the piece it belongs to.
    """
    wanted = ItemFilter(loss=loss_id)
    found = reading.items(session, scope, wanted)
    if scope.claims is None:
        return found
    tags = {item.tag for item in found}
    parts = [
        item
        for item in reading.items(session, replace(scope, claims=None), wanted)
        if item.claim is None and item.parent in tags
    ]
    return sorted([*found, *parts], key=lambda item: item.tag)


def inventory_of(
    session: Session,
    scope: Scope,
    loss_id: str,
    *,
    now: datetime,
    prepared_by: str,
    signer: ledger.Signer,
    only: str | None = None,
    version: int = 1,
    notice: str = "",
    known: Facts,
) -> InventoryDocument:
    """The inventory of a loss as it stands at ``now``, as far as ``scope`` reaches.

    Args:
        session: a session for reading.
        scope: what the reader may see.
        loss_id: the loss.
        now: the time, with its zone.
        prepared_by: who prepares it.
        signer: the key whose latest checkpoint of the loss the inventory names.
        only: take in only the piece with this tag, its parts and what it is a part of; estimates
            are still drawn from all pieces.
        version: number of this inventory among those sent.
        notice: a line for every page, such as for a demonstration.
        known: the facts it is made by.

    Raises:
        NotFoundError: no such loss or piece within ``scope``.
    """
    loss = loss_within(session, scope, loss_id)
    items = pieces_within(session, scope, loss_id)
    listed = items if only is None else _around(items, only)
    if only is not None and not listed:
        raise NotFoundError(f"there is no piece {only} in loss {loss_id}")
    assessor = _Assessor(session, loss, items, now=now, known=known)
    return build_inventory(
        loss,
        listed,
        prepared_at=now,
        prepared_by=prepared_by,
        assessments={item.tag: assessor.assess(item) for item in listed},
        custody=custody_of(session, signer, loss_id),
        claim=loss.claims[0].claim if scope.claims is not None and len(loss.claims) == 1 else None,
        version=version,
        notice=notice,
        method=(*METHOD, ESTIMATE_METHOD),
        known=known,
    )


def _around(items: Sequence[Item], tag: str) -> list[Item]:
    """A piece with its parts and what it is a part of; nothing when it is not among ``items``."""
    whole = next((item.parent for item in items if item.tag == tag), "")
    if whole == "":
        return []
    return [item for item in items if tag in (item.tag, item.parent) or item.tag == whole]


def custody_of(session: Session, signer: ledger.Signer, loss_id: str) -> CustodySummary:
    """What the newest checkpoint says of the loss's tree.

    Raises ``ledger.NoteError`` when the checkpoint was not signed by this installation's key.
    """
    kept = reading.checkpoints(session, loss_id)
    if not kept:
        return CustodySummary(tree_size=0, root=_EMPTY_ROOT)
    note = kept[-1].note
    sealed = ledger.open_checkpoint(note, [signer.verifier])
    return CustodySummary(tree_size=sealed.size, root=sealed.root.hex(), checkpoint=note)


def write_inventory(
    document: InventoryDocument,
    form: InventoryFormat,
    target: BinaryIO,
    photos: PhotoStore,
    *,
    page_size: PageSize = PageSize.A4,
    progress: Callable[[int, int], None] | None = None,
) -> None:
    """Write an inventory in one of its forms; ``progress`` is told of each item in a PDF."""
    match form:
        case InventoryFormat.PDF:
            write_inventory_pdf(
                document, target, SealedPhotos(photos), page_size=page_size, progress=progress
            )
        case InventoryFormat.XLSX:
            write_inventory_xlsx(document, target)
        case InventoryFormat.CSV:
            write_inventory_csv(document, target)
        case InventoryFormat.JSON:
            write_inventory_json(document, target)


def inventory_from(
    here: Installation,
    scope: Scope,
    loss_id: str,
    *,
    prepared_by: str,
    only: str | None = None,
    notice: str = "",
) -> InventoryDocument:
    """:func:`inventory_of` an installation, now."""
    with here.database.read() as session:
        return inventory_of(
            session,
            scope,
            loss_id,
            now=here.now(),
            prepared_by=prepared_by,
            signer=here.log.signer,
            only=only,
            notice=notice,
            known=here.facts,
        )


def write_manifest(
    here: Installation,
    manifest_id: str,
    target: Path | BinaryIO,
    *,
    page_size: PageSize = PageSize.A4,
    notice: str = "",
) -> None:
    """Write the sheet that goes with a truck. ``NotFoundError`` when there is no such manifest."""
    now = here.now()
    with here.database.read() as session:
        manifest = reading.manifest(session, reading.EVERYTHING, manifest_id)
        if manifest is None or manifest.loss is None:
            raise NotFoundError(f"there is no manifest {manifest_id}")
        scope = reading.within(manifest.loss)
        loss = loss_within(session, scope, manifest.loss)
        items = reading.items_by_tag(session, scope, [*manifest.tags, *manifest.received])
    never = {tag: packing_nevers(packing_of(item, here.facts)) for tag, item in items.items()}
    write_manifest_pdf(
        manifest,
        items,
        target,
        loss=loss,
        prepared_at=now,
        never=never,
        address=list_url(here.settings.base_url, loss.loss, manifest.manifest),
        notice=notice,
        page_size=page_size,
        known=here.facts,
    )


# --- what is said of each piece -----------------------------------------------------------------


class _Assessor:
    """Assesses pieces against the rules, the facility and what other pieces were charged."""

    def __init__(
        self, session: Session, loss: Loss, items: Sequence[Item], *, now: datetime, known: Facts
    ) -> None:
        self.session, self.loss, self.now, self.known = session, loss, now, known
        self.book: FacilityBook = reading.facility(session)
        self.parts: dict[str, list[Item]] = {}
        for item in items:
            if item.parent is not None:
                self.parts.setdefault(item.parent, []).append(item)
        self.prices = step_prices(items)
        self.currencies = {one.claim: one.currency for one in loss.claims}
        self.runs: dict[str, Run | None] = {}

    def assess(self, item: Item) -> ItemAssessment:
        """What triage, planning and estimating say of the piece."""
        parts = self.parts.get(item.tag, [])
        triage = triage_of(item, self.loss, self.now, parts, self.book, known=self.known)
        restorable, reason = self._restorable(item, parts, triage)
        return ItemAssessment(
            restorable=restorable,
            reason=reason,
            steps=tuple(self._steps(item)),
            band=None if item.returned_to else triage.band,
            time_left="" if item.returned_to else triage.factors[0].sentence,
            never=tuple(one.sentence for one in triage.never),
            estimate=self._estimate(item),
        )

    def _restorable(
        self, item: Item, parts: Sequence[Item], triage: Triage
    ) -> tuple[Restorable, str]:
        """Whether to treat it, and why. That a piece is beyond help is never for us to say."""
        seen = [one.damage for one in item.damages]
        if not seen:
            return Restorable.UNKNOWN, "No damage is recorded yet."
        if set(seen) == {Damage.NONE_SEEN}:
            return Restorable.YES, "No damage was seen; it needs no treatment."
        for gate in triage.gates:
            if gate.gate is Gate.CONSERVATOR_ONLY:
                return Restorable.CONSERVATOR, gate.sentence
        needed = [need.step for need in needed_steps(item, self.known)]
        if StepKind.CHAMBER in needed and StepKind.CHAMBER not in item.steps_done:
            programme, _ = choose_programme(item, parts, self.book, self.now, known=self.known)
            if programme is None:
                return (
                    Restorable.CONSERVATOR,
                    "It needs a chamber run, and no programme on file may be run on it.",
                )
        words = ", ".join(step.label.lower() for step in needed if step is not StepKind.RETURN)
        return Restorable.YES, f"Usual treatment for this damage: {words}."

    def _steps(self, item: Item) -> Iterable[PlannedStep]:
        waits = item.decision is not None and item.decision.decision in _WAITING
        for need in needed_steps(item, self.known):
            if need.step in item.steps_done:
                continue
            why = " ".join(need.causes) or need.reason
            if need.step is StepKind.RETURN and item.returned_to:
                yield PlannedStep(need.step, StepStatus.DONE, f"Received by {item.returned_to}.")
            elif self._under_way(item, need.step):
                yield PlannedStep(need.step, StepStatus.IN_PROGRESS, why)
            elif waits:
                yield PlannedStep(need.step, StepStatus.HELD, why)
            else:
                yield PlannedStep(need.step, StepStatus.PLANNED, why)

    def _under_way(self, item: Item, step: StepKind) -> bool:
        if step is StepKind.DRY:
            return bool(item.weighings)
        if step is StepKind.CHAMBER and item.run is not None:
            if item.run not in self.runs:
                self.runs[item.run] = reading.run(self.session, item.run)
            run = self.runs[item.run]
            return run is not None and run.phase not in _RUN_OVER
        return False

    def _estimate(self, item: Item) -> Range | None:
        currency = self._currency(item)
        if currency is None:
            return None
        low = high = charged_in(item, currency)
        paid = {charge.step for charge in item.charges}
        for need in needed_steps(item, self.known):
            if need.step in item.steps_done or need.step in paid or need.step in _NEVER_CHARGED:
                continue
            others = [
                amount
                for tag, amount in self.prices.get((need.step, currency), {}).items()
                if tag != item.tag
            ]
            if not others:
                return None
            low, high = low + min(others), high + max(others)
        return Range(low, high, currency) if high > 0 else None

    def _currency(self, item: Item) -> str | None:
        """The one currency to estimate in; none where the charges are in several."""
        charged = {charge.rate.currency for charge in item.charges}
        if len(charged) > 1:
            return None
        if charged:
            return charged.pop()
        return self.currencies.get(item.claim or "") or (
            item.valuation.value.currency if item.valuation else None
        )


def charged_in(item: Item, currency: str) -> Decimal:
    """What a piece has been charged in one currency."""
    return sum(
        (
            Decimal(charge.quantity) * charge.rate.decimal
            for charge in item.charges
            if charge.rate.currency == currency
        ),
        Decimal(0),
    )


def step_prices(items: Iterable[Item]) -> Mapping[tuple[StepKind, str], Mapping[str, Decimal]]:
    """What each step has been charged for each piece, in each currency, by tag."""
    prices: dict[tuple[StepKind, str], dict[str, Decimal]] = {}
    for item in items:
        for charge in item.charges:
            if charge.step is None:
                continue
            of_step = prices.setdefault((charge.step, charge.rate.currency), {})
            amount = Decimal(charge.quantity) * charge.rate.decimal
            of_step[item.tag] = of_step.get(item.tag, Decimal(0)) + amount
    return prices
