"""Every figure, its source and its mark on paper, so that a reader can check us line by line."""

from collections.abc import Iterator, Sequence
from datetime import datetime
from typing import Final

from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import CondPageBreak, Flowable

from labels.paper import ACCENT_TINT, PageSize, Target
from labels.typeface import BRACKET_NOTE
from service.reports.layout import (
    FIGURE,
    HEADING,
    LABEL,
    PROSE,
    SMALL,
    STRONG,
    SUBHEADING,
    WARNING,
    Bars,
    Column,
    Report,
    Row,
    cell,
    grid,
    shown,
)
from service.reports.science import (
    MARK_WORDS,
    Entry,
    Group,
    ScienceDocument,
    capital,
)
from service.reports.wording import joined, local_time

TITLE: Final = "Figures and sources"
INTRODUCTION: Final = (
    "Everything that Lagan reckons with is listed here: the rows of its tables and the constants "
    "of its formulas, each with its source and with a mark that says how far it can be trusted.",
    "“Common practice, no source” is what the trade does without a publication that we could "
    "name. “From memory” has a publication that nobody has held beside it yet. Neither is "
    "evidence: hold both against your own sources before you rely on them.",
    "No figure here is a dose, and none says that a space is safe. The product label, the local "
    "code, the licensed fumigator and the conservator stand above all of them.",
)
_BAR_MARKS: Final = tuple(MARK_WORDS)
_SHORT: Final = 26
"""Figures of at most so many letters share a line."""


def write_science_pdf(
    document: ScienceDocument,
    target: Target,
    *,
    prepared_at: datetime,
    zone: str = "UTC",
    notice: str = "",
    page_size: PageSize = PageSize.A4,
    language: str = "en",
) -> int:
    """Write all figures as a PDF with bookmarks; return the number of its pages.

    Args:
        document: the figures.
        target: a path, or a binary file open for writing.
        prepared_at: the time, with its zone.
        zone: the IANA zone whose clocks the time is shown on.
        notice: a line for every page, such as for a demonstration.
        page_size: A4 or Letter.
        language: the PDF's language (BCP 47).
    """
    report = Report(
        target,
        title=TITLE,
        subject="Constants and table rows with source and mark",
        author="",
        head=TITLE,
        foot=joined(
            notice, f"Tables {document.version[:12]}", f"Printed {local_time(prepared_at, zone)}"
        ),
        page_size=page_size,
        language=language,
        cover=False,
    )
    return report.write(list(_Pages(document, report).story()))


class _Pages:
    """Makes the flowables of one listing."""

    def __init__(self, document: ScienceDocument, report: Report) -> None:
        self.document, self.report = document, report
        self.width = report.text_width

    def story(self) -> Iterator[Flowable]:
        """What it is, what the facility changed, the counts, then every group."""
        yield from self._opening()
        yield from self._changes()
        yield from self._counts()
        for group in self.document.groups:
            yield from self._group(group)
        yield Row([cell(BRACKET_NOTE, 0, self.width, SMALL)], above=10)

    def _heading(self, text: str, key: str, level: int = 0) -> Iterator[Flowable]:
        """A heading that stands in the outline too."""

        def mark(canvas: Canvas, _height: float) -> None:
            self.report.continuing = "" if level == 0 else text
            canvas.bookmarkPage(key)
            canvas.addOutlineEntry(shown(text), key, level=level, closed=level == 0)

        yield CondPageBreak(110)
        style = HEADING if level == 0 else SUBHEADING
        yield Row([cell(text, 0, self.width, style)], above=12, below=3, keep=True, on_draw=mark)

    def _prose(self, text: str) -> Row:
        return Row([cell(text, 0, self.width, PROSE)], below=4)

    def _opening(self) -> Iterator[Flowable]:
        yield from self._heading(TITLE, "opening")
        for sentence in INTRODUCTION:
            yield self._prose(sentence)
        for label, digest in (
            ("Tables", self.document.version),
            ("This listing", self.document.digest),
        ):
            yield Row([cell(label, 0, 76, LABEL), cell(digest, 80, self.width - 80)])
        yield Row(
            [
                cell(
                    "The first is the SHA-256 that every triage result names. The second is that "
                    "of this listing as a CSV file, constants included.",
                    80,
                    self.width - 80,
                    SMALL,
                )
            ],
            below=4,
        )

    def _changes(self) -> Iterator[Flowable]:
        yield from self._heading("Changed by this facility", "changed")
        if not self.document.changes:
            yield self._prose("Nothing: every figure is as shipped.")
            return
        yield Row(
            [
                cell(
                    "Whatever rests on one of these figures says so. Each was signed by the person "
                    "named.",
                    0,
                    self.width,
                    WARNING,
                )
            ],
            above=4,
            below=4,
            fill=ACCENT_TINT,
        )
        yield grid(
            [
                Column("Where", 2.6, STRONG),
                Column("What", 1.6),
                Column("As shipped", 1.8),
                Column("Here", 1.8),
                Column("Who signed, and why", 3.2),
            ],
            [
                [
                    f"{one.group.title}: {one.entry.name}",
                    one.what,
                    one.before,
                    one.after,
                    one.source,
                ]
                for one in self.document.changes
            ],
            self.width,
        )

    def _counts(self) -> Iterator[Flowable]:
        yield from self._heading("How far the figures can be trusted", "counts")
        marks = self.document.marks
        yield Bars([(MARK_WORDS[mark], marks.get(mark, 0)) for mark in _BAR_MARKS])
        heads = ("Published", "Computed", "Common practice", "From memory", "Changed", "All")
        yield Row([], above=6)
        yield grid(
            [Column("Group", 3.4, STRONG), *(Column(head, 1.3, FIGURE) for head in heads)],
            [
                [
                    group.title,
                    *(str(group.marks.get(mark, 0)) for mark in _BAR_MARKS),
                    str(sum(bool(entry.changed_by) for entry in group.entries)),
                    str(len(group.entries)),
                ]
                for group in self.document.groups
            ],
            self.width,
        )

    def _group(self, group: Group) -> Iterator[Flowable]:
        yield from self._heading(group.title, group.key, level=1)
        yield Row(
            [cell(f"{group.about}. {_counted(group.entries)}.", 0, self.width, SMALL)],
            below=3,
            keep=True,
        )
        yield grid(
            [
                Column("Entry", 2.3, STRONG),
                Column("What it says", 4.2),
                Column("Source", 2.9, SMALL),
                Column("Mark", 1.5, SMALL),
            ],
            [_row(entry) for entry in group.entries],
            self.width,
        )


def _counted(entries: Sequence[Entry]) -> str:
    return "1 entry" if len(entries) == 1 else f"{len(entries)} entries"


def _row(entry: Entry) -> list[str]:
    lines: list[list[str]] = []
    for one in entry.figures:
        words = one.text if one.what == "value" else f"{capital(one.what)}: {one.text}"
        short = len(words) <= _SHORT
        if short and lines and all(len(before) <= _SHORT for before in lines[-1]):
            lines[-1].append(words)
        else:
            lines.append([words])
    says = "\n".join(" · ".join(line) for line in lines)
    changed = f"\nchanged by {entry.changed_by}" if entry.changed_by else ""
    return [entry.name, says, entry.source, MARK_WORDS[entry.mark] + changed]
