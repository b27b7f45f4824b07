"""The second tag, printed after triage: how soon, what first, what never, which cautions.

It hangs beside the first and repeats its id and QR code.  It is a snapshot: it says as of when
its hours hold, and the code leads to the page that has what holds now.  Everything is in words
and black on white, so that nothing hangs on colour.

The text is set as large as fits one label, else as large as fits two, "label 1 of 2", and never
below :data:`SMALLEST_TEXT_PT`.  What still does not fit is left off from the end of the care due
to the piece, which stands gravest first, and counted.  What protects people is never left off:
where it alone is too much for two labels, there are more.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from typing import Final

from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import Paragraph

from labels.codes import parse_tag, show_tag, tag_url
from labels.paper import INK, Target, open_canvas, paragraph, show_time
from labels.sheets import (
    HANDLING_LINE,
    PADDING_MM,
    STUB_LINE,
    Layout,
    LayoutError,
    draw_face,
    draw_stock,
    stub_face,
)
from labels.symbols import (
    DEFAULT_LEVEL,
    SMALLEST_MODULE_MM,
    ErrorCorrection,
    Symbol,
    draw_symbol,
    make_symbol,
)
from labels.typeface import BOLD, REGULAR, fitting_size, printable, register

LARGEST_TEXT_PT: Final = 10.0
SMALLEST_TEXT_PT: Final = 6.5
"""Least size, which gives letters an x-height of at least 1.2 mm: the least that the European
rules on food labels take as legible (Regulation (EU) No 1169/2011, Article 13(2))."""

MOST_LABELS: Final = 2
"""Labels a piece gets, unless what protects people takes more."""

_SIZES: Final = tuple(
    LARGEST_TEXT_PT - 0.5 * step
    for step in range(int(2 * (LARGEST_TEXT_PT - SMALLEST_TEXT_PT)) + 1)
)
"""Sizes that are tried, down to the least."""

_LEADING: Final = 1.2
_GAP_MM: Final = 1.0
_LARGEST_MODULE_MM: Final = 0.8
_SYMBOL_SHARE: Final = 0.42


@dataclass(frozen=True)
class AdviceTag:
    """What triage said of one piece.

    Attributes:
        tag: the piece's tag.
        band: how soon, in words, such as "Today".
        as_of: when that was found, with zone.
        hours_left: hours until lasting harm, negative once past; None where no clock runs.
        deadline: the moment at which they end, with zone.
        is_paused: whether the clock stands, as while frozen.
        first: the first thing to do.
        cautions: what keeps people from harm and must be told, weightiest first; always printed.
        care: what spares the piece, such as what never to do, gravest harm first; what does not
            fit is counted.
        title: what the piece is called.
    """

    tag: str
    band: str
    as_of: datetime
    first: str
    hours_left: float | None = None
    deadline: datetime | None = None
    is_paused: bool = False
    cautions: Sequence[str] = field(default=())
    care: Sequence[str] = field(default=())
    title: str = ""


def write_advice_tags(
    target: Target,
    pieces: Sequence[AdviceTag],
    layout: Layout,
    base_url: str,
    *,
    first_label: int = 1,
    level: ErrorCorrection = DEFAULT_LEVEL,
    title: str = "Second tags",
    language: str = "en",
) -> int:
    """Write a PDF of second tags; return the number of labels printed.

    Args:
        target: path or open binary file.
        pieces: one for each piece.
        layout: the stock they are printed on.
        base_url: where the QR codes lead, see :func:`labels.codes.tag_url`.
        first_label: where to start on the first page, so that a sheet begun can be used up.
        level: error correction level of the QR codes.
        title: the PDF's title.
        language: the PDF's language (BCP 47).

    Raises:
        TagError: a tag or the base URL is not usable.
        LayoutError: the symbol or the text does not fit the stock.
        ValueError: no pieces, a time without zone, or ``first_label`` is not on the page.
    """
    if not pieces:
        raise ValueError("pieces: give at least one")
    if not 1 <= first_label <= layout.labels_per_page:
        raise ValueError(
            f"first label is {first_label}; the page has labels 1 to {layout.labels_per_page}"
        )
    register()
    faces = [
        (sheet, symbol, piece)
        for piece in pieces
        for symbol in [make_symbol(tag_url(base_url, piece.tag), level)]
        for sheet in _labels(piece, symbol, layout)
    ]
    size_pt = (layout.page_width * mm, layout.page_height * mm)
    canvas = open_canvas(target, size_pt, title=title, language=language)
    canvas.setSubject("Second tags to tie on or for the outer wrap, printed after triage")
    canvas.setViewerPreference("PrintScaling", "None")
    for count, (sheet, symbol, piece) in enumerate(faces, start=first_label - 1):
        position = count % layout.labels_per_page
        if position == 0 and count >= layout.labels_per_page:
            canvas.showPage()
        box = layout.label(position)
        canvas.saveState()
        canvas.translate(box.x * mm, box.y * mm)
        draw_stock(canvas, layout)
        stub = stub_face(layout, symbol)
        if stub:
            draw_face(
                canvas, stub, symbol, printable(f"{piece.band}. {STUB_LINE}"), to_write_on=False
            )
        sheet.draw(canvas, symbol)
        canvas.restoreState()
    canvas.save()
    return len(faces)


def time_left(hours_left: float | None, *, is_paused: bool = False) -> str:
    """Say the hours left, rounded down: nobody should count on time that is not there."""
    if hours_left is None:
        return "No clock runs"
    whole = int(abs(hours_left))
    amount = f"{whole} hour{'' if whole == 1 else 's'}" if whole else "less than 1 hour"
    if hours_left <= 0:
        return f"Time ran out {amount} ago"
    words = f"{amount[0].upper()}{amount[1:]} left"
    return f"{words} once thawed; the clock stands" if is_paused else words


# --- laying out ------------------------------------------------------------------------------


@dataclass(frozen=True)
class _Frame:
    """Where things go on a label, in points from its lower left corner."""

    symbol_x: float
    symbol_y: float
    module_mm: float
    head_x: float
    head_width: float
    body_x: float
    body_width: float
    width: float
    top: float
    bottom: float
    is_below: bool


@dataclass
class _Label:
    """One label's share of the text, placed."""

    frame: _Frame
    placed: list[tuple[Paragraph, float, float]]

    def draw(self, canvas: Canvas, symbol: Symbol) -> None:
        frame = self.frame
        draw_symbol(canvas, symbol, frame.symbol_x / mm, frame.symbol_y / mm, frame.module_mm)
        for block, x, y in self.placed:
            block.drawOn(canvas, x, y)


