"""Sheets and rolls of blank tags.

A layout is nothing but measures, so that any stock can be described.  A tag is tied on or
stuck to the outer wrap, never to the object, and each one says so.
"""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from math import isfinite
from typing import Final, TypeVar

from reportlab.lib.colors import Color
from reportlab.lib.units import mm
from reportlab.pdfgen.canvas import Canvas

from labels.codes import parse_tag, show_tag, tag_url
from labels.paper import PageSize, Target, open_canvas
from labels.symbols import (
    DEFAULT_LEVEL,
    SMALLEST_MODULE_MM,
    ErrorCorrection,
    Symbol,
    draw_symbol,
    make_symbol,
)
from labels.typeface import BOLD, REGULAR, fitting_size, printable, register

HANDLING_LINE: Final = "Tie on or outer wrap. Never stick to the object."
STUB_LINE: Final = "Stub for the crate"

PADDING_MM: Final = 1.5
"""Edge of the label to what is printed on it."""

_HOLE_MARGIN_MM: Final = 3.0
_LARGEST_MODULE_MM: Final = 1.5
_LARGEST_ID_PT: Final = 24.0
_LARGEST_NOTE_PT: Final = 7.5
_ID_LEADING: Final = 1.15
_NOTE_LEADING: Final = 1.2
_FOLIO_SPACE_MM: Final = 7.0
_FOLIO_BASELINE_MM: Final = 3.0
_GREY: Final = Color(0.35, 0.35, 0.35)

SPARE_STUB_MM: Final = 24.0
"""Width of a stub where the stock has none of its own (common practice, no source)."""

GRID_EXAMPLE: Final = "grid:page=a4,columns=2,rows=7,label=99x38,left=4.7,top=15,gap=2.5x0"

_GRID: Final = "grid:"
_GRID_KEYS: Final = ("page", "columns", "rows", "label", "left", "top", "gap", "hole", "stub")

T = TypeVar("T")

Progress = Callable[[int, int], None]
"""Called with the number of tags drawn and the number to draw."""


class LayoutError(ValueError):
    """A layout does not fit its page, or a tag does not fit its label."""


@dataclass(frozen=True)
class Box:
    """A rectangle on a page in mm, from the lower left corner of the page."""

    x: float
    y: float
    width: float
    height: float


