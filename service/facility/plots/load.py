"""A chamber's load to scale: its rail a stretch below the other from the far end, and its volume.

Drawn narrow enough for a phone at the chamber's door. A piece that hangs across the end of a
stretch goes on in the next. Loaded pieces are filled and the others outlined, so that nothing
hangs on colour; the table under it says the same.
"""

from collections.abc import Collection, Iterator, Sequence
from html import escape

from markupsafe import Markup

from service.facility.loading import RailStretch, litres
from service.facility.plots.chart import FAINT, INK, RULE, text
from shared.facility import Chamber
from shared.facts import Facts

WIDTH, LEFT, LANE, BAR = 340, 44, 34, 24
MOST_LANES = 8
LEAST_FOR_NUMBER = 16
"""A piece drawn narrower than this has no room for its number."""


def lane_mm(rail_mm: int) -> int:
    """Length of rail that one stretch shows: whole metres, so few that a phone shows them all."""
    metres = -(-rail_mm // 1000)
    return 1000 * -(-metres // MOST_LANES)


def pieces_of(stretch: RailStretch, lane: int) -> Iterator[tuple[int, int, int]]:
    """A piece on the lanes: number of the lane, and from where to where on it, in millimetres."""
    at = stretch.from_mm
    while at < stretch.to_mm:
        number = at // lane
        end = min(stretch.to_mm, (number + 1) * lane)
        yield number, at - number * lane, end - number * lane
        at = end


def draw_load(
    order: Sequence[RailStretch], loaded: Collection[str], chamber: Chamber, known: Facts
) -> Markup:
    """The rail with every piece where it hangs, and how much of the usable volume they take.

    Args:
        order: the pieces where they hang.
        loaded: tags of those that are inside.
        chamber: the rail and the usable volume.
        known: for the volume of a piece.
    """
    reached = max([chamber.rail_mm, *(one.to_mm for one in order)])
    lane = lane_mm(reached)
    lanes = -(-reached // lane)
    scale = (WIDTH - LEFT) / lane
    height = lanes * LANE + LANE + 8
    usable = chamber.volume_l * chamber.usable_fill
    filled = sum(litres(one.item, known) for one in order)
    inside = sum(litres(one.item, known) for one in order if one.item.tag in loaded)
    hung = sum(one.item.tag in loaded for one in order)
    words = (
        f"{hung} of {len(order)} pieces hang. Volume: {inside:.0f} L inside, {filled:.0f} L with "
        f"the whole sheet, {usable:.0f} L may be used."
    )
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {height}" width="{WIDTH}" '
        f'height="{height}" role="img" aria-label="{escape(words)}" '
        'font-family="system-ui, sans-serif" font-size="12">'
    ]
    for number in range(lanes):
        top = number * LANE
        there = min(lane, chamber.rail_mm - number * lane)
        parts.append(text(0, top + BAR / 2 + 4, f"{number * lane / 1000:g} m"))
        parts.append(_box(LEFT, top, there * scale, FAINT, RULE))
    for place, stretch in enumerate(order, start=1):
        there = stretch.item.tag in loaded
        for number, start, end in pieces_of(stretch, lane):
            x, wide = LEFT + start * scale, (end - start) * scale
            parts.append(_box(x, number * LANE, wide, INK if there else "#ffffff", INK))
            if wide >= LEAST_FOR_NUMBER:
                parts.append(
                    f'<text x="{x + wide / 2:.1f}" y="{number * LANE + BAR / 2 + 4:g}" '
                    f'text-anchor="middle" fill="{"#ffffff" if there else INK}">{place}</text>'
                )
    top = lanes * LANE + 4
    parts.append(text(0, top + BAR / 2 + 4, "Fill"))
    parts.append(_box(LEFT, top, WIDTH - LEFT, FAINT, RULE))
    for share, paint in ((filled / usable, "#ffffff"), (inside / usable, INK)):
        parts.append(_box(LEFT, top, min(share, 1) * (WIDTH - LEFT), paint, INK))
    parts.append("</svg>")
    return Markup("".join(parts))


def _box(x: float, y: float, width: float, paint: str, edge: str) -> str:
    return (
        f'<rect x="{x:.1f}" y="{y:.1f}" width="{max(width, 0):.1f}" height="{BAR}" '
        f'fill="{paint}" stroke="{edge}"/>'
    )
