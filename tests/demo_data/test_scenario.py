"""The scenario is deterministic, fits the contract and folds into what it sets out to show."""

import os
import random
import subprocess
import sys
from collections import defaultdict
from hashlib import sha256

import pytest

from demo_data import NOTICE
from demo_data.facility import HARD_GOODS
from demo_data.scenario import CLOCK_ERROR, NOW, Scenario, build
from demo_data.sites import FIRE, FLOOD
from labels.codes import parse_tag
from shared import events as ev
from shared.records import FacilityBook, Item, Loss, Manifest
from shared.vocabulary import Agent, Damage, Material, Peril, WaterCategory
from tests.demo_data.folding import items, records

DIGEST_OF_ALL = """
import hashlib, sys
from demo_data.scenario import build
from shared.events import event_bytes
whole = hashlib.sha256()
for event in build(int(sys.argv[1]), pictures=False).events:
    whole.update(event_bytes(event))
print(whole.hexdigest())
"""


@pytest.fixture(scope="module")
def pieces(scenario: Scenario) -> dict[str, Item]:
    return items(scenario.events, scenario.now)


def digest_in_a_new_process(seed: int, hash_seed: str) -> str:
    done = subprocess.run(
        [sys.executable, "-c", DIGEST_OF_ALL, str(seed)],
        env={**os.environ, "PYTHONHASHSEED": hash_seed, "PYTHONPATH": os.pathsep.join(sys.path)},
        capture_output=True,
        text=True,
        check=True,
    )
    return done.stdout.strip()


def test_the_same_seed_gives_the_same_bytes_in_any_process(scenario: Scenario) -> None:
    here = sha256(b"".join(ev.event_bytes(event) for event in scenario.events)).hexdigest()
    assert digest_in_a_new_process(1, "7") == here
    assert digest_in_a_new_process(1, "4242") == here
    assert digest_in_a_new_process(2, "7") != here


def test_photos_change_no_tag_and_no_other_fact(pictured: Scenario) -> None:
    plain = build(1, pictures=False, fire_pieces=60, flood_pieces=56)

    def said(scenario: Scenario) -> list[dict[str, object]]:
        bodies = [event.body for event in scenario.events if event.body["type"] != "photo_taken"]
        return [
            {key: body[key] for key in body if key not in {"event", "replaces"}} for body in bodies
        ]

    assert said(pictured) == said(plain)


def test_every_event_fits_the_contract(scenario: Scenario, pictured: Scenario) -> None:
    for event in (*scenario.events, *pictured.events):
        body = ev.decode(event)
        assert body is not None
        assert ev.body_of(body) == event.body
        assert ev.Event.model_validate(event.model_dump(mode="json")) == event


def test_each_device_numbers_and_chains_its_own_events(scenario: Scenario) -> None:
    by_device: dict[str, list[ev.Event]] = defaultdict(list)
    for event in scenario.events:
        by_device[event.device].append(event)
    assert len([name for name in by_device if name.startswith("phone-")]) == 4
    for device, events in by_device.items():
        ordered = sorted(events, key=lambda event: event.sequence)
        assert [event.sequence for event in ordered] == list(range(1, len(ordered) + 1)), device
        before = ""
        clock = 0
        for event in ordered:
            assert event.previous == before
            assert event.clock > clock
            before, clock = ev.event_digest(event), event.clock


def test_batches_are_in_the_order_they_were_sent(scenario: Scenario) -> None:
    sent: dict[str, int] = defaultdict(int)
    times = [batch.sent_at for batch in scenario.batches]
    assert times == sorted(times)
    assert times[-1] <= NOW
    for batch in scenario.batches:
        for event in batch.events:
            assert event.device == batch.device
            assert event.sequence == sent[batch.device] + 1
            sent[batch.device] = event.sequence


def test_every_tag_is_valid_and_tied_on_in_only_one_planned_case_twice(scenario: Scenario) -> None:
    tied = [event.body["tag"] for event in scenario.events if event.body["type"] == "item_tagged"]
    assert all(parse_tag(tag) == tag for tag in tied)
    twice = {tag for tag in tied if tied.count(tag) > 1}
    assert twice == {tag for tag, fields in scenario.planned.conflicts.items() if fields == {"tag"}}