@dataclass(frozen=True)
class Layout:
    """A grid of equal labels on a page; a roll is a page of one label.  All measures in mm.

    Attributes:
        name: what the user types.
        page_width, page_height: the sheet, or one label's feed on a roll.
        columns, rows: labels across and down.
        label_width, label_height: one label, stub included.
        left, top: page edge to the first label.
        column_gap, row_gap: between neighbouring labels.
        hole_diameter: hole to tie through, marked at the label's left; 0 for none.
        stub_width: spare duplicate at the label's right, to tear off; 0 for none.
    """

    name: str
    page_width: float
    page_height: float
    columns: int
    rows: int
    label_width: float
    label_height: float
    left: float = 0.0
    top: float = 0.0
    column_gap: float = 0.0
    row_gap: float = 0.0
    hole_diameter: float = 0.0
    stub_width: float = 0.0

    def __post_init__(self) -> None:
        if self.columns < 1 or self.rows < 1:
            raise LayoutError(f"layout {self.name}: needs at least one column and one row")
        if not all(isfinite(measure) for measure in self._measures):
            raise LayoutError(f"layout {self.name}: give every measure as a plain number of mm")
        for measure in ("page_width", "page_height", "label_width", "label_height"):
            if getattr(self, measure) <= 0:
                raise LayoutError(f"layout {self.name}: {measure} must be above 0 mm")
        if self.stub_width and self.writing_area.width <= 0:
            raise LayoutError(f"layout {self.name}: the stub leaves nothing of the label")
        for measure in ("left", "top", "column_gap", "row_gap", "hole_diameter", "stub_width"):
            if getattr(self, measure) < 0:
                raise LayoutError(f"layout {self.name}: {measure} can't be below 0 mm")
        # Printers' measures are given to a tenth of a millimetre; let rounding pass.
        if self._right > self.page_width + 0.05:
            over = self._right - self.page_width
            raise LayoutError(f"layout {self.name}: too wide for the page by {over:.1f} mm")
        if self._bottom < -0.05:
            raise LayoutError(
                f"layout {self.name}: too high for the page by {-self._bottom:.1f} mm"
            )

    @property
    def words(self) -> str:
        """The stock in words, for a list to choose from."""
        size = f"{self.label_width:g} × {self.label_height:g} mm"
        if self.labels_per_page == 1:
            return f"Roll, {size}"
        width_pt = self.page_width * mm
        paper = next(
            (one.name.capitalize() for one in PageSize if abs(one.points[0] - width_pt) < 1),
            f"{self.page_width:g} × {self.page_height:g} mm",
        )
        tie = ", with a hole to tie on and a stub" if self.hole_diameter else ""
        return f"{paper}, {self.columns} × {self.rows} tags of {size}{tie}"

    @property
    def labels_per_page(self) -> int:
        """Labels on one page."""
        return self.columns * self.rows

    @property
    def _measures(self) -> tuple[float, ...]:
        return (
            self.page_width,
            self.page_height,
            self.label_width,
            self.label_height,
            self.left,
            self.top,
            self.column_gap,
            self.row_gap,
            self.hole_diameter,
            self.stub_width,
        )

    @property
    def _right(self) -> float:
        return self.left + self.columns * self.label_width + (self.columns - 1) * self.column_gap

    @property
    def _bottom(self) -> float:
        used = self.top + self.rows * self.label_height + (self.rows - 1) * self.row_gap
        return self.page_height - used

    def label(self, position: int) -> Box:
        """Return the box of a label on its page, counted from 0 row by row from the top."""
        if not 0 <= position < self.labels_per_page:
            raise LayoutError(f"layout {self.name}: has no label {position}")
        row, column = divmod(position, self.columns)
        x = self.left + column * (self.label_width + self.column_gap)
        top = self.top + row * (self.label_height + self.row_gap)
        y = self.page_height - top - self.label_height
        return Box(x, y, self.label_width, self.label_height)

    @property
    def writing_area(self) -> Box:
        """What hole and stub leave of a label, from the label's lower left corner."""
        left = self.hole_diameter + _HOLE_MARGIN_MM if self.hole_diameter else 0.0
        return Box(left, 0, self.label_width - left - self.stub_width, self.label_height)

    @property
    def folio_box(self) -> Box | None:
        """Where the page number goes: the foot if free, else the head, else nowhere."""
        if self._bottom >= _FOLIO_SPACE_MM:
            return Box(0, 0, self.page_width, self._bottom)
        if self.top >= _FOLIO_SPACE_MM:
            return Box(0, self.page_height - self.top, self.page_width, self.top)
        return None


def roll(width_mm: float, height_mm: float) -> Layout:
    """Return the layout of a continuous roll: one label a page, named ``roll-WIDTHxHEIGHT``."""
    name = f"roll-{width_mm:g}x{height_mm:g}"
    return Layout(name, width_mm, height_mm, 1, 1, width_mm, height_mm)


LAYOUTS: Final = {
    layout.name: layout
    for layout in (
        Layout("a4-3x8", 210, 297, 3, 8, 64, 34, left=6.5, top=12.5, column_gap=2.5),
        Layout("letter-3x10", 215.9, 279.4, 3, 10, 66.7, 25.4, left=4.7, top=12.7, column_gap=3.2),
        Layout("a4-2x5-tie-on", 210, 297, 2, 5, 100, 55, 5, 11, hole_diameter=5, stub_width=28),
        Layout(
            "letter-2x5-tie-on",
            215.9,
            279.4,
            2,
            5,
            102,
            51,
            5.9,
            12,
            hole_diameter=5,
            stub_width=30,
        ),
        roll(62, 100),
        roll(100, 62),
        roll(57, 32),
    )
}
"""Layouts by name.  The measures are plain grids of our own choice (common practice, no
source); for other stock give a :class:`Layout`."""


