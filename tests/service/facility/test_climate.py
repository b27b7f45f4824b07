"""The air of a room: by hand, by file and by push; band, excursions, falls, and the picture."""

import math
from datetime import datetime, timedelta
from xml.etree import ElementTree as ET

import psychrolib
import pytest
from hypothesis import given
from hypothesis import strategies as st
from starlette.testclient import TestClient

from service.facility.climate import (
    Band,
    Window,
    band_of,
    caps_of,
    climate_plot,
    dew_point_c,
    excursions,
    humidities,
    marked,
    temperatures_c,
    thinned,
)
from service.installation import Installation
from shared import events as ev
from shared.facility import Room
from shared.facts import facts
from shared.records import AirReading, Item
from shared.vocabulary import Damage, Material
from tests.service.conftest import Clock
from tests.service.facility.house import (
    CANVAS,
    FACILITY,
    LEAD,
    PANE,
    bring,
    furnish,
    say,
)
from tests.service.facility.measured import equip, push, read
from tests.service.facility.test_sensors import air
from tests.writers import START

KNOWN = facts()
BAND = Band((18.0, 20.0), (45.0, 55.0), "for the tests")
ROOM = FACILITY.station("dry")


def said(
    value: str, unit: str = "%RH", hour: float = 0, sensor: str | None = "s", late_h: float = 0
) -> AirReading:
    at = START + timedelta(hours=hour)
    return AirReading.model_validate(
        {
            "event": f"e{hour}",
            "sensor": sensor,
            "instrument": "",
            "zone": "",
            "value": value,
            "unit": unit,
            "taken_at": at,
            "received_at": at + timedelta(hours=late_h),
            "actor": LEAD,
        }
    )


def piece(*materials: Material) -> Item:
    return Item(tag=PANE, materials=list(materials))


def fields(**typed: str) -> dict[str, str]:
    return {"actor": LEAD, "instrument": "Meter 3"} | typed


# --- what is wanted -----------------------------------------------------------------------------


def test_the_band_is_what_the_tables_want_for_what_stands_there() -> None:
    assert isinstance(ROOM, Room)
    one = band_of(ROOM, [piece(Material.PRINT_PAPER)], KNOWN)
    paper = KNOWN.room_for([Material.PRINT_PAPER])
    assert one.rh == (paper.rh_low_percent, paper.rh_high_percent)
    assert one.t_c == (paper.t_low_c, paper.t_high_c)
    none = band_of(ROOM, [], KNOWN)
    assert (none.t_c, none.rh) == ((18.0, 22.0), (45.0, 55.0))
    torn = band_of(ROOM, [piece(Material.PRINT_PAPER), piece(Material.IRON)], KNOWN)
    assert torn.rh == none.rh
    assert "no air suits all" in torn.why


def test_a_fall_of_humidity_faster_than_the_cap_is_named() -> None:
    panel = [piece(Material.PANEL_PAINTING)]
    slow = humidities([said(str(75 - day / 2), hour=24 * day) for day in range(8)])
    fast = humidities([said(str(75 - day), hour=24 * day) for day in range(8)])
    (kept,), (broken,) = caps_of(panel, slow, KNOWN), caps_of(panel, fast, KNOWN)
    assert not kept.broken and kept.fell == pytest.approx(3.5)
    assert broken.broken and broken.fell == pytest.approx(7)
    assert "no more than 5 % RH down in 7 days. It fell 7 %" in broken.words
    assert not caps_of(panel, {}, KNOWN)[0].broken
    assert not caps_of([piece(Material.PRINT_PAPER)], fast, KNOWN)


# --- what went outside --------------------------------------------------------------------------


def test_each_stretch_outside_the_band_has_its_farthest_value() -> None:
    rh = humidities(
        [said(value, hour=n / 2) for n, value in enumerate(["50", "56", "61", "58", "55", "40"])]
    )
    found = excursions({}, rh, BAND, START + timedelta(hours=3))
    assert [(one.farthest, one.lasts) for one in found] == [(40, True), (61, False)]
    assert found[1].starts == START + timedelta(hours=0.5)
    assert found[1].ends == START + timedelta(hours=1.5)


def test_a_gap_ends_a_stretch_and_nothing_old_still_lasts() -> None:
    rh = humidities([said("60", hour=0), said("60", hour=5)])
    found = excursions({}, rh, BAND, START + timedelta(hours=24))
    assert [one.lasts for one in found] == [False, False]


def test_readings_from_the_future_are_listed_and_not_drawn() -> None:
    ahead = said("90", hour=5, late_h=-4)
    assert not humidities([ahead])
    assert [one.marks for one in marked([ahead, said("50", hour=1)])] == [["from the future"], []]


def test_fahrenheit_is_drawn_in_celsius() -> None:
    # 68 °F is 20 °C: NIST SP 811, B.8.
    ((at, t_c),) = temperatures_c([said("68", "degF")])["s"]
    assert (at, round(t_c, 9)) == (START, 20.0)


@pytest.mark.parametrize(("t_c", "rh"), [(20.0, 50.0), (16.0, 75.0), (25.5, 31.0)])
def test_the_dew_point_agrees_with_psychrolib(t_c: float, rh: float) -> None:
    psychrolib.SetUnitSystem(psychrolib.SI)
    found = dew_point_c(temperatures_c([said(str(t_c), "degC")]), humidities([said(str(rh))]))
    assert found == pytest.approx(psychrolib.GetTDewPointFromRelHum(t_c, rh / 100), abs=0.05)


