"""Invented rates, so that the demonstration has costs to show."""

from decimal import Decimal
from typing import Final

from shared.vocabulary import StepKind

HOUR: Final = "hour"
PIECE: Final = "piece in a chamber run"

RATES: Final[dict[StepKind, tuple[str, Decimal]]] = {
    StepKind.STABILISE: (HOUR, Decimal("78.00")),
    StepKind.DRY: ("piece dried", Decimal("64.50")),
    StepKind.SOOT_REMOVAL: (HOUR, Decimal("84.00")),
    StepKind.MOULD_REMOVAL: (HOUR, Decimal("92.00")),
    StepKind.CHAMBER: (PIECE, Decimal("41.00")),
}
"""Unit and rate for each step; invented."""
