"""Sensors: who may write, what is taken, what is refused and why, and that nothing counts twice."""

import itertools
import json
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from random import Random

import pytest
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st
from sqlmodel import select
from starlette.testclient import TestClient

from service.facility.sensors import make_token, units_of
from service.facility.sensors_push import AT_ONCE, PushAnswer, lines_of
from service.facility.sensors_sent import (
    MAX_PUSH_BYTES,
    MOST_READINGS,
    BodyError,
    ReadingError,
    Sent,
    read_csv,
    read_json,
    understood,
)
from service.installation import Installation
from service.log import reading
from service.log.append import FACILITY_TREE
from service.storage.tables import AirRow, LogRow, SampleRow, SensorTokenRow
from shared import events as ev
from shared.records import AirReading, Sensor
from shared.vocabulary import Measure, Phase, Role
from tests.service.conftest import Clock
from tests.service.facility.house import (
    LEAD,
    VASE,
    allow,
    bring,
    enter,
    furnish,
    hand_of,
    open_run,
    read_all,
    say,
)
from tests.service.facility.measured import (
    BOX_AIR,
    BOX_GAS,
    DRY,
    bearer,
    equip,
    push,
    push_csv,
    read,
    shown_secret,
)
from tests.service.facility.test_samples import through_the_migration
from tests.writers import START

KNOWN = Sensor(
    sensor=DRY,
    name="Invented",
    station="dry",
    zone="",
    measures=[Measure.TEMPERATURE, Measure.HUMIDITY],
    gas=None,
    calibrated_until=START + timedelta(days=300),
    least_seen=None,
    placed_at="2031-05-06T09:00:00Z",
    placed_by=LEAD,
)
EXAMPLE = itertools.count(1)
BOX = {
    "sensor": "dry-9",
    "name": "By the door",
    "spot": "dry/",
    "measures": ["temperature", "humidity"],
    "calibrated_until": "2031-12-31",
    "actor": LEAD,
}


@pytest.fixture
def secret(here: Installation) -> str:
    furnish(here)
    return equip(here)


def air(here: Installation, station: str = "dry") -> list[AirReading]:
    """The log of a place's air, whole."""
    with here.database.read() as session:
        return reading.air_of_station(session, station, "0", "9")


def loaded_run(here: Installation) -> None:
    bring(here, VASE)
    allow(here, VASE)
    open_run(here, VASE)


# --- pages --------------------------------------------------------------------------------------


def test_a_sensor_is_made_known_changed_and_shown(here: Installation, client: TestClient) -> None:
    furnish(here)
    assert client.post("/facility/sensors/new", data=BOX).status_code == 303
    moved = BOX | {"spot": "airing/", "calibrated_until": "2031-05-01"}
    assert client.post("/facility/sensors/dry-9", data=moved).status_code == 303
    page = client.get("/facility/sensors").text
    assert "By the door" in page and "Airing room" in page and "Overdue" in page
    form = client.get("/facility/sensors/dry-9").text
    assert 'value="2031-05-01"' in form
    with here.database.read() as session:
        log = [row.type for row in session.exec(select(LogRow))]
    assert log.count("sensor_placed") == 2


def test_a_gas_sensor_is_an_instrument_that_clearance_may_go_by(
    here: Installation, client: TestClient
) -> None:
    furnish(here)
    typed = BOX | {"sensor": "oz-9", "spot": "box/low", "measures": ["gas"]}
    page = client.post("/facility/sensors/new", data=typed)
    assert page.status_code == 422
    assert "Gas: choose which gas" in page.text and "Least it can see, ppm: fill" in page.text
    typed |= {"gas": "ozone", "least_seen": "0.01"}
    assert client.post("/facility/sensors/new", data=typed).status_code == 303
    with here.database.read() as session:
        known = reading.facility(session).instrument("oz-9")
    assert known is not None
    assert (known.gas, known.detection_limit_ppm) == ("ozone", "0.01")


@pytest.mark.parametrize(
    ("field", "typed", "sentence"),
    [
        ("sensor", "no spaces", "Short name: letters, digits"),
        ("sensor", DRY, "take another"),
        ("name", "", "Name: fill this in"),
        ("spot", "moon/", "Where it stands: choose"),
        ("measures", "mood", "Measures: tick"),
        ("calibrated_until", "soon", "Calibration due: give a day"),
        ("actor", " ", "Your name"),
    ],
)
def test_a_form_that_does_not_fit_comes_back_with_the_mend(
    here: Installation, secret: str, client: TestClient, field: str, typed: str, sentence: str
) -> None:
    page = client.post("/facility/sensors/new", data=BOX | {field: typed})
    assert page.status_code == 422
    assert sentence in page.text
    with here.database.read() as session:
        assert reading.sensor(session, "dry-9") is None


