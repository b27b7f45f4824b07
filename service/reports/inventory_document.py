"""The inventory as a document: what every printed or filed form of it is made from.

An item carries the categories of the Object ID standard (ICOM; R. Thornes, P. Dorrell and
H. Lie, "Introduction to Object ID", Getty Information Institute, 1999): photographs, type,
measurements, materials and techniques, inscriptions and markings, date or period, maker,
subject, title, distinguishing features, description. To these come the inventory number (the
tag) and what an adjuster needs.

Advice is advice: the document says what supports it, and the adjuster decides.
"""

from decimal import Decimal
from typing import Annotated, Any, Final, Literal, overload

from pydantic import (
    AwareDatetime,
    BaseModel,
    ConfigDict,
    Field,
    PlainSerializer,
    WithJsonSchema,
)

from shared import events as ev
from shared.vocabulary import Labelled

FORMAT: Final = "lagan-inventory/1"


# --- words ------------------------------------------------------------------------------------


class Restorable(Labelled):
    """Advice on whether to treat a piece."""

    YES = "yes", "Restorable"
    IN_PART = "in_part", "Restorable in part"
    CONSERVATOR = "conservator", "For a conservator to judge"
    NO = "no", "Not restorable"
    UNKNOWN = "unknown", "Not assessed yet"


class StepStatus(Labelled):
    """Where a step of treatment stands."""

    PLANNED = "planned", "Planned"
    IN_PROGRESS = "in_progress", "In progress"
    DONE = "done", "Done"
    HELD = "held", "Waiting for a decision"


class CostResult(Labelled):
    """How cost of treatment plus loss in value compares with value."""

    WITHIN = "within", "Within the value"
    UNCERTAIN = "uncertain", "Depends on where in its range the cost ends"
    ABOVE = "above", "Above the value"
    UNKNOWN = "unknown", "Not comparable yet"


# --- the document -----------------------------------------------------------------------------


def _plain_decimal(value: Decimal) -> str:
    """``value`` without an exponent."""
    return f"{value:f}"


Plain = Annotated[
    Decimal,
    PlainSerializer(_plain_decimal, return_type=str),
    WithJsonSchema({"type": "string", "pattern": r"^-?\d+(\.\d+)?$"}, mode="serialization"),
]


class Published(BaseModel):
    """Base of all parts of the document."""

    model_config = ConfigDict(frozen=True, extra="forbid")


class Term(Published):
    """A word of the vocabulary: its code and the words shown to people."""

    code: str
    label: str


@overload
def term(word: Labelled) -> Term: ...
@overload
def term(word: None) -> None: ...
def term(word: Labelled | None) -> Term | None:
    """A word of the vocabulary for the document; none for none."""
    return None if word is None else Term(code=word.value, label=word.label)


class Amount(Published):
    """Money in one currency."""

    amount: Plain
    currency: ev.Currency


class AmountRange(Published):
    """A low and a high amount in one currency."""

    low: Plain
    high: Plain
    currency: ev.Currency


class Measure(Published):
    """A length as it was entered."""

    value: Plain
    unit: ev.LengthUnit


class Measurements(Published):
    """Outside measures."""

    height: Measure
    width: Measure
    depth: Measure | None


class ObjectIdentification(Published):
    """The categories of Object ID other than photographs."""

    object_type: Term
    title: str
    maker: str
    period: str
    subject: str
    materials: tuple[Term, ...]
    medium: str
    measurements: Measurements | None
    inscriptions: str
    features: str
    description: str
    not_recorded: tuple[str, ...] = Field(description="Categories that nobody has recorded yet.")


class Found(Published):
    """Where on the site it was found."""

    floor: str
    room: str
    wall: str


class PhotoEntry(Published):
    """A photo, known by the SHA-256 of its bytes as they came in."""

    sha256: ev.Digest
    kind: Term
    caption: str
    taken_at: AwareDatetime
    by: str


class DamageEntry(Published):
    """One kind of damage."""

    damage: Term
    extent: Term
    wet_since: AwareDatetime | None
    water_category: Term | None
    note: str


class Condition(Published):
    """Damage, cause, and condition as written down at each end."""

    cause: Term
    damages: tuple[DamageEntry, ...]
    at_receipt: str
    at_return: str
    received_at: AwareDatetime | None
    returned_to: str


class Advice(Published):
    """What triage advises."""

    restorable: Term
    reason: str
    band: Term | None
    time_left: str
    never: tuple[str, ...]


class TreatmentStep(Published):
    """A step of treatment, done or to come."""

    step: Term
    status: Term
    started_at: AwareDatetime | None = None
    ended_at: AwareDatetime | None = None
    hours: Plain | None = Field(default=None, description="Hours of work spent.")
    by: str = ""
    note: str = ""


class CostLine(Published):
    """One charge: ``amount`` is quantity times rate, rounded to the currency."""

    charge: str
    what: str
    step: Term | None
    quantity: Plain
    unit: str
    rate: Amount
    amount: Amount


class Costs(Published):
    """Charges so far, and an estimate of the whole when there is one."""

    lines: tuple[CostLine, ...]
    charged: tuple[Amount, ...] = Field(description="Sum of the lines in each currency.")
    estimate: AmountRange | None


class ValueEntry(Published):
    """A value as stated, never one of our own."""

    basis: Term
    value: Amount
    stated_by: str
    loss_in_value: Amount | None