# --- the picture --------------------------------------------------------------------------------


@given(
    values=st.lists(st.floats(0, 100), min_size=1, max_size=2000),
    places=st.integers(1, 50),
)
def test_a_thinned_curve_keeps_its_extremes_and_its_order(values: list[float], places: int) -> None:
    points = [(float(n), value) for n, value in enumerate(values)]
    kept = thinned(points, places)
    assert len(kept) <= max(2 * places, 1)
    assert set(kept) <= set(points)
    assert kept == sorted(kept)
    assert {min(values), max(values)} <= {value for _, value in kept}


def test_the_picture_and_its_table_show_both_quantities() -> None:
    readings = [said(f"{50 + 8 * math.sin(n / 9):.2f}", hour=n / 20) for n in range(400)]
    readings += [said("19.5", "degC", hour=n, sensor="<b>") for n in range(0, 20, 5)]
    window = Window(START, START + timedelta(days=1), "Europe/Dublin")
    plot = climate_plot(temperatures_c(readings), humidities(readings), BAND, window)
    assert plot is not None
    drawn = ET.fromstring(plot.picture)
    words = [one.text for one in drawn.iter("{http://www.w3.org/2000/svg}text")]
    assert {"Temperature, °C", "Relative humidity, %", "<b>"} <= set(words)
    assert sum(int(row[3]) for row in plot.rows) == len(readings)
    assert climate_plot({}, {}, BAND, window) is None


# --- pages --------------------------------------------------------------------------------------


def test_a_person_enters_a_reading_and_sees_it(here: Installation, client: TestClient) -> None:
    furnish(here)
    path = "/facility/climate/dry"
    typed = fields(temperature="68", temperature_unit="degF", rh="61")
    assert client.post(f"{path}/readings", data=typed).status_code == 303
    kept = air(here)
    assert [(one.value, one.unit, one.instrument) for one in kept] == [
        ("68", "degF", "Meter 3"),
        ("61", "%RH", "Meter 3"),
    ]
    page = client.get(path).text
    assert "Set point 20 °C, 50 % RH" in page
    assert "Relative humidity, by hand" in page and "still" in page
    assert "Outside its band: relative humidity" in client.get("/facility/climate").text


@pytest.mark.parametrize(
    ("typed", "sentence"),
    [
        ({}, "Write the temperature, the humidity or both"),
        ({"temperature": "20"}, "Unit: choose °C or °F"),
        ({"temperature": "warm", "temperature_unit": "degC"}, "Temperature: “warm” is no number"),
        ({"temperature": "2000", "temperature_unit": "degC"}, "look at the digits"),
        ({"rh": "150"}, "it lies from 0 to 100"),
        ({"rh": "50", "taken_at": "noon"}, "Read at: write a date"),
        ({"rh": "50", "actor": " "}, "Your name"),
    ],
)
def test_what_was_typed_comes_back_with_the_mend(
    here: Installation, client: TestClient, typed: dict[str, str], sentence: str
) -> None:
    furnish(here)
    page = client.post("/facility/climate/dry/readings", data=fields(**typed))
    assert page.status_code == 422
    assert sentence in page.text
    assert "Meter 3" in page.text
    assert not air(here)


def test_a_file_is_taken_once_and_its_faults_are_shown_by_line(
    here: Installation, client: TestClient
) -> None:
    furnish(here)
    secret = equip(here)
    push(client, secret, read(value=50))
    table = (
        "sensor,time,value,unit\n"
        "dry-1,2031-05-06T09:55:00Z,50,%RH\n"
        "dry-1,2031-05-06T09:00:00Z,49,%RH\n"
        "box-air,2031-05-06T09:00:00Z,49,%RH\n"
    )

    def bring_file(data: str, actor: str = LEAD) -> str:
        files = {"file": ("log.csv", data.encode(), "text/csv")}
        return client.post("/facility/climate/dry/file", files=files, data={"actor": actor}).text

    page = bring_file(table)
    assert "1 readings stored, 1 stored already, 1 refused." in page
    assert "Line 4: sensor: “box-air” is not one of: dry-1" in page
    assert "Late" in page and "Out of order" in page
    assert len(air(here)) == 2
    assert "CSV file that is not empty" in bring_file("")
    assert "missing: unit" in bring_file("sensor,time,value\n")
    assert "Your name" in bring_file(table, " ")


def test_pieces_in_the_room_set_the_band_and_a_place_that_is_not_there_is_none(
    here: Installation, client: TestClient, clock: Clock
) -> None:
    furnish(here)
    bring(here, CANVAS, Damage.SOAKED, materials=(Material.OIL_CANVAS,))
    say(here, ev.ItemMoved(tag=CANVAS, station="dry"))
    say(here, ev.AirRead(station="cold", value="-25", unit="degC", taken_at=clock.at))
    typed = fields(rh="52", taken_at=datetime.isoformat(clock.at + timedelta(minutes=30)))
    assert client.post("/facility/climate/dry/readings", data=typed).status_code == 303
    page = client.get("/facility/climate/dry?span=week").text
    assert "for what stands here: paintings on canvas" in page
    assert "-25.0 °C" in client.get("/facility/climate").text
    assert client.get("/facility/climate/cold?span=year").status_code == 200
    assert client.get("/facility/climate/moon").status_code == 404
