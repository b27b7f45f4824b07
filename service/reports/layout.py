"""The paper of every report: styles, rows of wrapped text, running heads, page x of y.

Text of users is never given to a markup parser: it is wrapped and drawn character by character
as it was typed. Rows break between lines, so that a text of any length fits some number of pages.
"""

import math
import os
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Any, Final, Literal

from reportlab import rl_config
from reportlab.lib.colors import Color
from reportlab.lib.pagesizes import landscape
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import BaseDocTemplate, Flowable, Frame, PageTemplate

from labels.paper import ACCENT, INK, MARGIN_PT, MUTED, RULE, PageSize, Target
from labels.typeface import BOLD, REGULAR, printable, register

# Streams stay binary: ASCII armour would make every photo a quarter larger.
rl_config.useA85 = 0

Progress = Callable[[int, int], None]
"""Called with the number of pieces laid out and the number to lay out."""

ALERT: Final = Color(0.58, 0.16, 0.07)

_HEAD_PT: Final = 19.0
_FOOT_PT: Final = 10.0
_TALL_PT: Final = 300.0
_BREAKS_PT: Final = 90.0
_TOTAL_PAGES: Final = "total-pages"


@dataclass(frozen=True)
class Style:
    """How a text is set. Sizes in points."""

    size: float = 7.6
    leading: float = 10.4
    bold: bool = False
    colour: Color = INK
    align: Literal["left", "right", "centre"] = "left"

    @property
    def font(self) -> str:
        """The name of the font, as reportlab knows it."""
        return BOLD if self.bold else REGULAR

    def right(self) -> "Style":
        """The same, aligned right: for figures."""
        return replace(self, align="right")


BODY: Final = Style()
DENSE: Final = Style(size=7.2, leading=9.2)
STRONG: Final = Style(bold=True)
FIGURE: Final = Style(align="right")
SMALL: Final = Style(size=6.2, leading=8.4, colour=MUTED)
LABEL: Final = Style(size=6.4, leading=10.4, bold=True, colour=ACCENT)
COLUMN: Final = Style(size=6.4, leading=8.6, colour=MUTED)
TITLE: Final = Style(size=10.5, leading=13.5, bold=True)
SUBTITLE: Final = Style(size=7.6, leading=10.4, colour=MUTED)
HEADING: Final = Style(size=14, leading=18, bold=True, colour=ACCENT)
SUBHEADING: Final = Style(size=9.5, leading=13, bold=True)
LARGE: Final = Style(size=24, leading=30, bold=True)
PROSE: Final = Style(size=8.6, leading=12.6)
WARNING: Final = Style(colour=ALERT, bold=True)


@lru_cache(maxsize=100_000)
def _width_of_word(word: str, font: str) -> float:
    """Width at size 1. Reports repeat their words, and measuring is what takes the time."""
    return float(pdfmetrics.stringWidth(word, font, 1000)) / 1000


def text_width(text: str, style: Style) -> float:
    """Width in points of one printable line."""
    return _width_of_word(text, style.font) * style.size


def shown(text: str) -> str:
    """``text`` as it can be printed; see :func:`labels.typeface.printable`."""
    return text if text.isascii() and text.isprintable() else printable(text)


def wrap(text: str, style: Style, width: float) -> tuple[str, ...]:
    """Break ``text`` into lines of at most ``width`` points; line breaks of the text stay.

    A word too long for a line is broken where it must be. Nothing is dropped.
    """
    register()
    room = width / style.size
    space = _width_of_word(" ", style.font)
    lines: list[str] = []
    for paragraph in shown(text).split("\n"):
        line: list[str] = []
        used = 0.0
        for word in paragraph.split():
            for piece in _pieces(word, style.font, room):
                piece_width = _width_of_word(piece, style.font)
                if line and used + space + piece_width > room:
                    lines.append(" ".join(line))
                    line, used = [], 0.0
                used += piece_width + (space if line else 0)
                line.append(piece)
        lines.append(" ".join(line))
    return tuple(lines)