def test_counts(pieces: dict[str, Item]) -> None:
    whole = [item for item in pieces.values() if item.parent is None]
    parts = [item for item in pieces.values() if item.parent is not None]
    assert len(whole) >= 300
    assert len(parts) >= 30
    assert len({item.role for item in parts}) >= 4
    assert all(part.parent in pieces for part in parts)
    materials = {material for item in pieces.values() for material in item.materials}
    assert len(materials) >= 40 <= len(Material)
    assert sum(item.quantity > 1 for item in whole) >= 20
    assert sum(item.conservator_only for item in whole) >= 5
    units = {item.size.height.unit for item in whole if item.size}
    assert units == {"in", "cm"}
    valued = [item for item in whole if item.valuation]
    assert len(valued) > 0.8 * len(whole)
    assert len({item.valuation.basis for item in valued if item.valuation}) == 4


def test_losses_perils_and_claims(scenario: Scenario, pieces: dict[str, Item]) -> None:
    found = records(scenario.events, scenario.now)
    fire, flood = found[f"loss:{FIRE}"], found[f"loss:{FLOOD}"]
    assert isinstance(fire, Loss)
    assert isinstance(flood, Loss)
    assert (fire.peril, flood.peril) == (Peril.FIRE, Peril.FLOOD)
    assert flood.water_category is WaterCategory.THREE
    claims = {claim.claim: claim for loss in (fire, flood) for claim in loss.claims}
    assert len(claims) == 4
    assert len({claim.owner for claim in claims.values()}) == 4
    assert {item.claim for item in pieces.values() if item.claim} == set(claims)
    damages = {
        loss: {
            seen.damage for item in pieces.values() if item.loss == loss for seen in item.damages
        }
        for loss in (FIRE, FLOOD)
    }
    assert damages[FIRE] >= {
        Damage.SOOT_DRY,
        Damage.SOOT_WET,
        Damage.EXTINGUISHER_POWDER,
        Damage.SOAKED,
        Damage.CHARRED,
    }
    assert damages[FLOOD] >= {Damage.MUD, Damage.SOAKED, Damage.MOULD_VISIBLE}
    water = {
        seen.water_category
        for item in pieces.values()
        if item.loss == FIRE
        for seen in item.damages
    }
    assert {WaterCategory.ONE, WaterCategory.TWO} <= water
    assert all(item.damages for item in pieces.values())


def test_only_the_planned_fields_are_in_conflict(
    scenario: Scenario, pieces: dict[str, Item]
) -> None:
    found = {
        tag: frozenset(conflict.field for conflict in item.conflicts)
        for tag, item in pieces.items()
        if item.conflicts
    }
    assert found == scenario.planned.conflicts
    assert {field for fields in found.values() for field in fields} == {"title", "materials", "tag"}


@pytest.mark.parametrize("seed", range(2, 10))
def test_other_seeds_tell_the_same_story(seed: int) -> None:
    other = build(seed, pictures=False, fire_pieces=60, flood_pieces=60)
    found = {
        tag: frozenset(conflict.field for conflict in item.conflicts)
        for tag, item in items(other.events, other.now).items()
        if item.conflicts
    }
    assert found == other.planned.conflicts
    assert len(found) == 3


def test_what_was_settled_withdrawn_undone_and_retagged(
    scenario: Scenario, pieces: dict[str, Item]
) -> None:
    planned = scenario.planned
    tag, name = planned.settled
    makers = {
        event.device: event.body["maker"]
        for event in scenario.events
        if event.body.get("tag") == tag and event.body.get(name)
    }
    assert len(set(makers.values())) == 2
    assert pieces[tag].maker == makers["facility-desk"]
    undone, tag = planned.undone
    assert undone in {event.id for event in scenario.events}
    assert undone not in {line.event for line in pieces[tag].custody}
    assert Damage.MOULD_VISIBLE not in {seen.damage for seen in pieces[tag].damages}
    tag, damage = planned.withdrawn
    assert damage not in {seen.damage for seen in pieces[tag].damages}
    first, second = planned.retagged
    assert pieces[first].tags == [first, second]
    assert second not in pieces


