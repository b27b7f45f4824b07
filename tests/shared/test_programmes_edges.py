"""What a signed programme must hold, and the ends of every range. The programmes are invented."""

from datetime import date
from decimal import Decimal
from typing import Any

import pytest
from pydantic import ValidationError

from shared.programmes import ClearanceRule, Programme
from shared.vocabulary import Agent, Material, Target

CLEARANCE: dict[str, Any] = {
    "gas": "ozone",
    "limit_ppm": Decimal("0.1"),
    "compare": "at_most",
    "cited_from": "an invented label",
}
CARBON: dict[str, Any] = {
    "id": "carbon-1",
    "version": 1,
    "label": "Invented carbon programme",
    "family": "carbon",
    "agent": Agent.CARBON_AIR,
    "targets": (Target.SMOKE_ODOUR,),
    "temperature_c": (15.0, 25.0),
    "rh": (0.4, 0.6),
    "run_min": (60, 120),
    "signed_by": "An Invented Person",
    "jurisdiction": "Nowhere",
    "expires": date(2032, 1, 1),
}
GAS: dict[str, Any] = {
    **CARBON,
    "id": "gas-1",
    "agent": Agent.OZONE,
    "concentration_ppm": (Decimal("1"), Decimal("2")),
    "dose_ppm_h": (Decimal("3"), Decimal("4")),
    "clearance": CLEARANCE,
    "licence_no": "X-1",
}

RULE_RANGES: list[tuple[str, list[Any], list[Any]]] = [
    ("limit_ppm", [Decimal("0.000001"), Decimal("5000")], [Decimal(0), Decimal("-0.1")]),
    ("compare", ["at_most", "below"], ["above", ""]),
    ("cited_from", ["abc"], ["ab", ""]),
    ("fresh_s", [1, 86_400], [0, 86_401]),
    ("closed_hold_s", [0, 86_400], [-1, 86_401]),
    ("passes_apart_s", [0, 86_400], [-1, 86_401]),
]
PROGRAMME_RANGES: list[tuple[str, list[Any], list[Any]]] = [
    ("version", [1, 2], [0]),
    ("targets", [(Target.MOULD,)], [(), ("dust",)]),
    ("rh", [(0.0, 1.0)], [(-0.01, 0.5), (0.5, 1.01), (0.5,)]),
    ("run_min", [(1, 1)], [(0, 5), (0, 0), (1, 0)]),
    ("exclusions", [(), (Material.SILVER,)], [("unobtainium",)]),
    ("family", ["carbon"], ["Carbon", ""]),
    ("id", ["a" * 40], ["a" * 41, ""]),
]


@pytest.mark.parametrize(
    ("field", "value"), [(field, value) for field, within, _ in RULE_RANGES for value in within]
)
def test_a_clearance_rule_takes_the_ends_of_each_range(field: str, value: Any) -> None:
    rule = ClearanceRule.model_validate({**CLEARANCE, field: value})
    assert rule.model_dump()[field] == value


@pytest.mark.parametrize(
    ("field", "value"), [(field, value) for field, _, outside in RULE_RANGES for value in outside]
)
def test_a_clearance_rule_refuses_by_field_what_lies_beyond(field: str, value: Any) -> None:
    with pytest.raises(ValidationError) as caught:
        ClearanceRule.model_validate({**CLEARANCE, field: value})
    assert [error["loc"] for error in caught.value.errors()] == [(field,)]


@pytest.mark.parametrize("field", CLEARANCE)
def test_a_clearance_rule_has_no_default_for_what_the_label_decides(field: str) -> None:
    without = {name: value for name, value in CLEARANCE.items() if name != field}
    with pytest.raises(ValidationError, match=field):
        ClearanceRule.model_validate(without)


def test_a_rule_that_says_no_times_takes_a_quarter_hour_two_hours_and_one_hour() -> None:
    rule = ClearanceRule.model_validate(CLEARANCE)
    assert rule.fresh_s == 15 * 60
    assert rule.closed_hold_s == 2 * 60 * 60
    assert rule.passes_apart_s == 60 * 60


@pytest.mark.parametrize(
    ("field", "value"),
    [(field, value) for field, within, _ in PROGRAMME_RANGES for value in within],
)
def test_a_programme_takes_the_ends_of_each_range(field: str, value: Any) -> None:
    programme = Programme.model_validate({**GAS, field: value})
    assert programme.model_dump()[field] == value


