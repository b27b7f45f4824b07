"""Invented losses, items and photos for the tests of reports."""

import hashlib
import io
import random
from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from typing import Any

from PIL import Image, ImageDraw

from labels.codes import new_tag
from service.reports.inventory import (
    CustodySummary,
    InventoryDocument,
    ItemAssessment,
    PlannedStep,
    Range,
    Restorable,
    StepStatus,
    build_inventory,
)
from shared import events as ev
from shared.facts import facts
from shared.records import (
    Charge,
    Claim,
    Conflict,
    Custody,
    DamageSeen,
    Item,
    Loss,
    Photo,
    Said,
    Step,
    Valuation,
    Verdict,
)
from shared.vocabulary import (
    Band,
    Damage,
    Decision,
    Extent,
    Material,
    ObjectType,
    PartRole,
    Peril,
    PhotoKind,
    Role,
    Significance,
    StepKind,
    ValueBasis,
    WaterCategory,
)

NOTICE = "INVENTED SCENARIO: no person, place or piece in it exists."
PREPARED_AT = datetime(2026, 3, 20, 9, 30, tzinfo=UTC)
CUSTODY = CustodySummary(tree_size=4321, root=hashlib.sha256(b"invented root").hexdigest())

_FLOODED_AT = datetime(2026, 3, 14, 4, 10, tzinfo=UTC)
_KINDS = (
    (ObjectType.PAINTING, (Material.OIL_CANVAS,), "Harbour at low tide", "oil on canvas"),
    (ObjectType.WORK_ON_PAPER, (Material.WATERCOLOUR,), "Study of a hawthorn hedge", "watercolour"),
    (ObjectType.PHOTOGRAPH, (Material.SILVER_GELATIN,), "The weir, seen from the mill", ""),
    (ObjectType.FURNITURE, (Material.VENEER, Material.COPPER_ALLOY), "Writing desk", ""),
    (ObjectType.TEXTILE, (Material.TEXTILE_BLEEDING,), "Embroidered hanging", "silk, metal thread"),
    (ObjectType.SCULPTURE, (Material.PLASTER,), "Head of a boy", "cast plaster, painted"),
)
_DAMAGES = (
    (Damage.SOAKED, Extent.WIDE, "lower two thirds, tide line at 41 cm"),
    (Damage.MUD, Extent.PARTIAL, ""),
    (Damage.FLAKING, Extent.SLIGHT, "lower left, along the tacking edge"),
    (Damage.MOULD_SUSPECTED, Extent.SLIGHT, "verso only"),
    (Damage.SOOT_WET, Extent.WIDE, ""),
)
_ROOMS = (("Ground floor", "Library"), ("Ground floor", "Hall"), ("First floor", "Study"))


def loss() -> Loss:
    """A flood with two claims of two owners."""
    return Loss(
        loss="L-2026-004",
        title="Flood at the Old Sluice House",
        site="The Old Sluice House, 3 Ferry Bank, Marrow-on-Wend (invented)",
        zone="Europe/London",
        peril=Peril.FLOOD,
        happened_at=_FLOODED_AT,
        wet_since=_FLOODED_AT,
        water_category=WaterCategory.THREE,
        claims=[
            Claim(
                claim="C-101",
                insurer="Invented Mutual",
                policy="FA 99-1",
                owner="Ada Quill",
                currency="GBP",
            ),
            Claim(
                claim="C-102",
                insurer="Made-up Marine",
                policy="MM/7",
                owner="Trust for Sluices",
                currency="EUR",
            ),
        ],
    )


def tags(count: int, seed: int = 7) -> list[str]:
    """Tags that are the same on every run."""
    chooser = random.Random(seed)
    return [new_tag(chooser.choice) for _ in range(count)]


def photo_bytes(words: str, width: int = 1600, height: int = 1200) -> bytes:
    """A JPEG drawn by code."""
    shade = random.Random(words)
    image = Image.new("RGB", (width, height), tuple(shade.randrange(90, 220) for _ in range(3)))
    pen = ImageDraw.Draw(image)
    for _ in range(40):
        x, y = shade.randrange(width), shade.randrange(height)
        colour = tuple(shade.randrange(40, 250) for _ in range(3))
        pen.ellipse((x, y, x + shade.randrange(40, 400), y + shade.randrange(40, 300)), fill=colour)
    pen.rectangle((0, 0, width - 1, height - 1), outline="black", width=12)
    pen.text((40, 40), words, fill="black", font_size=60)
    out = io.BytesIO()
    image.save(out, "JPEG", quality=88)
    return out.getvalue()


class Photos(dict[str, bytes]):
    """Photos in memory, by digest."""

    def add(self, data: bytes) -> str:
        """Keep ``data``; return its digest."""
        digest = hashlib.sha256(data).hexdigest()
        self[digest] = data
        return digest

    def read(self, digest: str) -> bytes | None:
        """The bytes with this digest, if it has them."""
        return self.get(digest)


