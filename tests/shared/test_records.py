"""The folds: any order and any repetition give the same record, and nothing is overwritten."""

from datetime import timedelta
from typing import Literal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from shared import events as ev
from shared.records import Entry, Item, Phone, Record, fold, fold_item
from shared.vocabulary import Damage, Extent, Material, ObjectType, Role, StepKind
from tests.phones import OTHER_KEY, PHONE_KEY
from tests.writers import START, TAGS, Writer, noted, opened, tagged

TAG = TAGS[0]


def entries(*events: ev.Event) -> list[Entry]:
    return [
        Entry(
            position=number + 1,
            received_at=START,
            digest=ev.event_digest(event),
            event=event,
            body=ev.decode(event),
        )
        for number, event in enumerate(events)
    ]


def item_of(*events: ev.Event) -> Item:
    item = fold_item(TAG, entries(*events))
    assert item is not None
    return item


def titled(title: str, *replaces: str) -> ev.ItemDescribed:
    return ev.ItemDescribed(tag=TAG, title=title, replaces=replaces)


def test_a_piece_begins_with_its_tag() -> None:
    assert fold_item(TAG, entries(Writer().say(noted()))) is None
    assert item_of(Writer().say(tagged())).object_type is ObjectType.PAINTING


def test_two_phones_that_did_not_see_each_other_are_both_kept() -> None:
    a, b = Writer("phone-a"), Writer("phone-b")
    claimed = a.say(tagged())
    b.journal.saw(claimed.clock)
    one, other = a.say(titled("Harbour")), b.say(titled("Harbor"))
    item = item_of(claimed, one, other)
    assert item.title == "Harbor"
    (conflict,) = item.conflicts
    assert conflict.field == "title"
    assert {said.value for said in conflict.values} == {"Harbour", "Harbor"}


def test_whoever_saw_both_settles_it() -> None:
    a, b, lead = Writer("phone-a"), Writer("phone-b"), Writer("office", Role.OFFICE)
    claimed, one, other = a.say(tagged()), a.say(titled("Harbour")), b.say(titled("Harbor"))
    lead.journal.saw(max(one.clock, other.clock))
    settled = lead.say(titled("Harbour", one.id, other.id))
    item = item_of(claimed, one, other, settled)
    assert item.title == "Harbour"
    assert item.conflicts == []


def test_the_same_value_twice_is_no_conflict() -> None:
    a, b = Writer("phone-a"), Writer("phone-b")
    item = item_of(a.say(tagged()), a.say(titled("Harbour")), b.say(titled("Harbour")))
    assert item.conflicts == []


def test_one_phone_may_change_its_mind() -> None:
    a = Writer("phone-a")
    item = item_of(a.say(tagged()), a.say(titled("First")), a.say(titled("Second")))
    assert (item.title, item.conflicts) == ("Second", [])


def test_a_tag_tied_to_two_pieces_is_shown_and_never_overwritten() -> None:
    a, b = Writer("phone-a"), Writer("phone-b")
    item = item_of(
        a.say(tagged()), b.say(tagged(object_type=ObjectType.BOOK, materials=[Material.LEATHER]))
    )
    assert item.object_type is ObjectType.PAINTING
    assert [conflict.field for conflict in item.conflicts] == ["tag"]


def test_a_tag_tied_to_two_pieces_is_settled_once_one_of_them_gives_it_up() -> None:
    a, b = Writer("phone-a"), Writer("phone-b")
    painting = a.say(tagged())
    book = b.say(tagged(object_type=ObjectType.BOOK, materials=[Material.LEATHER], quantity=3))

    def give_up(writer: Writer, claim: ev.Event) -> ev.Event:
        return writer.say(ev.EventUndone(event=claim.id, subject=f"item:{TAG}", reason="new tag"))

    first, second, not_ones_own = give_up(a, painting), give_up(b, book), give_up(b, painting)
    for given_up, left in ((first, ObjectType.BOOK), (second, ObjectType.PAINTING)):
        item = item_of(painting, book, given_up)
        assert (item.object_type, item.conflicts) == (left, [])
        # What was given up stays in the record of who said what.
        assert {painting.id, book.id, given_up.id} == {one.event for one in item.custody}
    assert item_of(painting, book, first).quantity == 3
    assert [one.field for one in item_of(painting, book, not_ones_own).conflicts] == ["tag"]
    assert [one.field for one in item_of(painting, book, first, second).conflicts] == ["tag"]


