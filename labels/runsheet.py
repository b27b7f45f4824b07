"""The printed sheet that goes with one chamber run.

It tells the people at the door what goes in, where and in what order, and leaves room to sign
and to write readings by hand.  It is advisory: a chamber is NOT CLEARED until a measured
clearance is signed, and entry is decided by the licensed fumigator.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import partial
from typing import Final

from reportlab.graphics.shapes import Drawing, Line, Rect, String
from reportlab.lib.colors import Color
from reportlab.lib.units import mm
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import (
    BaseDocTemplate,
    CondPageBreak,
    Flowable,
    Frame,
    KeepTogether,
    NextPageTemplate,
    PageBreak,
    PageTemplate,
    Spacer,
    Table,
    TableStyle,
)

from labels.codes import show_tag
from labels.paper import (
    ACCENT,
    ACCENT_TINT,
    COLUMN_HEAD,
    HEADING,
    INK,
    LABEL,
    MARGIN_PT,
    MUTED,
    OVERLINE,
    PAPER,
    RULE,
    SMALL,
    SMALL_RIGHT,
    STRONG,
    TAG,
    TEXT,
    TITLE,
    WARNING,
    PageSize,
    Target,
    build_pdf,
    paragraph,
    show_time,
)
from labels.typeface import BOLD, BRACKET_NOTE, REGULAR, fitting_size, printable

STATUS: Final = "NOT CLEARED"
STATUS_LINE: Final = (
    "until a measured clearance is signed by two people. Entry is decided by the licensed "
    "fumigator. This sheet is advisory and is never the sole barrier."
)
FOOT_LINE: Final = (
    "until a measured clearance is signed. Advisory; entry is decided by the licensed fumigator."
)
SIGNATURE_ROLES: Final = ("Loaded by", "Checked by (second person)", "Licensed fumigator")

_HEADER_PT: Final = 12 * mm
_FOOTER_PT: Final = 11 * mm
_READING_ROWS: Final = 5


class RunSheetError(ValueError):
    """A run sheet holds something that can't be printed as it stands; says what to mend."""


@dataclass(frozen=True)
class Programme:
    """The signed programme that the run follows.

    Attributes:
        label: what it is called.
        version: which version of it.
        signed_by: the licensed person who signed it.
        licence: licence number and jurisdiction.
    """

    label: str
    version: str
    signed_by: str
    licence: str


@dataclass(frozen=True)
class PlannedTime:
    """A planned moment of the run; ``at`` carries the site's zone."""

    what: str
    at: datetime


@dataclass(frozen=True)
class LoadLine:
    """One piece of the load, in loading order.

    Attributes:
        tag: its tag.
        title: what it is called.
        what: what it is: material, type, part of what.
        size: as the user writes sizes.
        rail_from_mm, rail_to_mm: the stretch of the rail that it takes, from the rail's start.
        layer: which rail or shelf.
        notes: anything else.
        warnings: what must be known before touching it.
    """

    tag: str
    title: str
    what: str
    size: str
    rail_from_mm: int
    rail_to_mm: int
    layer: str
    notes: str = ""
    warnings: tuple[str, ...] = ()


@dataclass(frozen=True)
class Fill:
    """How full the chamber is.

    Attributes:
        volume_used_m3, volume_usable_m3: envelope of the load, and what may be filled.
        rail_used_mm, rail_available_mm: over all layers.
    """

    volume_used_m3: float
    volume_usable_m3: float
    rail_used_mm: int
    rail_available_mm: int


