"""An invented loss with two claims, three pieces and a part, told through the log."""

import hashlib
import io
from dataclasses import dataclass

from PIL import Image

from labels.codes import new_tags
from service.installation import Installation
from shared import events as ev
from shared.vocabulary import (
    Damage,
    Extent,
    Hazard,
    Material,
    ObjectType,
    PartRole,
    Peril,
    PhotoKind,
    Role,
    StepKind,
    ValueBasis,
    WaterCategory,
)
from tests.writers import LOSS, START, Writer, plain

ADA, BEN = "C-ADA", "C-BEN"


@dataclass(frozen=True)
class Seeded:
    """The tags of the pieces, and the digest of the one photo."""

    painting: str
    frame: str
    vase: str
    print: str
    photo: str


def photo(shade: int = 120) -> bytes:
    """A JPEG drawn by code."""
    out = io.BytesIO()
    Image.new("RGB", (640, 480), (shade, 90, 60)).save(out, "JPEG")
    return out.getvalue()


def seed(here: Installation) -> Seeded:
    """Two pieces of Ada's, one with a tagged frame, and one of Ben's in another currency."""
    phone = Writer()
    painting, frame, vase, paper = new_tags(4)
    data = photo()
    digest = hashlib.sha256(data).hexdigest()
    here.keep_photo(digest, data)

    def money(amount: str, currency: str = "GBP") -> ev.Money:
        return ev.Money(amount=amount, currency=currency)

    def charge(tag: str, number: int, step: StepKind, hours: str, rate: ev.Money) -> ev.ChargeAdded:
        return ev.ChargeAdded(
            tag=tag,
            charge=f"{tag}-{number}",
            what=f"{step.label}, bench work",
            step=step,
            quantity=hours,
            unit="h",
            rate=rate,
        )

    bodies = [
        ev.LossOpened(
            title="Invented quay house",
            site="1 Invented Quay",
            zone="Europe/Dublin",
            peril=Peril.FLOOD,
            happened_at=START,
            wet_since=START,
            water_category=WaterCategory.THREE,
            hazards=(Hazard.STANDING_WATER,),
        ),
        ev.ClaimAdded(claim=ADA, insurer="Invented Mutual", owner="Ada Quill", currency="GBP"),
        ev.ClaimAdded(claim=BEN, insurer="Made-up Marine", owner="Ben Reed", currency="EUR"),
        ev.AuthorisationRecorded(given_by="Ada Quill", covers="Removal and stabilising"),
        ev.ItemTagged(
            tag=painting,
            object_type=ObjectType.PAINTING,
            materials=(Material.OIL_CANVAS,),
            found=ev.Spot(floor="Ground floor", room="Hall"),
            claim=ADA,
        ),
        ev.ItemDescribed(
            tag=painting,
            title="Harbour at low tide",
            maker="Ann Lee",
            medium="oil on canvas",
            size=ev.Size(
                height=ev.Length(value="61", unit="cm"), width=ev.Length(value="91.4", unit="cm")
            ),
        ),
        ev.DamageNoted(tag=painting, damage=Damage.SOAKED, extent=Extent.WIDE, note="tide line"),
        ev.PhotoTaken(tag=painting, photo=digest, kind=PhotoKind.SITE, caption="as found"),
        ev.ValueStated(
            tag=painting,
            basis=ValueBasis.AGREED,
            value=money("1200.00"),
            stated_by="Ada Quill",
            loss_in_value=money("100.00"),
        ),
        ev.StepDone(
            tag=painting, step=StepKind.STABILISE, started_at=START, ended_at=START, hours="1.5"
        ),
        charge(painting, 1, StepKind.STABILISE, "1.5", money("60.00")),
        ev.ItemTagged(
            tag=frame,
            object_type=ObjectType.FRAME,
            materials=(Material.GILDED_GESSO,),
            parent=painting,
            role=PartRole.FRAME,
        ),
        ev.ItemTagged(
            tag=vase,
            object_type=ObjectType.DECORATIVE,
            materials=(Material.CERAMIC_HIGH,),
            found=ev.Spot(room="Kitchen"),
            claim=ADA,
            quantity=2,
        ),
        ev.ItemDescribed(tag=vase, title="Pair of jars"),
        ev.DamageNoted(tag=vase, damage=Damage.NONE_SEEN),
        ev.ItemTagged(
            tag=paper,
            object_type=ObjectType.WORK_ON_PAPER,
            materials=(Material.PRINT_PAPER,),
            found=ev.Spot(room="Study"),
            claim=BEN,
        ),
        ev.ItemDescribed(tag=paper, title="Secret of the weir", maker="Kit Vane"),
        ev.DamageNoted(tag=paper, damage=Damage.SOAKED),
        ev.ValueStated(
            tag=paper, basis=ValueBasis.DECLARED, value=money("333.00", "EUR"), stated_by="Ben Reed"
        ),
        charge(paper, 1, StepKind.DRY, "2", money("45.00", "EUR")),
        ev.ManifestClosed(
            manifest="VAN-1",
            vehicle="Invented van",
            tags=(painting, vase, paper),
            leaves_at=START,
            expected_at=START,
        ),
    ]
    answer = here.log.append(plain(*[phone.say(body) for body in bodies]))
    assert all(receipt.outcome.value == "stored" for receipt in answer.receipts)
    return Seeded(painting, frame, vase, paper, digest)


def disagree(here: Installation, tag: str) -> None:
    """A second phone that had not seen the first one's title gives another."""
    other = Writer("phone-b", Role.CREW)
    other.journal.saw(500)
    here.log.append(plain(other.say(ev.ItemDescribed(tag=tag, title="Boats at rest"), LOSS)))
