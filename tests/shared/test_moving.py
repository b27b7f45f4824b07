"""Two phones without a network at either end of one drive: the records are the same as in order."""

from datetime import timedelta

from hypothesis import given
from hypothesis import strategies as st

from shared import events as ev
from shared.records import Item, Manifest, fold_item, fold_manifest
from tests.shared.test_records import entries
from tests.writers import START, TAGS, Writer, tagged

LISTED, SURPLUS = TAGS, "000000000003W"
LOAD = "phone-a-9"
SIGNATURE = "5e" * 32


def sent_off(writer: Writer) -> list[ev.Event]:
    """Three pieces are tagged, packed, listed and handed over."""
    return [
        *(writer.say(tagged(tag)) for tag in LISTED),
        *(writer.say(ev.ItemPacked(tag=tag, container="crate-1")) for tag in LISTED),
        writer.say(
            ev.ManifestClosed(
                manifest=LOAD,
                vehicle="the blue van",
                tags=LISTED,
                leaves_at=START + timedelta(hours=1),
                expected_at=START + timedelta(hours=3),
            )
        ),
        writer.say(
            ev.HandedOver(manifest=LOAD, given_by="a", taken_by="driver", signature=SIGNATURE)
        ),
    ]


def taken_in(writer: Writer, manifest: str | None) -> list[ev.Event]:
    """Two of the three arrive, and one that no list names."""
    writer.at = START + timedelta(hours=3)
    return [
        writer.say(
            ev.ItemReceived(tag=tag, manifest=manifest, station="intake", condition="frame loose")
        )
        for tag in (*LISTED[:2], SURPLUS)
    ]


def records_of(told: list[ev.Event]) -> tuple[Manifest, list[Item]]:
    """The manifest and the listed pieces, without the order in which custody was told."""
    given_manifest = fold_manifest(
        LOAD,
        entries(*(one for one in told if f"manifest:{LOAD}" in ev.subjects(body_of(one)))),
    )
    assert given_manifest is not None
    items = []
    for tag in LISTED:
        item = fold_item(
            tag, entries(*(one for one in told if f"item:{tag}" in ev.subjects(body_of(one))))
        )
        assert item is not None
        item.custody.sort(key=lambda line: line.event)
        items.append(item)
    return given_manifest, items


def body_of(event: ev.Event) -> ev.Body:
    body = ev.decode(event)
    assert body is not None
    return body


def in_order(manifest: str | None) -> tuple[Manifest, list[Item]]:
    """What the records say when the receiving phone had seen all of the sending one."""
    sender, receiver = Writer("phone-a"), Writer("phone-b")
    sent = sent_off(sender)
    receiver.journal.saw(sender.journal.clock)
    return records_of([*sent, *taken_in(receiver, manifest)])


@given(
    clock_a=st.integers(0, 40),
    clock_b=st.integers(0, 40),
    names_the_list=st.booleans(),
    data=st.data(),
)
def test_the_records_do_not_depend_on_what_the_phones_had_seen_of_each_other(
    clock_a: int, clock_b: int, names_the_list: bool, data: st.DataObject
) -> None:
    manifest = LOAD if names_the_list else None
    sender, receiver = Writer("phone-a"), Writer("phone-b")
    sender.journal.saw(clock_a)
    receiver.journal.saw(clock_b)
    told = [*sent_off(sender), *taken_in(receiver, manifest)]
    assert records_of(data.draw(st.permutations(told))) == in_order(manifest)


def test_two_of_three_and_one_too_many() -> None:
    manifest, items = in_order(LOAD)
    assert (manifest.missing, manifest.surplus) == ([LISTED[2]], [SURPLUS])
    assert manifest.handovers[0].signature == SIGNATURE
    assert [(one.container, one.manifest, one.station) for one in items] == [
        ("crate-1", LOAD, "intake"),
        ("crate-1", LOAD, "intake"),
        ("crate-1", LOAD, None),
    ]


@given(data=st.data(), clock_a=st.integers(0, 9), clock_b=st.integers(0, 9))
def test_a_piece_stays_with_the_truck_it_came_on_whatever_lists_it(
    data: st.DataObject, clock_a: int, clock_b: int
) -> None:
    sender, receiver = Writer("phone-a"), Writer("phone-b")
    sender.journal.saw(clock_a)
    receiver.journal.saw(clock_b)
    told = [*sent_off(sender), *taken_in(receiver, "phone-c-4")]
    _, items = records_of(data.draw(st.permutations(told)))
    assert [one.manifest for one in items] == ["phone-c-4", "phone-c-4", LOAD]
