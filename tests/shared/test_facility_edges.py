"""What a facility document may say, and the ends of every range it is held to.

The houses, rooms and people are invented.
"""

from datetime import date, time
from typing import Any

import pytest
from pydantic import ValidationError

from shared.facility import (
    Bench,
    Chamber,
    CleanDown,
    ColdStore,
    Facility,
    FacilityPart,
    LicensedPerson,
    Room,
    Shift,
)
from shared.vocabulary import StepKind

SHIFT: dict[str, Any] = {
    "weekdays": (0, 4),
    "starts": time(8),
    "ends": time(16, 30),
    "people": 2,
}
CHAMBER: dict[str, Any] = {
    "id": "c-1",
    "label": "Large chamber",
    "inside_mm": (2000, 1000, 500),
    "door_mm": (1000, 1900),
    "rail_mm": 6000,
    "usable_fill": 0.6,
    "air_changes_per_h": 6,
    "half_loss_h": None,
    "programmes": ("odour-1",),
    "zones": ("low", "high"),
}
ROOM: dict[str, Any] = {
    "id": "room-a",
    "label": "Drying room",
    "serves": (StepKind.DRY,),
    "rack_mm": 12_000,
    "removal_g_h": 800,
    "temperature_c": 21,
    "rh": 0.45,
}
STORE: dict[str, Any] = {
    "id": "cold",
    "label": "Freezer",
    "usable_l": 4000,
    "temperature_c": -25,
}
BENCH: dict[str, Any] = {
    "id": "bench-1",
    "label": "Cleaning bench",
    "serves": (StepKind.SOOT_REMOVAL,),
    "shifts": (SHIFT,),
}
CLEAN_DOWN: dict[str, Any] = {"before": "odour-1", "after": "mould-1", "minutes": 90, "cost": 40}
PERSON: dict[str, Any] = {
    "name": "An Invented Person",
    "licence_no": "X-1",
    "jurisdiction": "Nowhere",
    "expires": date(2032, 1, 1),
    "phone": "+000 000",
    "hours": (SHIFT,),
}
FACILITY: dict[str, Any] = {
    "id": "house",
    "label": "Second house",
    "zone": "Europe/Dublin",
    "stations": tuple(
        {"kind": kind, **part}
        for kind, part in (
            ("room", ROOM),
            ("chamber", CHAMBER),
            ("store", STORE),
            ("bench", BENCH),
            ("chamber", {**CHAMBER, "id": "c-2"}),
        )
    ),
}
PARTS: dict[type[FacilityPart], dict[str, Any]] = {
    Shift: SHIFT,
    Chamber: CHAMBER,
    Room: ROOM,
    ColdStore: STORE,
    Bench: BENCH,
    CleanDown: CLEAN_DOWN,
    LicensedPerson: PERSON,
    Facility: FACILITY,
}


def house(**changes: Any) -> Facility:
    return Facility.model_validate({**FACILITY, **changes})


# Each row: a part, a field, values at the ends of its range, and the first ones outside it.
RANGES: list[tuple[type[FacilityPart], str, list[Any], list[Any]]] = [
    (Chamber, "rail_mm", [1, 100_000], [0, 100_001, 0.5]),
    (Chamber, "inside_mm", [(1, 1, 1), (100_000, 2, 3)], [(0, 1, 1), (1, 100_001, 1), (1, 1)]),
    (Chamber, "door_mm", [(1, 1), (100_000, 2)], [(1, 0), (100_001, 1), (1, 1, 1)]),
    (Chamber, "usable_fill", [0.001, 1], [0, 1.001]),
    (Chamber, "air_changes_per_h", [0.001, 1000], [0, 1000.1]),
    (Chamber, "half_loss_h", [None, 0.001, 10_000], [0, 10_001]),
    (Chamber, "zones", [("low",)], [(), ("low", "low"), (" ",)]),
    (Chamber, "programmes", [()], [("Odour",), ("odour-1", "odour-1")]),
    (Room, "rack_mm", [1, 100_000], [0, 100_001]),
    (Room, "removal_g_h", [0, 1, 10**9], [-1, 10**9 + 1]),
    (Room, "temperature_c", [-20, 60], [-20.1, 60.1, float("nan")]),
    (Room, "rh", [0.001, 0.999], [0, 1]),
    (Room, "air_speed_m_s", [0, 5], [-0.1, 5.1]),
    (Room, "serves", [(StepKind.AIR,)], [(), ("polish",), ("air", "air")]),
    (ColdStore, "temperature_c", [-100, 20], [-100.1, 20.1]),
    (ColdStore, "usable_l", [1, 10_000_000], [0, 10_000_001]),
    (Shift, "weekdays", [(0,), (6,)], [(), (-1,), (7,), (1, 1)]),
    (Shift, "starts", [time(0), time(16, 29)], ["08:00Z", "8 o'clock"]),
    (Shift, "people", [1, 200], [0, 201]),
    (Bench, "serves", [(StepKind.STUDIO,)], [()]),
    (Bench, "shifts", [(SHIFT,)], [()]),
    (CleanDown, "minutes", [0, 1, 10**9], [-1, 10**9 + 1]),
    (CleanDown, "cost", [0, 1, 10**9], [-1, 10**9 + 1]),
    (LicensedPerson, "hours", [(SHIFT,)], [()]),
    (Facility, "altitude_m", [-500, 6000], [-500.1, 6000.1]),
    (Facility, "stations", [FACILITY["stations"][1:2], ()], [({"kind": "tent"},)]),
    (Facility, "zone", ["UTC", "America/St_Johns"], ["", "Mars/North", "../etc/passwd"]),
    (
        Facility,
        "id",
        ["a", "9", "a-b-9", "a" * 40],
        ["", "-a", "A", "a_b", "a b", "a" * 41, "a\n", "é"],
    ),
]