def test_a_token_is_shown_once_kept_as_a_digest_and_stopped_at_once(
    here: Installation, secret: str, client: TestClient
) -> None:
    page = client.post(
        "/facility/sensors/tokens", data={"name": "Desk", "sensors": [DRY], "actor": LEAD}
    )
    made = shown_secret(page.text)
    assert page.headers["cache-control"] == "no-store"
    assert made not in client.get("/facility/sensors").text
    assert made.encode() not in here.database.path.read_bytes()
    assert push(client, made, read())[0]["outcome"] == "stored"
    with here.database.read() as session:
        row = session.exec(select(SensorTokenRow).where(SensorTokenRow.name == "Desk")).one()
    path = f"/facility/sensors/tokens/{row.id}/revoke"
    assert "Reason: say why" in client.post(path, data={"actor": LEAD}).text
    assert client.post(path, data={"actor": LEAD, "reason": "lost"}).status_code == 303
    answer = client.post("/sensors/readings", json=read(value=51), headers=bearer(made))
    assert answer.status_code == 401
    assert answer.headers["www-authenticate"] == "Bearer"
    assert f"revoked by {LEAD}: lost" in answer.json()["detail"]
    client.post(path, data={"actor": "Other", "reason": "again"})
    assert f"by {LEAD}: lost" in client.get("/facility/sensors").text
    assert len(air(here)) == 1


def test_a_token_without_a_name_or_a_sensor_is_not_made(
    here: Installation, secret: str, client: TestClient
) -> None:
    page = client.post("/facility/sensors/tokens", data={"sensors": ["moon"]})
    assert page.status_code == 422
    assert "Who sends:" in page.text and "Sensors: tick" in page.text and "Your name" in page.text
    assert client.get("/facility/sensors/tokens/nothing/revoke").status_code == 404
    assert client.get("/facility/sensors/nothing").status_code == 404


# --- who may write ------------------------------------------------------------------------------


@pytest.mark.parametrize("head", [{}, {"authorization": "Basic x"}, {"authorization": "Bearer x"}])
def test_without_a_token_nothing_is_taken(
    here: Installation, secret: str, client: TestClient, head: dict[str, str]
) -> None:
    answer = client.post("/sensors/readings", json=read(), headers=head)
    assert answer.status_code == 401
    assert not air(here)


def test_a_token_writes_for_its_own_sensors_only(
    here: Installation, secret: str, client: TestClient
) -> None:
    mine = make_token(here, name="Small", sensors=[BOX_AIR], actor=LEAD).secret
    known, unknown = push(client, mine, read(DRY), read("moon"))
    assert known["why"] == "sensor: “dry-1” is not one of: box-air"
    assert unknown["why"] == known["why"].replace(DRY, "moon")
    assert not air(here)


# --- what is taken ------------------------------------------------------------------------------


def test_each_reading_is_answered_and_kept_as_it_was_written(
    here: Installation, secret: str, client: TestClient
) -> None:
    text = (
        '[{"sensor":"dry-1","time":"2031-05-06T11:55:00+02:00","value":50.20,"unit":"%RH"},'
        '{"sensor":"dry-1","time":"2031-05-06T09:55:00Z","value":"67.1","unit":"degF"},'
        '{"sensor":"dry-1","time":"2031-05-06T09:55:00Z","value":3}]'
    )
    head = {"content-type": "application/json"}
    answer = client.post("/sensors/readings", content=text, headers=bearer(secret) | head).json()
    assert (answer["stored"], answer["already_stored"], answer["refused"]) == (2, 0, 1)
    assert list(lines_of(PushAnswer.model_validate(answer).readings)) == [
        "line 3: unit: say it with every reading; dry-1 takes: degC, degF, %RH"
    ]
    kept = air(here)
    assert [(one.value, one.unit) for one in kept] == [("50.20", "%RH"), ("67.1", "degF")]
    assert kept[0].taken_at == kept[1].taken_at
    assert {one.sensor for one in kept} == {DRY}
    with here.database.read() as session:
        rows = reading.tree_rows(session, FACILITY_TREE)
        said = json.loads(rows[-1].data)
        assert (said["role"], said["actor"]) == (Role.SENSOR, "Gateway")
        assert any(row.reason.startswith("unit:") for row in reading.refused(session))
    assert "say it with every reading" in client.get("/office/refused").text


