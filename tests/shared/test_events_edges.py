"""The contract at its ends: the bytes that are hashed, the texts it takes, the faults it names.

The bytes of an event are those of RFC 8785 (keys in code-unit order, no space, no escape that
JSON does not ask for), written out here by hand; SHA-256 is that of the standard library.
"""

import json
import time
from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta, timezone
from decimal import Decimal
from hashlib import sha256
from typing import Any, get_args

import pytest
from pydantic import BaseModel, TypeAdapter, ValidationError

from shared import events as ev
from shared.facility import Facility, Room
from shared.programmes import Programme
from shared.vocabulary import (
    Agent,
    AreaResult,
    Decision,
    Extent,
    Hazard,
    Material,
    Measure,
    Phase,
    PhotoKind,
    PlanEditKind,
    Role,
    StepKind,
    StudioTask,
    Target,
    ValueBasis,
)
from tests.phones import PHONE_KEY
from tests.writers import LOSS, START, TAGS, Writer, noted, opened, tagged

TAG, OTHER_TAG, _ = TAGS
DIGEST = "0f" * 32
KILO = ev.Mass(value="1.5", unit="kg")
EUROS = ev.Money(amount="12.50", currency="EUR")

# --- bytes and digests ------------------------------------------------------------------------


def test_an_event_is_hashed_in_these_very_bytes() -> None:
    journal = ev.Journal("phone-a", "Europe/Dublin")
    event = journal.write(
        ev.HazardNoted(hazard=Hazard.SOOT, note='in the "salon" – Süd'),
        actor="An Invented Person",
        role=Role.CREW,
        at=START,
        loss=LOSS,
    )
    expected = (
        '{"actor":"An Invented Person",'
        '"body":{"hazard":"soot","note":"in the \\"salon\\" – Süd","type":"hazard_noted"},'
        '"clock":1,"device":"phone-a","device_time":"2031-05-06T09:00:00Z",'
        '"format":"lagan-event/1","id":"phone-a.1","loss":"QUAY-1","previous":"",'
        '"role":"crew","sequence":1,"zone":"Europe/Dublin"}'
    ).encode()
    assert ev.event_bytes(event) == expected
    assert ev.event_digest(event) == sha256(expected).hexdigest()
    assert journal.previous == sha256(expected).hexdigest()


def test_any_change_of_an_event_changes_its_digest() -> None:
    event = Writer().say(tagged())
    changes: dict[str, Any] = {
        "id": "phone-a.2",
        "device": "phone-b",
        "sequence": 2,
        "clock": 2,
        "previous": DIGEST,
        "device_time": "2031-05-06T09:01:01Z",
        "zone": "UTC",
        "actor": "somebody else",
        "role": Role.OFFICE,
        "loss": None,
        "body": {},
    }
    digests = [ev.event_digest(event.model_copy(update={k: v})) for k, v in changes.items()]
    assert len({ev.event_digest(event), *digests}) == len(changes) + 1


def test_a_body_is_written_without_what_was_not_said() -> None:
    assert ev.body_of(ev.ItemDescribed(tag=TAG, title="Harbour")) == {
        "type": "item_described",
        "tag": TAG,
        "title": "Harbour",
        "replaces": [],
    }
    assert ev.body_of(ev.DamageNoted.model_validate(noted().model_dump() | {"wet_since": START}))[
        "wet_since"
    ] in {"2031-05-06T09:00:00Z"}


def test_a_journal_goes_on_where_it_left_off() -> None:
    journal = ev.Journal("phone-a", "UTC", sequence=7, clock=20, previous=DIGEST)
    event = journal.write(noted(), actor="somebody", role=Role.LEAD, at=START)
    assert (event.id, event.sequence, event.clock, event.previous) == (
        "phone-a.8",
        8,
        21,
        DIGEST,
    )
    assert (event.zone, event.actor, event.role, event.loss) == ("UTC", "somebody", "lead", None)
    assert (journal.sequence, journal.clock, journal.previous) == (8, 21, ev.event_digest(event))


def test_an_event_names_the_loss_it_was_written_under() -> None:
    assert Writer().say(tagged(), loss="QUAY-2").loss == "QUAY-2"


