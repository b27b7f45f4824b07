"""Every figure that Lagan reckons with, where it comes from and how far it can be trusted.

Two kinds of figures are listed: the rows of the tables, which a facility may change by a file of
its own, and the constants that stand in the formulas.
"""

import csv
import hashlib
import importlib
import io
import pkgutil
from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, fields, is_dataclass
from decimal import Decimal
from enum import Enum
from functools import cache, cached_property
from typing import Any, Final

import shared
from service.reports.inventory_csv import neutralised
from shared.facts import Facts, Row, facts
from shared.quantities import Fact, FactBook, Mark
from shared.vocabulary import Labelled

MARK_WORDS: Final = {
    Mark.PUBLISHED: "Published",
    Mark.COMPUTED: "Computed from a published equation",
    Mark.COMMON_PRACTICE: "Common practice, no source",
    Mark.FROM_MEMORY: "From memory, to be checked",
}

CONSTANTS: Final = "constants-"
"""Begins the key of every group that holds the constants of one module."""

_TABLES: Final = {
    "materials": ("Materials", "How long a wet material can wait, and what never to do to it"),
    "ratings": ("Ratings of materials", "What prompt work saves, mould class, drying room"),
    "heat_ceilings": ("Heat ceilings", "The warmest air a material should meet"),
    "permissions": ("Permissions", "What may be done to a material besides a programme"),
    "gates": ("Gates", "What overrides every number in triage"),
    "hazard_gates": ("Hazards that fire a gate", "As long as they stand"),
    "damages": ("Damage", "What a damage means for the clock, the gates and the steps"),
    "residues": ("Residues of fire", "What they are and the order in which they come off"),
    "prohibitions": ("What never to do", "What comes of it, which decides what is told first"),
    "packing": ("Packing", "What shares a container with what, and how it is packed and carried"),
    "water_categories": ("Water categories", "How contaminated the water was"),
    "mould_conditions": ("Mould conditions", "How far mould has come"),
    "bands": ("Bands", "The most hours left at which a piece falls in a band"),
    "significances": ("Significance", "What it multiplies a score by"),
    "extents": ("Extent", "What it multiplies a severity by"),
    "constants": ("Numbers of triage", "Single numbers that triage and valuation work with"),
    "spacings": ("Spacings and fill", "For chambers, racks and sites"),
    "room_set_points": ("Room set points", "The air a group of materials dries in"),
    "agents": ("Agents", "Who may sign for an agent and what it needs"),
    "agent_targets": ("Agents and targets", "Whether an agent acts on a target"),
    "denials": ("Denials", "An agent barred from a material, or from a damage for a while"),
    "limits": ("Limits of gases", "Published limits; the programme's own label governs"),
    "gases": ("Gases", "Molar masses, to convert mg/m³ to ppm"),
    "work_times": ("Work times", "Time planned for handwork on a piece"),
    "drying_bodies": ("Drying bodies", "A wet piece as a slab, per m² of its largest face"),
    "schedules": ("Insect schedules", "Published, for comparison only; Lagan proposes no dose"),
    "steps": ("Steps", "What must be done before what"),
    "object_types": ("Object types", "Whether a type may be depreciated by age"),
    "cautions": ("Cautions", "What makes each of them show"),
    "dosing_checks": ("Checks before dosing", "What is looked at before a gas goes in"),
    "studio_tasks": ("Studio tasks", "What each does, and whether a test area comes first"),
    "studio_calls": ("What calls for a studio task", "By type of object, material and damage"),
    "studio_order": ("Order of studio tasks", "What is done before what on one piece"),
    "studio_methods": ("Studio methods", "With water or not, and on which materials"),
    "studio_grounds": ("Grounds and adhesives", "Whether water may come near, and damp air"),
    "studio_sizes": ("Studio sizes", "By the largest face of a piece"),
    "studio_rates": ("Studio rate card", "Hours by task, group of materials and size"),
}

_UNITS: Final = {
    "per_m2_min": "min/m²",
    "_kg_m2": "kg/m²",
    "_m2_s": "m²/s",
    "_m_s": "m/s",
    "_g_mol": "g/mol",
    "_percent": "%",
    "_days": "days",
    "_m2": "m²",
    "_min": "min",
    "_c": "°C",
    "_h": "h",
    "_m": "m",
    "_y": "years",
}
"""The unit that the end of a column's name stands for; longer ends first."""

_COLUMNS: Final = {
    "per_m2_min": "more by area",
    "dry_kg_m2": "dry mass by area",
    "soaked_kg_m2": "water when soaked, by area",
    "damp_kg_m2": "water when damp, by area",
    "t_low_c": "temperature, low",
    "t_high_c": "temperature, high",
    "t_min_c": "temperature, least",
    "t_max_c": "temperature, most",
    "up_to_hours_left": "up to this much time left",
    "shun_damp": "keep damp air away",
    "water": "water-based methods",
}
"""Columns whose name would not read well."""

