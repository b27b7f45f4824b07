"""A facility's own changes to the facts: how their file is read, and which are never taken.

The file is CSV with the columns ``table, key, column, value, signed_by, reason``; a key of several
columns is joined by ``/``. A change may always make a rule stricter. What protects people, and what
only a conservator may lift for one piece, can't be loosened by a file.
"""

import csv
import io
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any, Final

COLUMNS: Final = ("table", "key", "column", "value", "signed_by", "reason")
NOTHING: Final = "nothing"
"""What stands for an empty cell where a change is shown."""


class FactsError(ValueError):
    """A table, or a facility's change to one, that can't be used; says where and how to mend it."""


@dataclass(frozen=True)
class Change:
    """One cell as a facility wants it; ``row`` is where it stands in the file, the header is 1."""

    row: int
    table: str
    key: str
    column: str
    value: str
    signed_by: str
    reason: str

    @property
    def where(self) -> str:
        """The place of the change, for an error."""
        return f"changed facts, row {self.row} ({self.table}.csv)"


@dataclass(frozen=True)
class ChangedCell:
    """A change that was made, with what the cell says as shipped."""

    change: Change
    shipped: str

    @property
    def words(self) -> str:
        """The column, both values, who signed and why."""
        made = self.change
        instead = "" if made.value == self.shipped else f"instead of {self.shipped or NOTHING} "
        return (
            f"{made.column} {made.value or NOTHING} {instead}as shipped "
            f"({made.signed_by}: {made.reason})"
        )

    @property
    def sentence(self) -> str:
        """The same with the table and the row."""
        return f"{self.change.table}, {self.change.key}: {self.words}"


def read_changes(text: str) -> list[Change]:
    """Read a facility's file, as saved by a text editor or a spreadsheet.

    Cells are parted by commas, semicolons or tabs, whichever the header has; empty rows count for
    nothing, and so does an empty file.

    Raises:
        FactsError: on a wrong header, a row with too few or too many cells, an unsigned,
            unreasoned or incomplete row, or a cell changed twice.
    """
    text = text.removeprefix("\ufeff")
    header_line = text.lstrip().partition("\n")[0]
    delimiter = max(",;\t", key=header_line.count)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
    header: list[str] = []
    changes: dict[tuple[str, str, str], Change] = {}
    number = 0
    try:
        for number, line in enumerate(reader, start=1):
            cells = [cell.strip() for cell in line]
            if not any(cells):
                continue
            if not header:
                header = _checked_header(cells, number)
                continue
            change = _read_row(header, cells, number)
            cell = (change.table, change.key, change.column)
            if cell in changes:
                raise FactsError(
                    f"{change.where}, column {change.column}: row {changes[cell].row} changes the "
                    "same cell; remove one of the two"
                )
            changes[cell] = change
    except csv.Error as error:
        raise FactsError(
            f"changed facts, after row {number}: {error}; close every quotation mark"
        ) from error
    return list(changes.values())


def _checked_header(cells: list[str], number: int) -> list[str]:
    where = f"changed facts, row {number}"
    for missing in (column for column in COLUMNS if column not in cells):
        raise FactsError(
            f"{where}: column {missing!r} is missing; add it, so that the first row reads "
            f"{','.join(COLUMNS)}"
        )
    for unknown in (column for column in cells if column not in COLUMNS):
        raise FactsError(f"{where}: column {unknown!r} is not known; remove it")
    for column in COLUMNS:
        if cells.count(column) > 1:
            raise FactsError(f"{where}: column {column!r} is there twice; remove one")
    return cells


def _read_row(header: list[str], cells: list[str], number: int) -> Change:
    if len(cells) != len(header):
        raise FactsError(
            f"changed facts, row {number}: {len(cells)} cells where the header has {len(header)}; "
            "fill in every column, and put a cell that holds the separator in quotation marks"
        )
    values = dict(zip(header, cells, strict=True))
    for column in COLUMNS:
        if column != "value" and not values[column]:
            raise FactsError(f"changed facts, row {number}, column {column}: empty; fill it in")
    return Change(row=number, **values)


# --- what a file can't loosen -------------------------------------------------------------------


@dataclass(frozen=True)
class _Rule:
    """Whether a cell may go from one value to another, and what a facility may do instead."""

    allows: Callable[[Any, Any], bool]
    mend: str


def why_protected(change: Change, shipped: Any, new: Any) -> str | None:
    """Say why a change is not taken and what to do instead, or return ``None``.

    ``shipped`` and ``new`` are the cell's values as plain JSON.
    """
    if change.table in _LOCKED_TABLES:
        return f"{_LOCKED_TABLES[change.table]}; remove this row"
    rule = _ROW_RULES.get((change.table, change.key, change.column)) or _COLUMN_RULES.get(
        (change.table, change.column)
    )
    return None if rule is None or rule.allows(shipped, new) else rule.mend


def _stricter(*from_lax: str | None, mend: str) -> _Rule:
    """A cell whose value may only move along ``from_lax``."""
    return _Rule(lambda old, new: from_lax.index(new) >= from_lax.index(old), mend)


def _never(_old: object, _new: object) -> bool:
    return False


def _no_higher(old: float, new: float) -> bool:
    return new <= old


def _no_lower(old: float, new: float) -> bool:
    return new >= old


