"""What each event leaves behind in a record, field by field.

The site, the pieces and the people are invented.
"""

from datetime import date, datetime, timedelta
from typing import Any

import pytest
from pydantic import ValidationError

from shared import events as ev
from shared.facility import Chamber, Facility, Room
from shared.programmes import Programme
from shared.records import (
    Authorisation,
    Charge,
    Claim,
    ClimateReading,
    Closure,
    Conflict,
    Custody,
    DamageSeen,
    Dose,
    Entry,
    FacilityBook,
    GasReading,
    Handover,
    Hold,
    Instrument,
    Item,
    Loss,
    Manifest,
    OverrideOnFile,
    OxygenReading,
    PhaseChange,
    Photo,
    Run,
    Said,
    Signature,
    Step,
    Valuation,
    Verdict,
    Weighing,
    fold,
    fold_facility,
    fold_item,
    fold_loss,
    fold_manifest,
    fold_run,
    standing,
)
from shared.vocabulary import (
    Agent,
    Damage,
    Decision,
    Extent,
    Hazard,
    Material,
    ObjectType,
    PartRole,
    Peril,
    Phase,
    PhotoKind,
    Role,
    Significance,
    StepKind,
    Target,
    ValueBasis,
    WaterCategory,
)
from tests.phones import PHONE_KEY
from tests.writers import LOSS, START, TAGS, Writer, noted, opened, tagged

TAG, OTHER_TAG, THIRD_TAG = TAGS
LATER = START + timedelta(hours=2)
DIGEST = "0f" * 32
OTHER_DIGEST = "f0" * 32
KILO = ev.Mass(value="1.5", unit="kg")
EUROS = ev.Money(amount="12.50", currency="EUR")


def came_in(event: ev.Event, position: int = 1) -> Entry:
    """The event as the log keeps it, received an hour after the start for each place."""
    return Entry(
        position=position,
        received_at=START + timedelta(hours=position),
        digest=ev.event_digest(event),
        event=event,
        body=ev.decode(event),
    )


def entries(*events: ev.Event) -> list[Entry]:
    return [came_in(event, position) for position, event in enumerate(events, 1)]


def item_of(*events: ev.Event) -> Item:
    item = fold_item(TAG, entries(*events))
    assert item is not None
    return item


def told(*bodies: ev.Body) -> Item:
    """The piece after one phone tagged it and said these."""
    writer = Writer()
    return item_of(writer.say(tagged()), *(writer.say(body) for body in bodies))


SECOND = "2031-05-06T09:02:00Z"
"""When the second event of a writer was written."""

# --- a piece ----------------------------------------------------------------------------------


def test_a_piece_newly_tagged_is_all_that_its_tag_says() -> None:
    writer = Writer()
    event = writer.say(
        tagged(
            claim="claim-1",
            parent=OTHER_TAG,
            role=PartRole.FRAME,
            quantity=3,
            found=ev.Spot(room="salon"),
            materials=(Material.WOOD, Material.GLASS),
            object_type=ObjectType.FRAME,
        )
    )
    assert item_of(event) == Item(
        tag=TAG,
        tags=[TAG],
        loss=LOSS,
        claim="claim-1",
        parent=OTHER_TAG,
        role=PartRole.FRAME,
        quantity=3,
        object_type=ObjectType.FRAME,
        materials=[Material.WOOD, Material.GLASS],
        found=ev.Spot(room="salon"),
        heads={
            name: ["phone-a.1"]
            for name in ("quantity", "object_type", "materials", "found", "claim")
        },
        custody=[
            Custody(
                event="phone-a.1",
                type="item_tagged",
                at="2031-05-06T09:01:00Z",
                actor="holder of phone-a",
                role=Role.CREW,
            )
        ],
    )


def test_a_piece_of_no_claim_has_no_claim_to_dispute() -> None:
    item = told()
    assert item.claim is None
    assert "claim" not in item.heads


def test_what_nothing_was_said_of_is_empty() -> None:
    plain = Item(tag=TAG)
    assert plain.quantity == 1
    assert plain.object_type is ObjectType.OTHER
    assert plain.significance is Significance.ORDINARY
    assert plain.conservator_only is False
    assert {
        getattr(plain, name)
        for name in ("title", "maker", "period", "subject", "medium", "inscriptions", "features")
    } == {""}
    assert plain.description == plain.condition_at_receipt == plain.condition_at_return == ""
    assert plain.steps_done == frozenset()


DESCRIBED: dict[str, Any] = {
    "title": "Harbour",
    "maker": "an invented painter",
    "period": "about 1900",
    "subject": "boats",
    "medium": "oil on canvas",
    "inscriptions": "none",
    "features": "a tear",
    "description": "a harbour",
    "object_type": ObjectType.FRAME,
    "materials": (Material.WOOD, Material.GLASS),
    "size": ev.Size(
        height=ev.Length(value="24", unit="in"), width=ev.Length(value="36", unit="in")
    ),
    "found": ev.Spot(floor="first"),
    "quantity": 12,
    "claim": "claim-2",
    "significance": Significance.TREASURED,
    "conservator_only": True,
}


