"""The sheet that goes with a truck: what is on it, ticked off when loaded and when received."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from functools import partial
from typing import Final

from reportlab.lib.units import mm
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import CondPageBreak, Flowable

from labels.paper import ACCENT_TINT, INK, RULE, PageSize, Target
from labels.symbols import SMALLEST_MODULE_MM, ErrorCorrection, draw_symbol, make_symbol
from labels.typeface import BRACKET_NOTE
from service.changed_facts import changes_note
from service.reports.inventory import measured
from service.reports.layout import (
    BODY,
    COLUMN,
    FIGURE,
    HEADING,
    LABEL,
    PROSE,
    SMALL,
    STRONG,
    SUBHEADING,
    WARNING,
    Gap,
    Grid,
    Report,
    Row,
    cell,
    spread,
)
from service.reports.wording import joined, local_time, measurements, sentences, shown_tag
from shared.cautions import cautions_for
from shared.facts import Facts
from shared.records import Item, Loss, Manifest

SIGNATURE_LINES: Final = ("Released from site", "Driver", "Received at facility")

_SHARES: Final = (0.5, 2.8, 5.5, 2.8, 1.2, 1.6, 3.8, 0.5, 0.5)
_HEADS: Final = (
    "No.",
    "Tag",
    "What",
    "Found at",
    "Container",
    "Size",
    "Care",
    "Out",
    "In",
)
_BOX: Final = 9.0


@dataclass(frozen=True)
class _Line:
    """One line of the manifest as it is printed."""

    number: str
    tag: str
    item: Item | None
    listed: bool
    received: bool


def write_manifest_pdf(
    manifest: Manifest,
    items: Mapping[str, Item],
    target: Target,
    *,
    loss: Loss,
    prepared_at: datetime,
    never: Mapping[str, Sequence[str]] | None = None,
    address: str = "",
    notice: str = "",
    page_size: PageSize = PageSize.A4,
    language: str = "en",
    known: Facts,
) -> int:
    """Write the manifest as a PDF, lying; return the number of its pages.

    Args:
        manifest: the list of one truck.
        items: the records of the pieces on it, by tag; a tag without one is listed all the same.
        target: a path, or a binary file open for writing.
        loss: the loss that the pieces come from.
        prepared_at: the time, with its zone.
        never: by tag, what must not be done to the piece on the way.
        address: what the list's QR code says, by :func:`labels.codes.list_url`; none without.
        notice: a line for every page, such as for a demonstration.
        page_size: A4 or Letter.
        language: the PDF's language (BCP 47).
        known: the facts it is made by.

    Raises:
        ValueError: the manifest belongs to another loss.
    """
    if manifest.loss not in (None, loss.loss):
        raise ValueError(
            f"manifest {manifest.manifest} belongs to loss {manifest.loss}, not {loss.loss}"
        )
    title = f"Manifest {manifest.manifest}, {manifest.vehicle}"
    report = Report(
        target,
        title=title,
        subject="Pieces carried on one vehicle",
        author="",
        head=joined(title, loss.title or loss.loss),
        foot=joined(notice, f"Printed {local_time(prepared_at, loss.zone)}"),
        page_size=page_size,
        wide=True,
        language=language,
        cover=False,
    )
    sheet = _Sheet(
        manifest,
        items,
        loss,
        never=never or {},
        address=address,
        notice=notice,
        width=report.text_width,
        known=known,
    )
    return report.write(list(sheet.story()))


class _Sheet:
    """Makes the flowables of one manifest."""

    def __init__(
        self,
        manifest: Manifest,
        items: Mapping[str, Item],
        loss: Loss,
        *,
        never: Mapping[str, Sequence[str]],
        address: str,
        notice: str,
        width: float,
        known: Facts,
    ) -> None:
        self.known = known
        self.manifest, self.items, self.loss = manifest, items, loss
        self.never, self.notice, self.width = never, notice, width
        self.code = make_symbol(address, ErrorCorrection.M) if address else None
        self.spans = spread(_SHARES, width, 7)

    def story(self) -> Iterator[Flowable]:
        """Facts, cautions, the list, what is missing, signatures."""
        yield from self._facts()
        yield from self._cautions()
        yield Grid(self._head(), [self._row(line) for line in self._lines()])
        yield from self._differences()
        yield from self._handovers()
        yield from self._signatures()
        yield Row([cell(BRACKET_NOTE, 0, self.width, SMALL)], above=8)

    def _facts(self) -> Iterator[Flowable]:
        manifest, loss = self.manifest, self.loss
        yield Row([cell(f"Manifest {manifest.manifest}", 0, self.width, HEADING)], below=2)
        if self.notice:
            yield Row(
                [cell(self.notice, 0, self.width, WARNING)], above=4, below=4, fill=ACCENT_TINT
            )
        found = [self.items[tag] for tag in manifest.tags if tag in self.items]
        containers = {item.container for item in found if item.container}
        facts = (
            ("Vehicle", manifest.vehicle),
            ("Loss", joined(loss.loss, loss.title)),
            ("From", loss.site),
            ("Leaves", local_time(manifest.leaves_at, loss.zone)),
            ("Expected", joined(local_time(manifest.expected_at, loss.zone), *manifest.delays)),
            (
                "Load",
                joined(
                    f"{len(manifest.tags):,} tags",
                    f"{sum(item.quantity for item in found):,} objects",
                    f"{len(containers):,} containers",
                ),
            ),
        )
        code_side = self.code.side_mm(SMALLEST_MODULE_MM) * mm if self.code else 0.0
        half = (self.width - code_side) / 2
        drawn = 0.0
        for start in range(0, len(facts), 2):
            cells = []
            for place, (label, text) in enumerate(facts[start : start + 2]):
                cells.append(cell(label, place * half, 58, LABEL))
                cells.append(cell(text, place * half + 62, half - 74, STRONG))
            row = Row(cells, on_draw=self._draw_code if start == 0 else None)
            drawn += row.wrap(self.width, 0)[1]
            yield row
        yield Gap(max(6.0, code_side - drawn))

    def _draw_code(self, canvas: Canvas, height: float) -> None:
        """The list's code at the right edge, from the top of the row downwards."""
        if self.code is None:
            return
        side_mm = self.code.side_mm(SMALLEST_MODULE_MM)
        draw_symbol(
            canvas,
            self.code,
            self.width / mm - side_mm,
            height / mm - side_mm,
            SMALLEST_MODULE_MM,
        )

    def _cautions(self) -> Iterator[Flowable]:
        waters = {self.loss.water_category} | {
            seen.water_category for item in self.items.values() for seen in item.damages
        }
        texts = [
            caution.text
            for caution in cautions_for(
                perils=[self.loss.peril],
                hazards=self.loss.hazards,
                water_categories=sorted(water for water in waters if water),
                known=self.known,
            )
        ]
        if note := changes_note(self.known):
            texts.append(note)
        if texts:
            yield Row(
                [
                    cell("Cautions", 0, 58, LABEL),
                    cell(sentences(texts), 62, self.width - 62),
                ]
            )
            yield Gap(6)

    # --- the list ---

    def _lines(self) -> Iterator[_Line]:
        received = set(self.manifest.received)
        for number, tag in enumerate(self.manifest.tags, start=1):
            yield _Line(str(number), tag, self.items.get(tag), True, tag in received)
        for tag in self.manifest.surplus:
            yield _Line("+", tag, self.items.get(tag), False, True)

    def _head(self) -> Row:
        return Row(
            [
                cell(
                    words,
                    x,
                    width,
                    replace(COLUMN, align="right" if words == "No." else "left", bold=True),
                )
                for words, (x, width) in zip(_HEADS, self.spans, strict=True)
            ],
            above=3,
            below=3,
            fill=ACCENT_TINT,
            keep=True,
        )

    def _row(self, line: _Line) -> Row:
        item = line.item
        if item is None:
            what, details = "No record of this tag has come in yet", ""
            place = container = size = care = ""
        else:
            what = item.title or item.object_type.label
            details = joined(
                item.object_type.label if item.title else "",
                ", ".join(material.label for material in item.materials),
                f"{item.quantity} objects" if item.quantity > 1 else "",
                f"{item.role.label} of {shown_tag(item.parent)}"
                if item.role and item.parent
                else "",
            )
            place, container = str(item.found), item.container or ""
            size = measurements(measured(item.size))
            only = ["Conservator only."] if item.conservator_only else []
            care = sentences([*only, *self.never.get(line.tag, ())])
        texts = (
            (line.number, FIGURE),
            (shown_tag(line.tag), STRONG),
            (f"{what}\n{details}" if details else what, BODY),
            (place, BODY),
            (container, BODY),
            (size, BODY),
            (care, BODY),
        )
        return Row(
            [
                cell(text, x, width, style)
                for (text, style), (x, width) in zip(texts, self.spans, strict=False)
            ],
            above=3,
            below=3,
            rule=RULE,
            on_draw=partial(self._boxes, line),
        )

    def _boxes(self, line: _Line, canvas: Canvas, height: float) -> None:
        """The two boxes to tick; what the record knows to be in is ticked already."""
        canvas.setStrokeColor(INK)
        canvas.setLineWidth(0.8)
        (out_x, _), (in_x, _) = self.spans[-2:]
        y = height - _BOX - 4
        if line.listed:
            canvas.rect(out_x, y, _BOX, _BOX)
        canvas.rect(in_x, y, _BOX, _BOX)
        if line.received:
            canvas.setLineWidth(1.4)
            low = (in_x + 3.8, y + 2.2)
            canvas.lines([(in_x + 1.8, y + 4.6, *low), (*low, in_x + 7.4, y + 7.4)])

    # --- after the list ---

    def _differences(self) -> Iterator[Flowable]:
        manifest = self.manifest
        if not manifest.received:
            return
        yield CondPageBreak(60)
        yield Row([cell("On arrival", 0, self.width, SUBHEADING)], above=12, below=3)
        came = len(manifest.tags) - len(manifest.missing)
        yield Row(
            [cell(f"{came:,} of {len(manifest.tags):,} listed pieces received.", 0, self.width)]
        )
        for label, tags in (("Missing", manifest.missing), ("Surplus", manifest.surplus)):
            if tags:
                named = "; ".join(self._named(tag) for tag in tags)
                yield Row(
                    [
                        cell(f"{label}: {len(tags):,}", 0, 90, WARNING),
                        cell(named, 94, self.width - 94),
                    ]
                )

    def _named(self, tag: str) -> str:
        item = self.items.get(tag)
        return joined(
            shown_tag(tag), (item.title or item.object_type.label) if item else "", by=" "
        )

    def _handovers(self) -> Iterator[Flowable]:
        if not self.manifest.handovers:
            return
        yield CondPageBreak(60)
        yield Row([cell("Recorded hand-overs", 0, self.width, SUBHEADING)], above=12, below=3)
        for each in self.manifest.handovers:
            signed = f"signature, SHA-256 {each.signature}" if each.signature else ""
            when = local_time(datetime.fromisoformat(each.at), self.loss.zone)
            yield Row(
                [
                    cell(when, 0, 150, STRONG),
                    cell(
                        joined(f"{each.given_by} to {each.taken_by}", signed),
                        154,
                        self.width - 154,
                    ),
                ]
            )

    def _signatures(self) -> Iterator[Flowable]:
        yield CondPageBreak(100)
        yield Row([cell("Signatures", 0, self.width, SUBHEADING)], above=12, below=0)
        yield Row(
            [
                cell(
                    "Signing says that the pieces ticked were handed over and taken, in the state "
                    "in which they were seen. It says nothing on their condition inside.",
                    0,
                    self.width,
                    replace(PROSE, size=7.6, leading=10.4),
                )
            ]
        )
        spans = spread([1.0] * len(SIGNATURE_LINES), self.width, 18)

        def rules(canvas: Canvas, _height: float) -> None:
            canvas.setStrokeColor(INK)
            canvas.setLineWidth(0.6)
            for x, width in spans:
                canvas.line(x, 14, x + width, 14)

        yield Row(
            [
                cell(f"{words}: name, signature, date and time", x, width, SMALL)
                for words, (x, width) in zip(SIGNATURE_LINES, spans, strict=True)
            ],
            above=38,
            below=4,
            on_draw=rules,
        )