def _pieces(word: str, font: str, room: float) -> Iterator[str]:
    """Yield ``word``, or the parts of it that each fit a line."""
    if _width_of_word(word, font) <= room:
        yield word
        return
    piece, used = "", 0.0
    for character in word:
        width = _width_of_word(character, font)
        if piece and used + width > room:
            yield piece
            piece, used = "", 0.0
        piece += character
        used += width
    yield piece


@dataclass(frozen=True)
class Cell:
    """Wrapped lines in a column from ``x`` (points from the left margin)."""

    x: float
    width: float
    style: Style
    lines: tuple[str, ...]

    @property
    def height(self) -> float:
        """Height in points."""
        return len(self.lines) * self.style.leading


def cell(text: str, x: float, width: float, style: Style = BODY) -> Cell:
    """A cell with ``text`` wrapped to ``width``."""
    return Cell(x, width, style, wrap(text, style, width))


class Row(Flowable):  # type: ignore[misc]  # reportlab has no types
    """Cells side by side. One too tall to be moved as a whole splits between lines."""

    def __init__(
        self,
        cells: Sequence[Cell],
        *,
        above: float = 0.9,
        below: float = 0.9,
        rule: Color | None = None,
        rule_drop: float = 0.0,
        fill: Color | None = None,
        keep: bool = False,
        on_draw: Callable[[Canvas, float], None] | None = None,
    ) -> None:
        """Lay out a row.

        Args:
            cells: its cells, already wrapped.
            above, below: padding in points.
            rule: colour of a hairline along the top.
            rule_drop: how far below the top the hairline is, in points.
            fill: colour behind the row.
            keep: whether the next flowable must start on the same page.
            on_draw: called with the canvas and the row's height when drawn; the origin is the
                row's lower left.
        """
        super().__init__()
        self.cells = cells
        self.above, self.below = above, below
        self.rule, self.rule_drop, self.fill = rule, rule_drop, fill
        self.keepWithNext = 1 if keep else 0
        self.on_draw = on_draw

    def wrap(self, available_width: float, _available_height: float) -> tuple[float, float]:
        """Return width and height in points."""
        self.width = available_width
        tallest = max((each.height for each in self.cells), default=0.0)
        self.height = self.above + self.below + tallest
        return self.width, self.height

    def split(self, available_width: float, available_height: float) -> list[Flowable]:
        """Return two rows, the first of which fits; none when it is low or no two lines fit."""
        if self.wrap(available_width, available_height)[1] <= _BREAKS_PT:
            return []
        room = available_height - self.above - self.below
        counts = [math.floor(room / each.style.leading) for each in self.cells]
        if not counts or min(counts) < 2:
            return []
        first = [
            replace(each, lines=each.lines[:count])
            for each, count in zip(self.cells, counts, strict=True)
        ]
        rest = [
            replace(each, lines=each.lines[count:])
            for each, count in zip(self.cells, counts, strict=True)
        ]
        return [
            Row(
                first,
                above=self.above,
                rule=self.rule,
                rule_drop=self.rule_drop,
                fill=self.fill,
                on_draw=self.on_draw,
            ),
            Row(rest, below=self.below, fill=self.fill, keep=bool(self.keepWithNext)),
        ]

    def draw(self) -> None:
        """Draw with the origin at the lower left."""
        canvas: Canvas = self.canv
        if self.fill is not None:
            canvas.setFillColor(self.fill)
            canvas.rect(-6, 0, self.width + 12, self.height, stroke=0, fill=1)
        if self.rule is not None:
            canvas.setStrokeColor(self.rule)
            canvas.setLineWidth(0.5)
            y = self.height - self.rule_drop
            canvas.line(0, y, self.width, y)
        for each in self.cells:
            draw_lines(canvas, each, self.height - self.above)
        if self.on_draw is not None:
            self.on_draw(canvas, self.height)


