"""The contract: what is written comes back the same, byte for byte, or is refused by field."""

import json

import pytest
from jsonschema import Draft202012Validator

from shared import events as ev
from shared.vocabulary import Damage, Material, Role
from tests.writers import LOSS, START, TAGS, Writer, noted, opened, tagged


def test_a_device_numbers_and_chains_what_it_writes() -> None:
    writer = Writer()
    first, second = writer.say(opened()), writer.say(tagged())
    assert (first.sequence, second.sequence) == (1, 2)
    assert first.previous == ""
    assert second.previous == ev.event_digest(first)
    assert second.clock > first.clock


def test_what_was_seen_elsewhere_comes_before_what_is_written_next() -> None:
    writer = Writer()
    writer.journal.saw(41)
    assert writer.say(opened()).clock == 42


def test_an_event_read_back_has_the_same_bytes() -> None:
    written = Writer().say(tagged(quantity=3))
    read = ev.Event.model_validate(json.loads(json.dumps(written.model_dump(mode="json"))))
    assert ev.event_bytes(read) == ev.event_bytes(written)


def test_a_time_keeps_the_digits_it_came_with() -> None:
    raw = Writer().say(opened()).model_dump(mode="json") | {"device_time": "2031-05-06T09:00:00.5Z"}
    assert ev.Event.model_validate(raw).model_dump(mode="json") == raw


def test_an_unknown_type_is_kept_undecoded() -> None:
    raw = Writer().say(opened()).model_dump(mode="json") | {"body": {"type": "from_the_future"}}
    assert ev.decode(ev.Event.model_validate(raw)) is None


def test_a_damage_noted_before_conditions_of_mould_were_kept_still_decodes() -> None:
    raw = Writer().say(noted(Damage.MOULD_VISIBLE)).model_dump(mode="json")
    assert "mould_condition" not in raw["body"]
    old = ev.Event.model_validate(raw)
    body = ev.decode(old)
    assert isinstance(body, ev.DamageNoted)
    assert body.mould_condition is None
    assert ev.Event.model_validate(json.loads(ev.event_bytes(old))).body == raw["body"]


@pytest.mark.parametrize("condition", [0, 4, "grown"])
def test_a_condition_of_mould_is_1_2_or_3(condition: object) -> None:
    event = Writer().say(noted(Damage.MOULD_VISIBLE))
    wrong = event.model_copy(update={"body": event.body | {"mould_condition": condition}})
    with pytest.raises(ev.EventError, match="mould_condition"):
        ev.decode(wrong)


@pytest.mark.parametrize(
    ("change", "named"),
    [
        ({"tag": "OOO"}, "tag"),
        ({"materials": []}, "materials"),
        ({"materials": ["unobtainium"]}, "materials"),
        ({"quantity": 0}, "quantity"),
        ({"colour": "red"}, "colour"),
    ],
)
def test_a_wrong_field_is_named(change: dict[str, object], named: str) -> None:
    event = Writer().say(tagged())
    wrong = event.model_copy(update={"body": event.body | change})
    with pytest.raises(ev.EventError, match=named):
        ev.decode(wrong)


def test_what_belongs_to_a_loss_must_name_it() -> None:
    with pytest.raises(ev.EventError, match="loss"):
        ev.decode(Writer().say(tagged(), loss=None))


@pytest.mark.parametrize("value", ["1e3", "NaN", "01", "1.", ".5", "+1", "1,5", "", "--1"])
def test_measurements_are_plain_decimals(value: str) -> None:
    with pytest.raises(ValueError, match="value"):
        ev.Mass.model_validate({"value": value, "unit": "kg"})


def test_a_reading_without_a_unit_does_not_exist() -> None:
    with pytest.raises(ValueError, match="unit"):
        ev.GasRead.model_validate(
            {
                "run": "r",
                "reading": "r1",
                "zone": "low",
                "instrument": "m",
                "value": "0.1",
                "temperature_c": "20",
                "pressure_pa": "101325",
                "taken_at": START,
            }
        )


def test_the_schema_accepts_what_the_journal_writes() -> None:
    schema = ev.contract_schema()
    event = Writer().say(tagged())
    Draft202012Validator(schema).validate(
        {"event": event.model_dump(mode="json"), "body": event.body}
    )


def test_subjects_name_every_record_an_event_changes() -> None:
    assert ev.subjects(tagged()) == {f"item:{TAGS[0]}"}
    assert ev.subjects(noted()) == {f"item:{TAGS[0]}"}
    assert ev.subjects(opened()) == {"loss:*"}
    replaced = ev.TagReplaced(tag=TAGS[0], new_tag=TAGS[1], reason="torn")
    assert ev.subjects(replaced) == {f"item:{TAGS[0]}", f"item:{TAGS[1]}"}
    loaded = ev.ItemLoaded(run="run-1", tag=TAGS[0])
    assert ev.subjects(loaded) == {"run:run-1", f"item:{TAGS[0]}"}


def test_labels_are_for_people_and_values_for_programs() -> None:
    assert Material("oil_canvas") is Material.OIL_CANVAS
    assert Material.OIL_CANVAS.label == "Oil on canvas"
    assert Role.CREW.value == "crew"
    assert LOSS
