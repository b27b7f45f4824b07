"""What all printed sheets share: page sizes, colours, text styles and how a PDF is built."""

import os
from collections.abc import Callable
from datetime import datetime
from enum import StrEnum
from io import BytesIO
from typing import BinaryIO, Final

from reportlab.lib.colors import Color, black, white
from reportlab.lib.enums import TA_CENTER, TA_RIGHT
from reportlab.lib.pagesizes import A4, LETTER
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import BaseDocTemplate, Flowable, PageTemplate, Paragraph

from labels.typeface import BOLD, REGULAR, markup, register

ACCENT: Final = Color(0.07, 0.31, 0.38)
ACCENT_TINT: Final = Color(0.90, 0.94, 0.95)
INK: Final = black
MUTED: Final = Color(0.35, 0.35, 0.35)
RULE: Final = Color(0.72, 0.72, 0.72)
PAPER: Final = white

MARGIN_PT: Final = 15 * mm
CREATOR: Final = "Lagan"


class PageSize(StrEnum):
    """Paper that the sheets fit."""

    A4 = "a4"
    LETTER = "letter"

    @property
    def points(self) -> tuple[float, float]:
        """Width and height in points, upright."""
        width, height = A4 if self is PageSize.A4 else LETTER
        return float(width), float(height)


Target = str | os.PathLike[str] | BinaryIO
"""A path, or a binary file open for writing."""

TEXT: Final = ParagraphStyle("text", fontName=REGULAR, fontSize=8.5, leading=11.5, textColor=INK)
SMALL: Final = ParagraphStyle("small", TEXT, fontSize=7.2, leading=9.4)
SMALL_RIGHT: Final = ParagraphStyle("small right", SMALL, alignment=TA_RIGHT)
LABEL: Final = ParagraphStyle("label", SMALL, fontSize=6.8, leading=9, textColor=MUTED)
STRONG: Final = ParagraphStyle("strong", TEXT, fontName=BOLD)
COLUMN_HEAD: Final = ParagraphStyle("column head", SMALL, fontName=BOLD, textColor=PAPER)
HEADING: Final = ParagraphStyle(
    "heading",
    TEXT,
    fontName=BOLD,
    fontSize=10,
    leading=13,
    textColor=ACCENT,
    spaceBefore=9,
    spaceAfter=3,
)
TITLE: Final = ParagraphStyle("title", TEXT, fontName=BOLD, fontSize=17, leading=21)
OVERLINE: Final = ParagraphStyle(
    "overline", TEXT, fontName=BOLD, fontSize=8, leading=10, textColor=ACCENT
)
TAG: Final = ParagraphStyle("tag", SMALL, fontName=BOLD)
WARNING: Final = ParagraphStyle("warning", SMALL, fontName=BOLD)
CENTRED: Final = ParagraphStyle("centred", TEXT, alignment=TA_CENTER)


def paragraph(text: str, style: ParagraphStyle = TEXT) -> Paragraph:
    """Return a paragraph of user text; nothing in it is taken as markup."""
    register()
    return Paragraph(markup(text), style)


def show_time(moment: datetime) -> str:
    """Return a time with weekday and zone, in the zone that it carries.

    Raises:
        ValueError: the time has no zone, so nobody could tell when it is.
    """
    if moment.utcoffset() is None:
        raise ValueError(f"{moment.isoformat()}: give the time with its zone")
    return moment.strftime("%a %d %b %Y, %H:%M ") + (moment.tzname() or moment.strftime("%z"))


def build_pdf(
    target: Target,
    page_size: PageSize,
    *,
    title: str,
    language: str,
    templates: Callable[[int], list[PageTemplate]],
    story: Callable[[], list[Flowable]],
) -> int:
    """Lay out a document twice, so that "page 1 of 3" is known, and write it.

    Args:
        target: where to write.
        page_size: paper.
        title: the PDF's title.
        language: the PDF's language (BCP 47).
        templates: makes the page templates, told the total number of pages.
        story: makes the flowables; called once for each pass.

    Returns:
        The number of pages.
    """
    register()

    def lay_out(file: str | BinaryIO, total: int) -> int:
        document = BaseDocTemplate(
            file,
            pagesize=page_size.points,
            pageTemplates=templates(total),
            title=title,
            creator=CREATOR,
            lang=language,
            displayDocTitle=True,
        )
        document.build(story())
        return int(document.page)

    pages = lay_out(BytesIO(), 0)
    return lay_out(_file(target), pages)


def open_canvas(
    target: Target, size_pt: tuple[float, float], *, title: str, language: str
) -> Canvas:
    """Return a canvas for sheets that are drawn rather than laid out."""
    canvas = Canvas(_file(target), pagesize=size_pt, lang=language)
    canvas.setTitle(title)
    canvas.setCreator(CREATOR)
    canvas.setViewerPreference("DisplayDocTitle", "true")
    return canvas


def _file(target: Target) -> str | BinaryIO:
    return os.fspath(target) if isinstance(target, str | os.PathLike) else target
