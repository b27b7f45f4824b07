"""The inventory as a workbook: typed cells, filters, frozen heads, and not one formula."""

import os
import unicodedata
from collections.abc import Iterable, Iterator, Sequence
from datetime import datetime
from decimal import Decimal
from typing import Final
from zoneinfo import ZoneInfo

from xlsxwriter import Workbook
from xlsxwriter.worksheet import Worksheet

from labels.paper import Target
from service.reports.inventory_document import GroupTotal, InventoryDocument, ItemEntry
from service.reports.inventory_table import Value, item_columns

MOST_CHARACTERS: Final = 32_767
"""The most that a cell of a workbook holds."""

_CUT: Final = " … (cut here; the JSON has it whole)"
_CONTROL_PICTURES: Final = 0x2400


def cell_text(text: str) -> str:
    """``text`` as a workbook can hold it: line ends as LF, other controls as their pictures."""
    unified = text.replace("\r\n", "\n").replace("\r", "\n")
    safe = "".join(
        chr(_CONTROL_PICTURES + ord(character))
        if ord(character) < 32 and character not in "\t\n"
        else ("�" if unicodedata.category(character) == "Cs" else character)
        for character in unified
    )
    if len(safe.encode("utf-16-le")) // 2 <= MOST_CHARACTERS:
        return safe
    # Half, so that characters that count twice fit too.
    return safe[: MOST_CHARACTERS // 2 - len(_CUT)] + _CUT


class _Book:
    """A workbook with one way to write each kind of value."""

    def __init__(self, target: Target, document: InventoryDocument) -> None:
        file = os.fspath(target) if isinstance(target, str | os.PathLike) else target
        self.zone = ZoneInfo(document.loss.zone)
        self.workbook = Workbook(
            file,
            {
                "constant_memory": True,
                "strings_to_formulas": False,
                "strings_to_urls": False,
                "strings_to_numbers": False,
            },
        )
        self.workbook.set_properties(
            {
                "title": document.title,
                "author": document.prepared_by,
                "comments": document.notice,
            }
        )
        # The quote prefix keeps a text a text when somebody edits its cell.
        text = {"valign": "top", "text_wrap": True, "quote_prefix": True}
        self._text = self.workbook.add_format(text)
        self._head = self.workbook.add_format(
            {**text, "bold": True, "bg_color": "#E6EFF2", "bottom": 1}
        )
        self._whole = self.workbook.add_format({"valign": "top", "num_format": "#,##0"})
        self._figure = self.workbook.add_format({"valign": "top", "num_format": "#,##0.00##"})
        self._time = self.workbook.add_format(
            {"valign": "top", "num_format": "yyyy-mm-dd hh:mm", "align": "left"}
        )

    def sheet(
        self,
        name: str,
        heads: Sequence[str],
        widths: Sequence[int],
        rows: Iterable[Sequence[Value]],
        *,
        frozen_columns: int = 0,
    ) -> None:
        """Write a sheet with a frozen, filtered head."""
        sheet = self.workbook.add_worksheet(name)
        for column, width in enumerate(widths):
            sheet.set_column(column, column, width)
        sheet.freeze_panes(1, frozen_columns)
        sheet.set_landscape()
        sheet.fit_to_pages(1, 0)
        sheet.repeat_rows(0)
        for column, head in enumerate(heads):
            sheet.write_string(0, column, cell_text(head), self._head)
        last = 0
        for last, row in enumerate(rows, start=1):
            for column, value in enumerate(row):
                self._write(sheet, last, column, value)
        sheet.autofilter(0, 0, last, len(heads) - 1)

    def _write(self, sheet: Worksheet, row: int, column: int, value: Value) -> None:
        match value:
            case None | "":
                return
            case str():
                sheet.write_string(row, column, cell_text(value), self._text)
            case datetime():
                local = value.astimezone(self.zone).replace(tzinfo=None)
                sheet.write_datetime(row, column, local, self._time)
            case Decimal():
                sheet.write_number(row, column, float(value), self._figure)
            case int():
                sheet.write_number(row, column, value, self._whole)


def write_inventory_xlsx(document: InventoryDocument, target: Target) -> int:
    """Write the inventory as a workbook; return the number of items.

    Times are on the clocks of the site, whose zone the sheet "About" names. A number has the
    precision of a workbook, 15 digits; the JSON has every digit.
    """
    book = _Book(target, document)
    columns = item_columns(document)
    book.sheet(
        "Items",
        [column.heading for column in columns],
        [column.width for column in columns],
        ([column.value(item) for column in columns] for item in document.items),
        frozen_columns=3,
    )
    book.sheet(
        "Damage",
        ["Tag", "Title", "Damage", "Extent", "Wet since", "Water", "Note", "Cause reported"],
        [19, 34, 28, 22, 17, 36, 40, 26],
        _damage_rows(document.items),
        frozen_columns=2,
    )
    book.sheet(
        "Treatment",
        ["Tag", "Title", "Step", "Status", "Started", "Ended", "Hours", "By", "Note"],
        [19, 34, 20, 20, 17, 17, 9, 22, 40],
        _treatment_rows(document.items),
        frozen_columns=2,
    )
    book.sheet(
        "Costs",
        ["Tag", "Title", "Claim", "What", "Step", "Quantity", "Unit", "Rate", "Amount", "Currency"],
        [19, 34, 12, 34, 20, 10, 10, 12, 14, 10],
        _cost_rows(document.items),
        frozen_columns=2,
    )
    book.sheet(
        "Totals",
        [
            "By",
            "Group",
            "Items",
            "Objects",
            "Currency",
            "Value stated",
            "Loss in value",
            "Charged so far",
            "Estimate, low",
            "Estimate, high",
        ],
        [12, 34, 9, 9, 10, 16, 16, 16, 16, 16],
        _total_rows(document),
        frozen_columns=2,
    )
    book.sheet("About", ["What", "Said"], [22, 110], _about_rows(document))
    book.workbook.close()
    return len(document.items)


def _damage_rows(items: Iterable[ItemEntry]) -> Iterator[Sequence[Value]]:
    for item in items:
        for seen in item.condition.damages:
            yield (
                item.tag_shown,
                item.identification.title,
                seen.damage.label,
                seen.extent.label,
                seen.wet_since,
                seen.water_category.label if seen.water_category else "",
                seen.note,
                item.condition.cause.label,
            )


def _treatment_rows(items: Iterable[ItemEntry]) -> Iterator[Sequence[Value]]:
    for item in items:
        for step in item.treatment:
            yield (
                item.tag_shown,
                item.identification.title,
                step.step.label,
                step.status.label,
                step.started_at,
                step.ended_at,
                step.hours,
                step.by,
                step.note,
            )


def _cost_rows(items: Iterable[ItemEntry]) -> Iterator[Sequence[Value]]:
    for item in items:
        for line in item.costs.lines:
            yield (
                item.tag_shown,
                item.identification.title,
                item.claim or "",
                line.what,
                line.step.label if line.step else "",
                line.quantity,
                line.unit,
                line.rate.amount,
                line.amount.amount,
                line.amount.currency,
            )


def _total_rows(document: InventoryDocument) -> Iterator[Sequence[Value]]:
    totals = document.totals
    kinds: tuple[tuple[str, Sequence[GroupTotal]], ...] = (
        ("Everything", (totals.everything,)),
        ("Claim", totals.by_claim),
        ("Owner", totals.by_owner),
        ("Room", totals.by_room),
        ("Decision", totals.by_decision),
        ("Advice", totals.by_advice),
    )
    for kind, groups in kinds:
        for group in groups:
            counts = (kind, group.label, group.items, group.objects)
            if not group.amounts:
                yield counts
            for total in group.amounts:
                yield (
                    *counts,
                    total.currency,
                    total.value,
                    total.loss_in_value,
                    total.charged,
                    total.estimate_low,
                    total.estimate_high,
                )


def _about_rows(document: InventoryDocument) -> Iterator[Sequence[Value]]:
    yield "Title", document.title
    yield "Notice", document.notice
    yield "Loss", document.loss.loss
    yield "Site", document.loss.site
    yield "Clocks", f"Times are on the clocks of {document.loss.zone}."
    yield "Prepared at", document.prepared_at
    yield "Prepared by", document.prepared_by
    yield "Version", document.version
    yield "Replaces", document.replaces or ""
    yield "Format", document.format
    yield "Events in the record", document.custody.tree_size
    yield "Root of the record", document.custody.root
    for sentence in document.method:
        yield "Method", sentence
    for caution in document.cautions:
        yield "Caution", f"{caution.text} ({caution.applies}; source: {caution.source})"
