"""The inventory as CSV: RFC 4180, UTF-8, one line for each item, numbers as plain decimals."""

import csv
import io
import os
import unicodedata
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from decimal import Decimal
from typing import Final, TextIO

from labels.paper import Target
from service.reports.inventory_document import InventoryDocument
from service.reports.inventory_table import Value, item_columns

NEUTRALISING_RULE: Final = (
    "A text cell that a spreadsheet could take for a formula, or that begins with an apostrophe, "
    "is written with one apostrophe before it. To have the text as it was entered, take away the "
    "first character of every cell that begins with an apostrophe. Numbers are never marked."
)

_STARTS_FORMULA: Final = frozenset("=+-@|%")


def neutralised(text: str) -> str:
    """``text`` so that no spreadsheet runs it; :func:`as_entered` takes it back.

    Spreadsheets skip what they do not show and fold full-width signs, so both are looked
    through: NUL, tabs, line ends and spaces before the sign, and signs such as U+FF1D.
    """
    if text.startswith("'"):
        return f"'{text}"
    seen = unicodedata.normalize("NFKC", text)
    shown = seen.lstrip("".join(filter(_is_unseen, set(seen))))
    risky = shown[:1] in _STARTS_FORMULA and shown != ""
    return f"'{text}" if risky or (text[:1] in "\t\r\n\0" and text) else text


def _is_unseen(character: str) -> bool:
    return unicodedata.category(character) in {"Cc", "Cf", "Zs", "Zl", "Zp", "Mn"}


def as_entered(cell: str) -> str:
    """The text that :func:`neutralised` was given."""
    return cell.removeprefix("'")


def write_inventory_csv(document: InventoryDocument, target: Target) -> int:
    """Write the inventory as CSV; return the number of items.

    Texts are quoted, numbers are not; lines end in CR LF; times are RFC 3339 in UTC.
    """
    columns = item_columns(document)
    with _text(target) as file:
        writer = csv.writer(file, quoting=csv.QUOTE_NONNUMERIC, lineterminator="\r\n")
        writer.writerow([column.name for column in columns])
        for item in document.items:
            writer.writerow([_cell(column.value(item)) for column in columns])
    return len(document.items)


def _cell(value: Value) -> str | int | Decimal:
    match value:
        case None:
            return ""
        case datetime():
            return value.astimezone(UTC).isoformat().replace("+00:00", "Z")
        case str():
            return neutralised(value)
        case _:
            return value


@contextmanager
def _text(target: Target) -> Iterator[TextIO]:
    """The target as a text file that leaves line ends alone; a given file stays open."""
    if isinstance(target, str | os.PathLike):
        with open(target, "w", encoding="utf-8", newline="") as file:  # noqa: PTH123 - str or path
            yield file
        return
    wrapped = io.TextIOWrapper(target, encoding="utf-8", newline="", write_through=True)
    yield wrapped
    wrapped.detach()