def test_a_table_is_taken_line_by_line(here: Installation, secret: str, client: TestClient) -> None:
    table = (
        "\ufeffSensor,Time,Value,Unit\r\n"
        "dry-1,2031-05-06T09:50:00Z,51,%RH\r\n"
        "\r\n"
        "dry-1,2031-05-06T09:51:00Z,warm,degC\r\n"
        "dry-1,2031-05-06T09:52:00Z,20\r\n"
        'dry-1,2031-05-06T09:53:00Z,"20.5",degC\r\n'
    )
    answer = push_csv(client, secret, table)
    assert [(one["line"], one["outcome"]) for one in answer.json()["readings"]] == [
        (2, "stored"),
        (4, "refused"),
        (5, "refused"),
        (6, "stored"),
    ]
    warm, short = (one["why"] for one in answer.json()["readings"][1:3])
    assert warm == "value: “warm” is no number; write digits, such as 21.5"
    assert short == "3 cells, but the heads are 4"
    assert [one.value for one in air(here)] == ["51", "20.5"]


@pytest.mark.parametrize(
    ("change", "why"),
    [
        ({"unit": "C"}, "unit: “C” is not taken; dry-1 takes: degC, degF, %RH"),
        ({"unit": "ppm"}, "unit: “ppm” is not taken"),
        ({"value": "NaN"}, "value: “NaN” is no number"),
        ({"value": "1e15"}, "value: “1e15” is no number"),
        ({"value": ""}, "value: give the number"),
        ({"value": "101"}, "value: 101 %RH can't be; it lies from 0 to 100"),
        ({"value": "<LOD"}, "value: “<LOD” is no number"),
        ({"value": "-300", "unit": "degC"}, "value: temperature: -300"),
        ({"time": ""}, "time: say when it was read; write 2031"),
        ({"time": "noon"}, "time: “noon” is no date and time"),
        ({"time": "2031-05-06T09:55:00"}, "time: “2031-05-06T09:55:00” has no zone"),
        ({"time": "0001-01-01T00:00:00+14:00"}, "is no date and time"),
        ({"sensor": ""}, "sensor: name one of: box-air, box-gas, dry-1"),
        ({"units": "%RH"}, "units: no field of a reading; send sensor, time, value, unit"),
        ({"value": [1]}, "value: write it as text or as a number"),
        ({"value": None}, "value: write it as text or as a number"),
        ({"temperature_c": "x"}, "temperature_c: “x” is no number"),
    ],
)
def test_what_is_refused_is_named_by_its_field_with_the_mend(
    change: dict[str, object], why: str
) -> None:
    (sent,) = read_json(json.dumps(read() | change).encode())
    with pytest.raises(ReadingError) as refused:
        understood(sent, {DRY: KNOWN}, (DRY, BOX_GAS, BOX_AIR))
    assert why in str(refused.value)


def test_one_bad_reading_holds_up_no_other_and_is_not_lost(
    here: Installation, secret: str, client: TestClient
) -> None:
    answer = push(client, secret, read(unit="C"), read(value=44))
    assert [one["outcome"] for one in answer] == ["refused", "stored"]
    assert [one.value for one in air(here)] == ["44"]
    with here.database.read() as session:
        assert len(reading.refused(session)) == 1


@pytest.mark.parametrize(
    ("read_body", "body", "words"),
    [
        (read_json, b"{", "no JSON"),
        (read_json, b"[" * 100_000, "no JSON"),
        (read_json, b"[" + b"1," * MOST_READINGS + b"1]", "send them in parts"),
        (read_csv, b"\xff", "UTF-8"),
        (read_csv, b"", "missing: sensor, time, value, unit"),
        (read_csv, b"sensor,time,value\n", "missing: unit"),
        (read_csv, b"sensor,time,value,unit,mood\n", "line 1"),
        (read_csv, b"sensor,time,value,unit,unit\n", "line 1"),
        (read_csv, b'sensor,time,value,unit\n"a"b,c\n', "line 2"),
    ],
)
def test_a_body_that_cannot_be_read_is_refused_whole(
    read_body: Callable[[bytes], list[Sent]], body: bytes, words: str
) -> None:
    with pytest.raises(BodyError, match=words):
        read_body(body)


def test_the_door_says_what_it_takes(here: Installation, secret: str, client: TestClient) -> None:
    def answer(kind: str, body: bytes) -> tuple[int, str]:
        head = bearer(secret) | {"content-type": kind}
        said = client.post("/sensors/readings", content=body, headers=head)
        return said.status_code, said.json()["detail"]

    assert answer("text/plain", b"x")[0] == 415
    status, words = answer("application/json", b"{")
    assert status == 422
    assert words.startswith("nothing was stored: this is no JSON")
    status, words = answer("text/csv", b" " * (MAX_PUSH_BYTES + 1))
    assert status == 413
    assert "send it in parts" in words