def _frames(layout: Layout, symbol: Symbol) -> list[_Frame]:
    """Return the ways to divide a label: text beside the symbol, or most of it below."""
    area = layout.writing_area
    width, height = area.width - 2 * PADDING_MM, area.height - 2 * PADDING_MM
    room = _SYMBOL_SHARE * min(width, height)
    steps = int(room / symbol.side_modules / 0.05 + 1e-9)
    module = min(max(round(steps * 0.05, 2), SMALLEST_MODULE_MM), _LARGEST_MODULE_MM)
    side = symbol.side_mm(module)
    head_width = width - side - _GAP_MM
    if side > height or head_width < side * 0.6:
        raise LayoutError(
            f"layout {layout.name}: too small for a second tag, whose symbol needs {side:.1f} mm "
            "with text beside it; use a larger label"
        )
    left, top = area.x + PADDING_MM, area.y + area.height - PADDING_MM
    head_x = left + side + _GAP_MM
    beside = _Frame(
        symbol_x=left * mm,
        symbol_y=(top - side) * mm,
        module_mm=module,
        head_x=head_x * mm,
        head_width=head_width * mm,
        body_x=head_x * mm,
        body_width=head_width * mm,
        width=width * mm,
        top=top * mm,
        bottom=(area.y + PADDING_MM) * mm,
        is_below=False,
    )
    below = replace(beside, body_x=left * mm, body_width=width * mm, is_below=True)
    return [below, beside]


def _labels(piece: AdviceTag, symbol: Symbol, layout: Layout) -> list[_Label]:
    """Set one piece's text on one label, else on two, else what can be left off is left off."""
    frames = _frames(layout, symbol)

    def best(size: float, left_off: int = 0) -> list[_Label]:
        ways = [_numbered(piece, frame, size, left_off) for frame in frames]
        return min(filter(None, ways), key=len, default=[])

    at_least = len(best(SMALLEST_TEXT_PT))
    for most in range(max(1, at_least), MOST_LABELS + 1):
        for size in _SIZES:
            labels = best(size)
            if 0 < len(labels) <= most:
                return labels
    needed = best(SMALLEST_TEXT_PT, len(piece.care))
    if not needed:
        raise LayoutError(
            f"layout {layout.name}: the text of {show_tag(piece.tag)} does not fit its labels; "
            "use larger ones"
        )
    for left_off in range(1, len(piece.care)):
        labels = best(SMALLEST_TEXT_PT, left_off)
        if 0 < len(labels) <= max(MOST_LABELS, len(needed)):
            return labels
    return needed