def item(tag: str, number: int = 0, *, photos: Sequence[str] = (), **changes: Any) -> Item:
    """A piece that differs with ``number``."""
    object_type, materials, title, medium = _KINDS[number % len(_KINDS)]
    floor, room = _ROOMS[number % len(_ROOMS)]
    currency = "EUR" if number % 3 == 0 else "GBP"
    taken = "2026-03-14T10:12:00Z"
    made = Item(
        tag=tag,
        tags=[tag],
        loss="L-2026-004",
        claim="C-102" if currency == "EUR" else "C-101",
        object_type=object_type,
        materials=list(materials),
        title=f"{title}, no. {number}",
        maker="Ines Varga (invented)" if number % 4 else "",
        period=f"about {1880 + number % 60}",
        medium=medium,
        inscriptions="signed lower right, dated on the stretcher" if number % 5 == 0 else "",
        features="old repair upper left; gallery label on the back" if number % 2 else "",
        size=ev.Size(
            height=ev.Length(value="61", unit="cm"), width=ev.Length(value="91.4", unit="cm")
        ),
        found=ev.Spot(floor=floor, room=room, wall="north wall" if number % 2 else ""),
        significance=Significance.TREASURED if number % 7 == 0 else Significance.ORDINARY,
        damages=[
            DamageSeen(
                damage=damage,
                extent=extent,
                wet_since=_FLOODED_AT if damage is Damage.SOAKED else None,
                water_category=WaterCategory.THREE if damage is Damage.SOAKED else None,
                note=note,
            )
            for damage, extent, note in _DAMAGES[: 1 + number % len(_DAMAGES)]
        ],
        photos=[
            Photo(
                photo=digest,
                kind=list(PhotoKind)[place % len(PhotoKind)],
                caption="as found" if place == 0 else "",
                taken_at=taken,
                actor="Bo Lund",
            )
            for place, digest in enumerate(photos)
        ],
        valuation=Valuation(
            basis=list(ValueBasis)[number % len(ValueBasis)],
            value=ev.Money(amount=f"{400 + 250 * (number % 9)}.00", currency=currency),
            loss_in_value=ev.Money(amount="80.00", currency=currency) if number % 2 else None,
            stated_by="Ada Quill",
        ),
        container=f"CR-{1 + number % 9}",
        station="cold-store",
        received_at="2026-03-15T14:02:00Z",
        condition_at_receipt="Wet; interleaved on site." if number % 2 else "",
        steps=[
            Step(
                step=StepKind.STABILISE,
                started_at=_FLOODED_AT + timedelta(days=1),
                ended_at=_FLOODED_AT + timedelta(days=1, hours=3),
                hours="1.5",
                note="facing tissue",
                actor="Mo Adair",
            )
        ],
        charges=[
            Charge(
                charge=f"ch-{number}-1",
                what="Stabilising at intake",
                step=StepKind.STABILISE,
                quantity="1.5",
                unit="h",
                rate=ev.Money(amount="68.00", currency=currency),
            ),
            Charge(
                charge=f"ch-{number}-2",
                what="Cold storage",
                step=None,
                quantity="6",
                unit="day",
                rate=ev.Money(amount="3.35", currency=currency),
            ),
        ],
        decision=Verdict(
            decision=list(Decision)[number % len(Decision)],
            reason="Within policy limits.",
            decided_by="R. Okoye",
            at="2026-03-18T11:00:00Z",
        )
        if number % 3 == 1
        else None,
        custody=[
            Custody(
                event=f"phone-1.{number * 3 + place}",
                type=kind,
                at=taken,
                actor="Bo Lund",
                role=Role.CREW,
            )
            for place, kind in enumerate(("item_tagged", "item_described", "item_received"), 1)
        ],
    )
    return made.model_copy(update=changes)


def assessment(number: int = 0) -> ItemAssessment:
    """An assessment that differs with ``number``."""
    return ItemAssessment(
        restorable=list(Restorable)[number % 4],
        reason="Ground and paint are sound where dry; flaking can be laid down.",
        steps=(
            PlannedStep(StepKind.STABILISE),
            PlannedStep(StepKind.DRY, StepStatus.IN_PROGRESS, "drying room 2"),
            PlannedStep(StepKind.STUDIO),
        ),
        band=list(Band)[number % len(Band)],
        time_left="About 19 hours left of 48 since wetting.",
        never=("Never freeze.", "Never dry with heat."),
        estimate=Range(
            Decimal(240 + 10 * (number % 20)),
            Decimal(480 + 25 * (number % 20)),
            "EUR" if number % 3 == 0 else "GBP",
        ),
    )


def part_of(parent: Item, tag: str) -> Item:
    """A frame tagged apart from ``parent``, with neither claim nor place of its own."""
    return Item(
        tag=tag,
        tags=[tag],
        loss=parent.loss,
        parent=parent.tag,
        role=PartRole.FRAME,
        object_type=ObjectType.FRAME,
        materials=[Material.GILDED_GESSO],
        title=f"Frame of {parent.title}",
    )


def conflicted(tag: str, number: int = 0, **changes: Any) -> Item:
    """A piece with a field that two phones disagree on."""
    said = [
        Said(event="phone-1.9", device="phone-1", actor="Bo Lund", value=["oil_canvas"]),
        Said(event="phone-2.4", device="phone-2", actor="Mo Adair", value=["acrylic_canvas"]),
    ]
    made = item(tag, number, **changes)
    return made.model_copy(update={"conflicts": [Conflict(field="materials", values=said)]})


def document(items: Sequence[Item], **options: Any) -> InventoryDocument:
    """The inventory of ``items``."""
    settings: dict[str, Any] = {
        "prepared_at": PREPARED_AT,
        "prepared_by": "Facility desk, invented",
        "assessments": {each.tag: assessment(n) for n, each in enumerate(items)},
        "custody": CUSTODY,
        "notice": NOTICE,
        "known": facts(),
        **options,
    }
    return build_inventory(loss(), items, **settings)