def with_spare_stub(layout: Layout, width_mm: float = SPARE_STUB_MM) -> Layout:
    """Return the layout with a spare duplicate to tear off at the right of each label.

    A layout that has a stub stays as it is.

    Raises:
        LayoutError: the stub is as wide as the label.
    """
    if layout.stub_width:
        return layout
    return replace(layout, name=f"{layout.name}-stub", stub_width=width_mm)


def layout_named(name: str) -> Layout:
    """Return a named layout or one given by its measures in mm.

    A roll is ``roll-WIDTHxHEIGHT``.  Any sheet is ``grid:`` and its measures in any order, such
    as ``grid:page=a4,columns=2,rows=7,label=99x38,left=4.7,top=15,gap=2.5x0``; ``page`` is a4,
    letter or WIDTHxHEIGHT, and ``left``, ``top``, ``gap``, ``hole`` and ``stub`` may be left out.

    Raises:
        LayoutError: no such layout, or a measure that can't be; the message says how to mend it.
    """
    if name in LAYOUTS:
        return LAYOUTS[name]
    kind, _, measures = name.partition("-")
    if kind == "roll" and "x" in measures:
        try:
            return roll(*_pair(measures))
        except ValueError as error:
            raise LayoutError(f"layout {name!r}: give a roll as roll-62x100, in mm") from error
    if name.startswith(_GRID):
        return _grid(name)
    raise LayoutError(
        f"no layout {name!r}; there are {', '.join(LAYOUTS)}, a roll such as roll-62x100 (mm), or "
        f"a sheet by its measures such as {GRID_EXAMPLE}"
    )


def _pair(text: str) -> tuple[float, float]:
    """Read ``WIDTHxHEIGHT``; ``ValueError`` for anything else."""
    width, height = text.split("x")
    return float(width), float(height)


def _grid(name: str) -> Layout:
    given: dict[str, str] = {}
    for part in name.removeprefix(_GRID).split(","):
        key, equals, value = (piece.strip() for piece in part.partition("="))
        if not equals or key not in _GRID_KEYS or key in given:
            raise LayoutError(
                f"layout {name!r}: {part.strip()!r} is not one of {', '.join(_GRID_KEYS)}, each "
                "once and with its measure after '='"
            )
        given[key] = value
    for key in ("page", "columns", "rows", "label"):
        if key not in given:
            raise LayoutError(f"layout {name!r}: {key} is missing; write it as in {GRID_EXAMPLE}")

    def read(key: str, reads: Callable[[str], T], default: str = "0") -> T:
        try:
            return reads(given.get(key, default))
        except ValueError as error:
            raise LayoutError(
                f"layout {name!r}: {key}={given[key]} can't be read; write it as in {GRID_EXAMPLE}"
            ) from error

    page_width, page_height = read("page", _page_mm)
    label_width, label_height = read("label", _pair)
    column_gap, row_gap = read("gap", _pair, "0x0")
    return Layout(
        name,
        page_width,
        page_height,
        read("columns", int),
        read("rows", int),
        label_width,
        label_height,
        read("left", float),
        read("top", float),
        column_gap,
        row_gap,
        read("hole", float),
        read("stub", float),
    )


def _page_mm(text: str) -> tuple[float, float]:
    if text in list(PageSize):
        width, height = PageSize(text).points
        return width / mm, height / mm
    return _pair(text)


@dataclass(frozen=True)
class Printed:
    """What was written.

    Attributes:
        labels: tags drawn.
        pages: pages written.
        symbol_version: QR version of the symbols.
        module_mm: side of one module on the label (the stub's may be smaller).
        symbol_mm: side of the symbol on the label, quiet zone included.
    """

    labels: int
    pages: int
    symbol_version: int
    module_mm: float
    symbol_mm: float


