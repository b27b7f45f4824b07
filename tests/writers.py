"""Invented writers of events, shared by the tests."""

from datetime import UTC, datetime, timedelta

from pydantic import BaseModel

from shared import events as ev
from shared.vocabulary import Damage, Material, ObjectType, Peril, Role

START = datetime(2031, 5, 6, 9, 0, tzinfo=UTC)
LOSS = "QUAY-1"
TAGS = ("0000000000000", "0000000000018", "000000000002G")


class Writer:
    """One device and the person who holds it."""

    def __init__(self, device: str = "phone-a", role: Role = Role.CREW) -> None:
        self.journal = ev.Journal(device, "Europe/Dublin")
        self.role = role
        self.at = START

    def say(self, body: BaseModel, loss: str | None = LOSS) -> ev.Event:
        """The next event, a minute after the last."""
        self.at += timedelta(minutes=1)
        return self.journal.write(
            body, actor=f"holder of {self.journal.device}", role=self.role, at=self.at, loss=loss
        )


def opened() -> ev.LossOpened:
    """An invented loss."""
    return ev.LossOpened(
        title="Invented quay house",
        site="1 Invented Quay",
        zone="Europe/Dublin",
        peril=Peril.FIRE,
        happened_at=START - timedelta(hours=8),
    )


def tagged(tag: str = TAGS[0], **changes: object) -> ev.ItemTagged:
    """A painting, tagged."""
    fields: dict[str, object] = {
        "tag": tag,
        "object_type": ObjectType.PAINTING,
        "materials": (Material.OIL_CANVAS,),
    }
    return ev.ItemTagged.model_validate(fields | changes)


def noted(damage: Damage = Damage.SOOT_DRY, tag: str = TAGS[0]) -> ev.DamageNoted:
    """A damage seen."""
    return ev.DamageNoted(tag=tag, damage=damage)


def plain(*events: ev.Event) -> list[object]:
    """Events as a phone sends them."""
    return [event.model_dump(mode="json") for event in events]
