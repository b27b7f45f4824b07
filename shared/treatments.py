"""The order of steps, and what may be done to what.

Two kinds of refusal: what a table marks *no*, and what physics or the label forbids, stands for
everybody; what is marked *conservator*, and the order of cleaning, a conservator may lift with a
signed, dated override.
"""

from collections.abc import Collection, Iterable, Sequence
from datetime import date, datetime
from enum import StrEnum
from typing import Self

from pydantic import AwareDatetime, BaseModel, ConfigDict, Field, model_validator

from shared.facts import STRICTNESS, Action, Facts, MouldConditionNumber, ScheduleRow, Serves, facts
from shared.vocabulary import Agent, Damage, Material, Permission, Role, StepKind, Target


class Fixed(BaseModel):
    """A value that can't change after it is made."""

    model_config = ConfigDict(frozen=True, extra="forbid")


class Rule(StrEnum):
    """The rule a refusal rests on."""

    TARGET = "target"
    DRY_FIRST = "dry_first"
    SOOT_FIRST = "soot_first"
    MOULD_FIRST = "mould_first"
    MATERIAL = "material"
    DAMAGE = "damage"
    UNKNOWN_MATERIAL = "unknown_material"


class Ruling(Fixed):
    """What a table says of one material, and on what ground."""

    permission: Permission
    reason: str
    source: str
    mark: str


class Refusal(Fixed):
    """Why something may not be done, in a sentence, and whether a conservator may lift it."""

    rule: Rule
    sentence: str
    overridable: bool
    material: Material | None = None


class Verdict(Fixed):
    """Whether something may be done; ``lifted`` are refusals that an override lifted."""

    allowed: bool
    refusals: tuple[Refusal, ...] = ()
    lifted: tuple[Refusal, ...] = ()
    notes: tuple[str, ...] = ()

    @property
    def overridable(self) -> bool:
        """Whether a conservator could lift everything that stands in the way."""
        return bool(self.refusals) and all(refusal.overridable for refusal in self.refusals)


class Override(Fixed):
    """A conservator's signed word that lifts what may be lifted, for one agent or action.

    ``rule`` None means every refusal of that subject which may be lifted. ``expires`` is the last
    day it holds, where it was signed. Refusals of a material are lifted only for ``materials`` it
    names.
    """

    subject: Agent | Action
    materials: tuple[Material, ...] = Field(min_length=1)
    rule: Rule | None = None
    reason: str = Field(min_length=1)
    signed_by: str = Field(min_length=1)
    role: Role
    licence: str | None = None
    signed_at: AwareDatetime
    expires: date

    @model_validator(mode="after")
    def _a_conservator_signs_for_the_future(self) -> Self:
        if self.role is not Role.CONSERVATOR:
            raise ValueError(
                f"role: only a conservator may sign an override, not {self.role.label}"
            )
        if self.expires < self.signed_at.date():
            raise ValueError("expires: lies before signed_at; give a later day")
        return self

    def lifts(self, refusal: Refusal, subject: Agent | Action, at: datetime) -> bool:
        """Return whether this override lifts the refusal at a moment (timezone-aware)."""
        return (
            refusal.overridable
            and self.subject == subject
            and self.rule in (None, refusal.rule)
            and (refusal.material is None or refusal.material in self.materials)
            and self.signed_at <= at
            and at.astimezone(self.signed_at.tzinfo).date() <= self.expires
        )


class PieceState(Fixed):
    """What is still on or in a piece, what befell it and which steps it has behind it."""

    wet: bool = False
    soot_on: bool = False
    mould_on: bool = False
    damages: frozenset[Damage] = frozenset()
    done: frozenset[StepKind] = frozenset()

    @classmethod
    def after(
        cls, needed: Collection[StepKind], done: Collection[StepKind], damages: Iterable[Damage]
    ) -> Self:
        """Return the state of a piece that needed some steps and has some of them done."""
        left = set(needed) - set(done)
        return cls(
            wet=StepKind.DRY in left,
            soot_on=StepKind.SOOT_REMOVAL in left,
            mould_on=StepKind.MOULD_REMOVAL in left,
            damages=frozenset(damages),
            done=frozenset(done),
        )


class NeededStep(Fixed):
    """A step a piece needs, and why.

    ``reason`` is what the step is for, followed by ``causes``: what befell this piece, if that
    is what calls for it.
    """

    step: StepKind
    reason: str
    causes: tuple[str, ...] = ()


class StepChoice(Fixed):
    """A step that is needed and not done: whether it may be next, and if not, why not."""

    step: StepKind
    allowed: bool
    reason: str
    waits_for: tuple[StepKind, ...] = ()