def test_a_wrong_count_is_corrected_later() -> None:
    a, b = Writer("phone-a"), Writer("phone-b")
    claimed = a.say(tagged(quantity=11))
    assert item_of(claimed).quantity == 11
    corrected = a.say(ev.ItemDescribed(tag=TAG, quantity=12))
    assert item_of(claimed, corrected).quantity == 12
    unseen = b.say(ev.ItemDescribed(tag=TAG, quantity=10))
    assert [one.field for one in item_of(claimed, corrected, unseen).conflicts] == ["quantity"]


def test_undoing_takes_back_only_ones_own_and_only_what_may_be_undone() -> None:
    a, b = Writer("phone-a"), Writer("phone-b")
    claimed, seen = a.say(tagged()), a.say(noted(Damage.SOOT_WET))

    def undo(writer: Writer, event: ev.Event) -> ev.Event:
        return writer.say(ev.EventUndone(event=event.id, subject=f"item:{TAG}", reason="slip"))

    assert item_of(claimed, seen, undo(b, seen)).damages[0].damage is Damage.SOOT_WET
    assert item_of(claimed, seen, undo(a, seen)).damages == []
    assert item_of(claimed, undo(a, claimed)).tag == TAG


def test_damage_noted_twice_keeps_the_earliest_wetting_and_the_latest_extent() -> None:
    a = Writer()
    earlier, later = START - timedelta(hours=9), START - timedelta(hours=2)
    item = item_of(
        a.say(tagged()),
        a.say(ev.DamageNoted(tag=TAG, damage=Damage.SOAKED, wet_since=later)),
        a.say(
            ev.DamageNoted(
                tag=TAG, damage=Damage.SOAKED, wet_since=earlier, extent=Extent.WIDE, note="drips"
            )
        ),
    )
    (damage,) = item.damages
    assert (damage.wet_since, damage.extent, damage.note) == (earlier, Extent.WIDE, "drips")


def test_the_worst_condition_of_mould_that_anybody_stated_stands() -> None:
    a = Writer()

    def noting(condition: Literal[1, 2, 3] | None) -> ev.Event:
        return a.say(
            ev.DamageNoted(tag=TAG, damage=Damage.MOULD_SUSPECTED, mould_condition=condition)
        )

    claimed, unsaid = a.say(tagged()), noting(None)
    assert item_of(claimed, unsaid).damages[0].mould_condition is None
    grown, settled, again = noting(3), noting(2), noting(None)
    item = item_of(claimed, unsaid, grown, settled, again)
    assert [damage.mould_condition for damage in item.damages] == [3]


def test_an_event_of_unknown_type_is_counted_and_changes_nothing() -> None:
    a = Writer()
    claimed = a.say(tagged())
    strange = claimed.model_copy(
        update={"id": "x.9", "sequence": 9, "body": {"type": "from_the_future", "tag": TAG}}
    )
    item = item_of(claimed, strange)
    assert item.undecoded == ["x.9"]


def test_a_wrong_clock_changes_no_record() -> None:
    a, b = Writer("phone-a"), Writer("phone-b")
    b.at = START.replace(year=1970)
    claimed = a.say(tagged())
    b.journal.saw(claimed.clock)
    moved = b.say(ev.ItemMoved(tag=TAG, station="room-a"), loss=None)
    a.journal.saw(moved.clock)
    again = a.say(ev.ItemMoved(tag=TAG, station="room-b"), loss=None)
    assert item_of(again, moved, claimed).station == "room-b"