@pytest.mark.parametrize("field", DESCRIBED)
def test_each_field_of_a_description_reaches_the_piece(field: str) -> None:
    value = DESCRIBED[field]
    item = told(ev.ItemDescribed.model_validate({"tag": TAG, field: value}))
    assert getattr(item, field) == (list(value) if field == "materials" else value)
    assert item.heads[field] == ["phone-a.2"]
    assert item.conflicts == []


def test_a_description_says_every_field_that_may_be_described() -> None:
    assert set(DESCRIBED) == set(ev.ItemDescribed.model_fields) - {"type", "tag", "replaces"}


def test_a_field_left_out_of_a_description_stays_as_it_was() -> None:
    item = told(
        ev.ItemDescribed(tag=TAG, title="Harbour", maker="one"),
        ev.ItemDescribed(tag=TAG, maker="another", conservator_only=False),
    )
    assert (item.title, item.maker, item.conservator_only) == ("Harbour", "another", False)
    assert item.heads["title"] == ["phone-a.2"]
    assert item.heads["maker"] == ["phone-a.3"]


@pytest.mark.parametrize(
    ("field", "one", "other", "shown"),
    [
        ("title", "Harbour", "Harbor", ["Harbour", "Harbor"]),
        (
            "materials",
            (Material.WOOD,),
            (Material.WAX, Material.IRON),
            [["wood"], ["wax", "iron"]],
        ),
        ("object_type", ObjectType.BOOK, ObjectType.FRAME, ["book", "frame"]),
        (
            "significance",
            Significance.ORDINARY,
            Significance.OUTSTANDING,
            ["ordinary", "outstanding"],
        ),
        ("conservator_only", True, False, [True, False]),
        (
            "found",
            ev.Spot(room="salon"),
            ev.Spot(room="hall"),
            [
                {"floor": "", "room": "salon", "wall": ""},
                {"floor": "", "room": "hall", "wall": ""},
            ],
        ),
    ],
)
def test_values_that_two_phones_gave_unseen_are_listed_plainly_with_who_said_them(
    field: str, one: Any, other: Any, shown: list[Any]
) -> None:
    a, b = Writer("phone-a"), Writer("phone-b")
    claimed = a.say(tagged())
    # Phone a replaces what it said with the tag; phone b has seen nothing.
    first, second = (
        writer.say(ev.ItemDescribed.model_validate({"tag": TAG, field: value}))
        for writer, value in ((a, one), (b, other))
    )
    item = item_of(claimed, first, second.model_copy(update={"clock": first.clock + 1}))
    assert item.conflicts == [
        Conflict(
            field=field,
            values=[
                Said(
                    event=f"phone-{name}.{number}",
                    device=f"phone-{name}",
                    actor=f"holder of phone-{name}",
                    value=value,
                )
                for name, number, value in (("a", 2, shown[0]), ("b", 1, shown[1]))
            ],
        )
    ]
    for said, value in zip(item.conflicts[0].values, shown, strict=True):
        assert type(said.value) is type(value)
        if isinstance(value, list):
            assert {type(part) for part in said.value} == {str}
    assert item.heads[field] == ["phone-a.2", "phone-b.1"]
    assert getattr(item, field) == (list(other) if isinstance(other, tuple) else other)


def test_conflicts_are_listed_by_field_and_a_tag_claimed_twice_last() -> None:
    a, b = Writer("phone-a"), Writer("phone-b")
    spoken = [
        writer.say(body)
        for writer, word in ((a, "one"), (b, "two"))
        for body in (tagged(), ev.ItemDescribed(tag=TAG, title=word, maker=word))
    ]
    item = item_of(*spoken)
    assert [conflict.field for conflict in item.conflicts] == ["maker", "title", "tag"]
    assert item.conflicts[-1].values == [
        Said(
            event=f"{device}.1",
            device=device,
            actor=f"holder of {device}",
            value=ev.body_of(tagged()),
        )
        for device in ("phone-a", "phone-b")
    ]


def test_only_the_first_claim_of_a_tag_describes_the_piece() -> None:
    a, b = Writer("phone-a"), Writer("phone-b")
    item = item_of(
        a.say(tagged()),
        b.say(
            tagged(
                quantity=5,
                parent=OTHER_TAG,
                role=PartRole.FRAME,
                claim="claim-2",
                found=ev.Spot(room="hall"),
            ),
            loss="QUAY-2",
        ),
    )
    assert (item.loss, item.quantity, item.parent, item.role) == (LOSS, 1, None, None)
    assert (item.claim, item.found) == (None, ev.Spot())
    assert item.heads["found"] == ["phone-a.1"]


def test_what_another_phone_described_before_the_tag_stands_beside_it() -> None:
    early, tagger = Writer("phone-a"), Writer("phone-b")
    described = early.say(
        ev.ItemDescribed(
            tag=TAG,
            object_type=ObjectType.BOOK,
            materials=(Material.LEATHER,),
            found=ev.Spot(room="hall"),
            claim="claim-1",
        )
    )
    claimed = tagger.say(tagged(claim="claim-2", found=ev.Spot(room="salon")))
    item = item_of(described, claimed)
    fields = ["claim", "found", "materials", "object_type"]
    assert [conflict.field for conflict in item.conflicts] == fields
    assert [item.heads[field] for field in fields] == [[described.id, claimed.id]] * 4
    assert (item.object_type, item.claim) == (ObjectType.PAINTING, "claim-2")