def write_tag_sheets(
    target: Target,
    tags: Sequence[str],
    layout: Layout,
    base_url: str,
    *,
    level: ErrorCorrection = DEFAULT_LEVEL,
    title: str = "Tags",
    language: str = "en",
    progress: Progress | None = None,
) -> Printed:
    """Write a PDF of tags.

    Args:
        target: path or open binary file.
        tags: the tags, each once.
        layout: the stock they are printed on.
        base_url: where the QR codes lead, see :func:`labels.codes.tag_url`.
        level: error correction level of the QR codes.
        title: the PDF's title.
        language: the PDF's language (BCP 47).
        progress: told after each tag.

    Raises:
        TagError: a tag or the base URL is not usable.
        LayoutError: the symbol does not fit the label at :data:`SMALLEST_MODULE_MM`.
        ValueError: no tags, or one given twice.
    """
    wanted = [parse_tag(tag) for tag in tags]
    if not wanted:
        raise ValueError("tags: give at least one")
    if len(set(wanted)) != len(wanted):
        raise ValueError("tags: one is given twice; a tag may exist only once")

    register()
    # All symbols share one version: the texts have one length.
    first = make_symbol(tag_url(base_url, wanted[0]), level)
    design = _design(layout, first)
    pages = -(-len(wanted) // layout.labels_per_page)
    size_pt = (layout.page_width * mm, layout.page_height * mm)
    canvas = open_canvas(target, size_pt, title=title, language=language)
    canvas.setSubject("Tags to tie on or for the outer wrap")
    canvas.setViewerPreference("PrintScaling", "None")

    for count, tag in enumerate(wanted, start=1):
        position = (count - 1) % layout.labels_per_page
        symbol = make_symbol(tag_url(base_url, tag), level)
        _draw_label(canvas, position, layout, design, symbol)
        if position == layout.labels_per_page - 1 or count == len(wanted):
            page = -(-count // layout.labels_per_page)
            _draw_folio(canvas, layout, f"{printable(title)} · page {page} of {pages}", design)
            canvas.showPage()
        if progress:
            progress(count, len(wanted))
    canvas.save()
    return Printed(
        len(wanted), pages, first.version, design.tag.module_mm, first.side_mm(design.tag.module_mm)
    )


# --- drawing ---------------------------------------------------------------------------------


@dataclass(frozen=True)
class Face:
    """One symbol with its text, in mm from the label's lower left corner.

    Attributes:
        symbol: box of the symbol, quiet zone included.
        text: box of the id and the note.
        module_mm: side of one module.
        centred: whether lines are centred in the box.
    """

    symbol: Box
    text: Box
    module_mm: float
    centred: bool


@dataclass(frozen=True)
class _Design:
    """What is where on every label of a layout."""

    tag: Face
    stub: Face | None


def _module_mm(layout: Layout, symbol: Symbol, room_mm: float) -> float:
    """Return the module's side: as large as fits, in steps of 0.05 mm."""
    steps = int(room_mm / symbol.side_modules / 0.05 + 1e-9)
    module_mm = min(round(steps * 0.05, 2), _LARGEST_MODULE_MM)
    if module_mm < SMALLEST_MODULE_MM:
        raise LayoutError(
            f"layout {layout.name}: {room_mm:.1f} mm is too little for a symbol of "
            f"{symbol.side_modules} modules at {SMALLEST_MODULE_MM} mm; use a larger label, a "
            "shorter base URL or a lower error correction level"
        )
    return module_mm


def _design(layout: Layout, symbol: Symbol) -> _Design:
    area = layout.writing_area
    beside = area.width >= 1.25 * layout.label_height or layout.hole_diameter > 0
    face = _text_beside if beside else text_below
    return _Design(face(layout, symbol, area), stub_face(layout, symbol))


def stub_face(layout: Layout, symbol: Symbol) -> Face | None:
    """Return the spare duplicate's place, if the layout has a stub.

    Raises:
        LayoutError: the symbol does not fit the stub.
    """
    if not layout.stub_width:
        return None
    x = layout.label_width - layout.stub_width
    return text_below(layout, symbol, Box(x, 0, layout.stub_width, layout.label_height))


def _text_beside(layout: Layout, symbol: Symbol, area: Box) -> Face:
    """Place the symbol at the left and the text at its right."""
    width, height = area.width - 2 * PADDING_MM, area.height - 2 * PADDING_MM
    module = _module_mm(layout, symbol, min(height, width * 0.58))
    side = symbol.side_mm(module)
    x = area.x + PADDING_MM
    text_x = x + side + 0.5
    return Face(
        Box(x, area.y + (area.height - side) / 2, side, side),
        Box(text_x, area.y + PADDING_MM, area.x + area.width - PADDING_MM - text_x, height),
        module,
        centred=False,
    )


def text_below(layout: Layout, symbol: Symbol, area: Box) -> Face:
    """Place the symbol above and the text below it."""
    width, height = area.width - 2 * PADDING_MM, area.height - 2 * PADDING_MM
    module = _module_mm(layout, symbol, min(width, height * 0.72))
    side = symbol.side_mm(module)
    y = area.y + area.height - PADDING_MM - side
    return Face(
        Box(area.x + (area.width - side) / 2, y, side, side),
        Box(area.x + PADDING_MM, area.y + PADDING_MM, width, y - area.y - PADDING_MM),
        module,
        centred=True,
    )


def _draw_label(
    canvas: Canvas, position: int, layout: Layout, design: _Design, symbol: Symbol
) -> None:
    box = layout.label(position)
    canvas.saveState()
    canvas.translate(box.x * mm, box.y * mm)
    draw_face(canvas, design.tag, symbol, HANDLING_LINE, to_write_on=layout.stub_width > 0)
    draw_stock(canvas, layout)
    if design.stub:
        draw_face(canvas, design.stub, symbol, STUB_LINE, to_write_on=False)
    canvas.restoreState()


def draw_stock(canvas: Canvas, layout: Layout) -> None:
    """Mark a label's hole and tear line, with the origin at its lower left corner."""
    if layout.hole_diameter:
        hole_x = (layout.hole_diameter + _HOLE_MARGIN_MM) / 2 + 0.5
        _draw_hole(canvas, hole_x, layout.label_height / 2, layout.hole_diameter)
    if layout.stub_width:
        _draw_tear_line(canvas, layout.label_width - layout.stub_width, layout.label_height)


def draw_face(canvas: Canvas, face: Face, symbol: Symbol, note: str, *, to_write_on: bool) -> None:
    """Draw a symbol, its readable id and a note, with ruled lines between if asked."""
    draw_symbol(canvas, symbol, face.symbol.x, face.symbol.y, face.module_mm)
    width, height = face.text.width * mm, face.text.height * mm
    bottom, top = face.text.y * mm, face.text.y * mm + height
    note_lines, note_size = _fit_note(note, width, height * 0.35)
    note_height = len(note_lines) * note_size * _NOTE_LEADING
    id_lines, id_size = _fit_id(parse_tag(symbol.text), width, height - note_height - note_size)
    id_height = len(id_lines) * id_size * _ID_LEADING

    note_top = bottom + note_height
    id_top = top
    if to_write_on:
        _draw_writing_lines(canvas, face.text, note_top + 5, top - id_height - id_size / 2)
    else:
        spare = height - id_height - note_height - note_size / 2
        id_top -= spare / 2
        note_top = id_top - id_height - note_size / 2
    canvas.setFillGray(0)
    _draw_lines(canvas, face, id_lines, font=BOLD, size=id_size, top=id_top, leading=_ID_LEADING)
    canvas.setFillColor(_GREY)
    _draw_lines(
        canvas, face, note_lines, font=REGULAR, size=note_size, top=note_top, leading=_NOTE_LEADING
    )


def _draw_lines(
    canvas: Canvas,
    face: Face,
    lines: Sequence[str],
    *,
    font: str,
    size: float,
    top: float,
    leading: float,
) -> None:
    canvas.setFont(font, size)
    for number, line in enumerate(lines):
        baseline = top - size * (number * leading + 0.95)
        if face.centred:
            canvas.drawCentredString((face.text.x + face.text.width / 2) * mm, baseline, line)
        else:
            canvas.drawString(face.text.x * mm, baseline, line)


def _fit_id(tag: str, width_pt: float, height_pt: float) -> tuple[list[str], float]:
    """Break the grouped tag into as many lines as print largest."""
    groups = show_tag(tag).split("-")
    ways = (
        ["-".join(groups)],
        ["-".join(groups[:2]), "-".join(groups[2:])],
        [*groups[:2], "-".join(groups[2:])],
    )
    return _largest(ways, BOLD, (width_pt, height_pt), _LARGEST_ID_PT, _ID_LEADING)


@lru_cache(maxsize=16)
def _fit_note(note: str, width_pt: float, height_pt: float) -> tuple[list[str], float]:
    """Break the note into as many lines as print largest."""
    words = note.split()
    ways = [_balanced(words, count) for count in range(1, len(words) + 1)]
    return _largest(ways, REGULAR, (width_pt, height_pt), _LARGEST_NOTE_PT, _NOTE_LEADING)


def _largest(
    ways: Iterable[list[str]],
    font: str,
    room_pt: tuple[float, float],
    largest_pt: float,
    leading: float,
) -> tuple[list[str], float]:
    """Return the way of breaking lines that prints largest in the room, fewest lines first."""

    def size(lines: list[str]) -> float:
        by_width = min(fitting_size(line, font, room_pt[0], largest_pt) for line in lines)
        return min(by_width, room_pt[1] / (leading * len(lines)))

    best = max(ways, key=size)
    return best, size(best)


def _balanced(words: Sequence[str], count: int) -> list[str]:
    """Split words into at most ``count`` lines of about the same length."""
    aim = sum(len(word) + 1 for word in words) / count
    lines: list[str] = []
    line = ""
    for word in words:
        if line and len(line) + 1 + len(word) / 2 > aim and len(lines) < count - 1:
            lines.append(line)
            line = word
        else:
            line = f"{line} {word}".strip()
    return [*lines, line]


def _draw_writing_lines(canvas: Canvas, box: Box, low_pt: float, high_pt: float) -> None:
    """Rule the space between note and id, for a pencil."""
    canvas.setStrokeColor(_GREY)
    canvas.setLineWidth(0.4)
    y = low_pt
    while y < high_pt:
        canvas.line(box.x * mm, y, (box.x + box.width) * mm, y)
        y += 6.5 * mm


def _draw_hole(canvas: Canvas, x: float, y: float, diameter: float) -> None:
    canvas.setStrokeColor(_GREY)
    canvas.setLineWidth(0.5)
    canvas.circle(x * mm, y * mm, diameter / 2 * mm)


def _draw_tear_line(canvas: Canvas, x: float, height: float) -> None:
    canvas.saveState()
    canvas.setStrokeColor(_GREY)
    canvas.setLineWidth(0.5)
    canvas.setDash(2, 2)
    canvas.line(x * mm, 1 * mm, x * mm, (height - 1) * mm)
    canvas.restoreState()


def _draw_folio(canvas: Canvas, layout: Layout, text: str, design: _Design) -> None:
    box = layout.folio_box
    if box is None:
        return
    line = (
        f"{text} · QR module {design.tag.module_mm:g} mm · print at 100 %, not fitted to the page"
    )
    size = fitting_size(line, REGULAR, (box.width - 20) * mm, 7.0)
    canvas.setFont(REGULAR, size)
    canvas.setFillColor(_GREY)
    canvas.drawCentredString(box.width / 2 * mm, (box.y + _FOLIO_BASELINE_MM) * mm, line)