@settings(max_examples=200)
@given(
    body=st.one_of(
        st.binary(max_size=200),
        st.text(alphabet='sensor,timevaluunt0123-:TZ%RH."\n', max_size=80).map(
            lambda text: f"sensor,time,value,unit\n{text}".encode()
        ),
        st.recursive(
            st.none() | st.booleans() | st.floats() | st.text(max_size=8),
            lambda inner: (
                st.lists(inner, max_size=3)
                | st.dictionaries(
                    st.sampled_from(["sensor", "time", "value", "unit", "readings", "x"]), inner
                )
            ),
            max_leaves=8,
        ).map(lambda one: json.dumps(one).encode()),
    ),
    read_body=st.sampled_from([read_json, read_csv]),
)
def test_whatever_is_sent_is_understood_or_refused_in_words(
    body: bytes, read_body: Callable[[bytes], list[Sent]]
) -> None:
    try:
        found = read_body(body)
    except BodyError as error:
        assert str(error)
        return
    for one in found:
        try:
            assert understood(one, {DRY: KNOWN}, (DRY,)).unit in units_of(KNOWN)
        except ReadingError as error:
            assert str(error)


@given(
    value=st.decimals(0, 100, allow_nan=False, places=4),
    at=st.datetimes(timezones=st.timezones(), allow_imaginary=False),
)
def test_the_same_reading_has_the_same_name_in_either_form(value: Decimal, at: datetime) -> None:
    assume(2 <= at.year <= 9998)
    said = read(value=str(value), at=at.isoformat())
    (by_json,) = read_json(json.dumps(said).encode())
    table = f"sensor,time,value,unit\ndry-1,{at.astimezone(UTC).isoformat()},{value},%RH\n"
    (by_csv,) = read_csv(table.encode())
    names = {understood(one, {DRY: KNOWN}, (DRY,)).name for one in (by_json, by_csv)}
    assert len(names) == 1


# --- once each ----------------------------------------------------------------------------------


def test_what_is_sent_again_is_stored_already(
    here: Installation, secret: str, client: TestClient
) -> None:
    first = push(client, secret, read(), read())
    again = push(client, secret, read(at="2031-05-06T11:55:00+02:00"))
    other = push(client, secret, read(value=51))
    assert [one["outcome"] for one in first] == ["stored", "already_stored"]
    assert again[0]["outcome"] == "already_stored"
    assert other[0]["outcome"] == "stored", "two values at one moment contradict and are both kept"
    assert len(air(here)) == 2