def test_a_value_replaces_only_those_its_writer_named() -> None:
    a, b, lead = Writer("phone-a"), Writer("phone-b"), Writer("office", Role.OFFICE)
    claimed = a.say(tagged())
    one = a.say(ev.ItemDescribed(tag=TAG, title="one"))
    two = b.say(ev.ItemDescribed(tag=TAG, title="two"))
    lead.journal.saw(9)
    three = lead.say(ev.ItemDescribed(tag=TAG, title="three", replaces=(one.id,)))
    item = item_of(claimed, one, two, three)
    assert item.title == "three"
    assert item.heads["title"] == [two.id, three.id]


def test_photos_and_values_are_kept_with_who_and_when() -> None:
    loss_in_value = ev.Money(amount="3", currency="EUR")
    item = told(
        ev.PhotoTaken(tag=TAG, photo=DIGEST, kind=PhotoKind.DETAIL, caption="a tear"),
        ev.ValueStated(
            tag=TAG,
            basis=ValueBasis.APPRAISED,
            value=EUROS,
            stated_by="an appraiser",
            loss_in_value=loss_in_value,
        ),
    )
    assert item.photos == [
        Photo(
            photo=DIGEST,
            kind=PhotoKind.DETAIL,
            caption="a tear",
            taken_at=SECOND,
            actor="holder of phone-a",
        )
    ]
    assert item.valuation == Valuation(
        basis=ValueBasis.APPRAISED,
        value=EUROS,
        loss_in_value=loss_in_value,
        stated_by="an appraiser",
    )


def test_the_last_value_stated_stands() -> None:
    item = told(
        *(
            ev.ValueStated(tag=TAG, basis=ValueBasis.DECLARED, value=EUROS, stated_by=name)
            for name in ("owner", "heir")
        )
    )
    assert item.valuation is not None
    assert item.valuation.stated_by == "heir"


def test_a_piece_keeps_every_tag_it_carried() -> None:
    item = told(
        ev.TagReplaced(tag=TAG, new_tag=OTHER_TAG, reason="torn"),
        ev.TagReplaced(tag=TAG, new_tag=THIRD_TAG, reason="lost"),
    )
    assert (item.tag, item.tags) == (TAG, [TAG, OTHER_TAG, THIRD_TAG])


def manifest(name: str, *tags: str, loss_time: datetime = START) -> ev.ManifestClosed:
    return ev.ManifestClosed(
        manifest=name,
        vehicle=f"van of {name}",
        tags=tags or (TAG,),
        leaves_at=loss_time,
        expected_at=loss_time + timedelta(hours=1),
    )


def test_a_piece_is_packed_listed_received_and_moved() -> None:
    packed = (ev.ItemPacked(tag=TAG, container="crate-1"), manifest("m-1"))
    item = told(*packed)
    assert (item.container, item.manifest, item.station, item.received_at) == (
        "crate-1",
        "m-1",
        None,
        None,
    )
    received = ev.ItemReceived(tag=TAG, manifest="m-2", station="dock", condition="damp")
    item = told(*packed, received)
    assert (item.manifest, item.station, item.condition_at_receipt) == ("m-2", "dock", "damp")
    assert item.station_since == item.received_at == "2031-05-06T09:04:00Z"
    item = told(*packed, received, ev.ItemMoved(tag=TAG, station="room-a"))
    assert (item.station, item.station_since) == ("room-a", "2031-05-06T09:05:00Z")
    assert item.received_at == "2031-05-06T09:04:00Z"


def test_a_piece_received_without_a_list_keeps_the_list_it_was_on() -> None:
    item = told(manifest("m-1"), ev.ItemReceived(tag=TAG, station="dock"))
    assert item.manifest == "m-1"


def test_what_is_done_to_a_piece_is_kept_whole() -> None:
    weighed = ev.Weighed(tag=TAG, mass=KILO, taken_at=START)
    step = ev.StepDone(
        tag=TAG, step=StepKind.DRY, started_at=START, ended_at=LATER, hours="1.5", note="slow"
    )
    charge = ev.ChargeAdded(
        tag=TAG,
        charge="c-1",
        what="drying",
        step=StepKind.DRY,
        quantity="2",
        unit="h",
        rate=EUROS,
    )
    decided = ev.DecisionMade(
        tag=TAG, decision=Decision.SETTLE, reason="too dear", decided_by="an adjuster"
    )
    item = told(weighed, step, charge, decided)
    assert item.weighings == [Weighing(mass=KILO, taken_at=START)]
    assert item.steps == [
        Step(
            step=StepKind.DRY,
            started_at=START,
            ended_at=LATER,
            hours="1.5",
            note="slow",
            actor="holder of phone-a",
        )
    ]
    assert item.steps_done == {StepKind.DRY}
    assert item.charges == [
        Charge(
            charge="c-1",
            what="drying",
            step=StepKind.DRY,
            quantity="2",
            unit="h",
            rate=EUROS,
        )
    ]
    assert item.decision == Verdict(
        decision=Decision.SETTLE,
        reason="too dear",
        decided_by="an adjuster",
        at="2031-05-06T09:05:00Z",
    )


def test_a_piece_names_its_present_run_and_every_run() -> None:
    item = told(ev.ItemLoaded(run="r-1", tag=TAG), ev.ItemLoaded(run="r-2", tag=TAG))
    assert (item.run, item.runs) == ("r-2", ["r-1", "r-2"])