def steps_for(
    damages: Collection[Damage],
    *,
    mould_condition: MouldConditionNumber | None = None,
    hold_frozen: bool = False,
    studio_listed: bool = False,
    known: Facts | None = None,
) -> list[NeededStep]:
    """Return the steps a piece needs, in lawful order, each with its reason.

    A piece nothing happened to only goes home. A chamber run is always followed by airing.
    ``studio_listed``: a conservator has signed a studio list, whatever befell the piece.
    """
    tables = known or facts()
    causes: dict[StepKind, list[str]] = {}
    for damage in damages:
        row = tables.damages[damage]
        for step in row.steps:
            causes.setdefault(step, []).append(row.sentence)
    if mould_condition is not None:
        condition = tables.mould_conditions[mould_condition]
        for step in condition.steps:
            causes.setdefault(step, []).append(f"{condition.meaning}.")
    if causes:
        causes.setdefault(StepKind.STABILISE, [])
    if StepKind.CHAMBER in causes:
        causes.setdefault(StepKind.AIR, [])
    if hold_frozen and StepKind.DRY in causes:
        causes[StepKind.FREEZE] = []
    if studio_listed:
        causes.setdefault(StepKind.STUDIO, []).append("A conservator has signed a studio list.")
    causes[StepKind.RETURN] = []
    order = sorted(tables.steps.values(), key=lambda row: row.order)
    needed = []
    for step_row in order:
        if step_row.step in causes:
            once = tuple(dict.fromkeys(causes[step_row.step]))
            reason = " ".join([step_row.reason, *once])
            needed.append(NeededStep(step=step_row.step, reason=reason, causes=once))
    return needed


def chamber_targets(
    damages: Iterable[Damage],
    mould_condition: MouldConditionNumber | None = None,
    known: Facts | None = None,
) -> frozenset[Target]:
    """Return what a chamber run has to act on for these damages."""
    tables = known or facts()
    targets = {target for damage in damages for target in tables.damages[damage].targets}
    if mould_condition is not None:
        targets.update(tables.mould_conditions[mould_condition].targets)
    return frozenset(targets)


def legal_next(
    done: Collection[StepKind], needed: Collection[StepKind], known: Facts | None = None
) -> list[StepChoice]:
    """Return each step still needed, in order: whether it may be next, or what it waits for."""
    tables = known or facts()
    left = [
        row
        for row in sorted(tables.steps.values(), key=lambda row: row.order)
        if row.step in needed and row.step not in done
    ]
    remaining = {row.step for row in left}
    choices = []
    for row in left:
        waits_for = tuple(step for step in row.requires if step in remaining)
        reason = row.reason
        if waits_for:
            names = ", ".join(step.label.lower() for step in waits_for)
            reason = f"{row.refusal} Still to do: {names}."
        choices.append(
            StepChoice(step=row.step, allowed=not waits_for, reason=reason, waits_for=waits_for)
        )
    return choices


def permission(agent: Agent, material: Material, known: Facts | None = None) -> Ruling:
    """Return whether the tables allow an agent on a material, with the reason and its source.

    Freezing reads the material's own permission; any other agent is barred where a row says so
    and otherwise takes the agent's default.
    """
    tables = known or facts()
    if agent is Agent.FREEZING:
        row = tables.permission(material, Action.FREEZE_DRY)
        return Ruling(
            permission=row.permission, reason=row.reason, source=row.source, mark=row.mark
        )
    denial = tables.denials.get((agent, material, None))
    agent_row = tables.agents[agent]
    default = Ruling(
        permission=agent_row.default,
        reason=agent_row.note,
        source=agent_row.source,
        mark=agent_row.mark,
    )
    if denial is None or STRICTNESS[denial.permission] < STRICTNESS[agent_row.default]:
        return default
    return Ruling(
        permission=denial.permission,
        reason=denial.reason,
        source=denial.source,
        mark=denial.mark,
    )


def agents_for(target: Target, known: Facts | None = None) -> list[Agent]:
    """Return the agents that act on a target, wholly before partly; never one that does not."""
    tables = known or facts()
    serving = {agent: tables.agent_targets[(agent, target)].serves for agent in Agent}
    ranked = [agent for agent, serves in serving.items() if serves is Serves.YES]
    return ranked + [agent for agent, serves in serving.items() if serves is Serves.PARTLY]


def published_schedules(agent: Agent, known: Facts | None = None) -> list[ScheduleRow]:
    """Return published insect schedules of an agent, for comparison only.

    They are never a proposal: the licensed person's signed programme and the label govern.
    """
    return [row for row in (known or facts()).schedules.values() if row.agent is agent]


def may_treat(
    agent: Agent,
    target: Target,
    materials: Collection[Material],
    state: PieceState,
    *,
    at: datetime,
    overrides: Sequence[Override] = (),
    known: Facts | None = None,
) -> Verdict:
    """Rule on an agent against a target for a piece with all its parts.

    ``at`` (timezone-aware) is the moment the treatment would start, at which overrides must hold.
    """
    tables = known or facts()
    served = tables.agent_targets[(agent, target)]
    refusals: list[Refusal] = []
    notes: list[str] = []
    if served.serves is Serves.NO:
        refusals.append(
            Refusal(
                rule=Rule.TARGET,
                sentence=f"{agent.label} does not act on {target.label.lower()}: "
                f"{_lower(served.sentence)}.",
                overridable=False,
            )
        )
    elif served.serves is Serves.PARTLY:
        notes.append(f"{served.sentence}.")
    refusals += _state_refusals(agent, target, state, tables)
    refusals += _material_refusals(agent, materials, tables)
    notes.append(f"Licence: {tables.agents[agent].licence.label.lower()}.")
    return _verdict(refusals, notes, agent, overrides, at)


