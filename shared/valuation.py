"""What a piece is worth to the claim: replacement cost, actual cash value, advice on restoring.

Money is exact decimal. It is rounded once, at the end of a calculation, to the currency's minor
unit (ISO 4217), halves away from zero as invoices do. Lagan advises; the adjuster decides.
"""

from decimal import ROUND_HALF_UP, Decimal
from typing import Annotated, Any, Self

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field

from shared.facts import Constant, Facts, StraightLine, facts
from shared.quantities import FactBook, Mark
from shared.vocabulary import ObjectType

FACTS = FactBook()
_MINOR_DIGITS = FACTS.note(
    "decimal places of currencies that do not have two",
    {
        **dict.fromkeys(
            ("CLP", "ISK", "JPY", "KRW", "PYG", "RWF", "UGX", "VND", "XAF", "XOF", "XPF"), 0
        ),
        **dict.fromkeys(("BHD", "IQD", "JOD", "KWD", "LYD", "OMR", "TND"), 3),
    },
    "places",
    "ISO 4217, list one",
    Mark.FROM_MEMORY,
)
_USUAL_MINOR_DIGITS = 2


class ValuationError(ValueError):
    """A value that can't be worked out this way; says why and what to use instead."""


def _no_float(amount: Any) -> Any:
    if isinstance(amount, float):
        raise ValueError("a binary float can't hold cents exactly; give a Decimal or its text")
    return amount


class Money(BaseModel):
    """An exact amount in one currency; ``currency`` is an ISO 4217 code."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    amount: Annotated[Decimal, BeforeValidator(_no_float), Field(allow_inf_nan=False)]
    currency: Annotated[str, Field(pattern=r"^[A-Z]{3}$")]

    def __add__(self, other: Self) -> Self:
        """Add money of the same currency."""
        self._same_currency(other)
        return self.model_copy(update={"amount": self.amount + other.amount})

    def __sub__(self, other: Self) -> Self:
        """Subtract money of the same currency."""
        self._same_currency(other)
        return self.model_copy(update={"amount": self.amount - other.amount})

    def times(self, factor: Decimal | int) -> Self:
        """Multiply without rounding. Raises ValuationError for a factor that is not finite."""
        return self.model_copy(update={"amount": self.amount * _number(Decimal(factor), "factor")})

    def rounded(self) -> Self:
        """Round to the currency's minor unit, halves away from zero."""
        digits = _MINOR_DIGITS.get(self.currency, _USUAL_MINOR_DIGITS)
        unit = Decimal(1).scaleb(-digits)
        return self.model_copy(
            update={"amount": self.amount.quantize(unit, rounding=ROUND_HALF_UP)}
        )

    def _same_currency(self, other: "Money") -> None:
        if self.currency != other.currency:
            raise ValuationError(
                f"{self.currency} and {other.currency} can't be put together: "
                "convert one at a stated rate first"
            )


class RestoringAdvice(BaseModel):
    """Whether restoring costs no more than the piece was worth: advice, never a decision."""

    model_config = ConfigDict(frozen=True)

    worth_restoring: bool
    margin: Money
    sentence: str


def actual_cash_value(replacement_cost: Money, depreciation: Money) -> Money:
    """Return replacement cost less depreciation.

    Raises:
        ValuationError: if the currencies differ, an amount is negative, or depreciation is more
            than the replacement cost.
    """
    _not_negative(replacement_cost, "replacement_cost")
    _not_negative(depreciation, "depreciation")
    value = replacement_cost - depreciation
    if value.amount < 0:
        raise ValuationError(
            "depreciation is more than replacement_cost: check both; a value can't go below nought"
        )
    return value.rounded()


def straight_line_value(
    replacement_cost: Money,
    *,
    age_years: Decimal,
    life_years: Decimal,
    object_type: ObjectType,
    quantity: int = 1,
    antique_or_collected: bool = False,
    known: Facts | None = None,
) -> Money:
    """Return the actual cash value of ordinary goods depreciated evenly over their life.

    ``replacement_cost`` is for one of ``quantity`` alike; quantity x cost x (1 - age/life), never
    below nought.

    Raises:
        ValuationError: for art, antiques and collected things, which may gain value with age; or
            if a figure is out of range.
    """
    tables = known or facts()
    row = tables.object_types[object_type]
    antique_age = Decimal(str(tables.constant(Constant.ANTIQUE_AGE_Y)))
    if (
        row.straight_line is StraightLine.NO
        or antique_or_collected
        or _number(age_years, "age_years") >= antique_age
    ):
        raise ValuationError(
            f"{object_type.label}: art and antiques are not depreciated by age. {row.sentence} "
            "Use the agreed, scheduled or appraised value and name its basis."
        )
    _not_negative(replacement_cost, "replacement_cost")
    if age_years < 0:
        raise ValuationError("age_years: must be 0 or more")
    if _number(life_years, "life_years") <= 0:
        raise ValuationError("life_years: must be more than 0")
    if quantity < 1:
        raise ValuationError("quantity: must be 1 or more")
    left = 1 - min(age_years / life_years, Decimal(1))
    return replacement_cost.times(left).times(quantity).rounded()


def restoring_advice(cost: Money, loss_in_value: Money, value_at_loss: Money) -> RestoringAdvice:
    """Compare cost plus lasting loss in value with the value at the time of loss.

    Raises:
        ValuationError: if the currencies differ or an amount is negative.
    """
    _not_negative(cost, "cost")
    _not_negative(loss_in_value, "loss_in_value")
    _not_negative(value_at_loss, "value_at_loss")
    margin = value_at_loss - (cost + loss_in_value)
    worth = margin.amount >= 0
    compared = "no more than" if worth else "more than"
    return RestoringAdvice(
        worth_restoring=worth,
        margin=margin.rounded(),
        sentence=f"Treatment and lasting loss in value come to {compared} the value at the loss. "
        "This is advice: the adjuster decides, and nothing is thrown away before the insurer's "
        "release.",
    )


def _not_negative(money: Money, field: str) -> None:
    if money.amount < 0:
        raise ValuationError(f"{field}: must be 0 or more, not {money.amount} {money.currency}")


def _number(value: Decimal, field: str) -> Decimal:
    if not value.is_finite():
        raise ValuationError(f"{field}: must be a finite number, not {value}")
    return value
