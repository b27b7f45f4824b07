"""What the rules say of a piece on record: programmes that may be run, and steps."""

from datetime import UTC, datetime

import pytest

from demo_data.facility import CARBON_AIR, FACILITY, programme
from service.assessing import needed_steps, rule_on, state_of, triage_of, worst_mould
from shared.facts import Gate, facts
from shared.records import Item
from shared.vocabulary import Damage, Extent, Material, StepKind
from tests.writers import TAGS

NOW = datetime(2031, 5, 6, 9, 0, tzinfo=UTC)


def piece(*conditions: int | None, material: Material = Material.CERAMIC_HIGH) -> Item:
    """A piece that smells of smoke, with the mould conditions seen on it."""
    return Item.model_validate(
        {
            "tag": TAGS[0],
            "materials": [material],
            "damages": [
                {
                    "damage": Damage.SMOKE_ODOUR,
                    "extent": Extent.PARTIAL,
                    "wet_since": None,
                    "water_category": None,
                    "mould_condition": one,
                    "note": "",
                }
                for one in conditions or (None,)
            ],
        }
    )


def steps_of(item: Item) -> set[StepKind]:
    return {need.step for need in needed_steps(item, facts())}


def gates_of(item: Item) -> set[Gate]:
    return {fired.gate for fired in triage_of(item, None, NOW, known=facts()).gates}


def test_the_worst_mould_condition_seen_stands() -> None:
    assert worst_mould(piece()) is None
    assert worst_mould(piece(1, None, 3, 2)) == 3


def test_mould_that_grows_asks_for_its_removal_and_stops_the_piece_at_its_gate() -> None:
    assert StepKind.MOULD_REMOVAL not in steps_of(piece(1))
    assert StepKind.MOULD_REMOVAL in steps_of(piece(3))
    assert Gate.VISIBLE_MOULD not in gates_of(piece(1))
    assert Gate.VISIBLE_MOULD in gates_of(piece(3))


def test_mould_that_grows_makes_a_programme_against_mould_serve() -> None:
    known, against_mould = facts(), programme("mould-gas")
    serves = {
        condition: rule_on(
            against_mould,
            item := piece(condition),
            [],
            state_of(item, known),
            NOW,
            facility=FACILITY,
            known=known,
        ).serves
        for condition in (1, 3)
    }
    assert serves == {1: False, 3: True}


@pytest.mark.parametrize(("above_c", "refused"), [(0.0, False), (0.5, True)])
def test_a_programme_that_may_get_warmer_than_a_piece_stands_is_refused(
    above_c: float, refused: bool
) -> None:
    known = facts()
    item = piece(material=Material.PARCHMENT)
    ceiling = known.heat_ceiling_c(item.materials)
    warm = programme(CARBON_AIR).model_copy(update={"temperature_c": (18.0, ceiling + above_c)})
    ruling = rule_on(warm, item, [], state_of(item, known), NOW, facility=FACILITY, known=known)
    told = [one for one in ruling.refusals if "°C" in one]
    assert told == (
        [f"{warm.label} may reach 25.5 °C, and the piece stands 25 °C at most."] if refused else []
    )