def _drops_nothing(old: Sequence[str], new: Sequence[str]) -> bool:
    return set(old) <= set(new)


def _only_more(what: str) -> _Rule:
    """A cell whose list may grow and never lose a member."""
    return _Rule(_drops_nothing, f"{what} may be added, never dropped: name the shipped ones too")


_LOCKED_TABLES: Final = {
    "cautions": "cautions stand as shipped: they keep people from harm",
    "dosing_checks": "checks before dosing stand as shipped: they keep people from harm",
    "gates": "what a gate says and holds back stands as shipped: it keeps people from harm",
    "hazard_gates": "which hazards close a gate stands as shipped: it keeps people from harm",
    "gases": "a gas's molar mass is no facility's choice: readings are converted with it",
    "schedules": "published schedules are for comparison only; a licensed person signs a programme",
}
_LOWER: Final = _Rule(_no_higher, "it protects people, so a facility may only lower it")
_HIGHER: Final = _Rule(_no_lower, "it protects people, so a facility may only raise it")
_UNIT: Final = _Rule(_never, "the unit stands; give the value in it")
_GATES: Final = _only_more("gates")
_NEVER_DOS: Final = _only_more("never-do's")
_STEPS: Final = _only_more("steps")
_KIND: Final = _Rule(_never, "what a damage is stands as shipped; change its hours instead")
_CONCERNS: Final = _Rule(_never, "what a row of packing concerns stands as shipped")
_AGENT: Final = _Rule(
    _never, "what an agent is and needs stands as shipped; the signed programme rules"
)
_PERMISSION: Final = _stricter(
    "yes",
    "conservator",
    "no",
    mend="a permission may only be made stricter; for a single piece, what is conservator only is "
    "lifted by a conservator's signed and dated override",
)

_ONLY_YES: Final = _Rule(
    lambda old, new: new or not old, "it holds harm off a piece, so a facility may only say yes"
)

_COLUMN_RULES: Final[dict[tuple[str, str], _Rule]] = {
    ("limits", "value"): _LOWER,
    ("limits", "unit"): _UNIT,
    ("spacings", "unit"): _UNIT,
    ("constants", "unit"): _UNIT,
    ("agents", "default"): _PERMISSION,
    **{
        ("agents", column): _AGENT
        for column in (
            *("licence", "gas", "chamber", "hazard"),
            *("t_min_c", "t_max_c", "rh_min_percent", "rh_max_percent"),
        )
    },
    ("denials", "permission"): _PERMISSION,
    ("denials", "until"): _Rule(
        lambda _, new: new is None, "it ends the denial sooner; leave it or clear it"
    ),
    ("permissions", "permission"): _PERMISSION,
    ("damages", "freeze_wet"): _PERMISSION,
    ("agent_targets", "serves"): _stricter(
        "yes", "partly", "no", mend="an agent is never said to do more than is shipped"
    ),
    ("object_types", "straight_line"): _stricter(
        "if_ordinary", "no", mend="art and antiques are never depreciated by age"
    ),
    ("damages", "assumed_water"): _stricter(
        None, "1", "2", "3", mend="it protects people, so only a worse category may be assumed"
    ),
    ("damages", "clock"): _KIND,
    ("damages", "wets"): _KIND,
    ("damages", "mould_clock"): _KIND,
    ("materials", "gates"): _GATES,
    ("damages", "gates"): _GATES,
    ("water_categories", "gates"): _GATES,
    ("mould_conditions", "gates"): _GATES,
    ("materials", "never"): _NEVER_DOS,
    ("damages", "never"): _NEVER_DOS,
    ("prohibitions", "harm"): _stricter(
        *("mendable", "lasting", "lost", "people"),
        mend="a harm is never called less than is shipped: it decides what is told first",
    ),
    ("packing", "never"): _NEVER_DOS,
    ("packing", "share"): _stricter(
        "any", "alike", "alone", mend="what is kept apart may only be kept apart more strictly"
    ),
    ("packing", "materials"): _CONCERNS,
    ("packing", "damages"): _CONCERNS,
    ("damages", "steps"): _STEPS,
    ("mould_conditions", "steps"): _STEPS,
    ("studio_tasks", "test_first"): _ONLY_YES,
    ("studio_methods", "water_based"): _ONLY_YES,
    ("studio_methods", "never_on"): _only_more("materials"),
    ("studio_methods", "groups"): _Rule(
        lambda old, new: set(new) <= set(old),
        "a method may be taken from a group of materials, never given to one",
    ),
    ("studio_methods", "task"): _Rule(_never, "what a method does stands as shipped"),
    ("studio_grounds", "water"): _PERMISSION,
    ("studio_grounds", "shun_damp"): _ONLY_YES,
    ("steps", "requires"): _STEPS,
    ("steps", "leave_out"): _PERMISSION,
    ("steps", "order"): _Rule(_never, "the order of steps stands as shipped"),
}
_ROW_RULES: Final[dict[tuple[str, str, str], _Rule]] = {
    ("limits", "oxygen/hazardous_low", "value"): _HIGHER,
    ("spacings", "generator_distance_m", "value"): _HIGHER,
    ("spacings", "fumigation_max_fill", "value"): _LOWER,
    ("spacings", "fumigation_headspace_m", "value"): _HIGHER,
    ("spacings", "fumigation_underfloor_m", "value"): _HIGHER,
}