def test_an_override_is_filed_with_the_role_and_time_of_its_writer() -> None:
    conservator = Writer("desk", Role.CONSERVATOR)
    signed = conservator.say(
        ev.OverrideSigned(
            override="o-1",
            tags=(TAG,),
            agent=Agent.OZONE,
            materials=(Material.OIL_CANVAS, Material.WAX),
            reason="tested",
            signed_by="a conservator",
            expires=date(2031, 6, 1),
        )
    )
    assert item_of(Writer().say(tagged()), signed).overrides == [
        OverrideOnFile(
            override="o-1",
            agent=Agent.OZONE,
            materials=[Material.OIL_CANVAS, Material.WAX],
            reason="tested",
            signed_by="a conservator",
            role=Role.CONSERVATOR,
            signed_at="2031-05-06T09:01:00Z",
            expires=date(2031, 6, 1),
        )
    ]


def test_a_piece_returned_stands_nowhere_in_the_facility() -> None:
    item = told(
        ev.ItemMoved(tag=TAG, station="room-a"),
        ev.ItemReturned(tag=TAG, received_by="the owner", condition="clean"),
    )
    assert (item.station, item.station_since) == (None, "2031-05-06T09:03:00Z")
    assert (item.returned_to, item.condition_at_return) == ("the owner", "clean")


def test_custody_lists_each_decoded_event_once_in_order() -> None:
    writer = Writer()
    events = [writer.say(tagged()), writer.say(noted()), writer.say(manifest("m-1"))]
    strange = events[0].model_copy(
        update={"id": "x.9", "device": "x", "body": {"type": "from_the_future"}}
    )
    item = item_of(events[2], strange, events[1], events[0], events[1])
    assert [line.type for line in item.custody] == [
        "item_tagged",
        "damage_noted",
        "manifest_closed",
    ]
    assert item.undecoded == ["x.9"]


# --- damage -----------------------------------------------------------------------------------


def seen(**fields: Any) -> ev.DamageNoted:
    return ev.DamageNoted.model_validate({"tag": TAG, "damage": Damage.SOAKED, **fields})


def test_a_damage_is_kept_as_it_was_noted() -> None:
    item = told(
        seen(extent=Extent.SLIGHT, wet_since=START, water_category=WaterCategory.TWO, note="drip")
    )
    (damage,) = item.damages
    assert damage.model_dump(exclude={"mould_condition"}) == {
        "damage": Damage.SOAKED,
        "extent": Extent.SLIGHT,
        "wet_since": START,
        "water_category": WaterCategory.TWO,
        "note": "drip",
    }


@pytest.mark.parametrize("first_is_earlier", [True, False])
def test_of_two_notes_the_earlier_wetting_and_the_worse_water_stand(
    first_is_earlier: bool,
) -> None:
    earlier = seen(wet_since=START, water_category=WaterCategory.THREE)
    later = seen(wet_since=LATER, water_category=WaterCategory.ONE)
    notes = (earlier, later) if first_is_earlier else (later, earlier)
    (damage,) = told(*notes).damages
    assert (damage.wet_since, damage.water_category) == (START, WaterCategory.THREE)


@pytest.mark.parametrize("first_says_it", [True, False])
def test_what_only_one_of_two_notes_says_stands(first_says_it: bool) -> None:
    full = seen(wet_since=START, water_category=WaterCategory.ONE, note="drip")
    bare = seen(extent=Extent.WIDE)
    (damage,) = told(*((full, bare) if first_says_it else (bare, full))).damages
    assert (damage.wet_since, damage.water_category, damage.note) == (
        START,
        WaterCategory.ONE,
        "drip",
    )
    assert damage.extent is (Extent.WIDE if first_says_it else Extent.PARTIAL)


def test_a_note_that_says_nothing_of_water_leaves_it_unknown() -> None:
    (damage,) = told(seen(), seen()).damages
    assert (damage.wet_since, damage.water_category, damage.note) == (None, None, "")


@pytest.mark.parametrize("numbers", [(2, 3), (3, 2), (3, None), (None, 3)])
def test_of_two_mould_conditions_the_worse_stands(
    numbers: tuple[int | None, int | None],
) -> None:
    (damage,) = told(*(seen(mould_condition=number) for number in numbers)).damages
    assert damage.mould_condition == 3


def test_no_mould_condition_is_known_till_somebody_says_one() -> None:
    (damage,) = told(seen(), seen()).damages
    assert damage.mould_condition is None


def test_damages_stand_in_the_order_first_noted_till_withdrawn() -> None:
    withdrawn = ev.DamageWithdrawn(tag=TAG, damage=Damage.SOAKED, reason="it was polish")
    notes = (noted(Damage.MUD), seen(), noted(Damage.MUD), noted(Damage.HEAT))
    assert [one.damage for one in told(*notes).damages] == [
        Damage.MUD,
        Damage.SOAKED,
        Damage.HEAT,
    ]
    assert [one.damage for one in told(*notes, withdrawn).damages] == [Damage.MUD, Damage.HEAT]
    assert told(withdrawn).damages == []
    again = told(seen(note="drip"), withdrawn, seen()).damages
    assert [(one.damage, one.note) for one in again] == [(Damage.SOAKED, "")]


