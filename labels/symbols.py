"""QR symbols as sharp vector drawings.

The library ``qrcode`` encodes; the mask is chosen here by the penalty rules of ISO/IEC 18004
over the complete symbol, format information included.  The choice weighs all eight masks, as
the standard asks: none is skipped for speed.
"""

from dataclasses import dataclass
from enum import StrEnum
from functools import cached_property, lru_cache
from typing import Final

import numpy as np
import numpy.typing as npt
from qrcode import constants
from qrcode.main import QRCode
from qrcode.util import MODE_8BIT_BYTE, MODE_ALPHA_NUM, QRData
from reportlab.lib.units import mm
from reportlab.pdfgen.canvas import Canvas

from labels.codes import QR_ALPHANUMERIC

QUIET_ZONE_MODULES: Final = 4
"""Light border on each side (ISO/IEC 18004)."""

SMALLEST_MODULE_MM: Final = 0.5
"""Least module for reading by phone at arm's length (common practice, no source)."""

_MASKS: Final = 8
_LIGHT_THEN_FINDER: Final = 0b00001011101
_FINDER_THEN_LIGHT: Final = 0b10111010000

BoolArray = npt.NDArray[np.bool_]


class ErrorCorrection(StrEnum):
    """Error correction level, with the share of codewords it can restore (ISO/IEC 18004)."""

    L = "L"  # about 7 %
    M = "M"  # about 15 %
    Q = "Q"  # about 25 %
    H = "H"  # about 30 %


DEFAULT_LEVEL: Final = ErrorCorrection.Q

_LEVELS: Final = {
    ErrorCorrection.L: constants.ERROR_CORRECT_L,
    ErrorCorrection.M: constants.ERROR_CORRECT_M,
    ErrorCorrection.Q: constants.ERROR_CORRECT_Q,
    ErrorCorrection.H: constants.ERROR_CORRECT_H,
}


class SymbolError(ValueError):
    """A text can't be written as a QR symbol of the kind asked for."""


@dataclass(frozen=True, eq=False)
class Symbol:
    """A QR symbol without its quiet zone.

    Attributes:
        text: what it says.
        version: 1 to 40; the symbol has 17 + 4 × version modules a side.
        level: error correction level.
        mask: data mask, 0 to 7.
        modules: dark modules, shape (side, side), row 0 at the top.
    """

    text: str
    version: int
    level: ErrorCorrection
    mask: int
    modules: BoolArray

    @property
    def side_modules(self) -> int:
        """Modules a side, quiet zone included."""
        return int(self.modules.shape[0]) + 2 * QUIET_ZONE_MODULES

    def side_mm(self, module_mm: float) -> float:
        """Side of the drawn symbol in mm, quiet zone included."""
        return self.side_modules * module_mm

    @cached_property
    def outline(self) -> str:
        """The dark modules as PDF operators: one unit a module, origin at the lower left.

        One literal path: the canvas's own path object formats each number with care that whole
        module counts don't need, and takes four times as long.
        """
        top = self.modules.shape[0] - 1
        bars = [
            f"{start} {top - row} {length} 1 re" for row, start, length in dark_runs(self.modules)
        ]
        return "\n".join((*bars, "f"))


def make_symbol(
    text: str,
    level: ErrorCorrection = DEFAULT_LEVEL,
    *,
    mask: int | None = None,
    in_bytes: bool = False,
) -> Symbol:
    """Return the smallest symbol for the text in alphanumeric mode, or in byte mode.

    Args:
        text: what it says.
        level: error correction level.
        mask: a data mask, 0 to 7, to use whatever its penalty; the standard's choice without.
        in_bytes: use byte mode, which any ASCII text fits and which takes more room.

    Raises:
        SymbolError: the text is empty, too long or not all in the mode's set.
    """
    if in_bytes and not (text and text.isascii()):
        raise SymbolError("only ASCII text is written in QR byte mode here")
    if not in_bytes and not (text and QR_ALPHANUMERIC.issuperset(text)):
        raise SymbolError(f"{text!r} can't be written in QR alphanumeric mode")
    mode = MODE_8BIT_BYTE if in_bytes else MODE_ALPHA_NUM
    version = _smallest_version(len(text), level, mode)
    masked = _encode(text, level, 0, version, mode) ^ _mask_changes(version, level)
    if mask is None:
        mask = int(np.argmin(mask_penalties(masked)))
    return Symbol(text, version, level, mask, masked[mask])


def _code(
    text: str, level: ErrorCorrection, mask: int, version: int | None, mode: int
) -> QRCode[None]:
    code: QRCode[None] = QRCode(version=version, error_correction=_LEVELS[level], mask_pattern=mask)
    code.add_data(QRData(text.encode("ascii"), mode=mode))
    return code


