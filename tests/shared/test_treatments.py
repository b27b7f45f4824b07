from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from itertools import permutations
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import ValidationError

from shared.facts import Action, Serves, facts, load_facts
from shared.treatments import (
    Override,
    PieceState,
    Rule,
    Verdict,
    agents_for,
    chamber_targets,
    legal_next,
    may_do,
    may_treat,
    permission,
    published_schedules,
    steps_for,
)
from shared.vocabulary import Agent, Damage, Material, Permission, Role, StepKind, Target

NOW = datetime(2026, 3, 4, 12, tzinfo=UTC)
CLEAN = PieceState()

agents = st.sampled_from(Agent)
targets = st.sampled_from(Target)
materials = st.lists(st.sampled_from(Material), min_size=1, max_size=4)
states = st.builds(
    PieceState,
    wet=st.booleans(),
    soot_on=st.booleans(),
    mould_on=st.booleans(),
    damages=st.frozensets(st.sampled_from(Damage), max_size=3),
)


def override(**more: Any) -> Override:
    return Override.model_validate(
        {
            "subject": Agent.OZONE,
            "materials": (Material.OIL_CANVAS,),
            "reason": "tested on the turnover edge",
            "signed_by": "R. Vos",
            "role": Role.CONSERVATOR,
            "signed_at": NOW - timedelta(days=1),
            "expires": date(2026, 3, 10),
            **more,
        }
    )


def treat(agent: Agent, target: Target, *piece: Material, **more: Any) -> Verdict:
    state = more.pop("state", CLEAN)
    return may_treat(agent, target, piece, state, at=NOW, **more)


def rules(verdict: Verdict) -> list[Rule]:
    return [refusal.rule for refusal in verdict.refusals]


# --- the order of steps ---------------------------------------------------------------------------


def needed(*damages: Damage, **more: Any) -> list[StepKind]:
    return [step.step for step in steps_for(damages, **more)]


def test_the_whole_way_of_a_wet_sooty_mouldy_piece() -> None:
    assert needed(Damage.MOULD_VISIBLE, Damage.SOOT_WET, Damage.SOAKED, hold_frozen=True) == [
        StepKind.STABILISE,
        StepKind.FREEZE,
        StepKind.DRY,
        StepKind.SOOT_REMOVAL,
        StepKind.MOULD_REMOVAL,
        StepKind.CHAMBER,
        StepKind.AIR,
        StepKind.STUDIO,
        StepKind.RETURN,
    ]


def test_smoke_smell_and_mould_go_to_the_chamber_and_are_aired() -> None:
    assert needed(Damage.SMOKE_ODOUR) == [
        StepKind.STABILISE,
        StepKind.CHAMBER,
        StepKind.AIR,
        StepKind.RETURN,
    ]
    assert chamber_targets([Damage.SMOKE_ODOUR, Damage.MOULD_VISIBLE]) == {
        Target.SMOKE_ODOUR,
        Target.MOULD,
    }
    assert chamber_targets([Damage.SOOT_DRY, Damage.SOAKED]) == frozenset()


def test_a_piece_nothing_happened_to_goes_home() -> None:
    assert needed(Damage.NONE_SEEN) == needed() == [StepKind.RETURN]


def test_freezing_is_a_step_only_when_asked_for() -> None:
    assert StepKind.FREEZE not in needed(Damage.SOAKED)


def test_freezing_is_a_step_only_for_what_must_dry() -> None:
    assert StepKind.FREEZE not in needed(Damage.SOOT_DRY, hold_frozen=True)


def test_spores_that_settled_are_taken_off_and_growing_mould_goes_to_the_chamber() -> None:
    assert StepKind.MOULD_REMOVAL in needed(Damage.DAMP, mould_condition=2)
    assert StepKind.CHAMBER not in needed(Damage.DAMP, mould_condition=2)
    assert StepKind.CHAMBER in needed(Damage.DAMP, mould_condition=3)
    assert chamber_targets([], 3) == {Target.MOULD}


def test_every_step_says_why() -> None:
    dry = next(step for step in steps_for([Damage.SOAKED]) if step.step is StepKind.DRY)
    assert dry.reason == "It is wet, and everything else waits for dry. It is soaked."
    assert dry.causes == ("It is soaked.",)


@given(st.lists(st.sampled_from(Damage), max_size=6), st.booleans())
def test_the_causes_of_a_step_are_those_of_the_damages_that_call_for_it(
    damages: list[Damage], hold_frozen: bool
) -> None:
    rows = [facts().damages[damage] for damage in dict.fromkeys(damages)]
    for need in steps_for(damages, hold_frozen=hold_frozen):
        assert set(need.causes) == {row.sentence for row in rows if need.step in row.steps}
        assert len(set(need.causes)) == len(need.causes)
        assert need.reason.endswith(" ".join(need.causes))