def draw_lines(canvas: Canvas, what: Cell, top: float) -> None:
    """Draw the lines of a cell downwards from ``top``."""
    style = what.style
    canvas.setFont(style.font, style.size)
    canvas.setFillColor(style.colour)
    baseline = top - (style.leading + style.size) / 2 + style.size * 0.14
    for line in what.lines:
        if style.align == "right":
            canvas.drawRightString(what.x + what.width, baseline, line)
        elif style.align == "centre":
            canvas.drawCentredString(what.x + what.width / 2, baseline, line)
        else:
            canvas.drawString(what.x, baseline, line)
        baseline -= style.leading


def stacked_height(flowables: Iterable[Flowable], width: float) -> float:
    """Height in points of flowables one below the other, each ``width`` points wide."""
    return sum(float(each.wrap(width, 0)[1]) for each in flowables)


@dataclass(frozen=True)
class Stack:
    """Flowables one below the other in a column from ``x`` (points from the left margin)."""

    x: float
    width: float
    flowables: tuple[Flowable, ...]

    @property
    def height(self) -> float:
        """Height in points."""
        return stacked_height(self.flowables, self.width)

    def split(self, room: float) -> tuple["Stack", "Stack"]:
        """What fits ``room`` points, and the rest."""
        for count, each in enumerate(self.flowables):
            height = each.wrap(self.width, room)[1]
            if height > room:
                halves = each.split(self.width, room) or [each]
                first = (*self.flowables[:count], *halves[:-1])
                rest = (halves[-1], *self.flowables[count + 1 :])
                return replace(self, flowables=first), replace(self, flowables=rest)
            room -= height
        return self, replace(self, flowables=())


class Beside(Flowable):  # type: ignore[misc]  # reportlab has no types
    """Stacks side by side. Stays whole unless it is very tall."""

    def __init__(self, stacks: Sequence[Stack]) -> None:
        """Lay out stacks, left to right."""
        super().__init__()
        self.stacks = [stack for stack in stacks if stack.flowables]

    def wrap(self, available_width: float, _available_height: float) -> tuple[float, float]:
        """Return width and height in points."""
        self.width = available_width
        self.height = max((stack.height for stack in self.stacks), default=0.0)
        return self.width, self.height

    def split(self, available_width: float, available_height: float) -> list[Flowable]:
        """Return what fits of each stack and the rest; none where a stack could not begin."""
        if self.wrap(available_width, available_height)[1] <= _TALL_PT:
            return []
        halves = [stack.split(available_height) for stack in self.stacks]
        if not all(first.flowables for first, _ in halves):
            return []
        return [
            Beside([first for first, _ in halves]),
            Beside([rest for _, rest in halves]),
        ]

    def draw(self) -> None:
        """Draw each stack downwards from the top."""
        for stack in self.stacks:
            y = self.height
            for each in stack.flowables:
                y -= each.wrap(stack.width, y)[1]
                each.drawOn(self.canv, stack.x, y)


class Grid(Flowable):  # type: ignore[misc]  # reportlab has no types
    """A table of rows under a head that is repeated on every page."""

    def __init__(self, head: Row, rows: Sequence[Row]) -> None:
        super().__init__()
        self.head = head
        self.rows = rows

    def wrap(self, available_width: float, available_height: float) -> tuple[float, float]:
        """Return width and height in points."""
        self.width = available_width
        self.height = sum(
            row.wrap(available_width, available_height)[1] for row in (self.head, *self.rows)
        )
        return self.width, self.height

    def split(self, available_width: float, available_height: float) -> list[Flowable]:
        """Return the rows that fit and the rest, both under the head."""
        room = available_height - self.head.wrap(available_width, available_height)[1]
        for count, row in enumerate(self.rows):
            height = row.wrap(available_width, available_height)[1]
            if height <= room:
                room -= height
                continue
            first, rest = list(self.rows[:count]), list(self.rows[count:])
            if not first:
                # A row of a common height starts the next page; a very tall one has to break.
                halves = row.split(available_width, room) if height > _TALL_PT else []
                if not halves:
                    return []
                first, rest = [halves[0]], [halves[1], *rest[1:]]
            return [Grid(self.head, first), Grid(self.head, rest)]
        return [self]

    def draw(self) -> None:
        """Draw head and rows downwards."""
        y = self.height
        for row in (self.head, *self.rows):
            y -= row.height
            row.drawOn(self.canv, 0, y)


