"""Second tags of many pieces at once: which ones, in which order, on what paper."""

from dataclasses import dataclass

from labels.advice_tag import AdviceTag, write_advice_tags
from labels.paper import Target
from labels.sheets import layout_named
from service.assessing import triage_of
from service.facility.sheets import advice_tag
from service.installation import Installation
from service.log import reading
from service.log.reading import ItemFilter, within
from shared.records import Item
from shared.vocabulary import Band


@dataclass(frozen=True)
class TagsWanted:
    """Which pieces of a loss get a second tag; what is empty picks all.

    Attributes:
        loss: the loss.
        room: the room they were found in, in any case of letters.
        container: the container they are packed in.  A part of which neither was said goes with
            its piece.
        band: how soon they have to be dealt with.
    """

    loss: str
    room: str = ""
    container: str = ""
    band: Band | None = None

    def picks(self, item: Item, whole: Item) -> bool:
        """Whether a piece, part of ``whole`` or that itself, is one of them, its band apart.

        What was given back needs no tag.
        """
        room = item.found.room.strip() or whole.found.room.strip()
        return (
            item.returned_to is None
            and self.room.strip().casefold() in ("", room.casefold())
            and self.container.strip() in ("", item.container or whole.container)
        )


class NothingToPrintError(ValueError):
    """No piece is as wanted."""


def second_tags(here: Installation, wanted: TagsWanted) -> list[AdviceTag]:
    """What the second tags of the pieces wanted say now, the most urgent first.

    Raises:
        NothingToPrintError: there is no such loss, or none of its pieces is as wanted.
    """
    now = here.now()
    with here.database.read() as session:
        scope = within(wanted.loss)
        loss = reading.loss(session, scope, wanted.loss)
        items = reading.items(session, scope, ItemFilter(loss=wanted.loss))
        book = reading.facility(session)
    if loss is None:
        raise NothingToPrintError(f"there is no loss {wanted.loss}")
    by_tag = {item.tag: item for item in items}
    parts: dict[str, list[Item]] = {}
    for item in items:
        if item.parent is not None:
            parts.setdefault(item.parent, []).append(item)
    ruled = [
        (triage_of(item, loss, now, own, book, known=here.facts), item, own)
        for item in items
        if wanted.picks(item, by_tag.get(item.parent or "", item))
        for own in [parts.get(item.tag, [])]
    ]
    ruled = [one for one in ruled if wanted.band in (None, one[0].band)]
    if not ruled:
        raise NothingToPrintError(
            f"no piece of loss {wanted.loss} is as asked; leave room, container or band empty"
        )
    ruled.sort(key=lambda one: (one[0].sort_key, one[1].tag))
    return [
        advice_tag(item, loss, triage, own, book=book, now=now, known=here.facts)
        for triage, item, own in ruled
    ]


@dataclass(frozen=True)
class PrintedTags:
    """What was written: pieces, and the labels they took."""

    pieces: int
    labels: int


def write_second_tags(
    here: Installation,
    wanted: TagsWanted,
    target: Target,
    layout: str,
    *,
    base_url: str,
    first_label: int = 1,
) -> PrintedTags:
    """Write the second tags of the pieces wanted as one PDF.

    Raises:
        NothingToPrintError: see :func:`second_tags`.
        LayoutError: no such layout, or the text does not fit it.
        TagError: the base URL can't be written in the codes.
        ValueError: ``first_label`` is not on the page.
    """
    tags = second_tags(here, wanted)
    labels = write_advice_tags(
        target,
        tags,
        layout_named(layout),
        base_url,
        first_label=first_label,
        title=f"Second tags of {wanted.loss}",
    )
    return PrintedTags(len(tags), labels)