@given(st.frozensets(st.sampled_from(StepKind)), st.frozensets(st.sampled_from(StepKind)))
def test_the_next_step_never_overtakes_one_before_it(
    wanted: frozenset[StepKind], done: frozenset[StepKind]
) -> None:
    choices = legal_next(done, wanted)
    assert [choice.step for choice in choices] == [
        step for step in StepKind if step in wanted - done
    ]
    # The order is a line, so exactly the first step left may be next.
    assert [choice.allowed for choice in choices] == [index == 0 for index in range(len(choices))]
    for choice in choices[1:]:
        assert choice.waits_for
        assert "Still to do" in choice.reason


def test_only_the_lawful_order_can_be_walked_to_its_end() -> None:
    wanted = (StepKind.DRY, StepKind.SOOT_REMOVAL, StepKind.CHAMBER, StepKind.AIR)
    walked = []
    for order in permutations(wanted):
        done: list[StepKind] = []
        for step in order:
            choice = next(c for c in legal_next(done, wanted) if c.step is step)
            if not choice.allowed:
                break
            done.append(step)
        if len(done) == len(wanted):
            walked.append(order)
    assert walked == [wanted]


def test_the_state_follows_from_the_steps_left() -> None:
    wanted = needed(Damage.SOAKED, Damage.SOOT_WET, Damage.MOULD_VISIBLE)
    state = PieceState.after(
        wanted, [StepKind.STABILISE, StepKind.DRY], [Damage.SOAKED, Damage.SOOT_WET]
    )
    assert (state.wet, state.soot_on, state.mould_on) == (False, True, True)


# --- agents and targets ---------------------------------------------------------------------------


@given(agents, materials, states)
def test_an_insect_method_is_never_allowed_against_mould(
    agent: Agent, piece: list[Material], state: PieceState
) -> None:
    if facts().agent_targets[agent, Target.MOULD].serves is Serves.NO:
        everything = [
            override(subject=agent, materials=tuple(Material), rule=None),
        ]
        verdict = may_treat(agent, Target.MOULD, piece, state, at=NOW, overrides=everything)
        assert not verdict.allowed
        assert not verdict.overridable
        assert agent not in agents_for(Target.MOULD)


def test_insect_methods_are_all_refused_for_mould() -> None:
    for agent in (
        Agent.ANOXIA,
        Agent.CARBON_DIOXIDE,
        Agent.FREEZING,
        Agent.HEAT,
        Agent.SULFURYL_FLUORIDE,
        Agent.PHOSPHINE,
        Agent.METHYL_BROMIDE,
    ):
        assert Rule.TARGET in rules(treat(agent, Target.MOULD, Material.WOOD))


def test_agents_for_a_target_list_the_sure_before_the_partial() -> None:
    odour = agents_for(Target.SMOKE_ODOUR)
    assert odour.index(Agent.CARBON_AIR) < odour.index(Agent.HEPA_VACUUM)
    assert Agent.ANOXIA not in odour


@given(agents, targets, materials, states)
def test_nothing_goes_into_a_chamber_wet(
    agent: Agent, target: Target, piece: list[Material], state: PieceState
) -> None:
    wet = state.model_copy(update={"wet": True})
    everything = [override(subject=agent, materials=tuple(Material))]
    verdict = may_treat(agent, target, piece, wet, at=NOW, overrides=everything)
    assert Rule.DRY_FIRST in rules(verdict)
    assert not verdict.allowed


@given(agents, targets, materials, st.sampled_from(Material), states)
def test_one_more_material_never_allows_what_was_refused(
    agent: Agent, target: Target, piece: list[Material], more: Material, state: PieceState
) -> None:
    before = may_treat(agent, target, piece, state, at=NOW)
    after = may_treat(agent, target, [*piece, more], state, at=NOW)
    assert before.allowed or not after.allowed


def test_deodorising_waits_for_the_soot() -> None:
    sooty = PieceState(soot_on=True)
    refused = treat(Agent.CARBON_AIR, Target.SMOKE_ODOUR, Material.WOOD, state=sooty)
    assert rules(refused) == [Rule.SOOT_FIRST]
    assert treat(Agent.HEPA_VACUUM, Target.SMOKE_ODOUR, Material.WOOD, state=sooty).allowed
    assert treat(Agent.CARBON_AIR, Target.SMOKE_ODOUR, Material.WOOD).allowed


