"""Makes the inventory of a loss from its records and from what triage and estimating say."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from typing import Any, Final

from pydantic import BaseModel

from service.changed_facts import changes_note
from service.reports.inventory_document import (
    Advice,
    Amount,
    AmountRange,
    CashValueEntry,
    CautionEntry,
    ClaimEntry,
    Comparison,
    Condition,
    CostLine,
    CostResult,
    Costs,
    CustodyLine,
    CustodySummary,
    DamageEntry,
    DecisionEntry,
    Found,
    InventoryDocument,
    ItemEntry,
    LossEntry,
    Measure,
    Measurements,
    ObjectIdentification,
    OpenConflict,
    PhotoEntry,
    Restorable,
    Statement,
    StepStatus,
    TreatmentStep,
    ValueEntry,
    inventory_schema,
    term,
)
from service.reports.inventory_totals import totals_of
from service.reports.wording import shown_tag
from shared import events as ev
from shared.cautions import Caution, cautions_for, standing_cautions
from shared.facts import Facts
from shared.records import Charge, Conflict, Item, Loss, Valuation
from shared.valuation import Money, actual_cash_value, restoring_advice
from shared.vocabulary import (
    Band,
    Material,
    ObjectType,
    Significance,
    StepKind,
)

__all__ = [
    "METHOD",
    "NOT_ASSESSED",
    "CashValue",
    "CustodySummary",
    "InventoryDocument",
    "ItemAssessment",
    "PlannedStep",
    "Range",
    "Restorable",
    "StepStatus",
    "build_inventory",
    "compare",
    "inventory_schema",
]

OBJECT_ID_FIELDS: Final = {
    "title": "title",
    "maker": "maker",
    "period": "date or period",
    "subject": "subject",
    "medium": "technique",
    "inscriptions": "inscriptions and marks",
    "features": "distinguishing features",
    "description": "description",
}
"""The free-text categories of Object ID, by the field that holds them."""

METHOD: Final = (
    "Each piece was tagged where it was found; everything recorded about it since is an event "
    "under that tag, with its writer and time. This inventory is read off those events.",
    "Description follows the categories of the Object ID standard (ICOM). A category that nobody "
    "has recorded yet is named as not recorded, never filled in.",
    "Damage is what was seen and by whom it was noted, with the cause as reported for the site. "
    "It is no laboratory finding.",
    "Charges are those entered so far: quantity times rate, each line rounded to the "
    "currency's smallest unit, halves away from zero, then added. Amounts in different "
    "currencies are never added.",
    "Values are as stated, with their basis and who stated them. Lagan appraises nothing. "
    "Depreciation by age is not applied to art and antiques; where an actual cash value is shown, "
    "its ground stands beside it.",
    "Advice to restore compares cost of treatment plus loss in value with the value before the "
    "loss. It is arithmetic on the figures shown; the adjuster decides.",
    "Nothing is discarded before the insurer has released it.",
)


# --- what the caller knows about an item beyond its record --------------------------------------


@dataclass(frozen=True)
class PlannedStep:
    """A step still to come, or under way."""

    step: StepKind
    status: StepStatus = StepStatus.PLANNED
    note: str = ""


@dataclass(frozen=True)
class Range:
    """A low and a high amount in one currency. ``ValueError`` when low exceeds high."""

    low: Decimal
    high: Decimal
    currency: str

    def __post_init__(self) -> None:
        if self.low > self.high:
            raise ValueError(f"estimate: low {self.low} is above high {self.high}; swap them")


@dataclass(frozen=True)
class CashValue:
    """Replacement cost and depreciation, where depreciation is proper, with its ground.

    It is proper for ordinary goods, and never by age for art and antiques: see
    :func:`shared.valuation.straight_line_value`.
    """

    replacement_cost: Money
    depreciation: Money
    ground: str


@dataclass(frozen=True)
class ItemAssessment:
    """What triage, planning and estimating say about an item at the time of preparing."""

    restorable: Restorable = Restorable.UNKNOWN
    reason: str = ""
    steps: tuple[PlannedStep, ...] = ()
    band: Band | None = None
    time_left: str = ""
    never: tuple[str, ...] = ()
    estimate: Range | None = None
    cash_value: CashValue | None = None


NOT_ASSESSED: Final = ItemAssessment()


# --- building it ------------------------------------------------------------------------------


def build_inventory(
    loss: Loss,
    items: Sequence[Item],
    *,
    prepared_at: datetime,
    prepared_by: str,
    assessments: Mapping[str, ItemAssessment],
    custody: CustodySummary,
    claim: str | None = None,
    version: int = 1,
    replaces: str | None = None,
    notice: str = "",
    method: Sequence[str] = METHOD,
    known: Facts,
) -> InventoryDocument:
    """Make the inventory of ``loss`` from its items.

    Args:
        loss: the loss.
        items: its items, in any order.
        prepared_at: the time, with its zone.
        prepared_by: who prepares it.
        assessments: by tag; an item without one is shown as not assessed.
        custody: the state of the log that ``items`` was read from.
        claim: cover this claim only; nothing of other claims is in the document then.
        version: number of this inventory among those sent.
        replaces: SHA-256 of the one sent before.
        notice: a line for every page.
        method: the sentences of the method page.
        known: the facts it is made by. What the facility changed of them is said in the method and
            beside every item.

    Raises:
        ValueError: ``claim`` is none of the loss's, or an item belongs to another loss.
    """
    claims = {each.claim: each for each in loss.claims}
    if claim is not None and claim not in claims:
        there = ", ".join(sorted(claims)) or "none"
        raise ValueError(f"claim {claim!r} is not one of this loss; it has {there}")
    for item in items:
        if item.loss not in (None, loss.loss):
            raise ValueError(f"item {item.tag} belongs to loss {item.loss}, not {loss.loss}")
    placed = _in_order(_inheriting(items))
    listed = [item for item in placed if claim is None or item.claim == claim]
    tags = {item.tag for item in listed}
    parts: dict[str, list[str]] = {}
    for item in listed:
        if item.parent in tags and item.parent is not None:
            parts.setdefault(item.parent, []).append(item.tag)
    entries = tuple(
        _entry(
            number,
            item,
            loss,
            owner=claims[item.claim].owner if item.claim in claims else "",
            parent=item.parent if item.parent in tags else None,
            parts=tuple(parts.get(item.tag, ())),
            assessment=assessments.get(item.tag, NOT_ASSESSED),
        )
        for number, item in enumerate(listed, start=1)
    )
    changed_facts = changes_note(known)
    return InventoryDocument(
        version=version,
        replaces=replaces,
        prepared_at=prepared_at,
        prepared_by=prepared_by,
        notice=notice,
        loss=LossEntry(
            loss=loss.loss,
            title=loss.title,
            site=loss.site,
            zone=loss.zone,
            peril=term(loss.peril),
            happened_at=loss.happened_at,
            wet_since=loss.wet_since,
            water_category=term(loss.water_category),
        ),
        claim=claim,
        claims=tuple(
            ClaimEntry(**each.model_dump())
            for each in loss.claims
            if claim is None or each.claim == claim
        ),
        items=entries,
        totals=totals_of(entries),
        custody=custody,
        method=(*method, changed_facts) if changed_facts else tuple(method),
        changed_facts=changed_facts,
        cautions=_cautions(loss, listed, known),
    )


def _inheriting(items: Sequence[Item]) -> list[Item]:
    """The items, with a part taking claim and place from its parent where it has none itself."""
    by_tag = {item.tag: item for item in items}
    inherited = []
    for item in items:
        parent = by_tag.get(item.parent or "")
        if parent is None:
            inherited.append(item)
            continue
        claim = item.claim if item.claim is not None else parent.claim
        found = item.found if str(item.found) else parent.found
        inherited.append(item.model_copy(update={"claim": claim, "found": found}))
    return inherited


def _in_order(items: Sequence[Item]) -> list[Item]:
    """By floor, room and wall, then tag; every part right after its parent."""
    by_tag = {item.tag: item for item in items}

    def key(item: Item) -> tuple[str, str, str, str, bool, str]:
        lead = by_tag.get(item.parent or "", item)
        spot = lead.found
        return (spot.floor, spot.room, spot.wall, lead.tag, lead is not item, item.tag)

    return sorted(items, key=key)


def _entry(
    number: int,
    item: Item,
    loss: Loss,
    *,
    owner: str,
    parent: str | None,
    parts: tuple[str, ...],
    assessment: ItemAssessment,
) -> ItemEntry:
    spot = item.found
    costs = _costs(item.charges, assessment.estimate)
    value = _value(item.valuation)
    return ItemEntry(
        number=number,
        tag=item.tag,
        tag_shown=shown_tag(item.tag),
        former_tags=tuple(tag for tag in item.tags if tag != item.tag),
        quantity=item.quantity,
        parent=parent,
        part_role=term(item.role),
        parts=parts,
        claim=item.claim,
        owner=owner,
        identification=_identification(item),
        found=Found(floor=spot.floor, room=spot.room, wall=spot.wall),
        station=item.station,
        significance=term(item.significance),
        conservator_only=item.conservator_only,
        photos=tuple(
            PhotoEntry(
                sha256=photo.photo,
                kind=term(photo.kind),
                caption=photo.caption,
                taken_at=_moment(photo.taken_at),
                by=photo.actor,
            )
            for photo in item.photos
        ),
        condition=_condition(item, loss),
        advice=Advice(
            restorable=term(assessment.restorable),
            reason=assessment.reason,
            band=term(assessment.band),
            time_left=assessment.time_left,
            never=assessment.never,
        ),
        treatment=_treatment(item, assessment.steps),
        costs=costs,
        value=value,
        cash_value=_cash_value(assessment.cash_value),
        comparison=compare(costs, value),
        decision=item.decision
        and DecisionEntry(
            decision=term(item.decision.decision),
            reason=item.decision.reason,
            decided_by=item.decision.decided_by,
            at=_moment(item.decision.at),
        ),
        conflicts=tuple(_open_conflict(conflict) for conflict in item.conflicts),
        unread_events=len(item.undecoded),
        custody=tuple(
            CustodyLine(
                event=line.event,
                type=line.type,
                at=_moment(line.at),
                by=line.actor,
                role=term(line.role),
            )
            for line in item.custody
        ),
    )


def _cautions(loss: Loss, items: Sequence[Item], known: Facts) -> tuple[CautionEntry, ...]:
    """Those that always stand, then those that the loss and its items call for."""
    damages = [seen for item in items for seen in item.damages]
    waters = [loss.water_category, *(seen.water_category for seen in damages)]
    found: list[Caution] = [
        *standing_cautions(known),
        *cautions_for(
            perils=[loss.peril],
            water_categories=dict.fromkeys(water for water in waters if water),
            damages=dict.fromkeys(seen.damage for seen in damages),
            materials=dict.fromkeys(material for item in items for material in item.materials),
            known=known,
        ),
    ]
    once = {caution.text: caution for caution in reversed(found)}
    return tuple(
        CautionEntry(text=caution.text, applies=caution.trigger, source=caution.source)
        for caution in reversed(once.values())
    )


def _moment(text: str) -> datetime:
    return datetime.fromisoformat(text)


def _identification(item: Item) -> ObjectIdentification:
    texts = {name: getattr(item, name) for name in OBJECT_ID_FIELDS}
    missing = [words for name, words in OBJECT_ID_FIELDS.items() if not texts[name].strip()]
    if item.size is None:
        missing.append("measurements")
    if not item.photos:
        missing.append("photographs")
    return ObjectIdentification(
        object_type=term(item.object_type),
        materials=tuple(term(material) for material in item.materials),
        measurements=measured(item.size),
        not_recorded=tuple(missing),
        **texts,
    )


def _measure(length: ev.Length) -> Measure:
    return Measure(value=Decimal(length.value), unit=length.unit)


def measured(size: ev.Size | None) -> Measurements | None:
    """Outside measures as entered; none for none."""
    if size is None:
        return None
    return Measurements(
        height=_measure(size.height),
        width=_measure(size.width),
        depth=_measure(size.depth) if size.depth else None,
    )


def _condition(item: Item, loss: Loss) -> Condition:
    return Condition(
        cause=term(loss.peril),
        damages=tuple(
            DamageEntry(
                damage=term(seen.damage),
                extent=term(seen.extent),
                wet_since=seen.wet_since,
                water_category=term(seen.water_category),
                note=seen.note,
            )
            for seen in item.damages
        ),
        at_receipt=item.condition_at_receipt,
        at_return=item.condition_at_return,
        received_at=_moment(item.received_at) if item.received_at else None,
        returned_to=item.returned_to or "",
    )


def _treatment(item: Item, planned: Iterable[PlannedStep]) -> tuple[TreatmentStep, ...]:
    """Steps done, as recorded, then those to come that are not yet done."""
    done = [
        TreatmentStep(
            step=term(step.step),
            status=term(StepStatus.DONE),
            started_at=step.started_at,
            ended_at=step.ended_at,
            hours=Decimal(step.hours) if step.hours else None,
            by=step.actor,
            note=step.note,
        )
        for step in item.steps
    ]
    coming = [
        TreatmentStep(step=term(step.step), status=term(step.status), note=step.note)
        for step in planned
        if step.step not in item.steps_done
    ]
    return (*done, *coming)


# --- money ------------------------------------------------------------------------------------


def _rounded(amount: Decimal, currency: str) -> Decimal:
    return Money(amount=amount, currency=currency).rounded().amount


def _stated(amount: Decimal, currency: str) -> Amount:
    """An amount as it was stated: filled up to the currency's decimals, never cut."""
    full = _rounded(amount, currency)
    return Amount(amount=full if full == amount else amount, currency=currency)