# --- what stands ------------------------------------------------------------------------------


def undo(event: ev.Event, subject: str = f"item:{TAG}") -> ev.EventUndone:
    return ev.EventUndone(event=event.id, subject=subject, reason="slip")


def test_events_stand_once_each_in_their_order() -> None:
    writer = Writer()
    one, two = writer.say(tagged()), writer.say(noted())
    assert [entry.event for entry in standing(entries(two, one, two))] == [one, two]


UNDOABLE: list[ev.Body] = [
    ev.ItemDescribed(tag=TAG, title="slip"),
    noted(),
    ev.DamageWithdrawn(tag=TAG, damage=Damage.MUD, reason="slip"),
    ev.PhotoTaken(tag=TAG, photo=DIGEST, kind=PhotoKind.SITE),
    ev.ValueStated(tag=TAG, basis=ValueBasis.DECLARED, value=EUROS, stated_by="owner"),
    ev.ItemPacked(tag=TAG, container="crate-1"),
    ev.ItemMoved(tag=TAG, station="room-a"),
    ev.HazardNoted(hazard=Hazard.SOOT),
    ev.ChargeAdded(tag=TAG, charge="c-1", what="w", quantity="1", unit="h", rate=EUROS),
]
LASTING: list[ev.Body] = [
    tagged(),
    ev.TagReplaced(tag=TAG, new_tag=OTHER_TAG, reason="torn"),
    manifest("m-1"),
    ev.HandedOver(manifest="m-1", given_by="a", taken_by="b"),
    ev.ItemReceived(tag=TAG, station="dock"),
    ev.Weighed(tag=TAG, mass=KILO, taken_at=START),
    ev.ClearanceSigned(run="r-1", signer="s", readings=DIGEST),
    ev.ItemReturned(tag=TAG, received_by="owner", condition="clean"),
    ev.PhoneEnrolled(phone="phone-b", name="Crew 2", key=PHONE_KEY),
    ev.PhoneRevoked(phone="phone-b", reason="lost"),
]


@pytest.mark.parametrize("body", UNDOABLE, ids=lambda body: body.type)
def test_a_slip_is_taken_back_by_the_phone_that_made_it(body: ev.Body) -> None:
    writer, other = Writer("phone-a"), Writer("phone-b")
    slip = writer.say(body)
    assert [e.body for e in standing(entries(slip, writer.say(undo(slip))))] == [undo(slip)]
    kept = standing(entries(slip, other.say(undo(slip))))
    assert body in [entry.body for entry in kept]


@pytest.mark.parametrize("body", LASTING, ids=lambda body: body.type)
def test_tags_hand_overs_readings_and_signatures_cannot_be_taken_back(body: ev.Body) -> None:
    writer = Writer()
    event = writer.say(body)
    assert len(standing(entries(event, writer.say(undo(event))))) == 2


def test_taking_back_one_event_leaves_the_others() -> None:
    writer = Writer()
    claimed, mud, heat = (
        writer.say(body) for body in (tagged(), noted(Damage.MUD), noted(Damage.HEAT))
    )
    item = item_of(claimed, mud, heat, writer.say(undo(mud)))
    assert [damage.damage for damage in item.damages] == [Damage.HEAT]


# --- a loss -----------------------------------------------------------------------------------


def test_a_loss_is_what_the_call_said() -> None:
    call = ev.LossOpened(
        title="Invented quay house",
        site="1 Invented Quay",
        zone="Europe/Dublin",
        peril=Peril.BURST_PIPE,
        happened_at=START,
        wet_since=LATER,
        water_category=WaterCategory.TWO,
        mean_temperature_c="18.5",
        hazards=(Hazard.SOOT, Hazard.MOULD),
    )
    assert fold_loss(LOSS, entries(Writer().say(call))) == Loss(
        loss=LOSS,
        title="Invented quay house",
        site="1 Invented Quay",
        zone="Europe/Dublin",
        peril=Peril.BURST_PIPE,
        happened_at=START,
        wet_since=LATER,
        water_category=WaterCategory.TWO,
        mean_temperature_c="18.5",
        hazards=[Hazard.SOOT, Hazard.MOULD],
    )
    bare = Loss(loss="x")
    assert (bare.zone, bare.peril, bare.title, bare.site) == ("UTC", Peril.OTHER, "", "")


def test_everything_said_of_a_loss_is_gathered() -> None:
    writer = Writer()
    claim = ev.ClaimAdded(
        claim="c-1", insurer="an insurer", policy="p-1", owner="an owner", currency="EUR"
    )
    loss = fold_loss(
        LOSS,
        entries(
            *(
                writer.say(body)
                for body in (
                    ev.HazardNoted(hazard=Hazard.MOULD),
                    opened().model_copy(update={"hazards": (Hazard.SOOT, Hazard.MOULD)}),
                    claim,
                    ev.AuthorisationRecorded(
                        given_by="an owner", covers="all pieces", document=DIGEST
                    ),
                    ev.HazardNoted(hazard=Hazard.SOOT),
                    ev.HazardNoted(hazard=Hazard.ELECTRICITY),
                    ev.CautionsAcknowledged(person="A", cautions=("mask", "boots")),
                    ev.CautionsAcknowledged(person="A", cautions=("gloves", "mask")),
                    ev.CautionsAcknowledged(person="B", cautions=("mask",)),
                    manifest("m-1"),
                    manifest("m-2"),
                    manifest("m-1", OTHER_TAG),
                    tagged(),
                )
            )
        ),
    )
    assert loss is not None
    assert loss.hazards == [Hazard.MOULD, Hazard.SOOT, Hazard.ELECTRICITY]
    assert loss.claims == [
        Claim(claim="c-1", insurer="an insurer", policy="p-1", owner="an owner", currency="EUR")
    ]
    assert loss.authorisations == [
        Authorisation(
            given_by="an owner",
            covers="all pieces",
            document=DIGEST,
            at="2031-05-06T09:04:00Z",
        )
    ]
    assert loss.acknowledged == {"A": ["boots", "gloves", "mask"], "B": ["mask"]}
    assert loss.manifests == ["m-1", "m-2"]