@dataclass(frozen=True)
class RunSheet:
    """All that is printed for one run.

    Attributes:
        title: which run.
        chamber: where.
        programme: what is run.
        times: planned times in order.
        load: pieces in loading order.
        fill: how full.
        rail_length_mm: length of one layer's rail, the scale of the front view.
        spacing_rules: distances that were kept in planning the load.
        cautions: what must be heeded, most serious first.
        signature_roles: who signs.
    """

    title: str
    chamber: str
    programme: Programme
    times: tuple[PlannedTime, ...]
    load: tuple[LoadLine, ...]
    fill: Fill
    rail_length_mm: int
    spacing_rules: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    signature_roles: tuple[str, ...] = SIGNATURE_ROLES

    def __post_init__(self) -> None:
        if self.rail_length_mm <= 0:
            raise RunSheetError(f"{self.title}: rail_length_mm must be above 0")
        if self.fill.volume_usable_m3 <= 0 or self.fill.rail_available_mm <= 0:
            raise RunSheetError(f"{self.title}: usable volume and available rail must be above 0")
        reached: dict[str, LoadLine] = {}
        for line in sorted(self.load, key=lambda piece: piece.rail_from_mm):
            if not 0 <= line.rail_from_mm < line.rail_to_mm <= self.rail_length_mm:
                raise RunSheetError(
                    f"{self.title}: {line.tag} is given rail {line.rail_from_mm} to "
                    f"{line.rail_to_mm} mm, which is not within 0 to {self.rail_length_mm} mm"
                )
            before = reached.get(line.layer)
            if before and before.rail_to_mm > line.rail_from_mm:
                raise RunSheetError(
                    f"{self.title}: {before.tag} and {line.tag} overlap on {line.layer} at "
                    f"{line.rail_from_mm} mm; move one"
                )
            reached[line.layer] = line

    @property
    def layers(self) -> tuple[str, ...]:
        """Layers in the order in which they are loaded."""
        return tuple(dict.fromkeys(line.layer for line in self.load))


def write_run_sheets(
    target: Target,
    sheets: Sequence[RunSheet],
    page_size: PageSize = PageSize.A4,
    *,
    title: str = "Run sheets",
    language: str = "en",
) -> int:
    """Write run sheets to one PDF, each from a new page; return the number of pages.

    Args:
        target: path or open binary file.
        sheets: at least one.
        page_size: paper.
        title: the PDF's title.
        language: the PDF's language (BCP 47).

    Raises:
        RunSheetError: no sheets.
        ValueError: a time without its zone.
        TagError: a load line's tag is not one.
    """
    if not sheets:
        raise RunSheetError("run sheets: give at least one")
    width, height = page_size.points

    def templates(pages: int) -> list[PageTemplate]:
        frame = Frame(
            MARGIN_PT,
            MARGIN_PT + _FOOTER_PT,
            width - 2 * MARGIN_PT,
            height - 2 * MARGIN_PT - _HEADER_PT - _FOOTER_PT,
            leftPadding=0,
            rightPadding=0,
            topPadding=0,
            bottomPadding=0,
        )
        return [
            PageTemplate(id=str(number), frames=[frame], onPage=partial(_draw_frame, sheet, pages))
            for number, sheet in enumerate(sheets)
        ]

    def story() -> list[Flowable]:
        flowables: list[Flowable] = []
        for number, sheet in enumerate(sheets):
            if number:
                flowables += [NextPageTemplate(str(number)), PageBreak()]
            flowables += _sheet(sheet, width - 2 * MARGIN_PT)
        return flowables

    return build_pdf(
        target, page_size, title=title, language=language, templates=templates, story=story
    )


# --- parts -----------------------------------------------------------------------------------


def _draw_frame(sheet: RunSheet, pages: int, canvas: Canvas, document: BaseDocTemplate) -> None:
    """Draw what stands on every page: the run above, the status and page number below."""
    width, height = document.pagesize
    right, top, foot = width - MARGIN_PT, height - MARGIN_PT, MARGIN_PT
    canvas.saveState()
    canvas.setFillColor(ACCENT)
    canvas.rect(MARGIN_PT, top - 1.2 * mm, width - 2 * MARGIN_PT, 1.2 * mm, stroke=0, fill=1)
    canvas.setFont(BOLD, 7.5)
    canvas.drawString(MARGIN_PT, top - 5.5 * mm, "CHAMBER RUN SHEET")
    canvas.setFont(REGULAR, 7.5)
    canvas.setFillColor(MUTED)
    named = printable(f"{sheet.chamber} · {sheet.title}").replace("\n", " ")
    size = fitting_size(named, REGULAR, width - 2 * MARGIN_PT - 45 * mm, 7.5)
    canvas.setFont(REGULAR, size)
    canvas.drawRightString(right, top - 5.5 * mm, named)

    canvas.setStrokeColor(RULE)
    canvas.setLineWidth(0.5)
    canvas.line(MARGIN_PT, foot + 8 * mm, right, foot + 8 * mm)
    canvas.setFillColor(INK)
    canvas.setFont(BOLD, 7.5)
    canvas.drawString(MARGIN_PT, foot + 4.2 * mm, STATUS)
    canvas.setFillColor(MUTED)
    canvas.setFont(REGULAR, 7)
    canvas.drawString(MARGIN_PT + 24 * mm, foot + 4.2 * mm, FOOT_LINE)
    canvas.drawRightString(right, foot + 0.5 * mm, f"page {document.page} of {pages}")
    canvas.restoreState()


