"""The oven scheduling problem as problem documents.

    python -m tests.benchmarks.oven FILE.dzn --seconds 60 --out schedule.json

prints `objective=… bound=… best_known=… seconds=…`. Problem and file format: M.-L. Lackner,
C. Mrkvicka, N. Musliu, D. Walkiewicz and F. Winter, "Exact methods for the Oven Scheduling
Problem", Constraints 28(2):320-361, 2023. An oven is a chamber, an attribute a programme, a setup
a clean-down. The objective is the paper's integer one, before it is normalised.
"""

import re
import sys
from datetime import UTC, datetime
from pathlib import Path

from scheduler.problem import (
    BatchStep,
    Chamber,
    CleanDown,
    Item,
    Problem,
    Programme,
    Weights,
    Window,
)
from tests.benchmarks import batches

Row = list[int]


class DataFile:
    """The assignments of a MiniZinc data file: numbers, lists, sets and two-dimensional arrays."""

    def __init__(self, text: str) -> None:
        text = re.sub(r"%.*", "", text)
        pairs = (statement.split("=", 1) for statement in text.split(";") if "=" in statement)
        self._values = {name.strip(): value.strip() for name, value in pairs}

    def number(self, name: str, default: int | None = None) -> int:
        """One number. Raises KeyError where it is missing and no default is given."""
        if default is not None and name not in self._values:
            return default
        return int(float(self._values[name]))

    def row(self, name: str) -> Row:
        """A list of numbers; empty where it is missing."""
        return _numbers(self._values.get(name, "[]").strip("[]"))

    def rows(self, name: str) -> list[Row]:
        """A two-dimensional array by rows."""
        return [_numbers(part) for part in self._values[name].strip("[]").strip("|").split("|")]

    def sets(self, name: str) -> list[Row]:
        """A list of sets."""
        return [_numbers(part) for part in re.findall(r"\{([^}]*)\}", self._values[name])]


def _numbers(text: str) -> Row:
    return [int(word) for word in text.replace(",", " ").split()]


def read(file: Path) -> Problem:
    """The problem document of an instance."""
    data = DataFile(file.read_text())
    attributes = range(1, data.number("a") + 1)
    return Problem(
        epoch=datetime(2000, 1, 1, tzinfo=UTC),
        horizon_min=data.number("l"),
        stations=tuple(_ovens(data)),
        programmes=tuple(Programme(id=f"a{n}") for n in attributes),
        clean_downs=tuple(_setups(data)),
        items=tuple(_jobs(data)),
        weights=Weights(
            lateness=0,
            late_items=data.number("mult_factor_finished_toolate", 0),
            running_min=data.number("mult_factor_total_runtime", 0),
            clean_down_cost=data.number("mult_factor_total_setupcosts", 0),
        ),
    )


def _ovens(data: DataFile) -> list[Chamber]:
    attributes = data.number("a")
    first = data.row("initState")
    found = []
    for n, litres in enumerate(data.row("max_cap")):
        spans = zip(data.rows("m_a_s")[n], data.rows("m_a_e")[n], strict=True)
        state = first[n] if first else 0
        found.append(
            Chamber(
                id=f"o{n + 1}",
                usable_l=litres,
                programmes=tuple(f"a{a}" for a in range(1, attributes + 1)),
                windows=tuple(sorted(Window(s, e) for s, e in spans if e > s)),
                starts_in=f"a{state}" if 1 <= state <= attributes else None,
            )
        )
    return found


def _setups(data: DataFile) -> list[CleanDown]:
    """The last row is that of an oven in no state."""
    attributes = data.number("a")
    costs, times = data.rows("setup_costs"), data.rows("setup_times")
    return [
        CleanDown(
            after=f"a{before + 1}" if before < attributes else None,
            into=f"a{into + 1}",
            minutes=times[before][into],
            cost=costs[before][into],
        )
        for before in range(attributes + 1)
        for into in range(attributes)
    ]


def _jobs(data: DataFile) -> list[Item]:
    columns = ("earliest_start", "latest_end", "min_time", "max_time", "size", "attribute")
    rows = zip(*(data.row(name) for name in columns), data.sets("eligible_machine"), strict=True)
    return [
        Item(
            id=f"j{n}",
            release_min=release,
            due_min=due,
            volume_l=size,
            steps=(
                BatchStep(
                    id="bake",
                    stations=tuple(f"o{oven}" for oven in ovens),
                    programme=f"a{attribute}",
                    min_min=shortest,
                    max_min=longest,
                ),
            ),
        )
        for n, (release, due, shortest, longest, size, attribute, ovens) in enumerate(rows, start=1)
    ]


if __name__ == "__main__":
    sys.exit(batches.main("oven", read, "best_int", 1, None))
