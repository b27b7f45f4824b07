"""What the adjuster reads: each refusal whole, the advice whole, and figures at their ends."""

from collections.abc import Callable
from decimal import Decimal
from functools import partial

import pytest
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


furniture = partial(
    straight_line_value,
    usd("1000"),
    age_years=Decimal(3),
    life_years=Decimal(10),
    object_type=ObjectType.FURNITURE,
)


def test_a_binary_float_is_refused_with_the_mend() -> None:
    with pytest.raises(ValidationError) as caught:
        Money(amount=0.1, currency="USD")
    (problem,) = caught.value.errors()
    assert problem["loc"] == ("amount",)
    assert problem["msg"] == (
        "Value error, a binary float can't hold cents exactly; give a Decimal or its text"
    )


@pytest.mark.parametrize(
    ("call", "sentence"),
    [
        (
            lambda: usd("1") - Money(amount=Decimal(1), currency="EUR"),
            "USD and EUR can't be put together: convert one at a stated rate first",
        ),
        (
            partial(actual_cash_value, usd("10"), usd("10.01")),
            "depreciation is more than replacement_cost: check both; a value can't go below nought",
        ),
        (
            partial(actual_cash_value, usd("-0.01"), usd("0")),
            "replacement_cost: must be 0 or more, not -0.01 USD",
        ),
        (
            partial(actual_cash_value, usd("0"), usd("-0.01")),
            "depreciation: must be 0 or more, not -0.01 USD",
        ),
        (
            partial(
                straight_line_value,
                usd("-5"),
                age_years=Decimal(1),
                life_years=Decimal(2),
                object_type=ObjectType.BOOK,
            ),
            "replacement_cost: must be 0 or more, not -5 USD",
        ),
        (
            partial(furniture, object_type=ObjectType.PAINTING),
            "Painting: art and antiques are not depreciated by age. Paintings may gain value with"
            " age. Use the agreed, scheduled or appraised value and name its basis.",
        ),
        (
            partial(furniture, age_years=Decimal("Infinity")),
            "age_years: must be a finite number, not Infinity",
        ),
        (partial(furniture, age_years=Decimal("-0.5")), "age_years: must be 0 or more"),
        (
            partial(furniture, life_years=Decimal("NaN")),
            "life_years: must be a finite number, not NaN",
        ),
        (partial(furniture, life_years=Decimal(0)), "life_years: must be more than 0"),
        (partial(furniture, quantity=0), "quantity: must be 1 or more"),
        (
            partial(restoring_advice, usd("-1"), usd("0"), usd("0")),
            "cost: must be 0 or more, not -1 USD",
        ),
        (
            partial(restoring_advice, usd("0"), usd("-1"), usd("0")),
            "loss_in_value: must be 0 or more, not -1 USD",
        ),
        (
            partial(restoring_advice, usd("0"), usd("0"), usd("-1")),
            "value_at_loss: must be 0 or more, not -1 USD",
        ),
        (
            lambda: usd("1").times(Decimal("Infinity")),
            "factor: must be a finite number, not Infinity",
        ),
    ],
)
def test_a_refusal_names_the_figure_what_is_wrong_and_what_to_do(
    call: Callable[[], object], sentence: str
) -> None:
    with pytest.raises(ValuationError) as caught:
        call()
    assert str(caught.value) == sentence


@pytest.mark.parametrize(("cost", "compared"), [("1000", "no more than"), ("1000.01", "more than")])
def test_the_advice_says_how_the_sums_compare_and_who_decides(cost: str, compared: str) -> None:
    advice = restoring_advice(usd(cost), usd("0"), usd("1000"))
    assert advice.sentence == (
        f"Treatment and lasting loss in value come to {compared} the value at the loss."
        " This is advice: the adjuster decides, and nothing is thrown away before the insurer's"
        " release."
    )


def test_nothing_is_a_value_too() -> None:
    assert actual_cash_value(usd("10"), usd("10")) == usd("0.00")
    assert restoring_advice(usd("0"), usd("0"), usd("0")).worth_restoring


@pytest.mark.parametrize(
    ("years", "value"), [("9.999", "0.10"), ("10", "0.00"), ("10.001", "0.00")]
)
def test_ordinary_goods_reach_nought_on_the_last_day_of_their_life(years: str, value: str) -> None:
    assert furniture(age_years=Decimal(years)) == usd(value)


def test_one_piece_is_meant_unless_a_quantity_is_given() -> None:
    assert furniture() == usd("700.00")
    assert furniture(quantity=12) == usd("8400.00")