def may_do(
    action: Action,
    materials: Collection[Material],
    state: PieceState,
    *,
    at: datetime,
    overrides: Sequence[Override] = (),
    known: Facts | None = None,
) -> Verdict:
    """Rule on freezing, vacuum drying, blotting or cleaning with water for a whole piece.

    ``at`` is the moment it would be done (timezone-aware).
    """
    tables = known or facts()
    refusals: list[Refusal] = []
    if action is Action.WATER_CLEANING and state.soot_on:
        refusals.append(
            Refusal(
                rule=Rule.SOOT_FIRST,
                sentence="Take the soot off dry first: water drives it in.",
                overridable=_may_be_left_out(StepKind.SOOT_REMOVAL, tables),
            )
        )
    if action is Action.FREEZE_DRY and state.wet:
        refusals.append(_dry_first("Freezing against insects is for dry pieces"))
    if action is Action.FREEZE_WET:
        for damage in sorted(state.damages):
            damage_row = tables.damages[damage]
            if damage_row.freeze_wet is not Permission.YES:
                refusals.append(
                    Refusal(
                        rule=Rule.DAMAGE,
                        sentence=f"Freezing waits for a conservator: {_lower(damage_row.sentence)}",
                        overridable=damage_row.freeze_wet is Permission.CONSERVATOR,
                    )
                )
    for material in dict.fromkeys(materials):
        row = tables.permission(material, action)
        refusals += _barred(action.label, material, row.permission, row.reason)
    if not materials:
        refusals.append(_unknown_material())
    return _verdict(refusals, [], action, overrides, at)


def _state_refusals(
    agent: Agent, target: Target, state: PieceState, tables: Facts
) -> Iterable[Refusal]:
    if state.wet:
        yield _dry_first(f"{agent.label} is for dry pieces")
    removes = agent is Agent.HEPA_VACUUM
    if state.soot_on and target is Target.SMOKE_ODOUR and not removes:
        yield Refusal(
            rule=Rule.SOOT_FIRST,
            sentence="Take the soot off first: the smell comes from it and will come back.",
            overridable=_may_be_left_out(StepKind.SOOT_REMOVAL, tables),
        )
    if state.mould_on and target is Target.MOULD and not removes:
        yield Refusal(
            rule=Rule.MOULD_FIRST,
            sentence="Take the mould off first: dead mould still harms people.",
            overridable=_may_be_left_out(StepKind.MOULD_REMOVAL, tables),
        )
    for damage in sorted(state.damages):
        denial = tables.denials.get((agent, None, damage))
        if denial is not None and denial.until not in state.done:
            yield Refusal(
                rule=Rule.DAMAGE,
                sentence=f"{damage.label}: {denial.reason}.",
                overridable=denial.permission is Permission.CONSERVATOR,
            )


def _may_be_left_out(step: StepKind, tables: Facts) -> bool:
    return tables.steps[step].leave_out is Permission.CONSERVATOR


def _material_refusals(
    agent: Agent, materials: Collection[Material], tables: Facts
) -> Iterable[Refusal]:
    for material in dict.fromkeys(materials):
        ruling = permission(agent, material, tables)
        yield from _barred(agent.label, material, ruling.permission, ruling.reason)
    if not materials:
        yield _unknown_material()


def _barred(what: str, material: Material, allowed: Permission, reason: str) -> Iterable[Refusal]:
    if allowed is Permission.YES:
        return
    needs = "not allowed" if allowed is Permission.NO else "only on a conservator's word"
    yield Refusal(
        rule=Rule.MATERIAL,
        sentence=f"{what} on {_lower(material.label)}: {needs}. {_sentence(reason)}",
        overridable=allowed is Permission.CONSERVATOR,
        material=material,
    )


def _unknown_material() -> Refusal:
    return Refusal(
        rule=Rule.UNKNOWN_MATERIAL,
        sentence="Nobody has said what it is made of: say that first.",
        overridable=False,
    )


def _dry_first(what: str) -> Refusal:
    return Refusal(rule=Rule.DRY_FIRST, sentence=f"{what}: dry it first.", overridable=False)


def _verdict(
    refusals: Iterable[Refusal],
    notes: Sequence[str],
    subject: Agent | Action,
    overrides: Sequence[Override],
    at: datetime,
) -> Verdict:
    if at.tzinfo is None:
        raise ValueError("at: the time has no zone; give it one, such as UTC")
    standing, lifted = [], []
    for refusal in refusals:
        if any(override.lifts(refusal, subject, at) for override in overrides):
            lifted.append(refusal)
        else:
            standing.append(refusal)
    return Verdict(
        allowed=not standing,
        refusals=tuple(standing),
        lifted=tuple(lifted),
        notes=tuple(notes),
    )


def _lower(text: str) -> str:
    return text[:1].lower() + text[1:]


def _sentence(text: str) -> str:
    return f"{text[:1].upper()}{text[1:]}".rstrip(".") + "."
