"""The facts of the trade held against what others print: one test for each row."""

import csv
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from pathlib import Path
from typing import TypeVar

import pytest
from pydantic import TypeAdapter

from shared.facts import Action, LimitKind, facts
from shared.quantities import (
    LengthUnit,
    Mark,
    TemperatureUnit,
    from_celsius,
    from_metres,
)
from shared.treatments import PieceState, legal_next, may_do, permission
from shared.triage import DamageSeen, TriageInput, assess
from shared.valuation import Money, actual_cash_value, straight_line_value
from shared.vocabulary import Agent, Damage, Labelled, Material, ObjectType, StepKind, Target
from tests.published.rows import COLUMNS, CheckRow

W = TypeVar("W", bound=Labelled)
FILE = Path(__file__).with_name("trade_checks.csv")
NOW = datetime(2026, 3, 4, 12, tzinfo=UTC)


def word(vocabulary: type[W], value: str) -> W:
    return TypeAdapter(vocabulary).validate_python(value)


def read_rows() -> list[CheckRow]:
    with FILE.open(newline="", encoding="utf-8") as file:
        reader = csv.DictReader(file, strict=True)
        assert reader.fieldnames == COLUMNS
        return [
            CheckRow(
                id=cells["id"],
                topic=cells["topic"],
                check=cells["check"],
                inputs=dict(pair.split("=") for pair in cells["inputs"].split(";")),
                expected=cells["expected"],
                unit=cells["unit"],
                tolerance=cells["tolerance"],
                source=cells["source"],
                mark=Mark(cells["mark"]),
            )
            for cells in reader
        ]


def limit(row: CheckRow) -> float:
    found = facts().limit(row.text("gas"), LimitKind(row.text("kind")))
    assert found.unit == row.unit
    return found.value


def spacing(row: CheckRow) -> float:
    found = facts().spacing(row.text("name"))
    if found.unit == "m":
        return round(from_metres(found.value, LengthUnit(row.unit)), 9)
    assert found.unit == row.unit
    return found.value


def soaked_hours_left(material: Material, hours_wet: float) -> float:
    wet_since = NOW - timedelta(hours=hours_wet)
    known = assess(
        TriageInput(
            now=NOW,
            materials=(material,),
            damages=(DamageSeen(damage=Damage.SOAKED, wet_since=wet_since),),
        )
    )
    assert known.hours_left is not None
    return known.hours_left


def mould_window(row: CheckRow) -> float:
    return soaked_hours_left(word(Material, row.text("material")), row.number("hours_wet"))


def window(row: CheckRow) -> float:
    return soaked_hours_left(word(Material, row.text("material")), 0)


def action(row: CheckRow) -> str:
    material, wanted = word(Material, row.text("material")), word(Action, row.text("action"))
    found = facts().permission(material, wanted).permission
    verdict = may_do(wanted, [material], PieceState(), at=NOW)
    assert verdict.allowed is (found.value == "yes")
    return found.value


def agent(row: CheckRow) -> str:
    return permission(
        word(Agent, row.text("agent")), word(Material, row.text("material"))
    ).permission.value


def target(row: CheckRow) -> str:
    return (
        facts()
        .agent_targets[word(Agent, row.text("agent")), word(Target, row.text("target"))]
        .serves.value
    )


def order(row: CheckRow) -> str:
    first, second = word(StepKind, row.text("step")), word(StepKind, row.text("before"))
    choices = {choice.step: choice.allowed for choice in legal_next([], [first, second])}
    return "yes" if choices == {first: True, second: False} else "no"


def wet_clean(row: CheckRow) -> str:
    state = PieceState(soot_on=row.text("soot_on") == "yes")
    verdict = may_do(Action.WATER_CLEANING, [word(Material, row.text("material"))], state, at=NOW)
    return "yes" if verdict.allowed else "no"


def schedule(row: CheckRow) -> float:
    value = float(getattr(facts().schedules[row.text("id")], row.text("column")))
    if row.unit == "degF":
        return from_celsius(value, TemperatureUnit.FAHRENHEIT)
    return value / 24 if row.unit == "d" else value


def usd(row: CheckRow, name: str) -> Money:
    return Money(amount=Decimal(row.text(name)), currency="USD")


def cash_value(row: CheckRow) -> float:
    return float(actual_cash_value(usd(row, "cost"), usd(row, "depreciation")).amount)


def straight_line(row: CheckRow) -> float:
    value = straight_line_value(
        usd(row, "cost"),
        age_years=Decimal(row.text("age")),
        life_years=Decimal(row.text("life")),
        quantity=int(row.text("quantity")),
        object_type=ObjectType.OTHER,
    )
    return float(value.amount)


CHECKS: dict[str, Callable[[CheckRow], float | str]] = {
    "limit": limit,
    "spacing": spacing,
    "mould_window": mould_window,
    "window": window,
    "action": action,
    "agent": agent,
    "target": target,
    "order": order,
    "wet_clean": wet_clean,
    "schedule": schedule,
    "cash_value": cash_value,
    "straight_line": straight_line,
}
ROWS = read_rows()


@pytest.mark.parametrize("row", ROWS, ids=str)
def test_agrees_with_what_others_print(row: CheckRow) -> None:
    row.assert_met_by(CHECKS[row.check](row))


def test_every_check_written_here_has_a_row() -> None:
    assert CHECKS.keys() == {row.check for row in ROWS}


def test_ids_are_unique_and_every_row_names_its_source() -> None:
    assert len({row.id for row in ROWS}) == len(ROWS)
    assert all(len(row.source) >= 5 for row in ROWS)


def test_the_eggs_of_carpet_beetles_live_through_sulfuryl_fluoride() -> None:
    # EPA-accepted sulfuryl fluoride label: the egg stage is excepted.
    row = facts().agent_targets[Agent.SULFURYL_FLUORIDE, Target.INSECTS]
    assert "not the eggs of carpet beetles" in row.sentence


def test_ozone_is_never_allowed_by_default_on_any_material() -> None:
    # Druzik, Conservation DistList 1994/0754.
    assert {permission(Agent.OZONE, material).permission.value for material in Material} == {
        "conservator",
        "no",
    }