BODIES = st.one_of(
    st.sampled_from(["Harbour", "Quay", "Boats"]).map(titled),
    st.sampled_from([Damage.SOOT_DRY, Damage.SOAKED, Damage.MUD]).map(noted),
    st.sampled_from([Damage.SOOT_DRY, Damage.SOAKED]).map(
        lambda damage: ev.DamageWithdrawn(tag=TAG, damage=damage, reason="not there")
    ),
    st.sampled_from(["room-a", "room-b", "cold"]).map(
        lambda station: ev.ItemMoved(tag=TAG, station=station)
    ),
    st.sampled_from(list(StepKind)[:4]).map(
        lambda step: ev.StepDone(tag=TAG, step=step, started_at=START, ended_at=START)
    ),
    st.just(tagged()),
)


@st.composite
def histories(draw: st.DrawFn) -> list[ev.Event]:
    """What three phones write about one piece, sometimes having seen each other's."""
    writers = [Writer(f"phone-{name}") for name in "abc"]
    written = [writers[0].say(opened()), writers[0].say(tagged())]
    for _ in range(draw(st.integers(0, 14))):
        writer = draw(st.sampled_from(writers))
        if draw(st.booleans()):
            writer.journal.saw(max(event.clock for event in written))
        written.append(writer.say(draw(BODIES)))
    return written


@given(histories(), st.data())
def test_any_order_and_any_repetition_give_the_same_record(
    history: list[ev.Event], data: st.DataObject
) -> None:
    repeats = data.draw(st.lists(st.sampled_from(history), max_size=10))
    arrived = data.draw(st.permutations(history + repeats))
    assert fold_item(TAG, entries(*arrived)) == fold_item(TAG, entries(*history))


@given(histories(), st.data())
def test_nothing_anyone_said_of_a_field_is_lost_silently(
    history: list[ev.Event], data: st.DataObject
) -> None:
    item = fold_item(TAG, entries(*data.draw(st.permutations(history))))
    assert item is not None
    for device in {event.device for event in history}:
        titles = [
            event.body["title"]
            for event in sorted(history, key=lambda one: one.order)
            if event.device == device and event.body["type"] == "item_described"
        ]
        if not titles:
            continue
        listed = {
            said.value
            for conflict in item.conflicts
            if conflict.field == "title"
            for said in conflict.values
        }
        assert titles[-1] == item.title or titles[-1] in listed


def test_an_unknown_kind_of_record_is_refused() -> None:
    with pytest.raises(ValueError, match="spoon"):
        fold("spoon:1", [])
    assert isinstance(fold("facility:", []), Record)


# --- a phone ------------------------------------------------------------------------------------


@given(st.permutations(range(5)))
def test_a_phone_keeps_its_first_key_and_stays_revoked_in_any_order(order: list[int]) -> None:
    office = Writer("service", Role.OFFICE)
    told = [
        office.say(ev.PhoneEnrolled(phone="phone-c", name="Crew 3", key=PHONE_KEY), loss=None),
        office.say(ev.PhoneEnrolled(phone="phone-c", name="Crew 4", key=OTHER_KEY), loss=None),
        office.say(ev.PhoneRevoked(phone="phone-c", reason="left in a taxi"), loss=None),
        office.say(ev.PhoneRevoked(phone="phone-c", reason="found again"), loss=None),
        office.say(ev.PhoneEnrolled(phone="phone-c", name="Crew 5", key=OTHER_KEY), loss=None),
    ]
    phone = fold("phone:phone-c", entries(*[told[place] for place in order]))
    assert isinstance(phone, Phone)
    assert (phone.name, phone.key) == ("Crew 3", PHONE_KEY)
    assert (phone.revoked_at, phone.revoked_because) == (told[2].device_time, "left in a taxi")


def test_a_phone_that_was_never_enrolled_is_none() -> None:
    revoked = Writer().say(ev.PhoneRevoked(phone="phone-c", reason="lost"), loss=None)
    assert fold("phone:phone-c", entries(revoked)) is None


@pytest.mark.parametrize("x", ["", "A" * 42, "A" * 44, "A" * 42 + "=", "A" * 42 + "+"])
def test_a_key_is_two_numbers_of_32_bytes(x: str) -> None:
    with pytest.raises(ValueError, match="x"):
        ev.PhoneKey(x=x, y=PHONE_KEY.y)
