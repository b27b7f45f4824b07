"""How a piece must not be packed, and which pieces must not share a container.

The rows of ``tables/packing.csv``; the crew's phone works out the same from the same rows
(``service/web/src/packing.ts``).
"""

from collections.abc import Collection, Sequence

from shared.facts import Facts, PackingRow, SharingRule, facts
from shared.vocabulary import Damage, Material


def packing_rows(
    materials: Collection[Material], damages: Collection[Damage], known: Facts | None = None
) -> tuple[PackingRow, ...]:
    """Return the rows that concern a piece, in the table's order.

    A row that names both materials and damages concerns a piece that has one of each.
    """
    return tuple(
        row
        for row in (known or facts()).packing.values()
        if (not row.materials or not set(row.materials).isdisjoint(materials))
        and (not row.damages or not set(row.damages).isdisjoint(damages))
    )


def packing_nevers(rows: Sequence[PackingRow]) -> tuple[str, ...]:
    """Return what never to do when packing and carrying a piece, as sentences, each once."""
    return tuple(dict.fromkeys(f"Never {phrase}" for row in rows for phrase in row.never))


def kept_apart(one: Sequence[PackingRow], other: Sequence[PackingRow]) -> tuple[str, ...]:
    """Return why two pieces must not share a container, as sentences; empty when they may.

    Args:
        one: the rows that concern a piece.
        other: those that concern another.
    """
    both = {row.id: row for row in (*one, *other)}
    shared = {row.id for row in one} & {row.id for row in other}
    return tuple(
        f"Never {row.never[0]}"
        for row in both.values()
        if row.share is SharingRule.ALONE
        or (row.share is SharingRule.ALIKE and row.id not in shared)
    )
