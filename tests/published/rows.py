"""Reads checks.csv: one row for each figure that somebody outside this project has printed.

A test module claims whole topics with ``TOPICS`` and takes their rows from ``rows_for``.
"""

import csv
import math
from dataclasses import dataclass, field
from pathlib import Path

from shared.quantities import Mark

CHECKS = Path(__file__).with_name("checks.csv")
COLUMNS = ["id", "topic", "check", "inputs", "expected", "unit", "tolerance", "source", "mark"]


@dataclass
class CheckRow:
    """One published figure, and the inputs that our own code must turn into it."""

    id: str
    topic: str
    check: str
    inputs: dict[str, str]
    expected: str
    unit: str
    tolerance: str
    source: str
    mark: Mark
    _read: set[str] = field(default_factory=set)

    def __str__(self) -> str:
        return f"{self.id}-{self.check}"

    def text(self, name: str) -> str:
        """One input as written."""
        self._read.add(name)
        return self.inputs[name]

    def number(self, name: str) -> float:
        """One input as a number."""
        return float(self.text(name))

    def assert_met_by(self, value: float | bool | str) -> None:
        """Compare with the expected figure within the row's tolerance.

        Fails also if an input of the row was never read: then the row checks less than it says.
        """
        unread = self.inputs.keys() - self._read
        assert not unread, f"{self.id}: inputs never read: {sorted(unread)}"
        if self.tolerance == "exact":
            assert self._is_exactly(value), f"{self.id}: {value} is not {self.expected}"
        elif self.tolerance == "range":
            low, high = (float(part) for part in self.expected.split(".."))
            assert low <= float(value) <= high, (self.id, value)
        else:
            expected = float(self.expected)
            assert math.isclose(float(value), expected, rel_tol=0, abs_tol=self._allowed()), (
                f"{self.id}: {value} is not {self.expected} {self.unit} within {self.tolerance}"
            )

    def _is_exactly(self, value: float | bool | str) -> bool:
        if isinstance(value, str | bool):
            return str(value).lower() == self.expected.lower()
        return value == float(self.expected)

    def _allowed(self) -> float:
        if self.tolerance.endswith("%"):
            return float(self.tolerance[:-1]) / 100 * abs(float(self.expected))
        return float(self.tolerance)


def _row(cells: dict[str, str]) -> CheckRow:
    pairs = [pair.partition("=") for pair in cells["inputs"].split(";") if pair]
    return CheckRow(
        id=cells["id"],
        topic=cells["topic"],
        check=cells["check"],
        inputs={name: value for name, _, value in pairs},
        expected=cells["expected"],
        unit=cells["unit"],
        tolerance=cells["tolerance"],
        source=cells["source"],
        mark=Mark(cells["mark"]),
    )


def load_rows() -> list[CheckRow]:
    """Every row of checks.csv. Raises ValueError where the file breaks its own form."""
    with CHECKS.open(newline="", encoding="utf-8") as file:
        reader = csv.DictReader(file, strict=True)
        if reader.fieldnames != COLUMNS:
            raise ValueError(f"checks.csv: columns are {reader.fieldnames}, not {COLUMNS}")
        rows = []
        for cells in reader:
            if None in cells or None in cells.values():
                raise ValueError(f"checks.csv, line {reader.line_num}: not {len(COLUMNS)} columns")
            rows.append(_row(cells))
    ids = [row.id for row in rows]
    twice = sorted({name for name in ids if ids.count(name) > 1})
    if twice:
        raise ValueError(f"checks.csv: ids used twice: {twice}")
    return rows


def rows_for(topics: frozenset[str]) -> list[CheckRow]:
    """The rows of some topics. Raises ValueError for a topic without any row."""
    rows = [row for row in load_rows() if row.topic in topics]
    missing = topics - {row.topic for row in rows}
    if missing:
        raise ValueError(f"checks.csv has no row for {sorted(missing)}")
    return rows