@settings(max_examples=6, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(seed=st.integers(0, 2**32), count=st.integers(1, 15))
def test_any_parts_order_and_repetition_store_each_reading_once(
    here: Installation, client: TestClient, seed: int, count: int
) -> None:
    with here.database.read() as session:
        known = reading.sensors(session)
    if not known:
        furnish(here)
        equip(here)
    mine = make_token(here, name="Any", sensors=[DRY], actor=LEAD).secret
    before = len(air(here))
    # A moment of its own for each example: the installation is the same for all of them.
    at = (START - timedelta(seconds=next(EXAMPLE))).isoformat()
    told = [read(value=50 + n / 100, at=at) for n in range(count)]
    chance = Random(seed)
    sent = [one for one in told for _ in range(chance.randint(1, 3))]
    chance.shuffle(sent)
    answers = []
    while sent:
        size = chance.randint(1, 8)
        answers += push(client, mine, *sent[:size])
        sent = sent[size:]
    stored = [one for one in answers if one["outcome"] == "stored"]
    assert {one["outcome"] for one in answers} <= {"stored", "already_stored"}
    assert len(air(here)) - before == len(stored) == count


def test_more_than_one_part_is_stored_whole(
    here: Installation, secret: str, client: TestClient
) -> None:
    told = [read(value=n / 10) for n in range(AT_ONCE + 5)]
    assert {one["outcome"] for one in push(client, secret, *told)} == {"stored"}
    assert len(air(here)) == AT_ONCE + 5


# --- when it comes ------------------------------------------------------------------------------


def test_late_early_and_out_of_order_are_kept_and_marked(
    here: Installation, secret: str, client: TestClient, clock: Clock
) -> None:
    answers = push(
        client,
        secret,
        read(value=1, at="2031-05-06T09:59:00Z"),
        read(value=2, at="2031-05-06T10:02:01Z"),
        read(value=3, at="2031-05-06T09:58:00Z"),
        read(value=4, at="2031-05-06T10:02:00Z"),
        read(value=5, at="1970-01-01T00:00:07Z"),
    )
    assert [one["marks"] for one in answers] == [
        [],
        ["from the future"],
        ["out of order"],
        [],
        ["late", "out of order"],
    ]
    assert {one["outcome"] for one in answers} == {"stored"}
    assert len(air(here)) == 5
    assert "4 %RH" in client.get("/facility/sensors").text


# --- chambers -----------------------------------------------------------------------------------


def test_readings_of_a_chamber_go_into_its_run_while_there_is_one(
    here: Installation, secret: str, client: TestClient, clock: Clock
) -> None:
    push(client, secret, read(BOX_GAS, "0.5", "ppm"))
    loaded_run(here)
    now = "2031-05-06T10:00:00Z"
    push(
        client,
        secret,
        read(BOX_GAS, "0.25", "ppm", now),
        read(BOX_GAS, "<LOD", "ppm", now),
        read(BOX_AIR, "68", "degF", now),
        read(BOX_AIR, "45", "%RH", now),
        read(BOX_AIR, "20.8", "%vol", now),
        read(BOX_GAS, "0.1", "ppm", "2031-05-06T09:59:00Z"),
    )
    with here.database.read() as session:
        run = reading.run(session, "run-1")
    assert run is not None
    assert [(one.value, one.instrument, one.zone) for one in run.gas] == [
        ("0.25", BOX_GAS, "low"),
        ("<LOD", BOX_GAS, "low"),
    ]
    assert [(one.temperature_c, one.rh_percent, one.sensor) for one in run.climate] == [
        ("20.0000", None, BOX_AIR),
        (None, "45", BOX_AIR),
    ]
    assert [(one.percent, one.sensor) for one in run.oxygen] == [("20.8", BOX_AIR)]
    assert [one.value for one in air(here, "box")] == ["0.5", "0.1"], "taken before it was opened"
    assert client.get("/facility/runs/run-1").status_code == 200


def test_a_gas_by_mass_needs_the_air_at_the_sensor(
    here: Installation, secret: str, client: TestClient
) -> None:
    loaded_run(here)
    now = "2031-05-06T10:00:00Z"
    bare = read(BOX_GAS, "0.2", "mg/m3", now)
    refused, taken = push(
        client, secret, bare, bare | {"temperature_c": 25, "pressure_pa": "101325"}
    )
    assert refused["why"].startswith("temperature_c, pressure_pa: mg/m3 needs both")
    assert taken["outcome"] == "stored"
    with here.database.read() as session:
        run = reading.run(session, "run-1")
    assert run is not None
    assert (run.gas[0].temperature_c, run.gas[0].pressure_pa) == ("25", "101325")


def test_pushed_readings_clear_nothing_by_their_clock(
    here: Installation, secret: str, client: TestClient, clock: Clock
) -> None:
    loaded_run(here)
    enter_airing(here)
    ahead = (clock.at + timedelta(hours=1)).isoformat()
    push(client, secret, read(BOX_GAS, "0.01", "ppm", ahead), read(BOX_AIR, "20.9", "%vol", ahead))
    clearance = hand_of(here).clearance
    assert not clearance.may_open
    assert any("future" in one for one in clearance.reasons)
    before = len(clearance.reasons)
    push(client, secret, read(BOX_GAS, "7", "ppm", clock.at.isoformat()))
    read_all(here)
    assert not hand_of(here).clearance.may_open
    assert before


def enter_airing(here: Installation) -> None:
    say(here, ev.ItemLoaded(run="run-1", tag=VASE))
    enter(here, Phase.SEALED, Phase.DOSING, Phase.AIRING)


def test_every_reading_costs_one_row_beside_the_log(
    here: Installation, secret: str, client: TestClient
) -> None:
    loaded_run(here)
    now = "2031-05-06T10:00:00Z"
    with here.database.read() as session:
        before = len(session.exec(select(LogRow)).all())
    push(client, secret, read(), read(BOX_AIR, "45", "%RH", now))
    with here.database.read() as session:
        assert len(session.exec(select(LogRow)).all()) == before + 2
        assert len(session.exec(select(AirRow)).all()) == 1
        assert len(session.exec(select(SampleRow)).all()) == 1


def test_the_schema_goes_back_and_forth_with_the_air(
    here: Installation, secret: str, client: TestClient
) -> None:
    push(client, secret, read(), read(value=3, at="2031-05-06T10:00:00.25+02:00"))
    before = air(here)
    through_the_migration(here, "0003", "0004")
    assert air(here) == before
    assert len(before) == 2