def test_any_order_of_arrival_gives_the_same_pieces(
    scenario: Scenario, pieces: dict[str, Item]
) -> None:
    shuffled = list(scenario.events)
    random.Random(5).shuffle(shuffled)
    assert items(shuffled, scenario.now) == pieces


def test_trucks(scenario: Scenario, pieces: dict[str, Item]) -> None:
    found = records(scenario.events, scenario.now)
    first, second = found["manifest:FIRE-1"], found["manifest:FIRE-2"]
    assert isinstance(first, Manifest)
    assert isinstance(second, Manifest)
    assert first.missing == [scenario.planned.missing]
    assert first.surplus == [scenario.planned.surplus]
    assert scenario.planned.surplus in second.tags
    assert second.received == []
    assert second.delays
    assert second.expected_at is not None
    assert second.expected_at > scenario.now
    listed = [
        tag for record in found.values() if isinstance(record, Manifest) for tag in record.tags
    ]
    assert sorted(listed) == sorted(pieces)
    assert sum(item.station is not None for item in pieces.values()) >= 150


def test_the_facility_and_its_broken_chamber(scenario: Scenario) -> None:
    found = records(scenario.events, scenario.now).values()
    (book,) = [record for record in found if isinstance(record, FacilityBook)]
    assert book.facility is not None
    assert len(book.programmes) == 3
    assert len(book.instruments) >= 4
    (closure,) = book.closures
    assert closure.station in {chamber.id for chamber in book.facility.chambers}
    assert closure.starts_at > scenario.now
    assert closure.starts_at.weekday() == 2


def test_the_odour_gas_is_allowed_on_bare_hard_goods_only(pieces: dict[str, Item]) -> None:
    allowed = [item for item in pieces.values() if item.overrides]
    assert len(allowed) >= 10
    for item in allowed:
        assert HARD_GOODS.issuperset(item.materials)
        assert Damage.SMOKE_ODOUR in {seen.damage for seen in item.damages}
        assert {override.agent for override in item.overrides} == {Agent.OZONE}


def test_one_clock_is_wrong_and_one_phone_was_offline_for_a_day(scenario: Scenario) -> None:
    wrong = [event for event in scenario.events if event.device == "phone-kestrel"]
    assert CLOCK_ERROR.days < -30
    assert all(event.device_time < "2031-04-30" for event in wrong)
    offline = [batch for batch in scenario.batches if batch.device == "phone-marten"]
    written = min(event.device_time for event in offline[0].events)
    assert written.startswith("2031-05-05T14")
    assert offline[0].sent_at.isoformat().startswith("2031-05-06T14")


def test_it_says_that_it_is_invented_wherever_a_person_looks(
    scenario: Scenario, pieces: dict[str, Item]
) -> None:
    assert scenario.now.year == 2031
    for item in pieces.values():
        assert NOTICE in item.description
    for event in scenario.events:
        assert "(invented)" in event.actor
        for key in ("owner", "insurer", "site", "given_by", "vehicle", "stated_by"):
            if key in event.body:
                assert "invented" in event.body[key], (event.id, key)


def test_every_piece_has_a_photo_that_travels_with_its_event(pictured: Scenario) -> None:
    for batch in pictured.batches:
        named = {
            event.body["photo"] for event in batch.events if event.body["type"] == "photo_taken"
        }
        assert named == set(batch.photos)
        assert all(sha256(data).hexdigest() == name for name, data in batch.photos.items())
    whole = [item for item in items(pictured.events, NOW).values() if item.parent is None]
    assert all(item.photos for item in whole)
    assert any(len(item.photos) >= 3 for item in whole)


def test_too_few_pieces_are_refused() -> None:
    with pytest.raises(ValueError, match="count: 10 pieces"):
        build(1, pictures=False, fire_pieces=10)
