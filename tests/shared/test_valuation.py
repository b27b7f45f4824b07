from decimal import Decimal
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import ValidationError

from shared.valuation import (
    Money,
    ValuationError,
    actual_cash_value,
    restoring_advice,
    straight_line_value,
)
from shared.vocabulary import ObjectType


def usd(amount: str) -> Money:
    return Money(amount=Decimal(amount), currency="USD")


def depreciated(**more: Any) -> Money:
    return straight_line_value(
        **{
            "replacement_cost": usd("1000"),
            "age_years": Decimal(3),
            "life_years": Decimal(10),
            "object_type": ObjectType.FURNITURE,
            **more,
        }
    )


amounts = st.decimals(0, 10**7, places=2)


def test_money_of_two_currencies_is_not_put_together() -> None:
    with pytest.raises(ValuationError, match=r"USD and EUR.*convert one at a stated rate"):
        usd("1") + Money(amount=Decimal(1), currency="EUR")


@pytest.mark.parametrize(
    ("amount", "currency"),
    [(0.1, "USD"), (Decimal("NaN"), "USD"), (Decimal("Infinity"), "USD"), ("1", "usd"), ("1", "$")],
)
def test_money_that_is_not_exact_or_has_no_currency_code_is_refused(
    amount: Any, currency: str
) -> None:
    with pytest.raises(ValidationError):
        Money(amount=amount, currency=currency)


@pytest.mark.parametrize(
    ("amount", "currency", "rounded"),
    [
        ("2.675", "USD", "2.68"),
        ("2.665", "USD", "2.67"),
        ("-2.675", "USD", "-2.68"),
        ("2.5", "JPY", "3"),
        ("2.0005", "KWD", "2.001"),
    ],
)
def test_rounding_is_half_away_from_zero_to_the_minor_unit(
    amount: str, currency: str, rounded: str
) -> None:
    money = Money(amount=Decimal(amount), currency=currency).rounded()
    assert str(money.amount) == rounded


@given(amounts, amounts)
def test_cash_value_and_depreciation_make_up_the_replacement_cost(
    cost: Decimal, depreciation: Decimal
) -> None:
    if depreciation > cost:
        with pytest.raises(ValuationError, match="depreciation is more"):
            actual_cash_value(usd(str(cost)), usd(str(depreciation)))
    else:
        value = actual_cash_value(usd(str(cost)), usd(str(depreciation)))
        assert value.amount + depreciation == cost


def test_straight_line_rounds_once_at_the_end() -> None:
    value = depreciated(
        replacement_cost=usd("99.99"), age_years=Decimal(1), life_years=Decimal(3), quantity=3
    )
    assert value == usd("199.98")


def test_what_has_outlived_its_life_is_worth_nothing_by_age() -> None:
    assert depreciated(age_years=Decimal(40)) == usd("0.00")


@pytest.mark.parametrize(
    "refused",
    [
        {"object_type": ObjectType.PAINTING},
        {"object_type": ObjectType.WORK_ON_PAPER},
        {"object_type": ObjectType.PHOTOGRAPH},
        {"object_type": ObjectType.SCULPTURE},
        {"object_type": ObjectType.DOCUMENT},
        {"antique_or_collected": True},
        {"age_years": Decimal(100), "life_years": Decimal(200)},
    ],
)
def test_art_and_antiques_are_never_depreciated_by_age(refused: dict[str, Any]) -> None:
    with pytest.raises(ValuationError, match="agreed, scheduled or appraised value"):
        depreciated(**refused)


def test_what_is_new_is_worth_its_cost_and_a_life_may_be_one_year() -> None:
    assert depreciated(age_years=Decimal(0)) == usd("1000.00")
    assert depreciated(age_years=Decimal("0.25"), life_years=Decimal(1)) == usd("750.00")


def test_just_under_the_age_of_an_antique_is_still_depreciated() -> None:
    value = depreciated(age_years=Decimal(99), life_years=Decimal(198))
    assert value == usd("500.00")


@pytest.mark.parametrize(
    ("bad", "field"),
    [
        ({"replacement_cost": usd("-1")}, "replacement_cost"),
        ({"age_years": Decimal(-1)}, "age_years"),
        ({"age_years": Decimal("NaN")}, "age_years"),
        ({"life_years": Decimal(0)}, "life_years"),
        ({"life_years": Decimal("NaN")}, "life_years"),
        ({"quantity": 0}, "quantity"),
    ],
)
def test_a_bad_figure_is_named(bad: dict[str, Any], field: str) -> None:
    with pytest.raises(ValuationError, match=field):
        depreciated(**bad)


@pytest.mark.parametrize("field", ["replacement_cost", "depreciation"])
def test_a_negative_amount_is_named(field: str) -> None:
    figures = {"replacement_cost": usd("10"), "depreciation": usd("1"), field: usd("-1")}
    with pytest.raises(ValuationError, match=field):
        actual_cash_value(**figures)


@pytest.mark.parametrize(
    ("cost", "loss", "worth", "margin"),
    [
        ("600", "300", True, "100.00"),
        ("700", "300", True, "0.00"),
        ("700.01", "300", False, "-0.01"),
    ],
)
def test_restoring_is_advised_up_to_the_value_at_the_loss(
    cost: str, loss: str, worth: bool, margin: str
) -> None:
    advice = restoring_advice(usd(cost), usd(loss), usd("1000"))
    assert advice.worth_restoring is worth
    assert str(advice.margin.amount) == margin
    assert "the adjuster decides" in advice.sentence


def test_a_hair_over_is_over_even_if_the_margin_rounds_to_nought() -> None:
    assert not restoring_advice(usd("1000.001"), usd("0"), usd("1000")).worth_restoring


@pytest.mark.parametrize("field", ["cost", "loss_in_value", "value_at_loss"])
def test_advice_on_a_negative_amount_names_it(field: str) -> None:
    figures = {"cost": usd("1"), "loss_in_value": usd("1"), "value_at_loss": usd("1")}
    with pytest.raises(ValuationError, match=field):
        restoring_advice(**{**figures, field: usd("-1")})
