"""The set-up's forms: what is on file is shown, read back and changed, and nothing else is."""

from datetime import date, time

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from pydantic import BaseModel
from starlette.testclient import TestClient

from demo_data import facility as demo
from service.facility import setup_forms as forms
from service.facility.setup_needs import missing, reached_only_here, warned
from service.facility.setup_units import Lengths, Units
from service.installation import Installation
from service.log import reading
from shared import events as ev
from shared.facility import Chamber, Facility, Holiday, Room, Shift
from shared.quantities import MassUnit, TemperatureUnit
from shared.records import FacilityBook
from shared.vocabulary import StepKind
from tests.service.facility.house import AIR, FACILITY, GAS, VASE, bring, furnish, say

ALL_UNITS = [
    Units(length, water, temperature)
    for length in Lengths
    for water in (MassUnit.KILOGRAM, MassUnit.POUND)
    for temperature in TemperatureUnit
]
IMPERIAL = Units(Lengths.FEET, MassUnit.POUND, TemperatureUnit.FAHRENHEIT)
WORDS = st.text(st.characters(categories=["L", "N", "P"]), min_size=1, max_size=20)
SHIFTS = st.builds(
    Shift,
    weekdays=st.lists(st.integers(0, 6), min_size=1, unique=True).map(tuple),
    starts=st.times(max_value=time(11)),
    ends=st.times(min_value=time(11, 0, 1)),
    people=st.integers(1, 200),
)
ROOMS = st.builds(
    Room,
    id=st.just("dry"),
    label=WORDS,
    serves=st.lists(st.sampled_from(StepKind), min_size=1, unique=True).map(tuple),
    rack_mm=st.integers(1, 100_000),
    removal_g_h=st.integers(0, 10**9),
    temperature_c=st.floats(-20, 60),
    rh=st.floats(0, 1, exclude_min=True, exclude_max=True),
    air_speed_m_s=st.floats(0, 5),
    quarantine=st.booleans(),
)
CHAMBERS = st.builds(
    FACILITY.chambers[0].model_copy,
    update=st.fixed_dictionaries(
        {
            "inside_mm": st.tuples(*[st.integers(1, 100_000)] * 3),
            "door_mm": st.tuples(*[st.integers(1, 100_000)] * 2),
            "rail_mm": st.integers(1, 100_000),
            "usable_fill": st.floats(0, 1, exclude_min=True),
            "air_changes_per_h": st.floats(0, 1000, exclude_min=True),
            "half_loss_h": st.none() | st.floats(0, 10_000, exclude_min=True),
            "zones": st.lists(WORDS, min_size=1, unique=True, max_size=4).map(tuple),
        }
    ),
)
PARTS = st.one_of(
    ROOMS.map(lambda one: (forms.ROOM, one)),
    CHAMBERS.map(lambda one: (forms.CHAMBER, one)),
    st.builds(
        FACILITY.station("bench").model_copy,
        update=st.fixed_dictionaries(
            {"shifts": st.lists(SHIFTS, min_size=1, max_size=3).map(tuple)}
        ),
    ).map(lambda one: (forms.BENCH, one)),
)


@settings(max_examples=25, deadline=None)
@given(PARTS, st.sampled_from(ALL_UNITS))
def test_a_form_that_is_sent_back_as_it_was_shown_changes_nothing(
    drawn: tuple[forms.PartForm, Room], units: Units
) -> None:
    form, part = drawn
    assert forms.read_part(form, forms.typed_of(form, part, units), units, base=part) == (part, [])


@settings(max_examples=25, deadline=None)
@given(PARTS, st.sampled_from([Lengths.MILLIMETRES, Lengths.CENTIMETRES, Lengths.METRES]))
def test_a_part_is_typed_anew_exactly_in_decimal_units(
    drawn: tuple[forms.PartForm, Room], length: Lengths
) -> None:
    form, part = drawn
    units = Units(length)
    assert forms.read_part(form, forms.typed_of(form, part, units), units) == (part, [])


@settings(max_examples=25, deadline=None)
@given(CHAMBERS)
def test_feet_and_inches_are_read_back_to_the_millimetre(chamber: Chamber) -> None:
    typed = forms.typed_of(forms.CHAMBER, chamber, IMPERIAL)
    assert forms.read_part(forms.CHAMBER, typed, IMPERIAL)[0] == chamber