def test_a_loss_that_nobody_opened_is_none() -> None:
    assert fold_loss(LOSS, []) is None
    assert fold_loss(LOSS, entries(Writer().say(ev.HazardNoted(hazard=Hazard.SOOT)))) is None


# --- a manifest -------------------------------------------------------------------------------


def test_a_manifest_follows_its_load_from_the_site_to_the_facility() -> None:
    writer = Writer()
    folded = fold_manifest(
        "m-1",
        entries(
            *(
                writer.say(body)
                for body in (
                    manifest("m-1", TAG, OTHER_TAG),
                    ev.HandedOver(
                        manifest="m-1", given_by="crew", taken_by="driver", signature=DIGEST
                    ),
                    ev.ManifestDelayed(manifest="m-1", expected_at=LATER, reason="a flat tyre"),
                    ev.ItemReceived(tag=THIRD_TAG, manifest="m-1", station="dock"),
                    ev.ItemReceived(tag=TAG, manifest="m-1", station="dock"),
                    ev.ItemReceived(tag=TAG, manifest="m-1", station="room-a"),
                )
            )
        ),
    )
    assert folded == Manifest(
        manifest="m-1",
        loss=LOSS,
        vehicle="van of m-1",
        tags=[TAG, OTHER_TAG],
        leaves_at=START,
        expected_at=LATER,
        delays=["a flat tyre"],
        handovers=[
            Handover(
                given_by="crew", taken_by="driver", signature=DIGEST, at="2031-05-06T09:02:00Z"
            )
        ],
        received=[THIRD_TAG, TAG],
    )
    assert folded.missing == [OTHER_TAG]
    assert folded.surplus == [THIRD_TAG]


def test_a_manifest_closed_again_lists_what_either_lists() -> None:
    writer = Writer()
    folded = fold_manifest(
        "m-1",
        entries(
            writer.say(manifest("m-1", TAG, OTHER_TAG)),
            writer.say(manifest("m-1", OTHER_TAG, THIRD_TAG, loss_time=LATER), loss="QUAY-2"),
        ),
    )
    assert folded is not None
    assert folded.tags == [TAG, OTHER_TAG, THIRD_TAG]
    assert (folded.leaves_at, folded.expected_at) == (LATER, LATER + timedelta(hours=1))
    assert folded.loss == "QUAY-2"


def test_a_manifest_that_nobody_closed_is_none() -> None:
    received = ev.ItemReceived(tag=TAG, manifest="m-1", station="dock")
    assert fold_manifest("m-1", entries(Writer().say(received))) is None


# --- a run ------------------------------------------------------------------------------------


def test_a_run_keeps_everything_from_loading_to_opening() -> None:
    writer = Writer("desk", Role.FUMIGATOR)
    bodies: list[ev.Body] = [
        ev.RunOpened(run="r-1", station="c-1", programme="gas-1", version=2, tags=(TAG, OTHER_TAG)),
        ev.ItemLoaded(run="r-1", tag=TAG),
        ev.ItemLoaded(run="r-1", tag=TAG),
        ev.ItemLoaded(run="r-1", tag=OTHER_TAG),
        ev.PhaseEntered(run="r-1", phase=Phase.SEALED, at=START, reason="full"),
        ev.DoseAdded(run="r-1", mass=KILO, at=START),
        ev.GasRead(
            run="r-1",
            reading="g-1",
            zone="low",
            instrument="i-1",
            value="0.05",
            unit="ppm",
            temperature_c="20",
            pressure_pa="101325",
            taken_at=START,
        ),
        ev.ClimateRead(run="r-1", zone="low", temperature_c="21", rh_percent="50", taken_at=START),
        ev.OxygenRead(run="r-1", zone="high", percent="20.9", taken_at=START),
        ev.HoldClosed(run="r-1", starts_at=START, ends_at=LATER),
        ev.ClearanceSigned(run="r-1", signer="a fumigator", licence_no="X-1", readings=DIGEST),
        ev.ChamberOpened(run="r-1", readings=OTHER_DIGEST, at=LATER),
    ]
    run = fold_run("r-1", entries(*(writer.say(body) for body in bodies)))
    assert run == Run(
        run="r-1",
        station="c-1",
        programme="gas-1",
        version=2,
        tags=[TAG, OTHER_TAG],
        loaded=[TAG, OTHER_TAG],
        phases=[PhaseChange(phase=Phase.SEALED, at=START, actor="holder of desk", reason="full")],
        doses=[Dose(mass=KILO, at=START, received_at=START + timedelta(hours=6))],
        gas=[
            GasReading(
                reading="g-1",
                event="desk.7",
                zone="low",
                instrument="i-1",
                value="0.05",
                unit="ppm",
                temperature_c="20",
                pressure_pa="101325",
                taken_at=START,
                received_at=START + timedelta(hours=7),
            )
        ],
        climate=[ClimateReading(zone="low", temperature_c="21", rh_percent="50", taken_at=START)],
        oxygen=[
            OxygenReading(
                event="desk.9",
                zone="high",
                percent="20.9",
                taken_at=START,
                received_at=START + timedelta(hours=9),
            )
        ],
        holds=[Hold(starts_at=START, ends_at=LATER)],
        signatures=[
            Signature(
                signer="a fumigator",
                actor="holder of desk",
                role=Role.FUMIGATOR,
                licence_no="X-1",
                readings=DIGEST,
                at="2031-05-06T09:11:00Z",
            )
        ],
        opened_at=LATER,
        opened_on=OTHER_DIGEST,
    )


