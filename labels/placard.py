"""The placard for each door of a space under fumigation.

What it says follows usual practice for fumigation placards: the signal word, keep out, what
gas, since when, who is in charge and how to reach them (EPA fumigant labels and their
applicator's manuals, from memory).  Red, black and white are the colours of a danger sign in
29 CFR 1910.145 (from memory).  The wording is ours; where the product label or the local code
prescribes its own words, those govern, and the placard says so.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Final

from reportlab.lib.colors import Color
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import Flowable, Table, TableStyle

from labels.paper import (
    CENTRED,
    INK,
    MARGIN_PT,
    MUTED,
    PAPER,
    RULE,
    TEXT,
    PageSize,
    Target,
    open_canvas,
    paragraph,
    show_time,
)
from labels.typeface import BOLD, REGULAR, fitting_size, printable, register

DANGER_RED: Final = Color(0.78, 0.05, 0.10)
GOVERNING_LINE: Final = (
    "The product label and the local code govern. Where either prescribes other words, size or "
    "place for this placard, follow it."
)
REMOVAL_LINE: Final = (
    "Only the licensed person may take this placard down, after a measured clearance is signed."
)

_INSET_PT: Final = 8 * mm
_HEADLINE_LEADING: Final = 1.1
_AGENT: Final = ParagraphStyle("agent", CENTRED, fontName=BOLD, fontSize=19, leading=24)
_HAZARD: Final = ParagraphStyle("hazard", CENTRED, fontSize=13, leading=17)
_FACT_NAME: Final = ParagraphStyle("fact name", TEXT, fontSize=10, leading=13, textColor=MUTED)
_FACT: Final = ParagraphStyle("fact", TEXT, fontName=BOLD, fontSize=14, leading=18)
_CLOSING: Final = ParagraphStyle("closing", TEXT, fontSize=9.5, leading=13)
_CLOSING_STRONG: Final = ParagraphStyle("closing strong", _CLOSING, fontName=BOLD)


class PlacardError(ValueError):
    """A placard lacks something that must stand on it."""


@dataclass(frozen=True)
class SignalWords:
    """The headline in one language."""

    danger: str
    keep_out: str


ENGLISH: Final = SignalWords("DANGER", "KEEP OUT")
SPANISH: Final = SignalWords("PELIGRO", "NO ENTRE")


@dataclass(frozen=True)
class Placard:
    """What one door's placard says.

    Attributes:
        space: chamber or room, and door if it has several.
        agent: gas or vapour within, as its label names it.
        hazards: what it does, in a few words each, from its label or data sheet.
        introduced_at: when the agent is (to be) introduced, with zone.
        licensed_person: who is in charge.
        licence: licence number and jurisdiction.
        phone: where that person is reached at any hour.
        registration: the agent's registration number, where it has one.
        emergency_phone: another number for emergencies, where there is one.
        words: headline, one for each language of the people who pass.
    """

    space: str
    agent: str
    hazards: tuple[str, ...]
    introduced_at: datetime
    licensed_person: str
    licence: str
    phone: str
    registration: str = ""
    emergency_phone: str = ""
    words: tuple[SignalWords, ...] = (ENGLISH, SPANISH)

    def __post_init__(self) -> None:
        for name in ("space", "agent", "licensed_person", "licence", "phone"):
            if not getattr(self, name).strip():
                raise PlacardError(f"placard: {name} is empty; a placard must name it")
        if not self.words:
            raise PlacardError("placard: words are empty; give at least one language")


def write_placards(
    target: Target,
    placards: Sequence[Placard],
    page_size: PageSize = PageSize.A4,
    *,
    title: str = "Placards",
    language: str = "en",
) -> int:
    """Write placards to one PDF, one a page; return the number of pages.

    Args:
        target: path or open binary file.
        placards: one for each door.
        page_size: paper.
        title: the PDF's title.
        language: the PDF's language (BCP 47).

    Raises:
        PlacardError: no placards, or one whose text does not fit the page.
        ValueError: a time without its zone.
    """
    if not placards:
        raise PlacardError("placards: give at least one")
    register()
    canvas = open_canvas(target, page_size.points, title=title, language=language)
    for number, placard in enumerate(placards, start=1):
        _draw(canvas, placard, page_size.points, f"{number} of {len(placards)}")
        canvas.showPage()
    canvas.save()
    return len(placards)


def _draw(canvas: Canvas, placard: Placard, page: tuple[float, float], folio: str) -> None:
    width, height = page[0] - 2 * MARGIN_PT, page[1] - 2 * MARGIN_PT
    left, bottom = MARGIN_PT, MARGIN_PT
    y = _draw_headline(canvas, placard, left, bottom + height, width) - 6 * mm
    inner = width - 2 * _INSET_PT
    for block in _blocks(placard, inner):
        _, used = block.wrapOn(canvas, inner, height)
        if y - used < bottom + 7 * mm:
            raise PlacardError(f"placard for {placard.space}: too much text for one page; shorten")
        block.drawOn(canvas, left + _INSET_PT, y - used)
        y -= used + 6 * mm
    canvas.setStrokeColor(INK)
    canvas.setLineWidth(2.5)
    canvas.rect(left, bottom, width, height, stroke=1, fill=0)
    canvas.setFont(REGULAR, 7)
    canvas.setFillColor(INK)
    canvas.drawRightString(left + width - 3 * mm, bottom + 3 * mm, folio)


def _draw_headline(
    canvas: Canvas, placard: Placard, left: float, top: float, width: float
) -> float:
    """Draw the red panel and the keep-out words below it; return the lower edge."""
    room = width - 2 * _INSET_PT
    danger = _sized([words.danger for words in placard.words], room, 84.0)
    keep_out = _sized([words.keep_out for words in placard.words], room, 58.0)
    panel = _height(danger) + 8 * mm
    canvas.setFillColor(DANGER_RED)
    canvas.rect(left, top - panel, width, panel, stroke=0, fill=1)
    middle = left + width / 2
    _draw_centred(canvas, danger, middle, top - 4 * mm, PAPER)
    _draw_centred(canvas, keep_out, middle, top - panel - 5 * mm, INK)
    return float(top - panel - 5 * mm - _height(keep_out))


def _sized(texts: Sequence[str], room: float, largest_pt: float) -> list[tuple[str, float]]:
    """Pair each text with its size: the first as large as fits, the others at half."""
    return [
        (shown, fitting_size(shown, BOLD, room, largest_pt if number == 0 else largest_pt / 2))
        for number, shown in enumerate(printable(text) for text in texts)
    ]


def _height(lines: Sequence[tuple[str, float]]) -> float:
    return sum((size for _, size in lines), 0.0) * _HEADLINE_LEADING


def _draw_centred(
    canvas: Canvas, lines: Sequence[tuple[str, float]], x: float, y: float, colour: Color
) -> None:
    canvas.setFillColor(colour)
    for text, size in lines:
        canvas.setFont(BOLD, size)
        canvas.drawCentredString(x, y - size * 0.92, text)
        y -= size * _HEADLINE_LEADING


def _blocks(placard: Placard, width: float) -> list[Flowable]:
    blocks: list[Flowable] = [
        paragraph(f"Fumigation: {placard.agent}", _AGENT),
    ]
    if placard.hazards:
        blocks.append(paragraph(" · ".join(placard.hazards), _HAZARD))
    blocks += [
        _facts(placard, width),
        paragraph(REMOVAL_LINE, _CLOSING_STRONG),
        paragraph(GOVERNING_LINE, _CLOSING),
    ]
    return blocks


def _facts(placard: Placard, width: float) -> Table:
    facts = [
        ("Space", placard.space),
        ("Registration no.", placard.registration),
        ("Introduced", show_time(placard.introduced_at)),
        ("Licensed person", placard.licensed_person),
        ("Licence", placard.licence),
        ("Phone, any hour", placard.phone),
        ("Emergency", placard.emergency_phone),
    ]
    rows = [
        [paragraph(what, _FACT_NAME), paragraph(value, _FACT)] for what, value in facts if value
    ]
    table = Table(rows, colWidths=[42 * mm, width - 42 * mm])
    table.setStyle(
        TableStyle(
            [
                ("VALIGN", (0, 0), (-1, -1), "MIDDLE"),
                ("LEFTPADDING", (0, 0), (-1, -1), 0),
                ("TOPPADDING", (0, 0), (-1, -1), 3),
                ("BOTTOMPADDING", (0, 0), (-1, -1), 5),
                ("LINEBELOW", (0, 0), (-1, -1), 0.5, RULE),
                ("LINEABOVE", (0, 0), (-1, 0), 0.5, RULE),
            ]
        )
    )
    return table
