"""Which caution is shown when, and the words by which Lagan defers to those who decide."""

from collections.abc import Iterable

from pydantic import BaseModel, ConfigDict

from shared.facts import CautionRow, Facts, MouldConditionNumber, facts
from shared.vocabulary import (
    Agent,
    Damage,
    Hazard,
    Material,
    Peril,
    StepKind,
    WaterCategory,
)


class Caution(BaseModel):
    """A caution, what made it show, and where it comes from."""

    model_config = ConfigDict(frozen=True)

    id: str
    trigger: str
    text: str
    source: str
    mark: str


def standing_cautions(known: Facts | None = None) -> tuple[Caution, ...]:
    """Return the cautions every page and paper carries: who decides instead of Lagan."""
    tables = known or facts()
    return tuple(
        _caution(row, "Always") for row in tables.cautions.values() if row.trigger_kind == "always"
    )


def cautions_for(
    *,
    hazards: Iterable[Hazard] = (),
    perils: Iterable[Peril] = (),
    water_categories: Iterable[WaterCategory] = (),
    mould_conditions: Iterable[MouldConditionNumber] = (),
    agents: Iterable[Agent] = (),
    damages: Iterable[Damage] = (),
    materials: Iterable[Material] = (),
    steps: Iterable[StepKind] = (),
    known: Facts | None = None,
) -> tuple[Caution, ...]:
    """Return the cautions that apply, in the table's order and each text once.

    An agent also brings the cautions of its own hazard, a fumigant's or low oxygen's.
    """
    tables = known or facts()
    triggers: dict[tuple[str, str], str] = {}
    for hazard in hazards:
        triggers["hazard", hazard.value] = hazard.label
    for peril in perils:
        triggers["peril", peril.value] = peril.label
    for category in water_categories:
        triggers["water_category", category.value] = category.label
    for condition in mould_conditions:
        triggers["mould_condition", str(condition)] = f"Mould condition {condition}"
    for agent in agents:
        triggers["agent", agent.value] = agent.label
        own_hazard = tables.agents[agent].hazard
        if own_hazard is not None:
            triggers.setdefault(("hazard", own_hazard.value), agent.label)
    for damage in damages:
        triggers["damage", damage.value] = damage.label
    for material in materials:
        triggers["material", material.value] = material.label
    for step in steps:
        triggers["step", step.value] = step.label
    found: dict[str, Caution] = {}
    for row in tables.cautions.values():
        label = triggers.get((row.trigger_kind, row.trigger))
        if label is not None:
            found.setdefault(row.text, _caution(row, label))
    return tuple(found.values())


def leak_steps(agent: Agent, known: Facts | None = None) -> tuple[Caution, ...]:
    """What to do when an agent gets out or somebody is hurt by it; empty for one without a hazard.

    The emergency plan of the place and the product label stand above them.
    """
    tables = known or facts()
    hazard = tables.agents[agent].hazard
    return tuple(
        _caution(row, agent.label)
        for row in tables.cautions.values()
        if hazard is not None and (row.trigger_kind, row.trigger) == ("leak", hazard.value)
    )


def _caution(row: CautionRow, trigger: str) -> Caution:
    return Caution(id=row.id, trigger=trigger, text=row.text, source=row.source, mark=row.mark)
