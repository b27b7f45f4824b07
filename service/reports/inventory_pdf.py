"""The inventory on paper: cover, summary, method and cautions, items by room, custody."""

from collections.abc import Iterator, Sequence
from dataclasses import replace
from functools import partial
from typing import Final

from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import CondPageBreak, Flowable, KeepTogether, PageBreak

from labels.paper import ACCENT, ACCENT_TINT, INK, RULE, PageSize, Target
from labels.typeface import BRACKET_NOTE
from service.reports.inventory_csv import NEUTRALISING_RULE
from service.reports.inventory_document import (
    CurrencyTotal,
    GroupTotal,
    InventoryDocument,
    ItemEntry,
)
from service.reports.item_block import MOST_PHOTOS, NO_ESTIMATE, ItemBlocks
from service.reports.layout import (
    BODY,
    FIGURE,
    HEADING,
    LABEL,
    LARGE,
    PROSE,
    SMALL,
    STRONG,
    SUBHEADING,
    SUBTITLE,
    WARNING,
    Bars,
    Cell,
    Column,
    Gap,
    Progress,
    Report,
    Row,
    Style,
    cell,
    grid,
    shown,
    spread,
    stacked_height,
)
from service.reports.photos import PhotoSource, PrintedPhotos
from service.reports.wording import (
    in_groups,
    joined,
    local_date,
    local_time,
)

ADVICE_LINE: Final = "Advice only; the adjuster decides."
_MOST_KEPT: Final = 0.7
"""Share of a page up to which an item is moved on whole rather than broken."""

_BETWEEN_ITEMS: Final = 10.0
_LABELS: Final = 84.0
_BIG: Final = Style(size=19, leading=23, bold=True)
_ALERT_BOX: Final = replace(WARNING, size=9, leading=13)


def write_inventory_pdf(
    document: InventoryDocument,
    target: Target,
    photos: PhotoSource,
    *,
    page_size: PageSize = PageSize.A4,
    progress: Progress | None = None,
) -> int:
    """Write the inventory as a PDF; return the number of its pages.

    Args:
        document: the inventory.
        target: a path, or a binary file open for writing.
        photos: where the photos' bytes are; one that is missing is named as missing.
        page_size: A4 or Letter.
        progress: told after each item.
    """
    prepared = local_date(document.prepared_at, document.loss.zone)
    report = Report(
        target,
        title=document.title,
        subject="Item-level inventory after a loss",
        author=document.prepared_by,
        head=document.title,
        foot=joined(
            document.notice,
            f"Version {document.version}, {prepared}",
            ADVICE_LINE,
        ),
        page_size=page_size,
        language=document.language,
    )
    wanted = (photo.sha256 for item in document.items for photo in item.photos[:MOST_PHOTOS])
    with PrintedPhotos(photos, wanted) as printed:
        pages = _Pages(document, report, printed, progress)
        return report.write(
            [
                *pages.cover(),
                *pages.summary(),
                *pages.method(),
                *pages.items(),
                *pages.custody(),
            ]
        )


def _estimate(total: CurrencyTotal) -> str:
    """The range of a sum of estimates, or that there is none: a sum of nothing is no estimate."""
    if not total.estimate_high:
        return NO_ESTIMATE
    return f"{total.estimate_low:,f} to {total.estimate_high:,f}"


