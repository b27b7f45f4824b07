import pytest

from shared.cautions import cautions_for, standing_cautions
from shared.vocabulary import (
    Agent,
    Damage,
    Hazard,
    Material,
    Peril,
    StepKind,
    WaterCategory,
)


def ids(**triggers: object) -> list[str]:
    return [caution.id for caution in cautions_for(**triggers)]  # type: ignore[arg-type]


@pytest.mark.parametrize("hazard", Hazard)
def test_every_hazard_has_a_caution(hazard: Hazard) -> None:
    assert cautions_for(hazards=[hazard])


@pytest.mark.parametrize("agent", Agent)
def test_every_agent_has_a_caution_of_its_own(agent: Agent) -> None:
    assert any(caution.trigger == agent.label for caution in cautions_for(agents=[agent]))


def test_nothing_triggered_shows_nothing() -> None:
    assert cautions_for() == ()


def test_an_agent_brings_its_hazard_s_cautions() -> None:
    assert "oxygen-no-warning" in ids(agents=[Agent.ANOXIA])
    assert "fumigant-placard" in ids(agents=[Agent.OZONE])
    assert "fumigant-placard" not in ids(agents=[Agent.HEPA_VACUUM])


def test_each_kind_of_trigger_is_looked_up_under_its_own_kind() -> None:
    assert ids(hazards=[Hazard.MOULD]) != ids(perils=[Peril.MOULD])
    assert ids(mould_conditions=[3]) == ["condition-3-mould"]
    assert ids(water_categories=[WaterCategory.THREE]) == ["category-3-water"]
    assert ids(damages=[Damage.INSECTS]) == ["insects-bag"]
    assert ids(materials=[Material.FUR_FEATHER]) == ["fur-arsenic"]
    assert ids(steps=[StepKind.CHAMBER]) == ["chamber-lock"]


def test_a_text_two_triggers_share_is_shown_once() -> None:
    texts = [caution.text for caution in cautions_for(hazards=[Hazard.SOOT, Hazard.MOULD])]
    assert len(texts) == len(set(texts))
    assert sum("fit test" in text for text in texts) == 1


def test_cautions_keep_the_table_s_order_whatever_the_order_of_triggers() -> None:
    one = cautions_for(hazards=[Hazard.SOOT, Hazard.BUILDING])
    other = cautions_for(hazards=[Hazard.BUILDING, Hazard.SOOT])
    assert [caution.id for caution in one] == [caution.id for caution in other]


def test_every_page_defers_to_those_who_decide() -> None:
    said = " ".join(caution.text for caution in standing_cautions())
    for who in ("controls the site", "label", "local code", "licensed fumigator", "conservator"):
        assert who in said
    assert "never tells you that a space is safe" in said


def test_a_caution_carries_its_source() -> None:
    (caution,) = [c for c in cautions_for(hazards=[Hazard.GENERATOR]) if c.id == "generator-place"]
    assert caution.trigger == Hazard.GENERATOR.label
    assert "CDC" in caution.source
    assert caution.mark == "published"