def _sheet(sheet: RunSheet, width: float) -> list[Flowable]:
    story: list[Flowable] = [
        paragraph(sheet.chamber, OVERLINE),
        paragraph(sheet.title, TITLE),
        Spacer(0, 3 * mm),
        _status_box(width),
        Spacer(0, 3 * mm),
        _facts(sheet, width),
    ]
    if sheet.cautions:
        story.append(
            KeepTogether([paragraph("Cautions", HEADING), _numbered(sheet.cautions, width)])
        )
    story.append(
        KeepTogether(
            [
                paragraph("Fill", HEADING),
                _fill_bars(sheet.fill, width),
                Spacer(0, 2 * mm),
                _front_view(sheet, width),
            ]
        )
    )
    if sheet.spacing_rules:
        story.append(
            KeepTogether(
                [paragraph("Distances kept", HEADING), _numbered(sheet.spacing_rules, width)]
            )
        )
    story += [
        CondPageBreak(40 * mm),
        paragraph(f"Load, in this order ({len(sheet.load)})", HEADING),
        _load_table(sheet.load, width),
    ]
    if _has_brackets(sheet):
        story += [Spacer(0, 1 * mm), paragraph(BRACKET_NOTE, LABEL)]
    story += [
        KeepTogether([paragraph("Readings by hand", HEADING), _readings(width)]),
        KeepTogether([paragraph("Signatures", HEADING), _signatures(sheet.signature_roles, width)]),
    ]
    return story


def _has_brackets(sheet: RunSheet) -> bool:
    texts = (text for line in sheet.load for text in (line.title, line.what, line.notes))
    return any(printable(text) != text for text in texts)


def _status_box(width: float) -> Table:
    table = Table(
        [[paragraph(STATUS, TITLE), paragraph(STATUS_LINE, TEXT)]],
        colWidths=[52 * mm, width - 52 * mm],
    )
    table.setStyle(
        TableStyle(
            [
                ("BOX", (0, 0), (-1, -1), 1.6, INK),
                ("VALIGN", (0, 0), (-1, -1), "MIDDLE"),
                ("LEFTPADDING", (0, 0), (-1, -1), 8),
                ("TOPPADDING", (0, 0), (-1, -1), 6),
                ("BOTTOMPADDING", (0, 0), (-1, -1), 7),
            ]
        )
    )
    return table


def _facts(sheet: RunSheet, width: float) -> Table:
    programme = sheet.programme
    left = [
        ("Programme", f"{programme.label}, version {programme.version}"),
        ("Signed by", programme.signed_by),
        ("Licence", programme.licence),
    ]
    right = [(time.what, show_time(time.at)) for time in sheet.times]
    rows = []
    for number in range(max(len(left), len(right))):
        row: list[Flowable | str] = []
        for column in (left, right):
            if number < len(column):
                what, value = column[number]
                row += [paragraph(what, LABEL), paragraph(value, STRONG)]
            else:
                row += ["", ""]
        rows.append(row)
    half = width / 2
    table = Table(rows, colWidths=[21 * mm, half - 21 * mm, 27 * mm, half - 27 * mm])
    table.setStyle(
        TableStyle(
            [
                ("VALIGN", (0, 0), (-1, -1), "TOP"),
                ("LEFTPADDING", (0, 0), (-1, -1), 0),
                ("TOPPADDING", (0, 0), (-1, -1), 2),
                ("BOTTOMPADDING", (0, 0), (-1, -1), 2),
                ("LINEBELOW", (0, 0), (-1, -1), 0.4, RULE),
            ]
        )
    )
    return table


def _numbered(lines: Sequence[str], width: float) -> Table:
    rows = [[paragraph(f"{n}", STRONG), paragraph(line)] for n, line in enumerate(lines, start=1)]
    table = Table(rows, colWidths=[7 * mm, width - 7 * mm])
    table.setStyle(
        TableStyle(
            [
                ("VALIGN", (0, 0), (-1, -1), "TOP"),
                ("LEFTPADDING", (0, 0), (-1, -1), 2),
                ("TOPPADDING", (0, 0), (-1, -1), 1),
                ("BOTTOMPADDING", (0, 0), (-1, -1), 1),
            ]
        )
    )
    return table