@dataclass(frozen=True)
class Column:
    """One column of a :class:`Grid`: its heading, its share of the width, and its style."""

    heading: str
    share: float
    style: Style = BODY


def grid(
    columns: Sequence[Column],
    rows: Sequence[Sequence[str]],
    width: float,
    *,
    gap: float = 8.0,
) -> Grid:
    """A table of texts. A row whose first text is empty goes on with the row above it.

    Raises ``ValueError`` when a row has not as many texts as there are columns.
    """
    spans = spread([column.share for column in columns], width, gap)
    head = Row(
        [
            cell(column.heading, x, span, replace(COLUMN, align=column.style.align))
            for column, (x, span) in zip(columns, spans, strict=True)
        ],
        keep=True,
    )
    body = [
        Row(
            [
                cell(text, x, span, column.style)
                for column, text, (x, span) in zip(columns, texts, spans, strict=True)
            ],
            above=2.0,
            below=2.0,
            rule=RULE if texts[0] else None,
        )
        for texts in rows
    ]
    return Grid(head, body)


def spread(shares: Sequence[float], width: float, gap: float = 8.0) -> list[tuple[float, float]]:
    """Divide ``width`` by ``shares``: (x, width) of each column in points."""
    room = width - gap * (len(shares) - 1)
    spans: list[tuple[float, float]] = []
    x = 0.0
    for share in shares:
        span = room * share / sum(shares)
        spans.append((x, span))
        x += span + gap
    return spans


class Gap(Flowable):  # type: ignore[misc]  # reportlab has no types
    """Empty space that never starts a page: what is left of it at the page's end is dropped."""

    _ZEROSIZE = True

    def __init__(self, height: float, on_draw: Callable[[], None] | None = None) -> None:
        super().__init__()
        self.space = height
        self.on_draw = on_draw

    def wrap(self, available_width: float, available_height: float) -> tuple[float, float]:
        """Return width and height in points, no more than is left on the page."""
        self.height = max(0.0, min(self.space, available_height))
        return available_width, self.height

    def draw(self) -> None:
        """Draw nothing, but say that this place was reached."""
        if self.on_draw is not None:
            self.on_draw()


class Bars(Flowable):  # type: ignore[misc]  # reportlab has no types
    """A bar for each of a few counts, with name and figure."""

    _LINE: Final = 14.0

    def __init__(self, counts: Sequence[tuple[str, int]]) -> None:
        super().__init__()
        self.counts = counts

    def wrap(self, available_width: float, _available_height: float) -> tuple[float, float]:
        """Return width and height in points."""
        self.width = available_width
        self.height = self._LINE * len(self.counts)
        return self.width, self.height

    def draw(self) -> None:
        """Draw the bars, longest to the width that names and figures leave."""
        canvas: Canvas = self.canv
        names = self.width * 0.36
        room = self.width - names - 40
        most = max((count for _, count in self.counts), default=1) or 1
        y = self.height
        for name, count in self.counts:
            y -= self._LINE
            line = cell(name, 0, names - 8)
            draw_lines(canvas, replace(line, lines=shortened(line.lines)), y + 12)
            canvas.setFillColor(ACCENT)
            canvas.rect(names, y + 3, max(room * count / most, 0.75), 7.5, stroke=0, fill=1)
            figure = Cell(names + room * count / most + 5, 40, BODY, (f"{count:,}",))
            draw_lines(canvas, figure, y + 12)