def _amount(money: ev.Money) -> Amount:
    return _stated(money.decimal, money.currency)


def _costs(charges: Iterable[Charge], estimate: Range | None) -> Costs:
    lines = tuple(
        CostLine(
            charge=charge.charge,
            what=charge.what,
            step=term(charge.step),
            quantity=Decimal(charge.quantity),
            unit=charge.unit,
            rate=_amount(charge.rate),
            amount=Amount(
                amount=_rounded(
                    Decimal(charge.quantity) * charge.rate.decimal, charge.rate.currency
                ),
                currency=charge.rate.currency,
            ),
        )
        for charge in charges
    )
    sums: dict[str, Decimal] = {}
    for line in lines:
        sums[line.amount.currency] = sums.get(line.amount.currency, Decimal(0)) + line.amount.amount
    return Costs(
        lines=lines,
        charged=tuple(
            Amount(amount=sums[currency], currency=currency) for currency in sorted(sums)
        ),
        estimate=estimate
        and AmountRange(
            low=_rounded(estimate.low, estimate.currency),
            high=_rounded(estimate.high, estimate.currency),
            currency=estimate.currency,
        ),
    )


def _value(valuation: Valuation | None) -> ValueEntry | None:
    if valuation is None:
        return None
    return ValueEntry(
        basis=term(valuation.basis),
        value=_amount(valuation.value),
        stated_by=valuation.stated_by,
        loss_in_value=_amount(valuation.loss_in_value) if valuation.loss_in_value else None,
    )