def test_killing_mould_waits_for_taking_it_off() -> None:
    mouldy = PieceState(mould_on=True)
    refused = treat(Agent.HYDROGEN_PEROXIDE, Target.MOULD, Material.STONE, state=mouldy)
    assert Rule.MOULD_FIRST in rules(refused)
    assert not refused.overridable
    clean = treat(Agent.HYDROGEN_PEROXIDE, Target.MOULD, Material.STONE)
    assert Rule.MOULD_FIRST not in rules(clean)
    assert treat(Agent.HEPA_VACUUM, Target.MOULD, Material.STONE, state=mouldy).allowed


def test_the_vacuum_keeps_off_a_lifting_surface_till_it_is_fixed_down() -> None:
    lifting = PieceState(damages=frozenset({Damage.FLAKING}))
    refused = treat(Agent.HEPA_VACUUM, Target.MOULD, Material.OIL_CANVAS, state=lifting)
    assert rules(refused) == [Rule.DAMAGE]
    assert refused.overridable
    fixed = lifting.model_copy(update={"done": frozenset({StepKind.STABILISE})})
    assert treat(Agent.HEPA_VACUUM, Target.MOULD, Material.OIL_CANVAS, state=fixed).allowed


def test_a_partial_effect_is_allowed_and_said() -> None:
    verdict = treat(Agent.HEPA_VACUUM, Target.SMOKE_ODOUR, Material.WOOD)
    assert verdict.allowed
    assert verdict.notes == ("It takes off part of what smells.", "Licence: none.")


def test_an_unknown_material_is_refused() -> None:
    verdict = treat(Agent.CARBON_AIR, Target.SMOKE_ODOUR)
    assert rules(verdict) == [Rule.UNKNOWN_MATERIAL]
    assert not verdict.overridable


def test_a_refusal_reads_like_a_sentence() -> None:
    verdict = treat(Agent.PHOSPHINE, Target.INSECTS, Material.COPPER_ALLOY)
    assert [refusal.sentence for refusal in verdict.refusals] == [
        "Phosphine on copper, brass or bronze: not allowed. Phosphine eats copper and its alloys."
    ]


def test_a_row_never_loosens_an_agent_s_default() -> None:
    ranks = [Permission.YES, Permission.CONSERVATOR, Permission.NO]
    stricter = load_facts(
        "table,key,column,value,signed_by,reason\nagents,ozone,default,no,R. Vos,sold it\n"
    )
    assert permission(Agent.OZONE, Material.PASTEL, stricter).permission is Permission.NO
    for agent in set(Agent) - {Agent.FREEZING}:
        default = facts().agents[agent].default
        for material in Material:
            found = permission(agent, material).permission
            assert ranks.index(found) >= ranks.index(default)


def test_published_schedules_are_there_to_compare() -> None:
    assert {row.agent for row in published_schedules(Agent.ANOXIA)} == {Agent.ANOXIA}
    assert published_schedules(Agent.OZONE) == []


# --- other actions --------------------------------------------------------------------------------


def do(action: Action, *piece: Material, **more: Any) -> Verdict:
    state = more.pop("state", CLEAN)
    return may_do(action, piece, state, at=NOW, **more)


@pytest.mark.parametrize("material", [Material.GILDED_GESSO, Material.OIL_CANVAS_GLUE_LINED])
def test_no_water_on_gesso_or_hide_glue_whoever_signs(material: Material) -> None:
    signed = override(subject=Action.WATER_CLEANING, materials=(material,))
    verdict = do(Action.WATER_CLEANING, material, overrides=[signed])
    assert not verdict.allowed
    assert not verdict.overridable


def test_water_waits_for_dry_soot_removal() -> None:
    sooty = PieceState(soot_on=True)
    refused = do(Action.WATER_CLEANING, Material.GLASS, state=sooty)
    assert rules(refused) == [Rule.SOOT_FIRST]
    assert not refused.overridable
    assert do(Action.WATER_CLEANING, Material.GLASS).allowed


def test_freezing_against_insects_is_for_dry_pieces() -> None:
    wet = PieceState(wet=True)
    assert rules(do(Action.FREEZE_DRY, Material.TEXTILE, state=wet)) == [Rule.DRY_FIRST]
    assert do(Action.FREEZE_WET, Material.TEXTILE, state=wet).allowed


def test_freezing_wet_and_freezing_dry_are_two_permissions() -> None:
    assert do(Action.FREEZE_WET, Material.SILVER_GELATIN).allowed
    assert not do(Action.FREEZE_DRY, Material.SILVER_GELATIN).allowed
    assert permission(Agent.FREEZING, Material.WOOD).permission is Permission.YES
    assert not do(Action.FREEZE_WET, Material.WOOD).allowed


def test_a_damage_may_hold_freezing_back() -> None:
    lifting = PieceState(wet=True, damages=frozenset({Damage.FLAKING}))
    verdict = do(Action.FREEZE_WET, Material.PRINT_PAPER, state=lifting)
    assert rules(verdict) == [Rule.DAMAGE]
    assert verdict.overridable