class CashValueEntry(Published):
    """Replacement cost less depreciation, only where that is proper."""

    replacement_cost: Amount
    depreciation: Amount
    actual_cash_value: Amount
    ground: str


class Comparison(Published):
    """Cost of treatment plus loss in value against value."""

    result: Term
    cost_and_loss: AmountRange | None
    value: Amount | None
    sentence: str


class DecisionEntry(Published):
    """The adjuster's decision."""

    decision: Term
    reason: str
    decided_by: str
    at: AwareDatetime


class Statement(Published):
    """One of several values of a field that nobody has chosen between."""

    value: str
    by: str
    device: str
    event: str


class OpenConflict(Published):
    """A field with several standing values."""

    field: str
    statements: tuple[Statement, ...]


class CustodyLine(Published):
    """Who did what to the item, when, under which event."""

    event: str
    type: str
    at: AwareDatetime
    by: str
    role: Term


class ItemEntry(Published):
    """One item of the inventory."""

    number: int = Field(description="Its place in this document, from 1.")
    tag: str
    tag_shown: str
    former_tags: tuple[str, ...] = Field(description="Other tags it has carried.")
    quantity: int
    parent: str | None
    part_role: Term | None
    parts: tuple[str, ...]
    claim: str | None
    owner: str
    identification: ObjectIdentification
    found: Found
    station: str | None = Field(description="Where in the facility it is.")
    significance: Term
    conservator_only: bool
    photos: tuple[PhotoEntry, ...]
    condition: Condition
    advice: Advice
    treatment: tuple[TreatmentStep, ...]
    costs: Costs
    value: ValueEntry | None
    cash_value: CashValueEntry | None
    comparison: Comparison
    decision: DecisionEntry | None
    conflicts: tuple[OpenConflict, ...]
    unread_events: int = Field(description="Events of a type this version does not know.")
    custody: tuple[CustodyLine, ...]

    @property
    def name(self) -> str:
        """Its title, or what kind of thing it is."""
        return self.identification.title or self.identification.object_type.label

    @property
    def room(self) -> str:
        """Floor and room in one line."""
        return ", ".join(part for part in (self.found.floor, self.found.room) if part)


class LossEntry(Published):
    """The loss."""

    loss: str
    title: str
    site: str
    zone: str
    peril: Term
    happened_at: AwareDatetime | None
    wet_since: AwareDatetime | None
    water_category: Term | None


class ClaimEntry(Published):
    """A claim."""

    claim: str
    insurer: str
    policy: str
    owner: str
    currency: ev.Currency


class CustodySummary(Published):
    """The log's state when the document was prepared: what a later proof is held against."""

    tree_size: Annotated[int, Field(ge=0)]
    root: ev.Digest
    checkpoint: str = Field(default="", description="The signed checkpoint, when there is one.")


class CurrencyTotal(Published):
    """Sums in one currency."""

    currency: ev.Currency
    charged: Plain
    estimate_low: Plain
    estimate_high: Plain
    value: Plain
    loss_in_value: Plain


class GroupTotal(Published):
    """Sums over the items that share a key."""

    key: str
    label: str
    items: int
    objects: int = Field(description="Items counted with their quantities.")
    amounts: tuple[CurrencyTotal, ...]


class CautionEntry(Published):
    """A caution, what calls for it, and where it comes from."""

    text: str
    applies: str
    source: str


class Totals(Published):
    """Sums over all items, and over groups of them. Every item is in one group of each kind."""

    everything: GroupTotal
    by_room: tuple[GroupTotal, ...]
    by_claim: tuple[GroupTotal, ...]
    by_owner: tuple[GroupTotal, ...]
    by_decision: tuple[GroupTotal, ...]
    by_advice: tuple[GroupTotal, ...]


class InventoryDocument(Published):
    """The inventory of a loss, or of one claim in it."""

    format: Literal["lagan-inventory/1"] = "lagan-inventory/1"
    version: Annotated[int, Field(ge=1, description="1 for the first inventory sent.")] = 1
    replaces: ev.Digest | None = Field(
        default=None, description="SHA-256 of the version sent before."
    )
    language: str = "en"
    prepared_at: AwareDatetime
    prepared_by: str
    notice: str = Field(default="", description="Shown on every page, such as for a demonstration.")
    loss: LossEntry
    claim: str | None = Field(description="The one claim it covers; null for all.")
    claims: tuple[ClaimEntry, ...]
    items: tuple[ItemEntry, ...]
    totals: Totals
    custody: CustodySummary
    method: tuple[str, ...]
    changed_facts: str = Field(
        default="",
        description="What the facility changed of the rules it was made by, if anything.",
    )
    cautions: tuple[CautionEntry, ...]

    @property
    def title(self) -> str:
        """The document's title."""
        scope = f", claim {self.claim}" if self.claim else ""
        return f"Inventory of {self.loss.title or self.loss.loss}{scope}"

    @property
    def currencies(self) -> tuple[str, ...]:
        """Every currency in it, in alphabetical order."""
        return tuple(total.currency for total in self.totals.everything.amounts)


def inventory_schema() -> dict[str, Any]:
    """JSON Schema (2020-12) of the document as written."""
    schema = InventoryDocument.model_json_schema(mode="serialization")
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", "$id": FORMAT, **schema}