@pytest.mark.parametrize(
    ("part", "field", "value"),
    [(part, field, value) for part, field, within, _ in RANGES for value in within],
)
def test_a_value_at_the_end_of_its_range_is_taken(
    part: type[FacilityPart], field: str, value: Any
) -> None:
    assert part.model_validate({**PARTS[part], field: value}).model_dump()[field] == value


@pytest.mark.parametrize(
    ("part", "field", "value"),
    [(part, field, value) for part, field, _, outside in RANGES for value in outside],
)
def test_a_value_beyond_its_range_is_refused_by_field(
    part: type[FacilityPart], field: str, value: Any
) -> None:
    with pytest.raises(ValidationError) as caught:
        part.model_validate({**PARTS[part], field: value})
    assert {error["loc"][0] for error in caught.value.errors()} == {field}


@pytest.mark.parametrize("part", PARTS, ids=lambda part: part.__name__)
def test_a_part_takes_no_field_it_does_not_know_and_never_changes(
    part: type[FacilityPart],
) -> None:
    with pytest.raises(ValidationError, match="colour"):
        part.model_validate({**PARTS[part], "colour": "red"})
    made = part.model_validate(PARTS[part])
    field = next(iter(part.model_fields))
    with pytest.raises(ValidationError, match="frozen"):
        setattr(made, field, getattr(made, field))


def test_a_chamber_of_two_by_one_by_half_a_metre_holds_a_thousand_litres() -> None:
    assert Chamber.model_validate(CHAMBER).volume_l == 1000.0
    # One litre is a cube of 100 mm.
    assert Chamber.model_validate({**CHAMBER, "inside_mm": (100, 100, 100)}).volume_l == 1.0


def test_the_air_in_a_room_moves_at_a_fifth_of_a_metre_a_second_unless_said() -> None:
    assert Room.model_validate(ROOM).air_speed_m_s == 0.2


@pytest.mark.parametrize("ends", [time(8), time(7, 59), time(0)])
def test_a_shift_ends_after_it_starts_on_the_same_day(ends: time) -> None:
    with pytest.raises(
        ValidationError,
        match="Value error, a shift must end after it starts; split one that crosses midnight",
    ):
        Shift.model_validate({**SHIFT, "ends": ends})


def test_a_shift_may_be_a_minute_long() -> None:
    assert Shift.model_validate({**SHIFT, "ends": time(8, 1)}).starts == time(8)


def test_a_facility_is_at_sea_level_with_nobody_licensed_and_no_clean_down_unless_said() -> None:
    made = house()
    assert (made.altitude_m, made.clean_downs, made.licensed) == (0.0, (), ())


@pytest.mark.parametrize(
    ("part", "kind"),
    [(Chamber, "chamber"), (Room, "room"), (ColdStore, "store"), (Bench, "bench")],
)
def test_a_station_is_read_by_its_kind(part: type[FacilityPart], kind: str) -> None:
    assert part.model_validate(PARTS[part]).model_dump()["kind"] == kind
    made = house(stations=({"kind": kind, **PARTS[part]},))
    assert type(made.stations[0]) is part


@pytest.mark.parametrize("kind", ["tent", None])
def test_a_station_of_no_known_kind_is_refused(kind: str | None) -> None:
    with pytest.raises(ValidationError, match="kind"):
        house(stations=({"kind": kind, **ROOM},))


def test_stations_are_found_by_their_id() -> None:
    made = house()
    for station_id, part in (
        ("room-a", Room),
        ("c-1", Chamber),
        ("cold", ColdStore),
        ("bench-1", Bench),
        ("c-2", Chamber),
    ):
        station = made.station(station_id)
        assert station.id == station_id
        assert isinstance(station, part)


@pytest.mark.parametrize("station_id", ["c-3", "", "C-1"])
def test_an_id_of_no_station_is_a_key_error_that_names_it(station_id: str) -> None:
    with pytest.raises(KeyError) as caught:
        house().station(station_id)
    assert caught.value.args == (station_id,)


def test_the_chambers_are_given_in_the_order_of_the_document() -> None:
    assert [chamber.id for chamber in house().chambers] == ["c-1", "c-2"]
    assert house(stations=FACILITY["stations"][:1]).chambers == ()


def test_no_two_stations_share_an_id_even_of_different_kinds() -> None:
    stations = (
        *FACILITY["stations"],
        {"kind": "store", **STORE, "id": "room-a"},
        {"kind": "store", **STORE, "id": "c-1"},
    )
    with pytest.raises(
        ValidationError,
        match="Value error, stations: id used twice: c-1, room-a; give each its own",
    ):
        house(stations=stations)


@pytest.mark.parametrize(
    ("field", "parts", "named"),
    [
        ("licensed", (PERSON, {**PERSON, "name": "Another"}), "licensed: licence used twice: X-1"),
        (
            "holidays",
            ({"day": date(2031, 5, 1), "label": "a"}, {"day": date(2031, 5, 1), "label": "b"}),
            "holidays: day named twice: 2031-05-01",
        ),
        (
            "clean_downs",
            (CLEAN_DOWN, {**CLEAN_DOWN, "minutes": 5}),
            "clean_downs: pair named twice: odour-1, then mould-1",
        ),
    ],
)
def test_people_days_and_clean_downs_are_told_apart(field: str, parts: Any, named: str) -> None:
    with pytest.raises(ValidationError, match=named):
        house(**{field: parts})
    assert len(getattr(house(**{field: parts[:1]}), field)) == 1


def test_a_facility_reads_back_from_its_own_json() -> None:
    made = house(clean_downs=(CLEAN_DOWN,), licensed=(PERSON,))
    assert Facility.model_validate_json(made.model_dump_json()) == made
