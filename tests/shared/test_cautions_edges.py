"""What made a caution show, in the words a person chose it by."""

from dataclasses import replace

import pytest

from shared.cautions import Caution, cautions_for, standing_cautions
from shared.facts import facts
from shared.vocabulary import (
    Agent,
    Damage,
    Hazard,
    Material,
    Peril,
    StepKind,
    WaterCategory,
)


def shown(cautions: tuple[Caution, ...]) -> list[tuple[str, str]]:
    return [(caution.id, caution.trigger) for caution in cautions]


def test_standing_cautions_say_that_they_always_apply() -> None:
    assert {caution.trigger for caution in standing_cautions()} == {"Always"}


def test_what_always_applies_is_not_repeated_among_what_something_triggered() -> None:
    standing = {caution.id for caution in standing_cautions()}
    everything = cautions_for(hazards=Hazard, perils=Peril, agents=Agent, damages=Damage)
    assert standing.isdisjoint(caution.id for caution in everything)


@pytest.mark.parametrize(
    ("triggers", "expected"),
    [
        ({"hazards": [Hazard.BUILDING]}, [("building-release", Hazard.BUILDING.label)]),
        ({"perils": [Peril.SEWAGE]}, [("sewage-peril", Peril.SEWAGE.label)]),
        ({"perils": [Peril.MOULD]}, [("mould-peril", Peril.MOULD.label)]),
        (
            {"water_categories": [WaterCategory.TWO]},
            [("category-2-water", WaterCategory.TWO.label)],
        ),
        ({"mould_conditions": [3]}, [("condition-3-mould", "Mould condition 3")]),
        ({"agents": [Agent.GAMMA]}, [("gamma-site", Agent.GAMMA.label)]),
        ({"damages": [Damage.INSECTS]}, [("insects-bag", Damage.INSECTS.label)]),
        ({"materials": [Material.FUR_FEATHER]}, [("fur-arsenic", Material.FUR_FEATHER.label)]),
        ({"steps": [StepKind.CHAMBER]}, [("chamber-lock", StepKind.CHAMBER.label)]),
    ],
)
def test_a_caution_says_what_made_it_show(
    triggers: dict[str, list[str]], expected: list[tuple[str, str]]
) -> None:
    assert shown(cautions_for(**triggers)) == expected  # type: ignore[arg-type]


def test_an_agent_s_hazard_shows_under_the_agent_unless_the_hazard_itself_was_named() -> None:
    by_agent = dict(shown(cautions_for(agents=[Agent.ANOXIA])))
    assert by_agent["permit-space"] == Agent.ANOXIA.label
    named = cautions_for(hazards=[Hazard.LOW_OXYGEN], agents=[Agent.ANOXIA])
    assert dict(shown(named))["permit-space"] == Hazard.LOW_OXYGEN.label
    assert dict(shown(named))["inert-asphyxia"] == Agent.ANOXIA.label


def test_of_two_agents_of_one_hazard_the_first_is_named() -> None:
    first, second = Agent.SULFURYL_FLUORIDE, Agent.OZONE
    assert dict(shown(cautions_for(agents=[first, second])))["fumigant-enter"] == first.label
    assert dict(shown(cautions_for(agents=[second, first])))["fumigant-enter"] == second.label


def test_a_facility_s_own_cautions_are_the_ones_shown() -> None:
    shipped = facts()
    only = "generator-place"
    row = shipped.cautions[only].model_copy(update={"text": "Behind the yard wall only."})
    known = replace(shipped, cautions={only: row})
    (caution,) = cautions_for(hazards=[Hazard.GENERATOR], known=known)
    assert (caution.id, caution.text) == (only, "Behind the yard wall only.")
    assert (caution.source, caution.mark) == (row.source, row.mark)
    assert standing_cautions(known) == ()