_KEYS: Final = {
    "permissions": ("material", "action"),
    "agent_targets": ("agent", "target"),
    "denials": ("agent", "material", "damage"),
    "limits": ("gas", "kind"),
    "studio_order": ("before", "after"),
    "studio_rates": ("task", "group"),
}
_ABBREVIATIONS: Final = (
    "osha",
    "niosh",
    "acgih",
    "pel",
    "twa",
    "stel",
    "rel",
    "tlv",
    "idlh",
    "rh",
    "co2",
)
_OWN_COLUMNS: Final = frozenset({"source", "mark", "changed_by", "unit"})


@dataclass(frozen=True)
class Figure:
    """One figure or sentence of an entry: what it is, its value as text, and its unit."""

    column: str
    what: str
    value: str
    unit: str

    @property
    def text(self) -> str:
        """Value and unit, as they are read."""
        if "," in self.unit:
            return f"{self.value} ({self.unit})"
        return f"{self.value} {self.unit}" if self.unit else self.value


@dataclass(frozen=True)
class Entry:
    """One constant, or one row of a table.

    Attributes:
        key: the row's key as a file of changes names it; a constant's name.
        name: what it is, in words.
        figures: what it says.
        source: where that is from.
        mark: how far it can be trusted.
        changed_by: who signed the facility's change, if the facility changed it.
    """

    key: str
    name: str
    figures: tuple[Figure, ...]
    source: str
    mark: Mark
    changed_by: str = ""


@dataclass(frozen=True)
class Group:
    """One table, or the constants of one module."""

    key: str
    title: str
    about: str
    entries: tuple[Entry, ...]

    @property
    def marks(self) -> Mapping[Mark, int]:
        """How many entries carry each mark."""
        return Counter(entry.mark for entry in self.entries)


@dataclass(frozen=True)
class Change:
    """One figure that the facility changed.

    ``source`` names who signed and why, as it stands in the changed row.
    """

    group: Group
    entry: Entry
    what: str
    before: str
    after: str
    signed_by: str
    source: str


@dataclass(frozen=True)
class ScienceDocument:
    """All figures, grouped. ``version`` is the hash that every triage result names."""

    version: str
    groups: tuple[Group, ...]
    changes: tuple[Change, ...]

    @property
    def entries(self) -> int:
        """How many entries there are."""
        return sum(len(group.entries) for group in self.groups)

    @property
    def marks(self) -> Mapping[Mark, int]:
        """How many entries carry each mark."""
        return Counter(entry.mark for group in self.groups for entry in group.entries)

    @cached_property
    def csv_bytes(self) -> bytes:
        """The listing as CSV (RFC 4180, UTF-8), a line for each figure.

        ``group``, ``key`` and ``column`` of a table's row are what a file of changes needs.
        """
        out = io.StringIO(newline="")
        writer = csv.writer(out, quoting=csv.QUOTE_ALL, lineterminator="\r\n")
        writer.writerow(CSV_COLUMNS)
        for group in self.groups:
            for entry in group.entries:
                for figure in entry.figures:
                    cells = (
                        *(group.key, group.title, entry.key, entry.name),
                        *(figure.column, figure.what, figure.value, figure.unit),
                        *(entry.source, MARK_WORDS[entry.mark], entry.changed_by),
                    )
                    writer.writerow([neutralised(cell) for cell in cells])
        return out.getvalue().encode()

    @cached_property
    def digest(self) -> str:
        """SHA-256 of the listing as CSV, constants included, in hex."""
        return hashlib.sha256(self.csv_bytes).hexdigest()


CSV_COLUMNS: Final = (
    *("group", "group_title", "key", "name", "column", "what", "value", "unit"),
    *("source", "mark", "changed_by"),
)


def science_document(known: Facts) -> ScienceDocument:
    """Everything that ``known`` and the formulas hold."""
    tables = tuple(_table(known, name) for name in _TABLES)
    return ScienceDocument(
        version=known.version,
        groups=(*tables, *_constants()),
        changes=tuple(change for group in tables for change in _changes(known, group)),
    )


# --- tables -------------------------------------------------------------------------------------


def _table(known: Facts, name: str) -> Group:
    title, about = _TABLES[name]
    rows: Mapping[Any, Row] = getattr(known, name)
    return Group(name, title, about, tuple(_entry(name, row) for row in rows.values()))


def _entry(table: str, row: Row) -> Entry:
    keys = _key_columns(table, row)
    unit = getattr(row, "unit", None)
    figures = tuple(
        Figure(column, _column_words(column), _words(getattr(row, column)), _unit(column, unit))
        for column in type(row).model_fields
        if column not in keys
        and column not in _OWN_COLUMNS
        and getattr(row, column) not in (None, "", ())
    )
    values = [getattr(row, column) for column in keys]
    return Entry(
        key="/".join("" if value is None else str(value) for value in values),
        name=capital(": ".join(_key_words(value) for value in values if value is not None)),
        figures=figures,
        source=row.source,
        mark=Mark.COMMON_PRACTICE if row.mark == "common practice" else Mark(row.mark),
        changed_by=row.changed_by,
    )