@pytest.mark.parametrize("units", [Units(), IMPERIAL], ids=["metric", "feet"])
def test_a_whole_facility_is_set_up_by_its_forms(units: Units) -> None:
    whole = demo.FACILITY.model_copy(
        update={"holidays": (Holiday(day=date(2031, 5, 1), label="May day"),)}
    )
    typed = forms.typed_of(forms.HOUSE, whole, units)
    made, faults = forms.read_part(forms.HOUSE, typed, units)
    assert not faults
    assert isinstance(made, Facility)
    for station in whole.stations:
        form = forms.PARTS[station.kind]
        part, faults = forms.read_part(form, forms.typed_of(form, station, units), units)
        assert not faults
        made = forms.with_part(made, form, None, part)
    for form in (forms.PERSON, forms.CLEAN_DOWN, forms.HOLIDAY):
        for one in forms.parts_of(whole, form):
            part, faults = forms.read_part(form, forms.typed_of(form, one, units), units)
            assert not faults
            made = forms.with_part(made, form, None, part)
    if units == IMPERIAL:  # what Fahrenheit and feet a minute round is no more than shown
        assert forms.changes(whole, made, IMPERIAL) == []
    else:
        assert made == whole


def test_units_are_converted_and_what_is_no_number_stays() -> None:
    # 6 ft 2 in is 1879.6 mm and 68 °F is 20 °C, exactly: NIST SP 811, appendix B.
    typed = {"rack_mm": ["6 ft 2 in"], "temperature_c": ["68"], "label": ["Dry"]}
    told, faults = forms.in_other_units(forms.ROOM, typed, None, IMPERIAL, Units())
    assert not faults
    assert (told["rack_mm"], told["temperature_c"], told["label"]) == (["1880"], ["20"], ["Dry"])
    typed["temperature_c"] = ["warm"]
    told, faults = forms.in_other_units(forms.ROOM, typed, None, IMPERIAL, Units())
    assert told == typed
    assert [name for name, _ in faults] == ["temperature_c"]


@pytest.mark.parametrize(
    ("field", "text", "units", "told"),
    [
        ("rack_mm", "6", IMPERIAL, "no unit; write it as 6 ft 2 in"),
        ("rack_mm", "101 m", Units(), "give at most 100000 mm"),
        ("temperature_c", "68", Units(), "give at most 60 °C"),
        ("temperature_c", "200", IMPERIAL, "give at most 140 °F"),
        ("rh", "100", Units(), "give less than 100 %"),
        ("removal_g_h", "1e999999", Units(), "no number that can be used"),
        ("removal_g_h", "-1", Units(), "give at least 0 kg an hour"),
        ("label", " ", Units(), "fill this in"),
    ],
)
def test_a_fault_names_its_field_its_mend_and_its_unit(
    field: str, text: str, units: Units, told: str
) -> None:
    room = FACILITY.station("dry")
    typed = forms.typed_of(forms.ROOM, room, units) | {field: [text]}
    made, faults = forms.read_part(forms.ROOM, typed, units, base=room)
    assert made is None
    assert [name for name, _ in faults] == [field]
    assert told in faults[0][1]


def test_a_shift_that_ends_before_it_starts_is_named_in_its_row() -> None:
    bench = FACILITY.station("bench")
    typed = forms.typed_of(forms.BENCH, bench, Units()) | {"shifts-0-ends": ["07:00"]}
    faults = forms.read_part(forms.BENCH, typed, Units(), base=bench)[1]
    assert [name for name, _ in faults] == ["shifts-0-ends"]
    assert "split one that crosses midnight" in faults[0][1]


def test_a_short_id_is_made_from_the_name_and_differs() -> None:
    typed = forms.typed_of(forms.STORE, FACILITY.station("cold"), Units()) | {"id": [""]}
    part, _ = forms.read_part(forms.STORE, typed, Units(), taken=["cold-store"])
    assert part is not None
    assert forms.told_by(forms.STORE, part) == "cold-store-2"


# --- the pages -----------------------------------------------------------------------------------


def on_file(here: Installation) -> Facility:
    with here.database.read() as session:
        found = reading.facility(session).facility
    assert found is not None
    return found


def sheet(
    form: forms.PartForm, part: BaseModel, seen: Facility, **typed: str
) -> dict[str, list[str]]:
    told = forms.typed_of(form, part, Units()) | {"made_from": [seen.digest], "actor": ["Ada"]}
    told["was"] = [forms.told_by(form, part)]
    return told | {name: [value] for name, value in typed.items()}


def test_a_part_is_changed_added_and_taken_out(client: TestClient, here: Installation) -> None:
    furnish(here)
    room = FACILITY.station("dry")
    page = "/facility/setup/room/dry"
    assert "Rack in all, ft and in" in client.get(f"{page}?length=ft-in").text
    answer = client.post(page, data=sheet(forms.ROOM, room, FACILITY, label="Loft"))
    assert answer.status_code == 303
    assert on_file(here).station("dry") == room.model_copy(update={"label": "Loft"})
    day = Holiday(day=date(2031, 5, 1), label="May day")
    client.post("/facility/setup/holiday/new", data=sheet(forms.HOLIDAY, day, on_file(here)))
    assert on_file(here).holidays == (day,)
    gone = sheet(forms.HOLIDAY, day, on_file(here), act="out")
    assert client.post("/facility/setup/holiday/0", data=gone).status_code == 303
    assert on_file(here).holidays == ()