def test_a_clock_seen_elsewhere_never_turns_ones_own_back() -> None:
    journal = ev.Journal("phone-a", "UTC", clock=9)
    for seen, clock in ((3, 9), (9, 9), (10, 10)):
        journal.saw(seen)
        assert journal.clock == clock


def test_events_are_ordered_by_clock_then_device_then_number() -> None:
    event = Writer().say(opened())
    placed = [
        event.model_copy(update={"clock": clock, "device": device, "sequence": sequence})
        for clock, device, sequence in [(1, "a", 9), (1, "b", 1), (1, "b", 2), (2, "a", 1)]
    ]
    arrived = [placed[place] for place in (2, 0, 3, 1)]
    assert sorted(arrived, key=lambda one: one.order) == placed


# --- times ------------------------------------------------------------------------------------


@pytest.fixture
def far_from_greenwich(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """The machine's own clock is set ten hours ahead of UTC (POSIX TZ counts westward)."""
    with monkeypatch.context() as patch:
        patch.setenv("TZ", "FAR-10")
        time.tzset()
        yield
    time.tzset()


@pytest.mark.usefixtures("far_from_greenwich")
@pytest.mark.parametrize(
    ("moment", "written"),
    [
        (datetime(2031, 5, 6, 9, tzinfo=UTC), "2031-05-06T09:00:00Z"),
        (
            datetime(2031, 5, 6, 9, 0, 0, 250_000, timezone(timedelta(hours=1))),
            "2031-05-06T08:00:00.250000Z",
        ),
        (
            datetime(2031, 1, 1, 1, tzinfo=timezone(timedelta(hours=5, minutes=30))),
            "2030-12-31T19:30:00Z",
        ),
        (datetime(2031, 1, 1, 23, tzinfo=timezone(-timedelta(hours=3))), "2031-01-02T02:00:00Z"),
    ],
)
def test_a_time_is_written_in_utc_wherever_the_machine_stands(
    moment: datetime, written: str
) -> None:
    assert ev.utc_text(moment) == written
    TypeAdapter(ev.UtcText).validate_python(written)


def test_a_time_without_a_zone_is_not_written() -> None:
    with pytest.raises(ValueError, match=r"^a time needs its zone$"):
        ev.utc_text(datetime(2031, 5, 6))  # noqa: DTZ001


# --- texts of the contract --------------------------------------------------------------------

TEXTS: dict[str, tuple[Any, list[str], list[str]]] = {
    "tag": (
        ev.Tag,
        ["0123456789ABC", "HJKMNPQRSTVWX", "ZZZZZZZZZZZZZ"],
        # I, L, O and U are not of the alphabet.
        ["", "0" * 12, "0" * 14, *("0" * 12 + letter for letter in "ILOUa"), "0" * 13 + "\n"],
    ),
    "reference": (
        ev.Ref,
        ["a", "9", "QUAY-1", "phone-a.12", "a_b", "A" + "-" * 63],
        ["", "-a", ".a", "_a", "a b", "a/b", "é", "a" * 65, "a\n"],
    ),
    "digest": (ev.Digest, [DIGEST], ["", DIGEST[1:], DIGEST + "0", DIGEST.upper(), "g" * 64]),
    "decimal": (
        ev.DecimalText,
        ["0", "-0", "-1", "0.5", "-0.000000001", "999999999999", "10.123456789"],
        ["", "1000000000000", "0.1234567890", "00", "-", "1.", ".1", " 1", "1 ", "1e1", "1\n"],
    ),
    "currency": (ev.Currency, ["EUR"], ["", "EU", "EURO", "eur", "E1R"]),
    "time": (
        ev.UtcText,
        ["2031-05-06T09:00:00Z", "2031-05-06T09:00:00.1Z", "2031-05-06T09:00:00.123456Z"],
        [
            "",
            "2031-05-06T09:00:00",
            "2031-05-06T09:00Z",
            "12031-05-06T09:00:00Z",
            "2031-05-06T09:00:00Z0",
            "2031-05-06 09:00:00Z",
            "2031-05-06T09:00:00+00:00",
            "2031-05-06T09:00:00.Z",
            "2031-05-06T09:00:00.1234567Z",
        ],
    ),
    "line": (ev.Line, ["", "x" * 300], ["x" * 301]),
    "name": (ev.Name, ["x", "x" * 300], ["", "  ", "x" * 301]),
    "text": (ev.Text, ["", " x ", "x" * 4000], ["x" * 4001]),
    "length unit": (ev.LengthUnit, ["mm", "cm", "m", "in", "ft"], ["", "km", "IN", '"']),
    "mass unit": (ev.MassUnit, ["g", "kg", "oz", "lb"], ["", "t", "KG"]),
    "gas unit": (ev.GasUnit, ["ppm", "mg/m3", "g/m3"], ["", "ppb", "mg/m³"]),
}


@pytest.mark.parametrize(
    ("kind", "text"), [(kind, text) for kind, (_, taken, _) in TEXTS.items() for text in taken]
)
def test_a_text_of_the_contract_comes_back_as_it_was_written(kind: str, text: str) -> None:
    assert TypeAdapter(TEXTS[kind][0]).validate_python(text) == text


@pytest.mark.parametrize(
    ("kind", "text"),
    [(kind, text) for kind, (_, _, refused) in TEXTS.items() for text in refused],
)
def test_a_text_that_is_not_of_the_contract_is_refused(kind: str, text: str) -> None:
    with pytest.raises(ValidationError):
        TypeAdapter(TEXTS[kind][0]).validate_python(text)


def test_lines_and_names_lose_the_space_around_them() -> None:
    assert TypeAdapter(ev.Line).validate_python("  a b \t") == "a b"
    assert TypeAdapter(ev.Name).validate_python("  a b \t") == "a b"


def test_money_is_counted_to_the_last_digit() -> None:
    assert EUROS.decimal == Decimal("12.50")
    assert str(ev.Money(amount="0.10", currency="EUR").decimal) == "0.10"


@pytest.mark.parametrize(
    ("floor", "room", "wall", "written"),
    [
        ("first floor", "salon", "north", "first floor, salon, north"),
        ("", "salon", "", "salon"),
        ("cellar", "", "east", "cellar, east"),
        ("", "", "", ""),
    ],
)
def test_a_spot_reads_from_the_floor_to_the_wall(
    floor: str, room: str, wall: str, written: str
) -> None:
    assert str(ev.Spot(floor=floor, room=room, wall=wall)) == written


# --- the bodies -------------------------------------------------------------------------------

FACILITY = Facility(
    id="house",
    label="Second house",
    zone="Europe/Dublin",
    stations=(
        Room(
            id="room-a",
            label="Drying room",
            serves=(StepKind.DRY,),
            rack_mm=9000,
            removal_g_h=500,
            temperature_c=21,
            rh=0.45,
        ),
    ),
)
PROGRAMME = Programme(
    id="carbon-1",
    version=1,
    label="Invented",
    family="carbon",
    agent=Agent.CARBON_AIR,
    targets=(Target.SMOKE_ODOUR,),
    temperature_c=(15, 25),
    rh=(0.4, 0.6),
    run_min=(60, 120),
    signed_by="An Invented Person",
    jurisdiction="Nowhere",
    expires=date(2032, 1, 1),
)
LATER = START + timedelta(hours=2)
MINE, ITS_LOSS, THE_HOUSE = f"item:{TAG}", "loss:*", "facility:"

# Every event type with the records it changes and whether it must name a loss.
BODIES: list[tuple[ev.Body, set[str], bool]] = [
    (opened(), {ITS_LOSS}, True),
    (ev.ClaimAdded(claim="c-1", insurer="i", owner="o", currency="EUR"), {ITS_LOSS}, True),
    (ev.AuthorisationRecorded(given_by="o", covers="all"), {ITS_LOSS}, True),
    (ev.HazardNoted(hazard=Hazard.SOOT), {ITS_LOSS}, True),
    (ev.CautionsAcknowledged(person="p", cautions=("soot-mask",)), {ITS_LOSS}, True),
    (tagged(), {MINE}, True),
    (ev.ItemDescribed(tag=TAG, title="Harbour"), {MINE}, False),
    (noted(), {MINE}, False),
    (ev.DamageWithdrawn(tag=TAG, damage=noted().damage, reason="r"), {MINE}, False),
    (ev.PhotoTaken(tag=TAG, photo=DIGEST, kind=PhotoKind.SITE), {MINE}, False),
    (
        ev.ValueStated(tag=TAG, basis=ValueBasis.DECLARED, value=EUROS, stated_by="o"),
        {MINE},
        False,
    ),
    (ev.TagReplaced(tag=TAG, new_tag=OTHER_TAG, reason="r"), {MINE, f"item:{OTHER_TAG}"}, False),
    (ev.ItemPacked(tag=TAG, container="crate-1"), {MINE}, False),
    (
        ev.ManifestClosed(
            manifest="m-1",
            vehicle="van",
            tags=(TAG, OTHER_TAG),
            leaves_at=START,
            expected_at=LATER,
        ),
        {"manifest:m-1", MINE, f"item:{OTHER_TAG}", ITS_LOSS},
        True,
    ),
    (ev.HandedOver(manifest="m-1", given_by="a", taken_by="b"), {"manifest:m-1"}, False),
    (ev.ManifestDelayed(manifest="m-1", expected_at=LATER, reason="r"), {"manifest:m-1"}, False),
    (ev.ItemReceived(tag=TAG, manifest="m-1", station="room-a"), {MINE, "manifest:m-1"}, False),
    (ev.ItemReceived(tag=TAG, station="room-a"), {MINE}, False),
    (ev.ItemMoved(tag=TAG, station="room-a"), {MINE}, False),
    (ev.FacilityDescribed(facility=FACILITY), {THE_HOUSE}, False),
    (
        ev.StationClosed(station="room-a", starts_at=START, ends_at=LATER, reason="r"),
        {THE_HOUSE},
        False,
    ),
    (ev.ProgrammeSigned(programme=PROGRAMME), {THE_HOUSE}, False),
    (
        ev.OverrideSigned(
            override="o-1",
            tags=(TAG, OTHER_TAG),
            agent=Agent.OZONE,
            materials=(Material.OIL_CANVAS,),
            reason="r",
            signed_by="s",
            expires=date(2031, 6, 1),
        ),
        {MINE, f"item:{OTHER_TAG}"},
        False,
    ),
    (
        ev.InstrumentRegistered(
            instrument="i-1", gas="ozone", detection_limit_ppm="0.01", calibrated_until=LATER
        ),
        {THE_HOUSE},
        False,
    ),
    (
        ev.SensorPlaced(
            sensor="s-1",
            name="s",
            station="box",
            measures=(Measure.HUMIDITY,),
            calibrated_until=LATER,
        ),
        {"sensor:s-1"},
        False,
    ),
    (ev.AirRead(station="dry", value="50", unit="%RH", taken_at=START), set(), False),
    (ev.Weighed(tag=TAG, mass=KILO, taken_at=START), {MINE}, False),
    (ev.MoistureRead(tag=TAG, percent="14.5", method="pins", taken_at=START), {MINE}, False),
    (
        ev.SurfaceRead(tag=TAG, temperature="20", unit="degC", rh_percent="61", taken_at=START),
        {MINE},
        False,
    ),
    (ev.MissingTold(manifest="m-1", tags=(TAG,), told="the driver"), {"manifest:m-1"}, False),
    (ev.StepDone(tag=TAG, step=StepKind.DRY, started_at=START, ended_at=LATER), {MINE}, False),
    (ev.PlanAdopted(plan=DIGEST, problem=DIGEST), {THE_HOUSE}, False),
    (
        ev.PlanEdited(
            edit="e-1",
            kind=PlanEditKind.HOLD,
            pieces=(TAG,),
            step="dry",
            waits_for="Ada",
            reason="r",
        ),
        {THE_HOUSE},
        False,
    ),
    (ev.PlanEditWithdrawn(edit="e-1", reason="r"), {THE_HOUSE}, False),
    (ev.PhoneEnrolled(phone="phone-a", name="Crew 1", key=PHONE_KEY), {"phone:phone-a"}, False),
    (
        ev.StudioPlanned(
            tag=TAG,
            tasks=(
                ev.PlannedTask(
                    task=StudioTask.CLEAN, method="dry-clean", hours="1.5", override="r"
                ),
            ),
            signed_by="c",
        ),
        {MINE},
        False,
    ),
    (
        ev.StudioAreaTested(
            tag=TAG,
            task=StudioTask.CLEAN,
            method="dry-clean",
            spot="left edge",
            result=AreaResult.GOOD,
            tested_by="c",
        ),
        {MINE},
        False,
    ),
    (
        ev.StudioTaskDone(
            tag=TAG,
            task=StudioTask.CLEAN,
            method="dry-clean",
            done_by="c",
            hours="2",
            used="none",
        ),
        {MINE},
        False,
    ),
    (ev.StudioTaskWithdrawn(tag=TAG, task=StudioTask.CLEAN, reason="sound"), {MINE}, False),
    (ev.PhoneRevoked(phone="phone-a", reason="lost"), {"phone:phone-a"}, False),
    (
        ev.RunOpened(run="r-1", station="c-1", programme="carbon-1", version=1, tags=(TAG,)),
        {"run:r-1", MINE},
        False,
    ),
    (ev.RunItemAdded(run="r-1", tag=TAG), {"run:r-1", MINE}, False),
    (ev.RunItemRemoved(run="r-1", tag=TAG, reason="wet"), {"run:r-1", MINE}, False),
    (ev.ItemLoaded(run="r-1", tag=TAG), {"run:r-1", MINE}, False),
    (ev.PhaseEntered(run="r-1", phase=Phase.SEALED, at=START), {"run:r-1"}, False),
    (ev.DosingChecked(run="r-1", checks=("door-seal",), at=START), {"run:r-1"}, False),
    (ev.DoseAdded(run="r-1", mass=KILO, at=START), {"run:r-1"}, False),
    (
        ev.GasRead(
            run="r-1",
            reading="g-1",
            zone="low",
            instrument="i-1",
            value="<LOD",
            unit="ppm",
            temperature_c="20",
            pressure_pa="101325",
            taken_at=START,
        ),
        {"run:r-1"},
        False,
    ),
    (
        ev.ClimateRead(run="r-1", zone="low", temperature_c="20", rh_percent="50", taken_at=START),
        {"run:r-1"},
        False,
    ),
    (ev.OxygenRead(run="r-1", zone="low", percent="20.9", taken_at=START), {"run:r-1"}, False),
    (ev.HoldClosed(run="r-1", starts_at=START, ends_at=LATER), {"run:r-1"}, False),
    (ev.ClearanceSigned(run="r-1", signer="s", readings=DIGEST), {"run:r-1"}, False),
    (ev.ChamberOpened(run="r-1", readings=DIGEST, at=START), {"run:r-1"}, False),
    (ev.DecisionMade(tag=TAG, decision=Decision.HOLD, decided_by="a"), {MINE}, False),
    (
        ev.ChargeAdded(tag=TAG, charge="c-1", what="w", quantity="2", unit="h", rate=EUROS),
        {MINE},
        False,
    ),
    (ev.ItemReturned(tag=TAG, received_by="o", condition="clean"), {MINE}, False),
    (ev.EventUndone(event="phone-a.3", subject="run:r-1", reason="slip"), {"run:r-1"}, False),
]
BY_TYPE = {body.type: body for body, _, _ in BODIES}
each_body = pytest.mark.parametrize(
    ("body", "changed", "needs_loss"), BODIES, ids=[body.type for body, _, _ in BODIES]
)


def test_the_contract_knows_each_of_its_types_by_name() -> None:
    members = get_args(get_args(ev.Body)[0])
    assert len(members) == len(BY_TYPE)
    names = {member.model_fields["type"].default for member in members}
    assert ev.known_types() == ev.KNOWN_TYPES == names == {body.type for body, _, _ in BODIES}


@each_body
def test_an_event_names_each_record_it_changes(
    body: ev.Body, changed: set[str], needs_loss: bool
) -> None:
    assert ev.subjects(body) == changed


@each_body
def test_a_body_comes_back_typed_from_its_json(
    body: ev.Body, changed: set[str], needs_loss: bool
) -> None:
    sent = json.loads(ev.event_bytes(Writer().say(body)))
    assert ev.decode(ev.Event.model_validate(sent)) == body


@each_body
def test_only_what_belongs_to_a_loss_must_name_one(
    body: ev.Body, changed: set[str], needs_loss: bool
) -> None:
    event = Writer().say(body, loss=None)
    if needs_loss:
        with pytest.raises(
            ev.EventError, match=f"^loss: an event of type {body.type} belongs to a loss; name it$"
        ):
            ev.decode(event)
    else:
        assert ev.decode(event) == body


@pytest.mark.parametrize(
    ("body", "field", "taken", "refused"),
    [
        (tagged(), "quantity", [1, 10_000], [0, 10_001]),
        (tagged(), "materials", [["wax"]], [[]]),
        (BY_TYPE["item_described"], "materials", [["wax"]], [[]]),
        (BY_TYPE["manifest_closed"], "tags", [[TAG], [TAG] * 20_000], [[], [TAG] * 20_001]),
        (BY_TYPE["override_signed"], "tags", [[TAG]], [[]]),
        (BY_TYPE["override_signed"], "materials", [["wax"]], [[]]),
        (
            BY_TYPE["instrument_registered"],
            "gas",
            ["o", "a" * 40, "co2_"],
            ["", "O", "2o", "_o", "a-b", "a" * 41],
        ),
        (BY_TYPE["run_opened"], "version", [1], [0]),
        (
            BY_TYPE["studio_task_done"],
            "hours",
            ["0.25", "1", "1.5", "12.0", "999.75"],
            ["0", "0.0", "-1", "1000", "", "an hour", "01"],
        ),
        (BY_TYPE["studio_planned"], "tasks", [], [[]]),
        (BY_TYPE["studio_area_tested"], "spot", ["left"], ["", " "]),
        (BY_TYPE["run_opened"], "tags", [[TAG]], [[]]),
        (BY_TYPE["gas_read"], "value", ["<LOD", "0", "-0.1"], ["<lod", "LOD", "< 1", ""]),
    ],
    ids=lambda value: type(value).__name__ if isinstance(value, BaseModel) else None,
)
def test_a_field_of_a_body_takes_its_range_and_no_more(
    body: BaseModel, field: str, taken: list[Any], refused: list[Any]
) -> None:
    event = Writer().say(body)
    for value in taken:
        read = ev.decode(event.model_copy(update={"body": event.body | {field: value}}))
        assert read is not None
        assert read.model_dump(mode="json")[field] == value
    for value in refused:
        wrong = event.model_copy(update={"body": event.body | {field: value}})
        with pytest.raises(ev.EventError, match=rf"^body: \w+\.{field}"):
            ev.decode(wrong)


def test_damage_reaches_part_of_a_piece_unless_said() -> None:
    assert noted().extent is Extent.PARTIAL
    assert noted().note == ""


def test_what_may_be_left_unsaid_is_empty() -> None:
    """Only what the shortest form of each body leaves out."""
    unsaid = {
        (type(body).__name__, field)
        for body, _, _ in BODIES
        for field in type(body).model_fields
        if getattr(body, field) == ""
    }
    assert unsaid == {
        ("ClaimAdded", "policy"),
        ("HazardNoted", "note"),
        ("DamageNoted", "note"),
        ("PhotoTaken", "caption"),
        ("ItemReceived", "condition"),
        ("ItemReceived", "reason"),
        ("ItemMoved", "reason"),
        ("MissingTold", "note"),
        ("SensorPlaced", "zone"),
        ("AirRead", "zone"),
        ("AirRead", "instrument"),
        ("Weighed", "instrument"),
        ("MoistureRead", "spot"),
        ("SurfaceRead", "spot"),
        ("SurfaceRead", "instrument"),
        ("StepDone", "note"),
        ("StudioPlanned", "note"),
        ("StudioAreaTested", "note"),
        ("StudioTaskDone", "note"),
        ("PhoneEnrolled", "holder"),
        ("PhaseEntered", "reason"),
        ("RunItemAdded", "reason"),
        ("ClearanceSigned", "licence_no"),
        ("DecisionMade", "reason"),
    }
    assert (ev.Spot().floor, ev.Spot().room, ev.Spot().wall) == ("", "", "")


def test_a_piece_is_one_piece_found_nowhere_in_particular_unless_said() -> None:
    piece = tagged()
    assert (piece.quantity, piece.found, piece.claim, piece.parent, piece.role) == (
        1,
        ev.Spot(),
        None,
        None,
        None,
    )


# --- the envelope and its faults --------------------------------------------------------------

ENVELOPE: dict[str, tuple[list[Any], list[Any]]] = {
    "format": (["lagan-event/1"], ["lagan-event/2", ""]),
    "id": (["a"], ["", "a b"]),
    "device": (["a"], ["", "a b"]),
    # 2**53 - 1 is the largest whole number that every JSON reader keeps (RFC 7493 section 2.2).
    "sequence": ([1, 9_007_199_254_740_991], [0, 9_007_199_254_740_992]),
    "clock": ([1, 9_007_199_254_740_991], [0, 9_007_199_254_740_992]),
    "previous": (["", DIGEST], ["0f", DIGEST.upper()]),
    "device_time": (["2031-05-06T09:00:00Z"], ["2031-05-06T09:00:00"]),
    "zone": (["x", "x" * 64], ["", "x" * 65]),
    "actor": (["x", "x" * 300], ["", "x" * 301]),
    "role": (["crew"], ["guest"]),
    "loss": ([None, "QUAY-1"], ["", "a b"]),
    "body": ([{}, {"type": "from_the_future"}], [None, [], "text"]),
}


@pytest.mark.parametrize("field", ENVELOPE)
def test_a_field_of_the_envelope_takes_its_range_and_no_more(field: str) -> None:
    sent = Writer().say(tagged()).model_dump(mode="json")
    taken, refused = ENVELOPE[field]
    for value in taken:
        read = ev.Event.model_validate(sent | {field: value})
        assert read.model_dump(mode="json") == sent | {field: value}
    for value in refused:
        with pytest.raises(ValidationError) as caught:
            ev.Event.model_validate(sent | {field: value})
        assert ev.describe(caught.value).startswith(f"{field}")


def test_no_field_of_the_envelope_has_a_default() -> None:
    sent = Writer().say(tagged()).model_dump(mode="json")
    assert set(sent) == set(ENVELOPE)
    for field in sent:
        with pytest.raises(ValidationError) as caught:
            ev.Event.model_validate({name: sent[name] for name in sent if name != field})
        assert ev.describe(caught.value) == f"{field}: Field required"


@pytest.mark.parametrize(
    ("body", "said"),
    [
        (
            {"type": "weighed", "tag": TAG, "mass": {"value": "heavy", "unit": "kg"}},
            r"^body: weighed\.mass\.value: String should match pattern",
        ),
        ({"type": "weighed", "tag": TAG}, r"^body: weighed\.mass: Field required$"),
        (
            {"type": "item_tagged", "tag": TAG, "object_type": "painting", "materials": ["x"]},
            r"^body: item_tagged\.materials\.0: Input should be ",
        ),
    ],
)
def test_a_fault_is_named_by_the_path_to_its_field(body: dict[str, Any], said: str) -> None:
    event = Writer().say(tagged()).model_copy(update={"body": body})
    with pytest.raises(ev.EventError, match=said):
        ev.decode(event)


def test_a_fault_of_the_whole_is_said_of_the_event() -> None:
    with pytest.raises(ValidationError) as caught:
        ev.Event.model_validate("text")
    assert ev.describe(caught.value).startswith("the event: Input should be")


@pytest.mark.parametrize("body", [{}, {"type": None}, {"type": "Item_Tagged"}])
def test_a_body_without_a_known_type_is_kept_and_not_decoded(body: dict[str, Any]) -> None:
    assert ev.decode(Writer().say(tagged()).model_copy(update={"body": body})) is None


def test_an_event_never_changes_and_takes_no_field_it_does_not_know() -> None:
    event = Writer().say(tagged())
    with pytest.raises(ValidationError, match="frozen"):
        event.clock = 9  # type: ignore[misc]
    with pytest.raises(ValidationError, match="colour"):
        ev.Event.model_validate(event.model_dump() | {"colour": "red"})