def _numbered(piece: AdviceTag, frame: _Frame, size: float, left_off: int) -> list[_Label]:
    """Set the text at one size on as many labels as it takes; none if a line is too much."""
    labels = _set(piece, frame, size, left_off, total=1)
    if len(labels) < 2:
        return labels
    # "Label 1 of 10" may take a line more than "label 1 of 9", so count until it agrees.
    labels, total = _set(piece, frame, size, left_off, total=2), 0
    while total < len(labels):
        total = len(labels)
        labels = _set(piece, frame, size, left_off, total)
    return labels


def _style(size: float, *, bold: bool = False, after: float = 0.0) -> ParagraphStyle:
    return ParagraphStyle(
        "second tag",
        fontName=BOLD if bold else REGULAR,
        fontSize=size,
        leading=size * _LEADING,
        textColor=INK,
        spaceAfter=after,
    )


def _head(piece: AdviceTag, size: float, width: float, *, is_first: bool) -> list[Paragraph]:
    code = show_tag(parse_tag(piece.tag))
    lines = [
        paragraph(code, _style(fitting_size(code, BOLD, width - 1, size), bold=True)),
        paragraph(piece.band.upper(), _style(size * 1.4, bold=True)),
    ]
    if is_first:
        left = time_left(piece.hours_left, is_paused=piece.is_paused)
        small = _style(max(SMALLEST_TEXT_PT, size - 1))
        lines.append(paragraph(left, _style(size, bold=True)))
        lines.append(paragraph(f"as of {show_time(piece.as_of)}", small))
    return lines


def _body(piece: AdviceTag, size: float, left_off: int) -> list[Paragraph]:
    after = size * 0.25
    plain, strong = _style(size, after=after), _style(size, bold=True, after=after)
    lines = []
    if piece.deadline is not None and not piece.is_paused:
        lines.append(paragraph(f"Time ends {show_time(piece.deadline)}", plain))
    lines.append(paragraph(f"First: {piece.first}", strong))
    lines += [paragraph(f"Caution: {one}", plain) for one in piece.cautions]
    lines += [paragraph(one, strong) for one in piece.care[: len(piece.care) - left_off]]
    if left_off:
        lines.append(paragraph(f"and {left_off} more: scan the tag", plain))
    elif piece.title:
        lines.append(paragraph(piece.title, plain))
    return lines


def _set(piece: AdviceTag, frame: _Frame, size: float, left_off: int, total: int) -> list[_Label]:
    """Return the labels that the text takes at one size; none where not a line of it fits.

    Each label has the head and the foot, for it may come off from the others.
    """
    waiting = _body(piece, size, left_off)
    labels: list[_Label] = []
    while waiting:
        label = _Label(frame, [])
        y = _place(label, _head(piece, size, frame.head_width, is_first=not labels))
        labels.append(label)
        folio = f" Label {len(labels)} of {total}." if total > 1 else ""
        foot = paragraph(HANDLING_LINE + folio, _style(SMALLEST_TEXT_PT))
        left = frame.symbol_x
        height = _height(foot, frame.width)
        if frame.bottom + height > frame.symbol_y:
            left = frame.body_x
            height = _height(foot, frame.body_width)
        label.placed.append((foot, left, frame.bottom))
        floor = frame.bottom + height + size * 0.3
        y -= size * 0.4
        rest = _fill(label, waiting, y, floor)
        # A small first label may be full with the head alone; the next have a shorter one.
        if y < floor or (rest is waiting and len(labels) > 1):
            return []
        waiting = rest
    return labels


def _fill(label: _Label, waiting: list[Paragraph], y: float, floor: float) -> list[Paragraph]:
    """Place what fits between ``y`` and ``floor``; return the rest, ``waiting`` if nothing did."""
    x, width = label.frame.body_x, label.frame.body_width
    for number, block in enumerate(waiting):
        height = _height(block, width)
        if height > y - floor:
            parts = block.split(width, max(0.0, y - floor))
            if len(parts) < 2:
                return waiting[number:] if number else waiting
            label.placed.append((parts[0], x, y - _height(parts[0], width)))
            return [*parts[1:], *waiting[number + 1 :]]
        y -= height
        label.placed.append((block, x, y))
        y -= block.getSpaceAfter()
    return []


def _height(block: Paragraph, width: float) -> float:
    return float(block.wrap(width, 1e6)[1])


def _place(label: _Label, head: Sequence[Paragraph]) -> float:
    """Put the head's lines below each other; return where the body may begin."""
    frame, y = label.frame, label.frame.top
    for block in head:
        y -= _height(block, frame.head_width)
        label.placed.append((block, frame.head_x, y))
    return min(y, frame.symbol_y) if frame.is_below else y