class _Pages:
    """Makes the flowables of one inventory."""

    def __init__(
        self,
        document: InventoryDocument,
        report: Report,
        photos: PrintedPhotos,
        progress: Progress | None,
    ) -> None:
        self.document = document
        self.report = report
        self.photos = photos
        self.progress = progress
        self.width = report.text_width
        self.zone = document.loss.zone

    # --- parts of a page ---

    def heading(self, text: str, key: str) -> Iterator[Flowable]:
        """A section's heading, in the outline too."""

        def mark(canvas: Canvas, _height: float) -> None:
            self.report.continuing = ""
            canvas.bookmarkPage(key)
            canvas.addOutlineEntry(shown(text), key, level=0, closed=True)

        yield Row([cell(text, 0, self.width, HEADING)], below=6, keep=True, on_draw=mark)

    def subheading(self, text: str) -> Iterator[Flowable]:
        """A heading within a section, with room for what begins under it."""
        yield CondPageBreak(90)
        yield Row([cell(text, 0, self.width, SUBHEADING)], above=12, below=3)

    def labelled(self, label: str, text: str, style: Style = BODY, *, rule: bool = False) -> Row:
        """A label in the left column and a text beside it."""
        return Row(
            [
                cell(label, 0, _LABELS - 8, LABEL),
                cell(text, _LABELS, self.width - _LABELS, style),
            ],
            rule=RULE if rule else None,
            above=3 if rule else 1.2,
        )

    # --- cover ---

    def cover(self) -> Iterator[Flowable]:
        """What, whose, by whom, when, how many."""
        document, loss = self.document, self.document.loss

        def mark(canvas: Canvas, _height: float) -> None:
            canvas.bookmarkPage("cover")
            canvas.addOutlineEntry("Cover", "cover", level=0)

        yield Gap(70)
        yield Row(
            [cell("INVENTORY AFTER A LOSS", 0, self.width, replace(LABEL, size=8.5))], on_draw=mark
        )
        yield Row([cell(loss.title or loss.loss, 0, self.width, LARGE)], above=6, below=6)
        yield Row([cell(loss.site, 0, self.width, replace(PROSE, size=10.5, leading=15))], below=14)
        if document.notice:
            yield Row(
                [cell(document.notice, 0, self.width, _ALERT_BOX)],
                above=6,
                below=6,
                fill=ACCENT_TINT,
            )
            yield Gap(12)
        yield from self._counts()
        yield Gap(16)
        water = loss.water_category.label if loss.water_category else ""
        for label, text in (
            ("Loss", loss.loss),
            ("Claim", document.claim or "All claims of this loss"),
            ("Cause", joined(loss.peril.label, water)),
            ("Happened", local_time(loss.happened_at, self.zone)),
            ("Prepared by", document.prepared_by),
            ("Prepared at", local_time(document.prepared_at, self.zone)),
            ("Version", self._version()),
            ("Record", f"{document.custody.tree_size:,} events; the root of their hashes:"),
        ):
            if text:
                yield self.labelled(label, text, replace(BODY, size=8.2), rule=True)
        half = len(document.custody.root) // 2
        for digits in (document.custody.root[:half], document.custody.root[half:]):
            yield self.labelled("", in_groups(digits), replace(BODY, size=8.2))
        if document.claims:
            yield from self.subheading("Claims")
            yield grid(
                [
                    Column("Claim", 2, STRONG),
                    Column("Insurer", 3),
                    Column("Policy", 2),
                    Column("Owner", 3),
                    Column("Currency", 1),
                ],
                [
                    [each.claim, each.insurer, each.policy, each.owner, each.currency]
                    for each in document.claims
                ],
                self.width,
            )
        yield from self.subheading("Sums")
        yield self._totals("", [document.totals.everything])
        yield PageBreak()

    def _version(self) -> str:
        before = self.document.replaces
        return joined(str(self.document.version), f"replaces {before}" if before else "")

    def _counts(self) -> Iterator[Row]:
        items = self.document.items
        parts = sum(item.parent is not None for item in items)
        figures = (
            (len(items) - parts, "pieces"),
            (parts, "parts, tagged apart"),
            (sum(len(item.photos) for item in items), "photos"),
            (sum(item.decision is not None for item in items), "decided"),
            (sum(bool(item.conflicts) for item in items), "with open questions"),
        )
        spans = spread([1.0] * len(figures), self.width, 12)
        yield Row(
            [
                cell(f"{figure:,}", x, width, _BIG)
                for (figure, _), (x, width) in zip(figures, spans, strict=True)
            ],
            rule=INK,
            above=6,
            below=0,
        )
        yield Row(
            [
                cell(words, x, width, SUBTITLE)
                for (_, words), (x, width) in zip(figures, spans, strict=True)
            ],
            below=6,
        )

    # --- summary ---

    def summary(self) -> Iterator[Flowable]:
        """Totals by currency, decision, advice, claim, owner and room."""
        totals = self.document.totals
        yield from self.heading("Summary", "summary")
        yield Row(
            [
                cell(
                    "Amounts in different currencies are never added. A part tagged apart counts "
                    "beside its piece, with the value stated for it, if any.",
                    0,
                    self.width,
                    SUBTITLE,
                )
            ],
            below=4,
        )
        yield from self.subheading("Items by advice")
        yield Bars([(group.label, group.items) for group in totals.by_advice])
        yield from self.subheading("Items by decision")
        yield Bars([(group.label, group.items) for group in totals.by_decision])
        for words, groups in (
            ("Decision", totals.by_decision),
            ("Advice", totals.by_advice),
            ("Claim", totals.by_claim),
            ("Owner", totals.by_owner),
            ("Room", totals.by_room),
        ):
            yield from self.subheading(f"By {words.lower()}")
            yield self._totals(words, groups)

    def _totals(self, words: str, groups: Sequence[GroupTotal]) -> Flowable:
        columns = [
            Column(words, 3.4),
            Column("Items", 0.9, FIGURE),
            Column("", 0.8),
            Column("Value stated", 1.9, FIGURE),
            Column("Loss in value", 1.7, FIGURE),
            Column("Charged", 1.7, FIGURE),
            Column("Estimate", 3.2, FIGURE),
        ]
        rows: list[list[str]] = []
        for group in groups:
            name, count = group.label, f"{group.items:,}"
            for total in group.amounts:
                rows.append(
                    [
                        name,
                        count,
                        total.currency,
                        f"{total.value:,f}",
                        f"{total.loss_in_value:,f}",
                        f"{total.charged:,f}",
                        _estimate(total),
                    ]
                )
                name = count = ""
            if not group.amounts:
                rows.append([name, count, "", "", "", "", ""])
        return grid(columns, rows, self.width)

    # --- method ---

    def method(self) -> Iterator[Flowable]:
        """How the figures came about, and the cautions."""
        yield CondPageBreak(420)
        for each in self.heading("Method and cautions", "method"):
            each.spaceBefore = 20
            yield each
        yield from self.subheading("How this was made")
        yield from self._sentences(self.document.method)
        yield from self.subheading("Cautions")
        yield grid(
            [Column("Applies to", 2.2, STRONG), Column("Caution", 5), Column("Source", 3, SMALL)],
            [[each.applies, each.text, each.source] for each in self.document.cautions],
            self.width,
        )
        yield from self.subheading("Letters, photos and files")
        yield from self._sentences(
            (
                BRACKET_NOTE,
                f"At most {MOST_PHOTOS} photos of an item are printed, made smaller and without "
                "what the camera wrote beside the picture. The SHA-256 under a photo is that of "
                "the file as it came in.",
                f"In the CSV file: {NEUTRALISING_RULE}",
            )
        )
        yield PageBreak()

    def _sentences(self, sentences: Sequence[str]) -> Iterator[Row]:
        for sentence in sentences:
            yield Row(
                [Cell(0, 10, PROSE, ("–",)), cell(sentence, 14, self.width - 14, PROSE)], below=3.5
            )

    # --- items ---

    def items(self) -> Iterator[Flowable]:
        """Every item, under a heading for each room."""
        blocks = ItemBlocks(self.document, self.report, self.photos)
        above: list[Flowable] = list(self.heading("Items", "items"))
        room: str | None = None
        for item in self.document.items:
            if item.room != room:
                room = item.room
                above.append(self._room(room or "No room recorded", f"room-{item.number}"))
            first, *others = blocks.sections(item)
            sections = [[*above, *first], *others]
            above = []
            whole = [each for section in sections for each in section]
            # A piece is read on one page, unless moving it on would leave most of one empty.
            if self._movable(whole):
                yield KeepTogether(whole)
            else:
                for section in sections:
                    yield from [KeepTogether(section)] if self._movable(section) else section
            yield Gap(_BETWEEN_ITEMS, on_draw=partial(self._finished, item))
        if above:
            yield from above
            yield Row([cell("No item is recorded yet.", 0, self.width, SUBTITLE)])

    def _movable(self, flowables: Sequence[Flowable]) -> bool:
        return stacked_height(flowables, self.width) <= _MOST_KEPT * self.report.text_height

    def _room(self, name: str, key: str) -> Row:
        def mark(canvas: Canvas, _height: float) -> None:
            self.report.continuing = ""
            canvas.bookmarkPage(key)
            canvas.addOutlineEntry(shown(name), key, level=1, closed=True)

        return Row(
            [cell(name, 0, self.width, replace(SUBHEADING, colour=ACCENT))],
            below=5,
            keep=True,
            on_draw=mark,
        )

    def _finished(self, item: ItemEntry) -> None:
        self.report.continuing = ""
        if self.progress:
            self.progress(item.number, len(self.document.items))

    # --- custody ---

    def custody(self) -> Iterator[Flowable]:
        """The state of the log, and how to check it without trusting who kept it."""
        custody = self.document.custody
        yield PageBreak()
        yield from self.heading("Custody", "custody")
        yield self.labelled("Events", f"{custody.tree_size:,}", STRONG)
        yield self.labelled("Root", custody.root, STRONG)
        if custody.checkpoint:
            yield self.labelled("Checkpoint", custody.checkpoint)
        yield Gap(8)
        yield from self._sentences(
            (
                "Every event about these items is hashed in one canonical form (RFC 8785); the "
                "hashes form a Merkle tree (RFC 9162, SHA-256), whose size and root stand above.",
                "The custody bundle holds the events, the proofs, the public key and one page "
                "that checks them in a browser without a network. On the command line: "
                "lagan verify custody.zip. Compare the size and root it shows with those above.",
                "Whoever kept an earlier signed checkpoint can tell whether anything sealed by "
                "it was changed, taken out or put in since.",
                "This proves integrity, not truth: that the record is as it was written, not that "
                "what was written was so.",
            )
        )
        yield from self.subheading("Entries in the record, by item")
        yield grid(
            [
                Column("Tag", 2.1, STRONG),
                Column("Item", 2.7),
                Column("Events", 0.7, FIGURE),
                Column("First", 2.5),
                Column("Last", 2.5),
            ],
            [
                [
                    item.tag_shown,
                    item.name,
                    f"{len(item.custody):,}",
                    f"{local_time(item.custody[0].at, self.zone)}\n{item.custody[0].by}",
                    f"{local_time(item.custody[-1].at, self.zone)}\n{item.custody[-1].by}",
                ]
                if item.custody
                else [item.tag_shown, item.name, "0", "", ""]
                for item in self.document.items
            ],
            self.width,
        )
