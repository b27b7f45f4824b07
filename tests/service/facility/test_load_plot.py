"""The rail drawn for the people who load: all of it, to scale, and as the door counts it."""

import re
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.facility.loading import RailStretch, loading_order, rail_gap_mm, rail_mm
from service.facility.plots.load import LEFT, MOST_LANES, WIDTH, draw_load, lane_mm, pieces_of
from shared.facts import facts
from shared.records import Item
from tests.service.facility.house import BOWL, CHAMBER, VASE, size


def piece(tag: str, depth_mm: int, quantity: int = 1) -> Item:
    return Item(tag=tag, size=size("20", "20", f"{depth_mm / 10:g}"), quantity=quantity)


PIECES = st.lists(st.tuples(st.integers(1, 2_000), st.integers(1, 5)), min_size=1, max_size=12).map(
    lambda drawn: [piece(f"T{number}", depth, many) for number, (depth, many) in enumerate(drawn)]
)


@given(PIECES, st.integers(500, 40_000))
def test_a_load_hangs_within_the_rail_just_when_the_door_lets_it_in(
    load: list[Item], rail: int
) -> None:
    gap = rail_gap_mm(facts())
    order = loading_order(load, facts())
    let_in = sum(rail_mm(one, facts()) for one in load) <= rail
    assert let_in == (order[-1].to_mm + gap <= rail)
    assert sorted(one.item.tag for one in order) == sorted(one.tag for one in load)
    assert order[0].from_mm == 0
    for one, other in pairwise(order):
        assert other.from_mm - one.to_mm == gap


@given(st.integers(0, 60_000), st.integers(1, 8_000), st.integers(1, 60_000))
def test_a_piece_is_drawn_whole_over_the_stretches_it_crosses(
    start: int, length: int, rail: int
) -> None:
    lane = lane_mm(rail)
    assert lane % 1000 == 0
    assert -(-rail // lane) <= MOST_LANES
    drawn = list(pieces_of(RailStretch(piece(VASE, 10), start, start + length), lane))
    assert sum(end - begin for _, begin, end in drawn) == length
    assert drawn[0][0] * lane + drawn[0][1] == start
    for (number, _, end), (following, begin, _) in pairwise(drawn):
        assert (end, begin, following) == (lane, 0, number + 1)
    assert all(0 <= begin < end <= lane for _, begin, end in drawn)


def widths(picture: str, paint: str) -> list[float]:
    found = re.findall(r'<rect x="[\d.]+" y="[\d.]+" width="([\d.]+)" [^>]*fill="([^"]+)"', picture)
    return [float(width) for width, fill in found if fill == paint]


def test_the_picture_is_to_scale_and_tells_what_hangs_without_colour() -> None:
    chamber = CHAMBER.model_copy(update={"rail_mm": 1_000})
    order = loading_order([piece(VASE, 300), piece(BOWL, 200)], facts())
    picture = draw_load(order, {VASE}, chamber, facts())
    scale = (WIDTH - LEFT) / 1_000
    dark, pale = widths(picture, "#0d2b3a"), widths(picture, "#ffffff")
    assert dark[0] == pytest.approx(300 * scale, abs=0.1)
    assert pale[0] == pytest.approx(200 * scale, abs=0.1)
    usable = chamber.volume_l * chamber.usable_fill
    assert dark[-1] == pytest.approx(12 / usable * (WIDTH - LEFT), abs=0.1)
    assert pale[-1] == pytest.approx(20 / usable * (WIDTH - LEFT), abs=0.1)
    assert "1 of 2 pieces hang. Volume: 12 L inside, 20 L with the whole sheet" in picture


def test_more_than_the_rail_holds_is_drawn_beyond_its_end() -> None:
    chamber = CHAMBER.model_copy(update={"rail_mm": 500})
    picture = draw_load(loading_order([piece(VASE, 1_500)], facts()), (), chamber, facts())
    lane = lane_mm(1_500)
    scale = (WIDTH - LEFT) / lane
    assert sum(widths(picture, "#ffffff")[:-1]) == pytest.approx(1_500 * scale, abs=0.2)
    assert widths(picture, "#eef2f3")[0] == pytest.approx(500 * scale, abs=0.1)
