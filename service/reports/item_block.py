"""One item on paper: band, photo beside facts and condition, advice, treatment, money, decision.

A block is laid out to be read at a glance and to be about half a page high, so that two of a
common kind share a page.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from typing import Final

from PIL import Image
from reportlab.lib.units import mm
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import Flowable

from labels.paper import ACCENT_TINT, MUTED, RULE
from service.reports.inventory_document import (
    CostResult,
    InventoryDocument,
    ItemEntry,
    PhotoEntry,
    Restorable,
    TreatmentStep,
)
from service.reports.layout import (
    COLUMN,
    DENSE,
    LABEL,
    SMALL,
    TITLE,
    WARNING,
    Beside,
    Cell,
    Report,
    Row,
    Stack,
    Style,
    cell,
    draw_lines,
    shown,
    spread,
    stacked_height,
    text_width,
    wrap,
)
from service.reports.photos import PrintedPhotos
from service.reports.wording import (
    date_span,
    joined,
    local_date,
    local_time,
    measurements,
    money,
    money_range,
    number,
    sentences,
    shown_tag,
)
from shared.vocabulary import Significance

MOST_PHOTOS: Final = 8
"""Photos printed of one item; the files of all of them are in the custody bundle."""

NO_ESTIMATE: Final = "no estimate yet"

_PHOTO_WIDTH: Final = 66 * mm
_LEAST_PHOTO: Final = 43 * mm
_MOST_PHOTO: Final = 80 * mm
_BESIDE: Final = 3
"""Photos that stand beside the facts; any further ones follow in lines of ``_IN_LINE``."""

_IN_LINE: Final = 5
_GUTTER: Final = 14.0
_COLUMN_GAP: Final = 8.0
_LEAD: Final = 0.35
_SECTION: Final = 4.5
_RULE_DROP: Final = 2.2
_MARGIN: Final = 61.0
_TAG_WIDTH: Final = 125.0
_LONG_LINES: Final = 4

_TEXT: Final = DENSE
_BOLD: Final = replace(DENSE, bold=True)
_MUTED: Final = replace(DENSE, colour=MUTED)
_ALERT: Final = replace(WARNING, size=DENSE.size, leading=DENSE.leading)
_NAME: Final = replace(LABEL, leading=DENSE.leading)
_HEAD: Final = replace(COLUMN, leading=DENSE.leading)
_TAG: Final = Style(size=9.5, leading=TITLE.leading, bold=True, align="right")

_Line = tuple[str, str, Style]
"""Words, an amount or nothing, and how both are set."""


class PhotoLine(Flowable):  # type: ignore[misc]  # reportlab has no types
    """Photos side by side, each whole within its box, with what it shows and its digest."""

    _GAP: Final = 8.0

    def __init__(
        self,
        photos: Sequence[PhotoEntry],
        files: PrintedPhotos,
        zone: str,
        *,
        width: float,
        columns: int = 1,
        box: float | None = None,
    ) -> None:
        """Lay out photos.

        Args:
            photos: no more than ``columns``.
            files: where their printable files are.
            zone: the time zone that dates are shown in.
            width: of the whole line, in points.
            columns: boxes that share the width.
            box: height of a box in points; three quarters of its width when not given.
        """
        super().__init__()
        self.photos, self.files = photos, files
        self.spans = spread([1.0] * columns, width, self._GAP)
        self.box = self.spans[0][1] * 0.75 if box is None else box
        self.captions = [
            self._caption(photo, zone, width)
            for photo, (_, width) in zip(photos, self.spans, strict=False)
        ]

    @staticmethod
    def _caption(photo: PhotoEntry, zone: str, width: float) -> tuple[str, ...]:
        said = joined(photo.kind.label, local_date(photo.taken_at, zone), photo.caption)
        lines = wrap(said, SMALL, width)
        if len(lines) > 2:
            lines = (lines[0], f"{lines[1]}…")
        return (*lines, f"SHA-256 {photo.sha256[:12]}…")

    @property
    def caption_height(self) -> float:
        """Height of the tallest caption in points."""
        return max(map(len, self.captions)) * SMALL.leading + 3

    def wrap(self, available_width: float, _available_height: float) -> tuple[float, float]:
        """Return width and height in points."""
        self.height = self.box + self.caption_height + 3
        return available_width, self.height

    def draw(self) -> None:
        """Draw each photo from the top of its box, and its caption right under it."""
        for photo, caption, (x, width) in zip(self.photos, self.captions, self.spans, strict=False):
            foot = self.height - self._draw_photo(photo, x, width)
            draw_lines(self.canv, Cell(x, width, SMALL, caption), foot - 2)

    def _draw_photo(self, photo: PhotoEntry, x: float, width: float) -> float:
        """Draw one photo; return its height in points."""
        canvas: Canvas = self.canv
        file = self.files.file(photo.sha256)
        if file is None:
            canvas.setStrokeColor(RULE)
            canvas.setLineWidth(0.5)
            height = min(self.box, width * 0.75)
            canvas.rect(x, self.height - height, width, height)
            words = "This photo has not come in, or cannot be read."
            said = cell(words, x + 6, width - 12, replace(_MUTED, align="centre"))
            draw_lines(canvas, said, self.height - (height - said.height) / 2)
            return height
        with Image.open(file) as image:
            scale = min(width / image.width, self.box / image.height)
            size = image.width * scale, image.height * scale
        canvas.drawImage(str(file), x, self.height - size[1], *size)
        return size[1]


def _widest(texts: Iterable[str]) -> float:
    """Width in points of the widest of some texts of our own, in bold, which is the wider."""
    return max((text_width(text, _BOLD) + 1 for text in texts if text), default=0.0)


class ItemBlocks:
    """Makes the flowables of each item of one inventory."""

    def __init__(self, document: InventoryDocument, report: Report, photos: PrintedPhotos) -> None:
        self.document, self.report, self.photos = document, report, photos
        self.width = report.text_width
        self.zone = document.loss.zone

    def sections(self, item: ItemEntry) -> list[list[Flowable]]:
        """What is printed of an item from its band down, in parts between which it may break."""
        photos = item.photos[:MOST_PHOTOS]
        beside, long_texts = self._beside(item, photos)
        parts: list[list[Flowable]] = [
            [*self._band(item), beside],
            [self._said(label, text) for label, text in long_texts],
            list(self._further_photos(photos[_BESIDE:], len(item.photos) - len(photos))),
            list(self._advice(item)),
            list(self._treatment(item)),
            list(self._charges(item)),
            list(self._outcome(item)),
            list(self._warnings(item)),
        ]
        return [part for part in parts if part]

    # --- rows ---

    @staticmethod
    def _section(label: str, cells: Sequence[Cell]) -> Row:
        """A full-width row; one with a label begins a section under a rule."""
        return Row(
            [cell(label, 0, _MARGIN - 6, _NAME), *cells],
            above=_SECTION if label else _LEAD,
            below=_LEAD,
            rule=RULE if label else None,
            rule_drop=_RULE_DROP,
        )

    def _said(self, label: str, text: str, style: Style = _TEXT) -> Row:
        """A label without a rule, and a text across the rest of the width."""
        return self._pair(label, text, style, self.width)

    @staticmethod
    def _pair(label: str, text: str, style: Style, width: float) -> Row:
        return Row(
            [cell(label, 0, _MARGIN - 4, _NAME), cell(text, _MARGIN, width - _MARGIN, style)],
            above=_LEAD,
            below=_LEAD,
        )

    # --- band ---

    def _band(self, item: ItemEntry) -> Iterator[Row]:
        name = shown(item.name)

        def mark(canvas: Canvas, _height: float) -> None:
            key = f"item-{item.number}"
            canvas.bookmarkPage(key)
            canvas.addOutlineEntry(f"{item.tag_shown}  {name}", key, level=2)
            self.report.continuing = f"{item.tag_shown}  {name}"

        yield Row(
            [
                cell(item.name, 0, self.width - _TAG_WIDTH - 10, TITLE),
                cell(item.tag_shown, self.width - _TAG_WIDTH, _TAG_WIDTH, _TAG),
            ],
            above=3.5,
            below=0,
            fill=ACCENT_TINT,
            keep=True,
            on_draw=mark,
        )
        part = f"Part of {shown_tag(item.parent)}" if item.parent else ""
        if item.part_role and item.parent:
            part = f"{item.part_role.label} of {shown_tag(item.parent)}"
        kind = joined(
            item.identification.object_type.label,
            part,
            f"{item.quantity} objects" if item.quantity > 1 else "",
            f"claim {item.claim}" if item.claim else "no claim assigned",
            item.owner,
        )
        place = f"Item {item.number} of {len(self.document.items)}"
        room = text_width(place, _MUTED) + 10
        yield Row(
            [
                cell(kind, 0, self.width - room, _MUTED),
                cell(place, self.width - room, room, _MUTED.right()),
            ],
            above=0,
            below=3.5,
            fill=ACCENT_TINT,
            keep=True,
        )
        yield Row([], above=2, below=2, keep=True)

    # --- photos, facts, condition ---

    def _beside(
        self, item: ItemEntry, photos: Sequence[PhotoEntry]
    ) -> tuple[Beside, list[tuple[str, str]]]:
        """Photos beside facts and condition, and the labelled texts too long to stand there."""
        if photos:
            x = _PHOTO_WIDTH + _GUTTER
            width = self.width - x
            texts, long_texts = self._texts(item, width)
            told = (*self._facts(item, width), *texts, *self._condition(item, width))
            column = self._photo_column(photos[:_BESIDE], stacked_height(told, width))
            return Beside([Stack(0, _PHOTO_WIDTH, column), Stack(x, width, told)]), long_texts
        (_, width), (x, _) = spread([1.0, 1.0], self.width, _GUTTER)
        texts, long_texts = self._texts(item, width)
        facts = (*self._facts(item, width), *texts)
        condition = tuple(self._condition(item, width))
        return Beside([Stack(0, width, facts), Stack(x, width, condition)]), long_texts

    def _further_photos(self, photos: Sequence[PhotoEntry], unprinted: int) -> Iterator[Flowable]:
        for start in range(0, len(photos), _IN_LINE):
            line = photos[start : start + _IN_LINE]
            yield Row([], above=2, below=2)
            yield PhotoLine(line, self.photos, self.zone, width=self.width, columns=_IN_LINE)
        if unprinted:
            words = "1 more photo is" if unprinted == 1 else f"{unprinted} more photos are"
            yield Row([cell(f"{words} in the record.", 0, self.width, SMALL)])

    def _photo_column(self, photos: Sequence[PhotoEntry], beside: float) -> tuple[Flowable, ...]:
        """The first photo large, as high as what stands beside it, and two small ones under it."""
        small = [
            PhotoLine(photos[1:], self.photos, self.zone, width=_PHOTO_WIDTH, columns=_BESIDE - 1)
        ] * (len(photos) > 1)
        first = PhotoLine(photos[:1], self.photos, self.zone, width=_PHOTO_WIDTH, box=_LEAST_PHOTO)
        spare = beside - stacked_height([first, *small], _PHOTO_WIDTH)
        first.box = min(first.box + max(spare, 0), _MOST_PHOTO)
        return (first, *small)

    def _facts(self, item: ItemEntry, width: float) -> Iterator[Row]:
        """The short categories of Object ID, and where the piece was found and is."""
        known = item.identification
        ordinary = item.significance.code == Significance.ORDINARY
        received = local_time(item.condition.received_at, self.zone)
        materials = ", ".join(term.label for term in known.materials)
        for label, text in (
            ("Maker", known.maker),
            ("Date or period", known.period),
            ("Materials", joined(materials, known.medium)),
            ("Measurements", measurements(known.measurements)),
            ("Subject", known.subject),
            ("Significance", "" if ordinary else item.significance.label),
            ("Parts", ", ".join(shown_tag(tag) for tag in item.parts)),
            ("Other tags", ", ".join(shown_tag(tag) for tag in item.former_tags)),
            ("Found", joined(item.room, item.found.wall, by=", ")),
            ("Now at", joined(item.station or "", f"received {received}" if received else "")),
        ):
            if text.strip():
                yield self._pair(label, text, _TEXT, width)

    def _texts(self, item: ItemEntry, width: float) -> tuple[list[Row], list[tuple[str, str]]]:
        """Rows of the longer categories, and those too long for ``width`` to read well."""
        known = item.identification
        rows: list[Row] = []
        long_texts: list[tuple[str, str]] = []
        for label, text in (
            ("Inscriptions", known.inscriptions),
            ("Features", known.features),
            ("Description", known.description),
        ):
            if len(wrap(text, _TEXT, width - _MARGIN)) > _LONG_LINES:
                long_texts.append((label, text))
            elif text.strip():
                rows.append(self._pair(label, text, _TEXT, width))
        if known.not_recorded:
            words = ", ".join(known.not_recorded)
            rows.append(self._pair("Not recorded", words, _MUTED, width))
        return rows, long_texts

    def _condition(self, item: ItemEntry, width: float) -> Iterator[Row]:
        condition = item.condition
        received = f"at receipt: {condition.at_receipt}" if condition.at_receipt else ""
        said = joined(f"Cause reported: {condition.cause.label.lower()}", received)
        yield Row(
            [
                cell("CONDITION", 0, _MARGIN - 4, _NAME),
                cell(said, _MARGIN, width - _MARGIN, _TEXT),
            ],
            above=4.0 if item.photos else _LEAD,
            below=_LEAD,
            keep=True,
        )
        left = min(_widest([seen.damage.label for seen in condition.damages]), width / 2)
        x = left + _COLUMN_GAP
        for seen in condition.damages:
            said = joined(
                seen.extent.label,
                seen.water_category.label if seen.water_category else "",
                f"wet since {local_time(seen.wet_since, self.zone)}" if seen.wet_since else "",
                seen.note,
            )
            yield Row(
                [cell(seen.damage.label, 0, left, _BOLD), cell(said, x, width - x, _TEXT)],
                above=_LEAD,
                below=_LEAD,
            )
        if not condition.damages:
            yield Row([cell("No damage has been recorded.", 0, width, _MUTED)], above=_LEAD)
        if condition.returned_to:
            said = joined(condition.at_return, f"received by {condition.returned_to}")
            yield self._pair("At return", said, _TEXT, width)

    # --- advice and treatment ---

    def _advice(self, item: ItemEntry) -> Iterator[Row]:
        advice = item.advice
        if advice.restorable.code == Restorable.UNKNOWN and not advice.reason:
            words = [cell(advice.restorable.label, _MARGIN, self.width - _MARGIN, _MUTED)]
        else:
            x = _MARGIN + text_width(advice.restorable.label, _BOLD)
            words = [
                cell(advice.restorable.label, _MARGIN, x - _MARGIN + 1, _BOLD),
                cell(advice.reason, x + 8, self.width - x - 8, _TEXT),
            ]
        yield self._section("ADVICE", words)
        urgency = joined(advice.band.label if advice.band else "", advice.time_left)
        if urgency:
            yield self._said("Move", urgency)
        if item.conservator_only:
            yield self._said("Only by", "A conservator", _BOLD)
        if advice.never:
            yield self._said("Care", sentences(advice.never))

    def _treatment(self, item: ItemEntry) -> Iterator[Row]:
        if not item.treatment:
            nothing = "No step is planned or recorded."
            yield self._section("TREATMENT", [cell(nothing, _MARGIN, self.width - _MARGIN, _MUTED)])
            return
        texts = [self._step(step) for step in item.treatment]
        columns = list(zip(*texts, strict=True))[:-1]
        x, spans = _MARGIN, []
        for column in columns:
            width = _widest(column)
            spans.append((x, width))
            x += width + _COLUMN_GAP * (width > 0)
        spans.append((x, self.width - x))
        heads = ("Step", "State", "From, to" if any(columns[2]) else "", "Why, or what was noted")
        head = self._section(
            "TREATMENT",
            [cell(words, x, width, _HEAD) for words, (x, width) in zip(heads, spans, strict=True)],
        )
        head.keepWithNext = 1
        yield head
        for row in texts:
            yield self._section(
                "",
                [
                    cell(text, x, width, _TEXT if place else _BOLD)
                    for place, (text, (x, width)) in enumerate(zip(row, spans, strict=True))
                    if text
                ],
            )

    def _step(self, step: TreatmentStep) -> tuple[str, str, str, str]:
        """Step, state, dates, and why or what was noted."""
        hours = f"{number(step.hours)} h of work" if step.hours is not None else ""
        return (
            step.step.label,
            step.status.label,
            date_span(step.started_at, step.ended_at, self.zone),
            joined(hours, step.note, step.by),
        )

    # --- money and decision ---

    def _charges(self, item: ItemEntry) -> Iterator[Row]:
        spans = spread((4.6, 1.8, 1.2, 1.4), self.width - _MARGIN)
        for place, line in enumerate(item.costs.lines):
            step = line.step.label if line.step and line.step.label != line.what else ""
            texts = (
                joined(line.what, step),
                f"{number(line.quantity)} {line.unit}",
                f"at {number(line.rate.amount)}",
                money(line.amount),
            )
            yield self._section(
                "" if place else "CHARGES",
                [
                    cell(text, _MARGIN + x, width, _TEXT.right() if column else _TEXT)
                    for column, (text, (x, width)) in enumerate(zip(texts, spans, strict=True))
                ],
            )

    def _outcome(self, item: ItemEntry) -> Iterator[Flowable]:
        """Cost, value and decision side by side, in the same place whether stated or not."""
        spans = spread([1.25, 1.1, 0.9], self.width, _GUTTER)
        yield Row(
            [
                cell(label, x, width, _NAME)
                for label, (x, width) in zip(("COST", "VALUE", "DECISION"), spans, strict=True)
            ],
            above=_SECTION,
            below=0,
            rule=RULE,
            rule_drop=_RULE_DROP,
            keep=True,
        )
        made = (self._cost(item), self._value(item), self._decision(item))
        yield Beside(
            [
                Stack(x, width, tuple(self._figure(line, width) for line in lines))
                for (x, width), lines in zip(spans, made, strict=True)
            ]
        )
        compared = item.comparison
        if compared.cost_and_loss:
            style = _ALERT if compared.result.code == CostResult.ABOVE else _TEXT
            yield self._said("Compared", f"{compared.result.label}. {compared.sentence}", style)

    @staticmethod
    def _figure(line: _Line, width: float) -> Row:
        """Words, and their amount at the right."""
        words, amount, style = line
        if not amount:
            return Row([cell(words, 0, width, style)], above=_LEAD, below=_LEAD)
        taken = min(text_width(amount, style) + 1, width * 0.62)
        return Row(
            [
                cell(words, 0, width - taken - 6, style),
                cell(amount, width - taken, taken, style.right()),
            ],
            above=_LEAD,
            below=_LEAD,
        )

    def _cost(self, item: ItemEntry) -> list[_Line]:
        costs, compared = item.costs, item.comparison
        if not costs.charged and not costs.estimate:
            return [(f"Nothing charged, {NO_ESTIMATE}", "", _MUTED)]
        lines: list[_Line] = [
            ("Charged so far", money(amount), _BOLD) for amount in costs.charged
        ] or [("Nothing charged yet", "", _MUTED)]
        if costs.estimate:
            lines.append(("Estimate", money_range(costs.estimate), _BOLD))
        else:
            lines.append((NO_ESTIMATE.capitalize(), "", _MUTED))
        if compared.cost_and_loss:
            lines.append(("Cost plus loss in value", money_range(compared.cost_and_loss), _TEXT))
        return lines

    def _value(self, item: ItemEntry) -> list[_Line]:
        value, cash = item.value, item.cash_value
        lines: list[_Line] = []
        if value:
            lines.append((value.basis.label, money(value.value), _BOLD))
            lines.append((f"stated by {value.stated_by}", "", _MUTED))
            if value.loss_in_value:
                lines.append(("Loss in value after treatment", money(value.loss_in_value), _TEXT))
        else:
            lines.append(("No value stated yet", "", _MUTED))
        if cash:
            lines.append(("Replacement cost", money(cash.replacement_cost), _TEXT))
            lines.append(("Depreciation", money(cash.depreciation), _TEXT))
            lines.append(("Actual cash value", money(cash.actual_cash_value), _BOLD))
            lines.append((cash.ground, "", _MUTED))
        return lines

    def _decision(self, item: ItemEntry) -> list[_Line]:
        decision = item.decision
        if decision is None:
            return [("Not decided yet", "", _MUTED)]
        reason: list[_Line] = [(decision.reason, "", _TEXT)] if decision.reason else []
        when = local_time(decision.at, self.zone)
        return [
            (decision.decision.label, "", _BOLD),
            *reason,
            (f"{decision.decided_by}, {when}", "", _MUTED),
        ]

    def _warnings(self, item: ItemEntry) -> Iterator[Row]:
        for conflict in item.conflicts:
            said = "; or ".join(f"“{one.value}” ({one.by})" for one in conflict.statements)
            field = conflict.field.replace("_", " ")
            yield self._said("Question", f"Two values for {field}: {said}", _ALERT)
        if item.unread_events:
            words = f"{item.unread_events} events of a kind this version cannot read."
            yield self._said("Not shown", words, _ALERT)
