"""A QR symbol on a page, as the outline of an SVG drawing."""

from dataclasses import dataclass

from labels.symbols import QUIET_ZONE_MODULES, dark_runs, make_symbol


@dataclass(frozen=True)
class Drawn:
    """Modules a side, quiet zone included, and the dark ones as SVG path data."""

    side: int
    path: str


def drawn(text: str) -> Drawn:
    """The symbol for ``text``, one unit a module. ``SymbolError`` when it can't be written."""
    symbol = make_symbol(text, in_bytes=True)
    quiet = QUIET_ZONE_MODULES
    bars = (
        f"M{start + quiet} {row + quiet}h{length}v1h-{length}z"
        for row, start, length in dark_runs(symbol.modules)
    )
    return Drawn(symbol.side_modules, "".join(bars))
