"""A wet piece as the slab that the drying model reckons with."""

import pytest

from demo_data.facility import FACILITY
from service.facility.bodies import (
    LEAST_DEPTH_M,
    air_in,
    equilibrium,
    slab_of,
    slabs_in,
    water_in,
    wet_body,
)
from shared.drying import DryingTime, estimate_drying
from shared.events import Length, Size
from shared.facility import Room
from shared.facts import DryingBody, RoomGroup, facts
from shared.records import Item
from shared.vocabulary import Damage, Material
from tests.service.facility.plotted import wet_piece

DRYING_ROOM = next(one for one in FACILITY.stations if isinstance(one, Room))


def room_for(group: RoomGroup) -> Room:
    """A room held at the middle of what the table asks for."""
    point = facts().room_set_points[group]
    return DRYING_ROOM.model_copy(
        update={
            "temperature_c": (point.t_low_c + point.t_high_c) / 2,
            "rh": (point.rh_low_percent + point.rh_high_percent) / 200,
            "air_speed_m_s": point.air_speed_m_s,
        }
    )


def drying_time(body: DryingBody, group: RoomGroup, *, soaked: bool, slabs: float) -> DryingTime:
    row, room = facts().drying_bodies[body], room_for(group)
    emc = equilibrium(row, room)
    water = water_in(row, emc, soaked=soaked) * slabs
    return estimate_drying(slab_of(row, 1.0, slabs), air_in(room), water, emc).likely


BODIES = sorted({(rating.drying_body, rating.room) for rating in facts().ratings.values()})


def book(depth_mm: str | None) -> Item:
    side = Length(value="240", unit="mm")
    return wet_piece().model_copy(
        update={
            "materials": [Material.BOUND_VOLUME],
            "size": Size(
                height=side,
                width=Length(value="160", unit="mm"),
                depth=None if depth_mm is None else Length(value=depth_mm, unit="mm"),
            ),
        }
    )


@pytest.mark.parametrize(("body", "group"), BODIES)
def test_what_is_soaked_dries_in_the_time_that_the_table_of_rooms_gives(
    body: DryingBody, group: RoomGroup
) -> None:
    # Two tables of ours held against each other: the slab model's likely time and the span that
    # the room's row gives from practice. Common practice, no source.
    point = facts().room_set_points[group]
    assert point.typical_low_h is not None and point.typical_high_h is not None
    soaked = drying_time(body, group, soaked=True, slabs=1).total_h
    assert 0.9 * point.typical_low_h <= soaked <= point.typical_high_h


@pytest.mark.parametrize(("body", "group"), BODIES)
def test_what_is_damp_dries_sooner_but_not_at_once(body: DryingBody, group: RoomGroup) -> None:
    damp = drying_time(body, group, soaked=False, slabs=1).total_h
    assert 0 < damp < drying_time(body, group, soaked=True, slabs=1).total_h


@pytest.mark.parametrize("soaked", [False, True])
def test_a_book_takes_from_a_day_to_a_week(soaked: bool) -> None:
    # Cornell University Library, Procedures for air drying wet books and records: a day to a week
    # by how wet it is. For 30 mm of text block.
    body = DryingBody.VOLUME
    slabs = slabs_in(facts().drying_bodies[body], book("30"), facts())
    assert slabs == pytest.approx(4)
    hours = drying_time(body, RoomGroup.PAPER, soaked=soaked, slabs=slabs).total_h
    assert 24 <= hours <= 7 * 24


def test_a_deeper_book_holds_more_water_and_has_more_open_leaves_to_lose_it_from() -> None:
    known = facts()
    thin, thick = (wet_body(book(depth), DRYING_ROOM, known) for depth in ("15", "60"))
    assert thin is not None and thick is not None
    assert thick.water_kg == pytest.approx(4 * thin.water_kg)
    assert thick.slab.open_area_m2 == pytest.approx(4 * thin.slab.open_area_m2)
    assert thick.slab.thickness_m == thin.slab.thickness_m


def test_a_book_thinner_than_a_slab_is_one_thinner_slab() -> None:
    known = facts()
    row = known.drying_bodies[DryingBody.VOLUME]
    thin = wet_body(book("5"), DRYING_ROOM, known)
    assert thin is not None
    assert thin.slab.thickness_m == pytest.approx(0.005)
    # One face of 0.24 by 0.16 m, both sides open.
    assert thin.slab.open_area_m2 == pytest.approx(row.open_faces * 0.24 * 0.16)


def test_a_mistyped_depth_does_not_make_a_book_dry_at_once() -> None:
    row = facts().drying_bodies[DryingBody.VOLUME]
    assert slabs_in(row, book("0.1"), facts()) >= LEAST_DEPTH_M / row.thickness_m


def test_a_book_that_nobody_measured_is_taken_as_the_table_has_it() -> None:
    row = facts().drying_bodies[DryingBody.VOLUME]
    assert slabs_in(row, book(None), facts()) == row.opened_into == 4
    assert slabs_in(row, book("30").model_copy(update={"size": None}), facts()) == 4


def test_the_slowest_material_decides() -> None:
    known = facts()
    piece = wet_piece().model_copy(update={"materials": [Material.PRINT_PAPER, Material.WOOD]})
    body = wet_body(piece, DRYING_ROOM, known)
    assert body is not None
    assert body.row.body is DryingBody.FURNITURE
    assert wet_body(piece.model_copy(update={"materials": []}), DRYING_ROOM, known) is None


def test_a_piece_that_is_only_damp_starts_with_less_water() -> None:
    known = facts()
    soaked = wet_piece()
    seen = soaked.damages[0].model_copy(update={"damage": Damage.DAMP})
    damp = soaked.model_copy(update={"damages": [seen]})
    one, other = wet_body(damp, DRYING_ROOM, known), wet_body(soaked, DRYING_ROOM, known)
    assert one is not None and other is not None
    assert one.water_kg < other.water_kg
    assert one.water_kg > one.emc * one.slab.dry_mass_kg
