"""Signs for the places of the facility: a QR code to scan when a piece is put there, and its name.

One sign is half an A4 page wide and a quarter of it high, to be cut and fixed where it can be
scanned from an arm's length.
"""

from collections.abc import Sequence
from typing import Final

from reportlab.lib.units import mm

from labels.codes import station_url
from labels.paper import Target, open_canvas
from labels.symbols import ErrorCorrection, draw_symbol, make_symbol
from labels.typeface import BOLD, REGULAR, fitting_size, printable, register

_PAGE_MM: Final = (210.0, 297.0)
_COLUMNS: Final = 2
_ROWS: Final = 4
_SYMBOL_MM: Final = 48.0
_MARGIN_MM: Final = 6.0
_LARGEST_PT: Final = 20.0


def write_station_signs(
    target: Target, stations: Sequence[tuple[str, str]], base_url: str, *, title: str = "Places"
) -> int:
    """Write a PDF of signs, eight to an A4 page; the number of pages.

    Args:
        target: path or open binary file.
        stations: id and name of each place.
        base_url: where the QR codes lead, see :func:`labels.codes.station_url`.
        title: the PDF's title.

    Raises:
        TagError: the base URL or an id is not usable.
        ValueError: no stations.
    """
    if not stations:
        raise ValueError("stations: give at least one")
    register()
    symbols = [make_symbol(station_url(base_url, one), ErrorCorrection.Q) for one, _ in stations]
    width, height = _PAGE_MM[0] / _COLUMNS, _PAGE_MM[1] / _ROWS
    canvas = open_canvas(target, (_PAGE_MM[0] * mm, _PAGE_MM[1] * mm), title=title, language="en")
    for number, ((station, label), symbol) in enumerate(zip(stations, symbols, strict=True)):
        row, column = divmod(number % (_COLUMNS * _ROWS), _COLUMNS)
        if number and row == column == 0:
            canvas.showPage()
        x, y = column * width, _PAGE_MM[1] - (row + 1) * height
        module = _SYMBOL_MM / symbol.side_mm(1.0)
        draw_symbol(canvas, symbol, x + _MARGIN_MM, y + (height - _SYMBOL_MM) / 2, module)
        left = (x + _MARGIN_MM + _SYMBOL_MM) * mm
        room = (width - _SYMBOL_MM - 2 * _MARGIN_MM) * mm
        for text, font, below in ((label, BOLD, 0.0), (station, REGULAR, 26.0)):
            shown = printable(text)
            canvas.setFont(font, fitting_size(shown, font, room, _LARGEST_PT))
            canvas.drawString(left, (y + height / 2) * mm - below, shown)
    canvas.showPage()
    canvas.save()
    return -(-len(stations) // (_COLUMNS * _ROWS))