@pytest.mark.parametrize(
    ("field", "value"),
    [(field, value) for field, _, outside in PROGRAMME_RANGES for value in outside],
)
def test_a_programme_refuses_by_field_what_lies_beyond(field: str, value: Any) -> None:
    with pytest.raises(ValidationError) as caught:
        Programme.model_validate({**GAS, field: value})
    assert {error["loc"][0] for error in caught.value.errors()} == {field}


@pytest.mark.parametrize(
    ("field", "window", "said"),
    [
        ("concentration_ppm", (Decimal("2.1"), Decimal("2")), "2.1 is above the upper 2"),
        ("dose_ppm_h", (Decimal("5"), Decimal("4")), "5 is above the upper 4"),
        ("temperature_c", (25.5, 25.0), "25.5 is above the upper 25.0"),
        ("rh", (0.61, 0.6), "0.61 is above the upper 0.6"),
        ("run_min", (121, 120), "121 is above the upper 120"),
    ],
)
def test_a_window_upside_down_is_named_with_both_its_ends(
    field: str, window: tuple[Any, Any], said: str
) -> None:
    with pytest.raises(ValidationError, match=f"Value error, {field}: the lower end {said}"):
        Programme.model_validate({**GAS, field: window})


@pytest.mark.parametrize(
    ("field", "window"),
    [
        ("concentration_ppm", (Decimal(2), Decimal(2))),
        ("dose_ppm_h", (Decimal(4), Decimal(4))),
        ("temperature_c", (20.0, 20.0)),
        ("rh", (0.5, 0.5)),
        ("run_min", (90, 90)),
    ],
)
def test_a_window_may_be_one_value_wide(field: str, window: tuple[Any, Any]) -> None:
    assert getattr(Programme.model_validate({**GAS, field: window}), field) == window


GAS_PARTS = ("concentration_ppm", "dose_ppm_h", "clearance")


@pytest.mark.parametrize("missing", GAS_PARTS)
def test_a_gas_programme_lacks_none_of_its_three_parts(missing: str) -> None:
    with pytest.raises(
        ValidationError,
        match="Value error, a gas programme needs concentration_ppm, dose_ppm_h "
        "and clearance together",
    ):
        Programme.model_validate({**GAS, missing: None})


@pytest.mark.parametrize("only", GAS_PARTS)
def test_one_part_of_a_gas_programme_does_not_stand_alone(only: str) -> None:
    parts = {name: None for name in GAS_PARTS if name != only}
    with pytest.raises(ValidationError, match="together"):
        Programme.model_validate({**GAS, **parts})


@pytest.mark.parametrize("licence", [None, ""])
def test_a_gas_programme_names_its_signers_licence(licence: str | None) -> None:
    with pytest.raises(
        ValidationError,
        match="Value error, licence_no: a gas programme needs the signer's licence number",
    ):
        Programme.model_validate({**GAS, "licence_no": licence})


def test_only_a_gas_programme_needs_the_licensed_person_there() -> None:
    assert Programme.model_validate(GAS).needs_licence is True
    carbon = Programme.model_validate(CARBON)
    assert carbon.needs_licence is False
    # A licence number on a programme without a gas makes it no gas programme.
    assert Programme.model_validate({**CARBON, "licence_no": "X-1"}).needs_licence is False


def test_a_programme_without_a_gas_has_no_dose_no_exclusions_and_no_note_unless_said() -> None:
    carbon = Programme.model_validate(CARBON)
    assert (carbon.concentration_ppm, carbon.dose_ppm_h, carbon.clearance) == (None, None, None)
    assert (carbon.exclusions, carbon.licence_no, carbon.note) == ((), None, "")


@pytest.mark.parametrize("document", [Programme, ClearanceRule])
def test_a_signed_document_takes_no_unknown_field_and_never_changes(
    document: type[Programme] | type[ClearanceRule],
) -> None:
    fields = GAS if document is Programme else CLEARANCE
    with pytest.raises(ValidationError, match="colour"):
        document.model_validate({**fields, "colour": "red"})
    made = document.model_validate(fields)
    with pytest.raises(ValidationError, match="frozen"):
        setattr(made, next(iter(fields)), "other")