def _cash_value(cash: CashValue | None) -> CashValueEntry | None:
    if cash is None:
        return None

    left = actual_cash_value(cash.replacement_cost, cash.depreciation)

    def stated(money: Money) -> Amount:
        return _stated(money.amount, money.currency)

    return CashValueEntry(
        replacement_cost=stated(cash.replacement_cost),
        depreciation=stated(cash.depreciation),
        actual_cash_value=stated(left),
        ground=cash.ground,
    )


def compare(costs: Costs, value: ValueEntry | None) -> Comparison:
    """Set cost of treatment plus loss in value against value.

    The cost is the estimate, or the charges where they have outgrown it. No result where the
    value or the cost is not stated, or where they are not all in one currency.
    """

    def unknown(why: str) -> Comparison:
        return Comparison(
            result=term(CostResult.UNKNOWN),
            cost_and_loss=None,
            value=value.value if value else None,
            sentence=why,
        )

    if value is None:
        return unknown("No value is stated yet.")
    currency = value.value.currency
    estimate, loss_in_value = costs.estimate, value.loss_in_value
    amounts = [estimate, loss_in_value, *costs.charged]
    if any(amount is not None and amount.currency != currency for amount in amounts):
        return unknown("Cost and value are in different currencies; they are not compared.")
    if estimate is None and not costs.charged:
        return unknown("No cost is estimated or charged yet.")
    charged = costs.charged[0].amount if costs.charged else Decimal(0)
    lasting = loss_in_value.amount if loss_in_value else Decimal(0)
    low = max(charged, estimate.low if estimate else charged)
    high = max(charged, estimate.high if estimate else charged)
    if min(low, lasting, value.value.amount) < 0:
        return unknown("A figure is negative; it has to be put right before they are compared.")

    def money(amount: Decimal) -> Money:
        return Money(amount=amount, currency=currency)

    worth = money(value.value.amount)
    if restoring_advice(money(high), money(lasting), worth).worth_restoring:
        result = CostResult.WITHIN
    elif restoring_advice(money(low), money(lasting), worth).worth_restoring:
        result = CostResult.UNCERTAIN
    else:
        result = CostResult.ABOVE
    value_basis = value.basis.label.lower()
    basis = "estimated cost" if estimate else "charges so far"
    counted = "plus loss in value" if loss_in_value else "with no loss in value stated"
    return Comparison(
        result=term(result),
        cost_and_loss=AmountRange(low=low + lasting, high=high + lasting, currency=currency),
        value=value.value,
        sentence=f"Compares {basis}, {counted}, with the value stated ({value_basis}).",
    )


# --- conflicts --------------------------------------------------------------------------------


def _open_conflict(conflict: Conflict) -> OpenConflict:
    return OpenConflict(
        field=conflict.field,
        statements=tuple(
            Statement(
                value=_said(conflict.field, said.value),
                by=said.actor,
                device=said.device,
                event=said.event,
            )
            for said in conflict.values
        ),
    )


_LABELS: Final = {
    field: {word.value: word.label for word in words}
    for field, words in (
        ("object_type", ObjectType),
        ("materials", Material),
        ("significance", Significance),
    )
}


def _said(field: str, value: Any) -> str:
    """One value of a conflict, as a person would read it."""
    if isinstance(value, BaseModel):
        value = value.model_dump(mode="json", exclude_none=True)
    if isinstance(value, dict):
        inner = (f"{name} {_said(name, part)}" for name, part in value.items() if part != "")
        return ", ".join(inner)
    if isinstance(value, list | tuple):
        return "; ".join(_said(field, part) for part in value)
    if isinstance(value, bool):
        return "yes" if value else "no"
    return _LABELS.get(field, {}).get(str(value), str(value))