def shortened(lines: tuple[str, ...]) -> tuple[str, ...]:
    """The first line, with an ellipsis in place of any that follow."""
    return lines if len(lines) == 1 else (f"{lines[0].rstrip()}…",)


class Report(BaseDocTemplate):  # type: ignore[misc]  # reportlab has no types
    """A document with running head and foot.

    ``continuing`` names what runs over the page's end; the next page's head says so.
    """

    def __init__(
        self,
        target: Target,
        *,
        title: str,
        subject: str,
        author: str,
        head: str,
        foot: str,
        page_size: PageSize = PageSize.A4,
        wide: bool = False,
        language: str = "en",
        cover: bool = True,
    ) -> None:
        register()
        size = page_size.points
        super().__init__(
            os.fspath(target) if isinstance(target, str | os.PathLike) else target,
            pagesize=landscape(size) if wide else size,
            title=title,
            subject=subject,
            author=author,
            creator="Lagan",
            lang=language,
            pageCompression=1,
            displayDocTitle=True,
        )
        self.head, self.foot = shown(head), shown(foot)
        self.cover = cover
        self.continuing = ""
        width = self.pagesize[0]
        frame = Frame(
            MARGIN_PT,
            MARGIN_PT + _FOOT_PT,
            width - 2 * MARGIN_PT,
            self.text_height,
            leftPadding=0,
            rightPadding=0,
            topPadding=0,
            bottomPadding=0,
        )
        self.addPageTemplates([PageTemplate("page", [frame], onPage=self._furnish)])

    @property
    def text_width(self) -> float:
        """Width between the margins in points."""
        return float(self.pagesize[0] - 2 * MARGIN_PT)

    @property
    def text_height(self) -> float:
        """Height between the running head and foot in points."""
        return float(self.pagesize[1] - 2 * MARGIN_PT - _HEAD_PT - _FOOT_PT)

    def write(self, story: list[Flowable]) -> int:
        """Lay out and write; return the number of pages."""
        self.build(story, canvasmaker=_Pages)
        return int(self.page)

    def _furnish(self, canvas: Canvas, _template: Any) -> None:
        width, height = self.pagesize
        canvas.saveState()
        number = canvas.getPageNumber()
        if number > 1 or not self.cover:
            top = height - MARGIN_PT - 2
            if self.continuing:
                note = cell(f"continued: {self.continuing}", 0, self.text_width * 0.5, SMALL)
                lines = shortened(note.lines)
                draw_lines(
                    canvas, Cell(width / 2, width / 2 - MARGIN_PT, SMALL.right(), lines), top
                )
            lines = shortened(wrap(self.head, SMALL, self.text_width * 0.48))
            draw_lines(canvas, Cell(MARGIN_PT, width, SMALL, lines), top)
            canvas.setStrokeColor(RULE)
            canvas.setLineWidth(0.5)
            canvas.line(MARGIN_PT, top - 11, width - MARGIN_PT, top - 11)
        lines = shortened(wrap(self.foot, SMALL, self.text_width - 90))
        draw_lines(canvas, Cell(MARGIN_PT, width, SMALL, lines), MARGIN_PT)
        count = f"Page {number} of "
        room = text_width("000", SMALL)
        draw_lines(canvas, Cell(0, width - MARGIN_PT - room, SMALL.right(), (count,)), MARGIN_PT)
        canvas.translate(width - MARGIN_PT - room, MARGIN_PT)
        canvas.doForm(_TOTAL_PAGES)
        canvas.restoreState()


class _Pages(Canvas):  # type: ignore[misc]  # reportlab has no types
    """A canvas that fills in the total of pages once it is known.

    Each page draws one shared form, defined last, so that no page need be kept to be finished.
    """

    def save(self) -> None:
        """Define the total, then write the file."""
        total = self.getPageNumber() - 1
        self.beginForm(_TOTAL_PAGES, 0, -20, 60, 20)
        draw_lines(self, Cell(0, 60, SMALL, (str(total),)), 0)
        self.endForm()
        super().save()
