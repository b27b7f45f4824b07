"""A check of the range an argument must keep: what is let in, and the whole sentence if not."""

import math
from collections.abc import Callable
from dataclasses import dataclass

import pytest

from shared.quantities import OutOfRange

FRACTION = "Give a fraction: 55 % is 0.55."
CELSIUS = "If it was read in °F, convert it first: 68 °F is 20 °C."


@dataclass(frozen=True)
class Bound:
    """The range of one argument: ``call`` takes it alone, all others being good.

    words: the range as the reader is told it. open_low: whether ``low`` itself is refused.
    """

    call: Callable[[float], object]
    quantity: str
    low: float
    high: float
    words: str
    mend: str = ""

    @property
    def open_low(self) -> bool:
        return "above" in self.words

    def __str__(self) -> str:
        return self.quantity

    def assert_kept(self) -> None:
        """The ends are let in, or the low one not; the next number beyond is refused by name."""
        self.call(self.high)
        self.call(self.low + (self.high - self.low) / 1e4 if self.open_low else self.low)
        self._assert_refused(math.nextafter(self.high, math.inf))
        self._assert_refused(self.low if self.open_low else math.nextafter(self.low, -math.inf))

    def _assert_refused(self, value: float) -> None:
        with pytest.raises(OutOfRange) as caught:
            self.call(value)
        mend = self.mend and f" {self.mend}"
        assert str(caught.value) == f"{self.quantity}: {float(value)} is not {self.words}.{mend}"
