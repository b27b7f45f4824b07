"""The adjuster's list: which pieces of an inventory are shown, and one page of them."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final
from urllib.parse import urlencode

from pydantic import BaseModel

from service.reports.inventory import InventoryDocument
from service.reports.inventory_document import ItemEntry

PAGE: Final = 50
UNDECIDED: Final = "none"


class Wanted(BaseModel):
    """Which pieces to show; what is empty picks all."""

    claim: str = ""
    q: str = ""
    room: str = ""
    decision: str = ""
    restorable: str = ""
    page: int = 1

    def query(self, **changes: object) -> str:
        """The part of an address that asks for this again, with ``changes``."""
        fields = self.model_dump() | changes
        return urlencode({name: value for name, value in fields.items() if value not in ("", 1)})

    @property
    def narrows(self) -> bool:
        """Whether anything but the claim is asked for."""
        return bool(self.q.strip() or self.room or self.decision or self.restorable)


@dataclass(frozen=True)
class Listing:
    """The pieces that were asked for, and the page of them that is shown."""

    found: tuple[ItemEntry, ...]
    shown: tuple[ItemEntry, ...]
    page: int
    pages: int


def listing(document: InventoryDocument, wanted: Wanted) -> Listing:
    """The pieces of ``document`` that ``wanted`` picks, and its page of them."""
    found = tuple(item for item in document.items if picks(wanted, item))
    pages = max(1, math.ceil(len(found) / PAGE))
    page = min(max(wanted.page, 1), pages)
    return Listing(found, found[(page - 1) * PAGE : page * PAGE], page, pages)


def picks(wanted: Wanted, item: ItemEntry) -> bool:
    """Whether ``wanted`` picks ``item``."""
    decision = item.decision.decision.code if item.decision else UNDECIDED
    return (
        wanted.room in ("", item.room)
        and wanted.decision in ("", decision)
        and wanted.restorable in ("", item.advice.restorable.code)
        and _holds(item, wanted.q)
    )


def _holds(item: ItemEntry, words: str) -> bool:
    text = " ".join(
        (
            *(item.tag, item.tag_shown, *item.former_tags, item.room, item.owner),
            *(item.identification.title, item.identification.maker, item.identification.medium),
            item.identification.object_type.label,
            *(material.label for material in item.identification.materials),
            *(seen.damage.label for seen in item.condition.damages),
        )
    ).casefold()
    return all(word in text for word in words.casefold().split())


def rooms(items: Sequence[ItemEntry]) -> list[str]:
    """Every room that a piece was found in, in order."""
    return sorted({item.room for item in items if item.room})