@lru_cache(maxsize=64)
def _smallest_version(characters: int, level: ErrorCorrection, mode: int) -> int:
    """In one mode the version hangs on the number of characters alone."""
    try:
        return int(_code("0" * characters, level, 0, None, mode).best_fit(start=1))
    except ValueError as error:
        raise SymbolError(f"{characters} characters are too many at level {level}") from error


def _encode(
    text: str, level: ErrorCorrection, mask: int, version: int, mode: int = MODE_ALPHA_NUM
) -> BoolArray:
    code = _code(text, level, mask, version, mode)
    code.make(fit=False)
    return np.array(code.modules, dtype=np.bool_)


@lru_cache(maxsize=16)
def _mask_changes(version: int, level: ErrorCorrection) -> BoolArray:
    """Modules that differ between mask 0 and each mask, shape (8, side, side).

    They do not depend on the data, so that one encoding gives all eight candidates.
    """
    drawn = np.stack([_encode("0", level, mask, version) for mask in range(_MASKS)])
    changes: BoolArray = drawn ^ drawn[0]
    return changes


def mask_penalties(candidates: BoolArray) -> npt.NDArray[np.int64]:
    """Score masked symbols by the four penalty rules of ISO/IEC 18004 (7.8.3 in the 2015 text).

    Args:
        candidates: dark modules, shape (masks, side, side).

    Returns:
        Penalties, shape (masks,): 3 and up for five or more alike in line, 3 for each 2 × 2
        block, 40 for each 1:1:3:1:1 with four light beside it, 10 for each full 5 % by which
        the dark share is off one half.
    """
    lines = np.concatenate([candidates, candidates.swapaxes(1, 2)], axis=1)

    alike = lines[:, :, 1:] == lines[:, :, :-1]
    five = alike[:, :, :-3] & alike[:, :, 1:-2] & alike[:, :, 2:-1] & alike[:, :, 3:]
    # A run of n >= 5 holds n - 4 windows of five and scores n - 2: its windows and two more.
    first_of_run = five.copy()
    first_of_run[:, :, 1:] &= ~five[:, :, :-1]
    runs = five.sum(axis=(1, 2)) + 2 * first_of_run.sum(axis=(1, 2))

    right_alike = candidates[:, :, 1:] == candidates[:, :, :-1]
    down_alike = candidates[:, 1:, :] == candidates[:, :-1, :]
    blocks = (right_alike[:, 1:, :] & right_alike[:, :-1, :] & down_alike[:, :, 1:]).sum(
        axis=(1, 2)
    )

    width = lines.shape[2] - 10
    window = np.zeros((*lines.shape[:2], width), dtype=np.int16)
    for offset in range(11):
        window = (window << 1) | lines[:, :, offset : offset + width]
    finders = ((window == _LIGHT_THEN_FINDER) | (window == _FINDER_THEN_LIGHT)).sum(axis=(1, 2))

    modules = candidates.shape[1] * candidates.shape[2]
    dark = candidates.sum(axis=(1, 2))
    steps = np.abs(20 * dark - 10 * modules) // modules
    return np.asarray(runs + 3 * blocks + 40 * finders + 10 * steps, dtype=np.int64)


def draw_symbol(canvas: Canvas, symbol: Symbol, x_mm: float, y_mm: float, module_mm: float) -> None:
    """Draw the symbol with its quiet zone, in black on what lies below.

    Args:
        canvas: where to draw; keep the ground light.
        symbol: what to draw.
        x_mm: left edge of the quiet zone.
        y_mm: lower edge of the quiet zone.
        module_mm: side of one module.
    """
    canvas.saveState()
    canvas.translate(x_mm * mm, y_mm * mm)
    canvas.scale(module_mm * mm, module_mm * mm)
    canvas.translate(QUIET_ZONE_MODULES, QUIET_ZONE_MODULES)
    canvas.setFillGray(0)
    canvas.addLiteral(symbol.outline)
    canvas.restoreState()


def dark_runs(modules: BoolArray) -> list[tuple[int, int, int]]:
    """Return the dark runs of each row as (row, first column, length)."""
    side = modules.shape[0]
    framed = np.zeros((side, side + 2), dtype=np.int8)
    framed[:, 1:-1] = modules
    edges = framed[:, 1:] - framed[:, :-1]
    rows, starts = np.nonzero(edges == 1)
    stops = np.nonzero(edges == -1)[1]
    return list(zip(rows.tolist(), starts.tolist(), (stops - starts).tolist(), strict=True))