def test_another_persons_change_is_told_and_what_was_typed_is_kept(
    client: TestClient, here: Installation
) -> None:
    furnish(here)
    room = FACILITY.station("dry")
    theirs = forms.with_part(FACILITY, forms.ROOM, room, room.model_copy(update={"rack_mm": 9_000}))
    say(here, ev.FacilityDescribed(facility=theirs), actor="Bo Other")
    mine = sheet(forms.ROOM, room, FACILITY, label="Loft")
    answer = client.post("/facility/setup/room/dry", data=mine)
    assert answer.status_code == 422
    for told in ("Bo Other saved at", "Rack in all, mm: 20000, now 9000", 'value="Loft"'):
        assert told in answer.text
    assert on_file(here) == theirs


def test_what_the_log_refuses_is_said_and_kept(client: TestClient, here: Installation) -> None:
    furnish(here)
    bring(here, VASE)
    gone = sheet(forms.BENCH, FACILITY.station("bench"), FACILITY, act="out")
    answer = client.post("/facility/setup/bench/bench", data=gone)
    assert answer.status_code == 422
    assert "move them first" in answer.text
    assert on_file(here) == FACILITY


@pytest.mark.parametrize("path", ["tent/new", "room/nowhere", "person/9", "holiday/x"])
def test_what_is_not_there_is_not_found(client: TestClient, here: Installation, path: str) -> None:
    furnish(here)
    assert client.get(f"/facility/setup/{path}").status_code == 404


NASTY = st.text(max_size=30) | st.sampled_from(
    ["1e999999", "-0", "NaN", "9" * 300, "2031-02-30", "25:00", "08:00Z", "\x00", "10**9", "½ ft"]
)
NAMES = [entry.name for form in forms.PARTS.values() for entry in form.entries] + [
    f"{rows}-{row}-{name}"
    for rows in ("shifts", "hours")
    for row in ("0", "1", "99", "٣")
    for name in ("days", "starts", "ends", "people", "odd")
]


@settings(
    max_examples=25,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
@given(
    kind=st.sampled_from([*forms.PARTS, "house"]),
    key=st.sampled_from(["new", "0", "dry", "bench", "box"]),
    act=st.sampled_from(["save", "more", "units", "out", "?"]),
    typed=st.dictionaries(st.sampled_from(NAMES), st.lists(NASTY, max_size=3), max_size=12),
)
def test_no_form_however_odd_breaks_a_page(
    client: TestClient,
    here: Installation,
    kind: str,
    key: str,
    act: str,
    typed: dict[str, list[str]],
) -> None:
    with here.database.read() as session:
        if reading.facility(session).facility is None:
            furnish(here)
    sent = typed | {"act": [act], "actor": ["Ada"], "made_from": [on_file(here).digest]}
    path = f"/facility/setup/{kind}" + ("" if kind == "house" else f"/{key}")
    assert client.post(path, data=sent).status_code in {303, 422, 200}
    assert client.get("/facility/setup").status_code == 200


# --- what is missing -----------------------------------------------------------------------------


def book_of(facility: Facility) -> FacilityBook:
    return FacilityBook(facility=facility, programmes=[GAS, AIR])


DAY = date(2031, 3, 1)


def test_what_is_missing_is_said_before_a_plan_is_made() -> None:
    assert missing(book_of(FACILITY), DAY) == []
    assert "Begin there" in missing(FacilityBook(), DAY)[0]
    bare = FACILITY.model_copy(update={"stations": (), "licensed": ()})
    told = " ".join(missing(book_of(bare), DAY))
    for one in ("No chamber", "No cold store", "No room for this step: dry", "Nobody's licence"):
        assert one in told
    person = FACILITY.licensed[0]
    weekdays = person.hours[0].model_copy(update={"weekdays": (0, 1, 2, 3, 5, 6)})
    part_time = person.model_copy(update={"hours": (weekdays,)})
    rest = FACILITY.model_copy(update={"licensed": (part_time,)})
    assert missing(book_of(rest), DAY) == ["No one licensed works on Fridays."]


def test_a_licence_is_warned_of_before_it_runs_out() -> None:
    person = FACILITY.licensed[0]
    assert warned(person, DAY) == ""
    assert "in 30 days" in warned(person, date(2031, 12, 1))
    assert warned(person, date(2032, 1, 1)) == "Licence ran out on 2031-12-31"


def test_an_address_of_this_machine_alone_is_known(client: TestClient) -> None:
    assert reached_only_here("http://localhost:8000")
    assert not reached_only_here("https://lagan.example")
    page = client.get("/facility/setup").text
    assert "http://localhost:8000" in page
    assert "--base-url" in page