def _fill_bars(fill: Fill, width: float) -> Drawing:
    """Draw two bars: volume and rail, used against what there is."""
    row_height, bar_height = 7 * mm, 3.4 * mm
    start, length = 18 * mm, width - 18 * mm - 62 * mm
    rows = (
        (
            "Volume",
            fill.volume_used_m3 / fill.volume_usable_m3,
            f"{fill.volume_used_m3:.1f} of {fill.volume_usable_m3:.1f} m³ usable",
        ),
        (
            "Rail",
            fill.rail_used_mm / fill.rail_available_mm,
            f"{fill.rail_used_mm / 1000:.2f} of {fill.rail_available_mm / 1000:.2f} m",
        ),
    )
    drawing = Drawing(width, len(rows) * row_height)
    for number, (name, share, figures) in enumerate(rows):
        y = drawing.height - (number + 1) * row_height + 2 * mm
        baseline = y + 0.4 * mm
        over = " OVER" if share > 1 else ""
        drawing.add(_text(0, baseline, name, size=8))
        drawing.add(_bar(start, y, length, bar_height, ACCENT_TINT))
        drawing.add(_bar(start, y, length * min(share, 1.0), bar_height, ACCENT))
        drawing.add(
            _text(start + length + 3 * mm, baseline, f"{share * 100:.0f} %{over}", 8, font=BOLD)
        )
        drawing.add(_text(width, baseline, figures, 7.2, colour=MUTED, anchor="end"))
    return drawing


def _front_view(sheet: RunSheet, width: float) -> Drawing:
    """Draw the load as seen from the door: a lane for each layer, to scale along the rail."""
    lane_height, axis_height = 11 * mm, 8 * mm
    start = 18 * mm
    scale = (width - start) / sheet.rail_length_mm
    drawing = Drawing(width, len(sheet.layers) * lane_height + axis_height)
    for lane, layer in enumerate(sheet.layers):
        y = drawing.height - (lane + 1) * lane_height + 1 * mm
        label = printable(layer)
        size = fitting_size(label, REGULAR, start - 2 * mm, 8)
        drawing.add(_text(0, y + 2.6 * mm, label, size))
        drawing.add(_bar(start, y, width - start, lane_height - 2 * mm, ACCENT_TINT))
        for number, line in enumerate(sheet.load, start=1):
            if line.layer != layer:
                continue
            x = start + line.rail_from_mm * scale
            stretch = (line.rail_to_mm - line.rail_from_mm) * scale
            piece = _bar(x, y, stretch, lane_height - 2 * mm, ACCENT)
            piece.strokeColor, piece.strokeWidth = PAPER, 0.8
            drawing.add(piece)
            size = fitting_size(str(number), BOLD, max(stretch - 1.5, 1.0), 8.5)
            middle = y + (lane_height - 2 * mm) / 2 - size * 0.35
            drawing.add(
                _text(
                    x + stretch / 2,
                    middle,
                    str(number),
                    size,
                    font=BOLD,
                    colour=PAPER,
                    anchor="middle",
                )
            )
    axis = axis_height - 1 * mm
    drawing.add(Line(start, axis, width, axis, strokeColor=MUTED, strokeWidth=0.5))
    drawing.add(_text(0, axis - 4 * mm, "metres", 6.8, colour=MUTED))
    for position in (*_ticks(sheet.rail_length_mm), sheet.rail_length_mm):
        x = start + position * scale
        anchor = "end" if position == sheet.rail_length_mm else "middle"
        drawing.add(Line(x, axis, x, axis - 1.2 * mm, strokeColor=MUTED, strokeWidth=0.5))
        label = f"{position / 1000:g}"
        drawing.add(_text(x, axis - 4 * mm, label, 6.8, colour=MUTED, anchor=anchor))
    return drawing


def _text(
    x: float,
    y: float,
    text: str,
    size: float,
    *,
    font: str = REGULAR,
    colour: Color = INK,
    anchor: str = "start",
) -> String:
    return String(x, y, text, fontName=font, fontSize=size, fillColor=colour, textAnchor=anchor)


def _bar(x: float, y: float, width: float, height: float, colour: Color) -> Rect:
    return Rect(x, y, width, height, fillColor=colour, strokeColor=None)