def test_a_run_is_in_its_last_phase_and_knows_when_it_last_began_each() -> None:
    writer = Writer()
    phases = [(Phase.AIRING, START), (Phase.HOLDING, LATER), (Phase.AIRING, LATER)]
    run = fold_run(
        "r-1",
        entries(
            writer.say(
                ev.RunOpened(run="r-1", station="c-1", programme="p", version=1, tags=(TAG,))
            ),
            *(writer.say(ev.PhaseEntered(run="r-1", phase=phase, at=at)) for phase, at in phases),
        ),
    )
    assert run is not None
    assert run.phase is Phase.AIRING
    assert run.began(Phase.AIRING) == LATER
    assert run.began(Phase.HOLDING) == LATER
    assert run.began(Phase.SEALED) is None
    assert Run(run="r-2").phase is Phase.PLANNED


def test_a_run_that_nobody_opened_is_none() -> None:
    loaded = ev.ItemLoaded(run="r-1", tag=TAG)
    assert fold_run("r-1", entries(Writer().say(loaded))) is None


# --- the facility -----------------------------------------------------------------------------

CHAMBER = Chamber(
    id="c-1",
    label="Chamber",
    inside_mm=(2000, 2000, 2000),
    door_mm=(1000, 2000),
    rail_mm=4000,
    usable_fill=0.5,
    air_changes_per_h=6,
    programmes=("carbon-1",),
    zones=("low",),
)
ROOM = Room(
    id="room-a",
    label="Room",
    serves=(StepKind.DRY,),
    rack_mm=9000,
    removal_g_h=500,
    temperature_c=21,
    rh=0.45,
)
HOUSE = Facility(id="house", label="House", zone="Europe/Dublin", stations=(ROOM, CHAMBER))


