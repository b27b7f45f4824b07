"""One line for each item: the columns that the workbook and the CSV share.

Money has a column for each currency, so that no sum over a column can add two currencies.
"""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from typing import Final

from service.reports.inventory_document import InventoryDocument, ItemEntry, Measure
from service.reports.wording import joined, sentences
from shared.quantities import LengthUnit, to_metres

Value = str | int | Decimal | datetime | None


@dataclass(frozen=True)
class TableColumn:
    """A column: its name in files read by programs, its heading for people, and its values."""

    name: str
    heading: str
    value: Callable[[ItemEntry], Value]
    width: int = 16


def item_columns(document: InventoryDocument) -> list[TableColumn]:
    """The columns for ``document``; those of money depend on its currencies."""
    columns = list(_BEFORE_MONEY)
    for currency in document.currencies:
        columns.extend(_money_columns(currency))
    columns.extend(_AFTER_MONEY)
    if document.changed_facts:
        columns.append(
            TableColumn(
                "changed_facts", "Figures changed by the facility", lambda _: document.changed_facts
            )
        )
    return columns


def _labels(texts: Iterable[str]) -> str:
    return "; ".join(texts)


def _centimetres(length: Measure | None) -> Decimal | None:
    """A length in cm to a tenth of a millimetre; the digits as entered are in the JSON."""
    if length is None:
        return None
    metres = to_metres(length.value, LengthUnit(length.unit))
    return round(Decimal(repr(metres)) * 100, 2).normalize() + 0


def _height(item: ItemEntry) -> Decimal | None:
    size = item.identification.measurements
    return _centimetres(size.height) if size else None


def _width(item: ItemEntry) -> Decimal | None:
    size = item.identification.measurements
    return _centimetres(size.width) if size else None


def _depth(item: ItemEntry) -> Decimal | None:
    size = item.identification.measurements
    return _centimetres(size.depth) if size else None


def _damages(item: ItemEntry) -> str:
    return _labels(
        joined(seen.damage.label, seen.extent.label, seen.note, by=", ")
        for seen in item.condition.damages
    )


def _treatment(item: ItemEntry) -> str:
    return _labels(f"{step.step.label}: {step.status.label.lower()}" for step in item.treatment)


def _conflicts(item: ItemEntry) -> str:
    return _labels(
        f"{conflict.field}: {' or '.join(said.value for said in conflict.statements)}"
        for conflict in item.conflicts
    )


_BEFORE_MONEY: Final = (
    TableColumn("number", "No.", lambda item: item.number, 6),
    TableColumn("tag", "Tag", lambda item: item.tag_shown, 19),
    TableColumn("title", "Title", lambda item: item.identification.title, 34),
    TableColumn("object_type", "Type", lambda item: item.identification.object_type.label),
    TableColumn("quantity", "Quantity", lambda item: item.quantity, 9),
    TableColumn("part_of", "Part of", lambda item: item.parent or ""),
    TableColumn(
        "part_role", "Part is", lambda item: item.part_role.label if item.part_role else ""
    ),
    TableColumn("former_tags", "Other tags", lambda item: _labels(item.former_tags)),
    TableColumn("claim", "Claim", lambda item: item.claim or "", 12),
    TableColumn("owner", "Owner", lambda item: item.owner, 20),
    TableColumn("floor", "Floor", lambda item: item.found.floor, 14),
    TableColumn("room", "Room", lambda item: item.found.room, 16),
    TableColumn("wall", "Wall", lambda item: item.found.wall, 14),
    TableColumn("maker", "Maker", lambda item: item.identification.maker, 22),
    TableColumn("period", "Date or period", lambda item: item.identification.period),
    TableColumn(
        "materials",
        "Materials",
        lambda item: _labels(term.label for term in item.identification.materials),
        26,
    ),
    TableColumn("medium", "Technique", lambda item: item.identification.medium, 22),
    TableColumn("height_cm", "Height, cm", _height, 11),
    TableColumn("width_cm", "Width, cm", _width, 11),
    TableColumn("depth_cm", "Depth, cm", _depth, 11),
    TableColumn("subject", "Subject", lambda item: item.identification.subject, 22),
    TableColumn("inscriptions", "Inscriptions", lambda item: item.identification.inscriptions, 26),
    TableColumn("features", "Features", lambda item: item.identification.features, 26),
    TableColumn("description", "Description", lambda item: item.identification.description, 30),
    TableColumn("significance", "Significance", lambda item: item.significance.label),
    TableColumn("received_at", "Received", lambda item: item.condition.received_at, 17),
    TableColumn("damage", "Damage", _damages, 40),
    TableColumn("cause", "Cause reported", lambda item: item.condition.cause.label, 22),
    TableColumn("condition_at_receipt", "At receipt", lambda item: item.condition.at_receipt, 26),
    TableColumn("advice", "Advice", lambda item: item.advice.restorable.label, 22),
    TableColumn("advice_reason", "Why", lambda item: item.advice.reason, 34),
    TableColumn("never", "Never", lambda item: sentences(item.advice.never), 26),
    TableColumn("treatment", "Treatment", _treatment, 34),
    TableColumn(
        "value_basis",
        "Basis of value",
        lambda item: item.value.basis.label if item.value else "",
    ),
)

_AFTER_MONEY: Final = (
    TableColumn("comparison", "Cost against value", lambda item: item.comparison.result.label, 22),
    TableColumn(
        "decision",
        "Decision",
        lambda item: item.decision.decision.label if item.decision else "",
        20,
    ),
    TableColumn(
        "decision_reason",
        "Reason",
        lambda item: item.decision.reason if item.decision else "",
        26,
    ),
    TableColumn(
        "decided_at", "Decided", lambda item: item.decision.at if item.decision else None, 17
    ),
    TableColumn("open_questions", "Open questions", _conflicts, 26),
    TableColumn("photos", "Photos", lambda item: len(item.photos), 8),
    TableColumn(
        "photo_sha256",
        "SHA-256 of photos",
        lambda item: " ".join(photo.sha256 for photo in item.photos),
        20,
    ),
)


def _money_columns(currency: str) -> list[TableColumn]:
    """The columns of money in one currency; empty where an item has no figure in it."""

    def value(item: ItemEntry) -> Decimal | None:
        stated = item.value
        return stated.value.amount if stated and stated.value.currency == currency else None

    def loss(item: ItemEntry) -> Decimal | None:
        stated = item.value.loss_in_value if item.value else None
        return stated.amount if stated and stated.currency == currency else None

    def charged(item: ItemEntry) -> Decimal | None:
        found = [each.amount for each in item.costs.charged if each.currency == currency]
        return found[0] if found else None

    def low(item: ItemEntry) -> Decimal | None:
        estimate = item.costs.estimate
        return estimate.low if estimate and estimate.currency == currency else None

    def high(item: ItemEntry) -> Decimal | None:
        estimate = item.costs.estimate
        return estimate.high if estimate and estimate.currency == currency else None

    named: tuple[tuple[str, str, Callable[[ItemEntry], Decimal | None]], ...] = (
        ("value", "Value stated", value),
        ("loss_in_value", "Loss in value", loss),
        ("charged", "Charged so far", charged),
        ("estimate_low", "Estimate, low", low),
        ("estimate_high", "Estimate, high", high),
    )
    return [
        TableColumn(f"{name}_{currency}", f"{words}, {currency}", figure)
        for name, words, figure in named
    ]