def _ticks(length_mm: int) -> range:
    """Return at most twelve round positions along the rail, clear of its end."""
    step = next(s for s in (100, 200, 500, 1000, 2000, 5000, length_mm) if length_mm / s <= 12)
    return range(0, length_mm - step // 4, step)


def _load_table(load: Sequence[LoadLine], width: float) -> Table:
    heads = ("No.", "Tag", "Piece", "Size", "Rail, mm", "Layer", "Notes", "In", "Out")
    widths = [9 * mm, 25 * mm, 0, 25 * mm, 20 * mm, 15 * mm, 38 * mm, 8 * mm, 8 * mm]
    widths[2] = width - sum(widths)
    rows: list[list[Flowable | str]] = [[paragraph(head, COLUMN_HEAD) for head in heads]]
    for number, line in enumerate(load, start=1):
        notes: list[Flowable] = [paragraph(f"! {w}", WARNING) for w in line.warnings]
        if line.notes:
            notes.append(paragraph(line.notes, SMALL))
        rows.append(
            [
                paragraph(str(number), SMALL_RIGHT),
                # Broken at the middle hyphen, so that the id is read in two glances.
                paragraph("\n".join((show_tag(line.tag)[:9], show_tag(line.tag)[10:])), TAG),
                [paragraph(line.title, TAG), paragraph(line.what, SMALL)],
                paragraph(line.size, SMALL),
                paragraph(f"{line.rail_from_mm}–{line.rail_to_mm}", SMALL),
                paragraph(line.layer, SMALL),
                notes,
                _tick_box(),
                _tick_box(),
            ]
        )
    table = Table(rows, colWidths=widths, repeatRows=1)
    table.setStyle(
        TableStyle(
            [
                ("BACKGROUND", (0, 0), (-1, 0), ACCENT),
                ("VALIGN", (0, 0), (-1, -1), "TOP"),
                ("LEFTPADDING", (0, 0), (-1, -1), 3),
                ("RIGHTPADDING", (0, 0), (-1, -1), 3),
                ("TOPPADDING", (0, 0), (-1, -1), 3),
                ("BOTTOMPADDING", (0, 0), (-1, -1), 3),
                ("LINEBELOW", (0, 1), (-1, -1), 0.4, RULE),
                ("ROWBACKGROUNDS", (0, 1), (-1, -1), [PAPER, ACCENT_TINT]),
                ("NOSPLIT", (0, 0), (-1, 1)),
            ]
        )
    )
    return table


def _tick_box() -> Drawing:
    """Draw an empty box to tick by hand."""
    side = 3.6 * mm
    drawing = Drawing(side, side)
    drawing.add(Rect(0, 0, side, side, fillColor=PAPER, strokeColor=INK, strokeWidth=0.7))
    return drawing


def _readings(width: float) -> Table:
    heads = ("Time", "Zone", "Instrument, calibrated till", "Gas, ppm", "Oxygen, %", "Read by")
    rows: list[list[Flowable | str]] = [[paragraph(head, COLUMN_HEAD) for head in heads]]
    rows += [[""] * len(heads) for _ in range(_READING_ROWS)]
    shares = (0.12, 0.16, 0.28, 0.13, 0.11, 0.20)
    table = Table(
        rows,
        colWidths=[width * share for share in shares],
        rowHeights=[None, *[7.5 * mm] * _READING_ROWS],
    )
    table.setStyle(
        TableStyle(
            [
                ("BACKGROUND", (0, 0), (-1, 0), ACCENT),
                ("GRID", (0, 0), (-1, -1), 0.4, RULE),
                ("TOPPADDING", (0, 0), (-1, 0), 2),
                ("BOTTOMPADDING", (0, 0), (-1, 0), 3),
            ]
        )
    )
    return table


def _signatures(roles: Sequence[str], width: float) -> Table:
    rows = [[paragraph(role, LABEL), "", "", ""] for role in roles]
    rows.append(["", *(paragraph(what, LABEL) for what in ("name", "signature", "date and time"))])
    table = Table(
        rows,
        colWidths=[38 * mm, (width - 38 * mm) * 0.32, (width - 38 * mm) * 0.36, None],
        rowHeights=[11 * mm] * len(roles) + [5 * mm],
    )
    table.setStyle(
        TableStyle(
            [
                ("VALIGN", (0, 0), (-1, -2), "BOTTOM"),
                ("VALIGN", (0, -1), (-1, -1), "TOP"),
                ("LEFTPADDING", (0, 0), (0, -1), 0),
                ("TOPPADDING", (0, -1), (-1, -1), 0),
                ("LINEBELOW", (1, 0), (-1, -2), 0.6, INK),
            ]
        )
    )
    return table