def programme(name: str, version: int) -> Programme:
    return Programme(
        id=name,
        version=version,
        label=f"{name}, version {version}",
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


def registered(name: str, gas: str) -> ev.InstrumentRegistered:
    return ev.InstrumentRegistered(
        instrument=name, gas=gas, detection_limit_ppm="0.01", calibrated_until=LATER
    )


def book_of(*bodies: ev.Body) -> FacilityBook:
    writer = Writer("desk", Role.LEAD)
    return fold_facility(entries(*(writer.say(body, loss=None) for body in bodies)))


def test_the_facility_is_empty_till_it_is_described() -> None:
    book = book_of()
    assert book == FacilityBook()
    assert (book.facility, book.plan, book.problem, book.plans_adopted) == (None, None, None, 0)
    assert book.chamber("c-1") is None
    assert book.programme("carbon-1") is None
    assert book.instrument("i-1") is None
    assert book.newest_programmes() == []


def test_everything_said_of_the_facility_is_gathered() -> None:
    book = book_of(
        ev.FacilityDescribed(facility=HOUSE.model_copy(update={"label": "Old"})),
        ev.FacilityDescribed(facility=HOUSE),
        ev.StationClosed(station="room-a", starts_at=START, ends_at=LATER, reason="repair"),
        ev.ProgrammeSigned(programme=programme("carbon-1", 1)),
        registered("i-1", "ozone"),
        ev.PlanAdopted(plan=DIGEST, problem=OTHER_DIGEST),
        ev.PlanAdopted(plan=OTHER_DIGEST, problem=DIGEST),
    )
    assert [(one.programme, one.version) for one in book.signatures] == [("carbon-1", 1)]
    assert book.model_copy(update={"plan_acts": [], "signatures": []}) == FacilityBook(
        facility=HOUSE,
        closures=[Closure(station="room-a", starts_at=START, ends_at=LATER, reason="repair")],
        programmes=[programme("carbon-1", 1)],
        instruments=[
            Instrument(
                instrument="i-1", gas="ozone", detection_limit_ppm="0.01", calibrated_until=LATER
            )
        ],
        plan=OTHER_DIGEST,
        problem=DIGEST,
        plans_adopted=2,
    )
    assert [act.words for act in book.plan_acts] == [
        "described the facility anew",
        "described the facility anew",
        f"took {ROOM.label} out of use: repair",
        "took another plan into use",
        "took another plan into use",
    ]


def held(edit: str, **facts: Any) -> ev.PlanEdited:
    told: dict[str, Any] = {"kind": "hold", "pieces": (TAG,), "waits_for": "Ada", "reason": "r"}
    return ev.PlanEdited.model_validate({"edit": edit} | told | facts)


def test_edits_of_the_plan_count_until_they_are_withdrawn() -> None:
    book = book_of(held("a"), held("b"), held("a", reason="once more"))
    assert [(one.edit, one.reason, one.withdrawn) for one in book.edits] == [
        ("a", "r", False),
        ("b", "r", False),
    ]
    after = book_of(
        held("a"),
        held("b"),
        *(ev.PlanEditWithdrawn(edit=one, reason="done") for one in ("a", "a", "none")),
    )
    assert [one.withdrawn for one in after.edits] == [True, False]
    assert len(after.plan_acts) == 3


def test_what_was_decided_since_a_reader_looked_is_told() -> None:
    first, both = book_of(held("a")), book_of(held("a"), held("b"))
    assert both.decided_since(both.plan_seen) == []
    assert both.decided_since(first.plan_seen) == both.plan_acts[1:]
    assert both.decided_since(FacilityBook().plan_seen) == both.plan_acts
    assert both.decided_since("0" * 64) == both.plan_acts
    assert len({first.plan_seen, both.plan_seen, FacilityBook().plan_seen}) == 3


@pytest.mark.parametrize(
    ("facts", "mend"),
    [
        ({"kind": "move"}, "station: choose"),
        ({"waits_for": ""}, "waits_for: say whom"),
        ({"kind": "pin"}, "placed: nothing"),
        ({"kind": "separate"}, "others: choose"),
        ({"kind": "separate", "others": (TAG,)}, "others: choose"),
    ],
)
def test_an_edit_that_says_nothing_is_no_edit(facts: dict[str, Any], mend: str) -> None:
    with pytest.raises(ValidationError, match=mend):
        held("a", **facts)


def test_a_chamber_is_found_by_its_id_and_a_room_is_none() -> None:
    book = book_of(ev.FacilityDescribed(facility=HOUSE))
    assert book.chamber("c-1") == CHAMBER
    assert book.chamber("room-a") is None
    assert book.chamber("c-2") is None


def test_a_programme_is_found_by_version_or_the_newest_of_its_name() -> None:
    signed = [("a", 1), ("a", 3), ("b", 9), ("a", 2)]
    book = book_of(*(ev.ProgrammeSigned(programme=programme(*one)) for one in signed))
    assert book.programme("a") == programme("a", 3)
    assert book.programme("a", 2) == programme("a", 2)
    assert book.programme("a", 4) is None
    assert book.programme("c") is None
    assert book.newest_programmes() == [programme("a", 3), programme("b", 9)]


def test_a_version_signed_again_leaves_the_first_signature_in_the_list_of_the_newest() -> None:
    again = programme("a", 1).model_copy(update={"label": "signed again"})
    book = book_of(*(ev.ProgrammeSigned(programme=one) for one in (programme("a", 1), again)))
    assert book.newest_programmes() == [programme("a", 1)]
    assert book.programme("a") == programme("a", 1)


def test_an_instrument_is_as_last_registered() -> None:
    gases = [("i-1", "ozone"), ("i-1", "phosphine"), ("i-2", "ozone"), ("i-1", "co")]
    book = book_of(*(registered(name, gas) for name, gas in gases))
    found = book.instrument("i-1")
    assert found is not None
    assert found.gas == "co"
    assert book.instrument("i-3") is None


# --- any record -------------------------------------------------------------------------------


def test_a_record_is_folded_by_the_kind_and_id_of_its_subject() -> None:
    writer = Writer()
    said = entries(
        *(
            writer.say(body)
            for body in (
                opened(),
                tagged(),
                manifest("m-1"),
                ev.RunOpened(run="r-1", station="c-1", programme="p", version=1, tags=(TAG,)),
                ev.FacilityDescribed(facility=HOUSE),
            )
        )
    )
    assert fold(f"item:{TAG}", said) == fold_item(TAG, said)
    assert fold(f"loss:{LOSS}", said) == fold_loss(LOSS, said)
    assert fold("manifest:m-1", said) == fold_manifest("m-1", said)
    assert fold("run:r-1", said) == fold_run("r-1", said)
    assert fold("facility:", said) == fold_facility(said)
    for subject in (f"item:{TAG}", f"loss:{LOSS}", "manifest:m-1", "run:r-1", "facility:"):
        assert fold(subject, said) is not None
    assert fold("item:a:b", said) == fold_item("a:b", said)


@pytest.mark.parametrize("subject", ["spoon:1", "", "Item:1", "item"[:3]])
def test_no_other_kind_of_record_can_be_folded(subject: str) -> None:
    with pytest.raises(
        ValueError,
        match=f"^{subject}: no such kind of record; use item, loss, manifest, phone, run, sensor$",
    ):
        fold(subject, [])


def test_a_record_takes_no_field_it_does_not_know() -> None:
    with pytest.raises(ValidationError, match="colour"):
        Item.model_validate({"tag": TAG, "colour": "red"})
    with pytest.raises(ValidationError, match="colour"):
        DamageSeen.model_validate({"colour": "red"})