def test_no_material_no_action() -> None:
    assert rules(do(Action.BLOT)) == [Rule.UNKNOWN_MATERIAL]


# --- overrides ------------------------------------------------------------------------------------


def test_a_conservator_lifts_ozone_on_the_material_named() -> None:
    verdict = treat(Agent.OZONE, Target.SMOKE_ODOUR, Material.OIL_CANVAS, overrides=[override()])
    assert verdict.allowed
    assert [refusal.material for refusal in verdict.lifted] == [Material.OIL_CANVAS]


@pytest.mark.parametrize(
    "wrong",
    [
        {"subject": Agent.HYDROXYL},
        {"materials": (Material.PANEL_PAINTING,)},
        {"rule": Rule.SOOT_FIRST},
        {"signed_at": NOW + timedelta(hours=1)},
        {"signed_at": NOW - timedelta(days=3), "expires": NOW.date() - timedelta(days=1)},
    ],
)
def test_an_override_for_something_else_lifts_nothing(wrong: dict[str, Any]) -> None:
    verdict = treat(
        Agent.OZONE, Target.SMOKE_ODOUR, Material.OIL_CANVAS, overrides=[override(**wrong)]
    )
    assert not verdict.allowed
    assert verdict.overridable
    assert verdict.lifted == ()


def test_an_override_holds_through_its_last_day() -> None:
    signed = override(expires=NOW.date())
    for at, allowed in ((NOW.replace(hour=23), True), (NOW + timedelta(days=1), False)):
        verdict = may_treat(
            Agent.OZONE,
            Target.SMOKE_ODOUR,
            [Material.OIL_CANVAS],
            CLEAN,
            at=at,
            overrides=[signed],
        )
        assert verdict.allowed is allowed


def test_an_override_may_be_signed_for_this_very_moment_and_day() -> None:
    signed = override(signed_at=NOW, expires=NOW.date())
    verdict = treat(Agent.OZONE, Target.SMOKE_ODOUR, Material.OIL_CANVAS, overrides=[signed])
    assert verdict.allowed


def test_an_override_never_lifts_what_a_table_forbids() -> None:
    verdict = treat(
        Agent.OZONE,
        Target.SMOKE_ODOUR,
        Material.OIL_CANVAS,
        Material.SILVER,
        overrides=[override(materials=(Material.OIL_CANVAS, Material.SILVER))],
    )
    assert not verdict.allowed
    assert [refusal.material for refusal in verdict.refusals] == [Material.SILVER]


def test_no_override_lifts_the_order_of_cleaning() -> None:
    """Soot comes off before odour is treated (JAIC 39(1) 2000, article 3), whoever signs."""
    signed = override(subject=Agent.CARBON_AIR, rule=Rule.SOOT_FIRST, materials=(Material.PASTEL,))
    verdict = treat(
        Agent.CARBON_AIR,
        Target.SMOKE_ODOUR,
        Material.PASTEL,
        state=PieceState(soot_on=True),
        overrides=[signed],
    )
    assert not verdict.allowed
    assert rules(verdict) == [Rule.SOOT_FIRST]
    assert verdict.lifted == ()


def test_whether_a_step_may_be_left_out_is_a_row_of_a_table() -> None:
    known = facts()
    row = known.steps[StepKind.SOOT_REMOVAL]
    free = row.model_copy(update={"leave_out": Permission.CONSERVATOR})
    lenient = replace(known, steps={**known.steps, StepKind.SOOT_REMOVAL: free})
    verdict = treat(
        Agent.CARBON_AIR,
        Target.SMOKE_ODOUR,
        Material.WOOD,
        state=PieceState(soot_on=True),
        known=lenient,
    )
    assert verdict.overridable
    assert {row.leave_out for row in known.steps.values()} == {Permission.NO}


@pytest.mark.parametrize(
    ("bad", "said"),
    [
        ({"role": Role.LEAD}, "only a conservator"),
        ({"expires": date(2026, 3, 1)}, "lies before signed_at"),
        ({"signed_at": datetime(2026, 3, 3)}, "timezone"),  # noqa: DTZ001
        ({"materials": ()}, "materials"),
        ({"reason": ""}, "reason"),
    ],
)
def test_an_override_must_be_signed_in_full(bad: dict[str, Any], said: str) -> None:
    with pytest.raises(ValidationError, match=said):
        override(**bad)


def test_a_moment_without_a_zone_is_refused() -> None:
    with pytest.raises(ValueError, match="has no zone"):
        may_do(
            Action.BLOT,
            [Material.GLASS],
            CLEAN,
            at=datetime(2026, 3, 4),  # noqa: DTZ001
        )