def _key_columns(table: str, row: Row) -> tuple[str, ...]:
    """The columns that name a row: the first of its own, unless the table has a longer key."""
    own = [column for column in type(row).model_fields if column not in Row.model_fields]
    return _KEYS.get(table, (own[0],))


def _key_words(value: object) -> str:
    """A part of a row's key as people read it."""
    if isinstance(value, Labelled):
        return value.label
    if isinstance(value, int):
        return f"condition {value}"
    text = str(value)
    return _plain(text) if text.endswith("_percent") else _column_words(text)


def _column_words(column: str) -> str:
    """A column's name as people read it, without its unit."""
    if column in _COLUMNS:
        return _COLUMNS[column]
    ending = next((one for one in _UNITS if column.endswith(one)), "")
    return _plain(column.removesuffix(ending))


def _unit(column: str, own: str | None) -> str:
    """The unit of a column; a row with a unit of its own gives that of its ``value``."""
    if own is not None:
        return own if column == "value" and own not in {"1", "-"} else ""
    if column == "up_to_hours_left":
        return "h"
    return next((unit for ending, unit in _UNITS.items() if column.endswith(ending)), "")


def _changes(known: Facts, group: Group) -> Iterator[Change]:
    """The figures of a table that differ from those shipped."""
    rows: Mapping[Any, Row] = getattr(known, group.key)
    shipped: Mapping[Any, Row] = getattr(facts(), group.key)
    for entry, (key, row) in zip(group.entries, rows.items(), strict=True):
        if not row.changed_by:
            continue
        before = {one.column: one.text for one in _entry(group.key, shipped[key]).figures}
        after = {one.column: one.text for one in entry.figures}
        differing = [
            (_column_words(column), before.get(column, "none"), after.get(column, "none"))
            for column in dict.fromkeys([*before, *after])
            if before.get(column) != after.get(column)
        ]
        for what, was, now in differing or [("signed anew", "as shipped", "as shipped")]:
            yield Change(group, entry, what, was, now, row.changed_by, row.source)


# --- constants ----------------------------------------------------------------------------------


@cache
def fact_books() -> tuple[tuple[str, str, FactBook], ...]:
    """Every module with constants of its own: its name, what it is about, its constants."""
    found = []
    for info in pkgutil.iter_modules(shared.__path__):
        module = importlib.import_module(f"shared.{info.name}")
        book = getattr(module, "FACTS", None)
        if isinstance(book, FactBook):
            about = (module.__doc__ or "").partition("\n")[0].rstrip(".")
            found.append((info.name, about, book))
    return tuple(found)


def _constants() -> Iterator[Group]:
    for name, about, book in fact_books():
        entries = tuple(
            Entry(fact.name, capital(fact.name), tuple(_figures(fact)), fact.source, fact.mark)
            for fact in book
        )
        if entries:
            yield Group(f"{CONSTANTS}{name}", f"Constants: {name}", about, entries)


def _figures(fact: Fact) -> Iterator[Figure]:
    """A constant's figures; one with several names, such as fibres, has one for each."""
    unit = "" if fact.unit == "-" else fact.unit
    if isinstance(fact.value, Mapping):
        for key, value in fact.value.items():
            yield Figure(str(key), _words(key), _words(value), unit)
    elif is_dataclass(fact.value):
        for one in fields(fact.value):
            words = _words(getattr(fact.value, one.name))
            yield Figure(one.name, _column_words(one.name), words, _unit(one.name, None))
    else:
        yield Figure("value", "value", _words(fact.value), unit)


# --- words --------------------------------------------------------------------------------------


def _words(value: object) -> str:
    """A value of any column or constant as text."""
    match value:
        case bool():
            return "yes" if value else "no"
        case Labelled():
            return value.label
        case Enum():
            return _plain(str(value.value))
        case float():
            return _number(value)
        case Decimal():
            return _number(float(value))
        case tuple() if any(isinstance(part, tuple) for part in value):
            return "; ".join(
                f"({_words(part)})" if isinstance(part, tuple) else _words(part) for part in value
            )
        case tuple():
            return "; ".join(_words(part) for part in value)
        case _ if is_dataclass(value):
            parts = ((one.name, getattr(value, one.name)) for one in fields(value))
            return "; ".join(f"{_column_words(name)} {_words(part)}" for name, part in parts)
        case _:
            return str(value)


def _number(value: float) -> str:
    """Every digit that was written down, and no exponent for everyday sizes."""
    if value == 0:
        return "0"
    if 1e-4 <= abs(value) < 1e7:
        return f"{Decimal(str(value)).normalize():f}"
    mantissa, _, exponent = f"{Decimal(str(value)).normalize():E}".partition("E")
    return f"{mantissa} × 10^{int(exponent)}"


def _plain(name: str) -> str:
    """An identifier as people read it."""
    return " ".join(
        part.upper() if part in _ABBREVIATIONS else part for part in name.split("_") if part
    )


def capital(text: str) -> str:
    """The text with a capital first letter, and the rest as it is."""
    return text[:1].upper() + text[1:]
