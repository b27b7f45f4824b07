"""Rulings at their edges: whole sentences, the facility's own tables, the moment of an override.

Wherever a sentence of a table is quoted, the tables are those of an invented facility that
changed it, so that the words checked here are this file's own.
"""

import time
from datetime import UTC, date, datetime, timedelta, timezone
from typing import Any

import pytest
from pydantic import ValidationError

from shared.facts import Action, Facts, load_facts
from shared.treatments import (
    NeededStep,
    Override,
    PieceState,
    Refusal,
    Rule,
    Ruling,
    StepChoice,
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
CHANGES = (
    ("steps", "dry", "reason", "The house dries it."),
    ("steps", "dry", "refusal", "The house dries nothing loose."),
    ("steps", "return", "reason", "The house sends it home."),
    ("damages", "soaked", "sentence", "The house calls it soaked."),
    ("damages", "damp", "sentence", "The house calls it damp."),
    ("damages", "flaking", "sentence", "The house sees it flake."),
    ("damages", "flaking", "freeze_wet", "no"),
    ("damages", "heat", "sentence", "The house sees heat."),
    ("mould_conditions", "2", "meaning", "The house calls it settled"),
    ("agent_targets", "anoxia/mould", "sentence", "The house knows that fungi live"),
    ("agent_targets", "ozone/mould", "sentence", "The house says only the surface"),
    ("agents", "ozone", "note", "the house is wary"),
    ("denials", "ozone/silver/", "reason", "the house lost a spoon"),
    ("denials", "hepa_vacuum//flaking", "reason", "the house fixes it down"),
    ("denials", "heat//flaking", "permission", "no"),
    ("permissions", "wood/freeze_dry", "reason", "the house says why..."),
    ("permissions", "pastel/blot", "reason", "the house wipes no pastel"),
)
HOUSE: Facts = load_facts(
    "table,key,column,value,signed_by,reason\n"
    + "".join(f"{','.join(change)},R. Vos,invented\n" for change in CHANGES)
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
    return may_treat(
        agent, target, piece, more.pop("state", PieceState()), **{"at": NOW, "known": HOUSE, **more}
    )


def do(action: Action, *piece: Material, **more: Any) -> Verdict:
    return may_do(
        action, piece, more.pop("state", PieceState()), **{"at": NOW, "known": HOUSE, **more}
    )


# --- what a piece needs -----------------------------------------------------------------------


def test_a_step_gives_its_own_reason_then_each_cause_once() -> None:
    steps = steps_for([Damage.SOAKED, Damage.DAMP, Damage.SOAKED], known=HOUSE)
    dry = next(step for step in steps if step.step is StepKind.DRY)
    assert dry == NeededStep(
        step=StepKind.DRY,
        reason="The house dries it. The house calls it soaked. The house calls it damp.",
        causes=("The house calls it soaked.", "The house calls it damp."),
    )


def test_a_step_that_every_piece_takes_has_no_cause() -> None:
    assert steps_for([], known=HOUSE) == [
        NeededStep(step=StepKind.RETURN, reason="The house sends it home.", causes=())
    ]
    last = steps_for([Damage.SOAKED], known=HOUSE)[-1]
    assert (last.step, last.causes) == (StepKind.RETURN, ())


def test_a_mould_condition_is_a_cause_in_a_sentence_of_its_own() -> None:
    steps = steps_for([], mould_condition=2, known=HOUSE)
    assert [step.step for step in steps] == [
        StepKind.STABILISE,
        StepKind.MOULD_REMOVAL,
        StepKind.RETURN,
    ]
    assert steps[1].causes == ("The house calls it settled.",)
    assert steps[1].reason.endswith(" The house calls it settled.")


def test_a_mould_condition_joins_the_damages_that_call_for_the_same_step() -> None:
    steps = steps_for([Damage.DAMP], mould_condition=2, known=HOUSE)
    assert steps[0].step is StepKind.STABILISE
    assert steps[0].causes == ("The house calls it damp.", "The house calls it settled.")


def test_ordinary_mould_calls_for_nothing() -> None:
    assert [step.step for step in steps_for([], mould_condition=1)] == [StepKind.RETURN]
    assert chamber_targets([], 1) == chamber_targets([], 2) == frozenset()


def test_every_way_begins_with_stabilising_and_every_chamber_run_is_aired() -> None:
    house = load_facts(
        "table,key,column,value,signed_by,reason\n"
        "mould_conditions,1,steps,chamber,R. Vos,invented\n"
    )
    steps = steps_for([], mould_condition=1, known=house)
    assert [step.step for step in steps] == [
        StepKind.STABILISE,
        StepKind.CHAMBER,
        StepKind.AIR,
        StepKind.RETURN,
    ]
    meaning = house.mould_conditions[1].meaning
    assert [step.causes for step in steps] == [(), (f"{meaning}.",), (), ()]


def test_a_frozen_hold_stands_between_stabilising_and_drying_and_has_no_cause() -> None:
    steps = steps_for([Damage.SOAKED], hold_frozen=True)
    assert [step.step for step in steps[:3]] == [
        StepKind.STABILISE,
        StepKind.FREEZE,
        StepKind.DRY,
    ]
    assert steps[1].causes == ()
    assert StepKind.FREEZE not in [step.step for step in steps_for([Damage.SOAKED])]


def test_a_chamber_acts_on_what_the_damages_and_the_mould_condition_name() -> None:
    assert chamber_targets([Damage.SMOKE_ODOUR], 3) == {Target.SMOKE_ODOUR, Target.MOULD}
    assert chamber_targets([Damage.INSECTS]) == {Target.INSECTS}
    assert isinstance(chamber_targets([]), frozenset)


def test_what_is_next_gives_its_reason_and_what_waits_says_for_which_steps() -> None:
    wanted = [StepKind.RETURN, StepKind.DRY, StepKind.FREEZE, StepKind.STABILISE]
    first, frozen, dry, home = legal_next([], wanted, HOUSE)
    assert (first.step, first.allowed, first.waits_for) == (StepKind.STABILISE, True, ())
    assert frozen.waits_for == (StepKind.STABILISE,)
    assert dry == StepChoice(
        step=StepKind.DRY,
        allowed=False,
        reason="The house dries nothing loose. Still to do: stabilise, hold frozen.",
        waits_for=(StepKind.STABILISE, StepKind.FREEZE),
    )
    assert home.waits_for == (StepKind.STABILISE, StepKind.FREEZE, StepKind.DRY)
    (alone, _) = legal_next([StepKind.STABILISE, StepKind.FREEZE], wanted, HOUSE)
    assert alone == StepChoice(
        step=StepKind.DRY, allowed=True, reason="The house dries it.", waits_for=()
    )


def test_a_step_that_was_done_and_is_not_needed_is_not_offered() -> None:
    assert legal_next([StepKind.DRY], [StepKind.DRY]) == []
    assert legal_next([StepKind.DRY], []) == []


@pytest.mark.parametrize(
    ("left", "state"),
    [
        (StepKind.DRY, (True, False, False)),
        (StepKind.SOOT_REMOVAL, (False, True, False)),
        (StepKind.MOULD_REMOVAL, (False, False, True)),
        (StepKind.STUDIO, (False, False, False)),
    ],
)
def test_a_piece_is_wet_sooty_or_mouldy_till_that_very_step_is_done(
    left: StepKind, state: tuple[bool, bool, bool]
) -> None:
    after = PieceState.after(list(StepKind), [s for s in StepKind if s is not left], [Damage.MUD])
    assert (after.wet, after.soot_on, after.mould_on) == state
    assert after.damages == {Damage.MUD}
    assert after.done == set(StepKind) - {left}
    nothing = PieceState()
    assert (nothing.wet, nothing.soot_on, nothing.mould_on) == (False, False, False)
    assert not nothing.damages
    assert not nothing.done


# --- what the tables allow --------------------------------------------------------------------


def test_a_permission_comes_with_its_reason_source_and_mark() -> None:
    row = HOUSE.denials[Agent.OZONE, Material.SILVER, None]
    assert permission(Agent.OZONE, Material.SILVER, HOUSE) == Ruling(
        permission=Permission.NO,
        reason="the house lost a spoon",
        source=row.source,
        mark=row.mark,
    )
    agent = HOUSE.agents[Agent.OZONE]
    assert permission(Agent.OZONE, Material.STONE, HOUSE) == Ruling(
        permission=Permission.CONSERVATOR,
        reason="the house is wary",
        source=agent.source,
        mark=agent.mark,
    )
    freezing = HOUSE.permission(Material.WOOD, Action.FREEZE_DRY)
    assert permission(Agent.FREEZING, Material.WOOD, HOUSE) == Ruling(
        permission=Permission.YES,
        reason="the house says why...",
        source=freezing.source,
        mark=freezing.mark,
    )


def test_a_row_as_strict_as_the_agent_gives_the_reason() -> None:
    assert permission(Agent.OZONE, Material.WATERCOLOUR).permission is Permission.CONSERVATOR
    row = HOUSE.denials[Agent.OZONE, Material.WATERCOLOUR, None]
    assert permission(Agent.OZONE, Material.WATERCOLOUR, HOUSE).reason == row.reason
    assert row.reason != HOUSE.agents[Agent.OZONE].note


def test_the_shipped_tables_rule_unless_a_facility_gives_its_own() -> None:
    shipped = load_facts()
    for given in (None, shipped):
        assert permission(Agent.OZONE, Material.SILVER, given).reason == (
            shipped.denials[Agent.OZONE, Material.SILVER, None].reason
        )
        assert legal_next([], [StepKind.DRY], given)[0].reason == (
            shipped.steps[StepKind.DRY].reason
        )
        assert published_schedules(Agent.HEAT, given) == [shipped.schedules["heat_55"]]
        assert steps_for([], known=given)[0].reason == shipped.steps[StepKind.RETURN].reason


def test_agents_that_act_wholly_stand_before_those_that_act_in_part() -> None:
    assert agents_for(Target.SMOKE_ODOUR) == [
        Agent.CARBON_AIR,
        Agent.OZONE,
        Agent.HEPA_VACUUM,
        Agent.HYDROXYL,
        Agent.CHLORINE_DIOXIDE,
    ]
    assert agents_for(Target.MOULD)[-2:] == [Agent.OZONE, Agent.HYDROXYL]


# --- verdicts ---------------------------------------------------------------------------------


def test_an_agent_that_does_not_act_is_refused_with_why() -> None:
    verdict = treat(Agent.ANOXIA, Target.MOULD, Material.STONE)
    assert verdict.refusals == (
        Refusal(
            rule=Rule.TARGET,
            sentence="Nitrogen or argon anoxia does not act on mould and mildew: "
            "the house knows that fungi live.",
            overridable=False,
        ),
    )
    assert verdict.notes == ("Licence: trained operator.",)


def test_an_agent_that_acts_in_part_is_noted_before_its_licence() -> None:
    verdict = treat(Agent.OZONE, Target.MOULD, Material.STONE)
    assert verdict.notes == (
        "The house says only the surface.",
        "Licence: trained operator.",
    )


def test_an_agent_that_acts_wholly_needs_no_word_on_that() -> None:
    assert treat(Agent.CARBON_AIR, Target.SMOKE_ODOUR, Material.STONE).notes == ("Licence: none.",)


def test_a_material_that_is_barred_is_named_with_the_reason() -> None:
    verdict = treat(Agent.OZONE, Target.SMOKE_ODOUR, Material.SILVER, Material.STONE)
    assert verdict.refusals == (
        Refusal(
            rule=Rule.MATERIAL,
            sentence="Ozone on silver: not allowed. The house lost a spoon.",
            overridable=False,
            material=Material.SILVER,
        ),
        Refusal(
            rule=Rule.MATERIAL,
            sentence="Ozone on hard stone: only on a conservator's word. The house is wary.",
            overridable=True,
            material=Material.STONE,
        ),
    )
    assert not verdict.overridable


def test_a_material_named_twice_is_refused_once() -> None:
    verdict = treat(Agent.OZONE, Target.SMOKE_ODOUR, Material.STONE, Material.STONE)
    assert len(verdict.refusals) == 1
    assert len(do(Action.BLOT, Material.PASTEL, Material.PASTEL).refusals) == 1


def test_a_wet_piece_is_dried_before_any_agent() -> None:
    verdict = treat(
        Agent.CARBON_AIR, Target.SMOKE_ODOUR, Material.STONE, state=PieceState(wet=True)
    )
    assert verdict.refusals == (
        Refusal(
            rule=Rule.DRY_FIRST,
            sentence="Activated carbon and air changes is for dry pieces: dry it first.",
            overridable=False,
        ),
    )


def test_soot_stands_in_the_way_of_deodorising_and_nothing_else() -> None:
    sooty = PieceState(soot_on=True)
    assert treat(Agent.CARBON_AIR, Target.SMOKE_ODOUR, Material.STONE, state=sooty).refusals == (
        Refusal(
            rule=Rule.SOOT_FIRST,
            sentence="Take the soot off first: the smell comes from it and will come back.",
            overridable=False,
        ),
    )
    assert treat(Agent.ANOXIA, Target.INSECTS, Material.STONE, state=sooty).allowed
    assert treat(Agent.HEPA_VACUUM, Target.SMOKE_ODOUR, Material.STONE, state=sooty).allowed


def test_mould_stands_in_the_way_of_killing_mould_and_nothing_else() -> None:
    mouldy = PieceState(mould_on=True)
    refused = treat(Agent.HYDROGEN_PEROXIDE, Target.MOULD, Material.STONE, state=mouldy)
    assert refused.refusals[0] == Refusal(
        rule=Rule.MOULD_FIRST,
        sentence="Take the mould off first: dead mould still harms people.",
        overridable=False,
    )
    assert treat(Agent.ANOXIA, Target.INSECTS, Material.STONE, state=mouldy).allowed
    assert treat(Agent.CARBON_AIR, Target.SMOKE_ODOUR, Material.STONE, state=mouldy).allowed
    assert treat(Agent.HEPA_VACUUM, Target.MOULD, Material.STONE, state=mouldy).allowed


def test_a_damage_holds_an_agent_back_in_the_words_of_the_table() -> None:
    lifting = PieceState(damages=frozenset({Damage.FLAKING, Damage.SOAKED}))
    assert treat(Agent.HEPA_VACUUM, Target.MOULD, Material.STONE, state=lifting).refusals == (
        Refusal(
            rule=Rule.DAMAGE,
            sentence="Flaking or lifting surface: the house fixes it down.",
            overridable=True,
        ),
    )


def test_a_damage_that_bars_an_agent_outright_is_no_conservators_to_lift() -> None:
    lifting = PieceState(damages=frozenset({Damage.FLAKING}))
    verdict = treat(Agent.HEAT, Target.INSECTS, Material.STONE, state=lifting)
    assert [r.overridable for r in verdict.refusals if r.rule is Rule.DAMAGE] == [False]


def test_damages_are_told_in_one_order_however_they_were_noted() -> None:
    state = PieceState(damages=frozenset({Damage.SOOT_WET, Damage.CHARRED, Damage.FLAKING}))
    verdict = treat(Agent.HEPA_VACUUM, Target.MOULD, Material.STONE, state=state)
    assert [refusal.sentence.partition(":")[0] for refusal in verdict.refusals] == [
        "Charred or burnt",
        "Flaking or lifting surface",
        "Wet soot",
    ]


UNKNOWN = Refusal(
    rule=Rule.UNKNOWN_MATERIAL,
    sentence="Nobody has said what it is made of: say that first.",
    overridable=False,
)


def test_what_a_piece_is_made_of_is_asked_for_before_anything_is_done() -> None:
    assert treat(Agent.CARBON_AIR, Target.SMOKE_ODOUR).refusals == (UNKNOWN,)
    assert do(Action.BLOT).refusals == (UNKNOWN,)


def test_water_waits_for_soot_and_no_other_action_does() -> None:
    sooty = PieceState(soot_on=True)
    assert do(Action.WATER_CLEANING, Material.GLASS, state=sooty).refusals == (
        Refusal(
            rule=Rule.SOOT_FIRST,
            sentence="Take the soot off dry first: water drives it in.",
            overridable=False,
        ),
    )
    assert do(Action.FREEZE_DRY, Material.TEXTILE, state=sooty).allowed


def test_dry_freezing_waits_for_drying_and_no_other_action_does() -> None:
    wet = PieceState(wet=True)
    assert do(Action.FREEZE_DRY, Material.TEXTILE, state=wet).refusals == (
        Refusal(
            rule=Rule.DRY_FIRST,
            sentence="Freezing against insects is for dry pieces: dry it first.",
            overridable=False,
        ),
    )
    assert do(Action.WATER_CLEANING, Material.GLASS, state=wet).allowed


def test_each_damage_that_holds_wet_freezing_back_is_told() -> None:
    state = PieceState(damages=frozenset({Damage.HEAT, Damage.FLAKING, Damage.SOAKED}))
    verdict = do(Action.FREEZE_WET, Material.TEXTILE, state=state)
    assert verdict.refusals == (
        Refusal(
            rule=Rule.DAMAGE,
            sentence="Freezing waits for a conservator: the house sees it flake.",
            overridable=False,
        ),
        Refusal(
            rule=Rule.DAMAGE,
            sentence="Freezing waits for a conservator: the house sees heat.",
            overridable=True,
        ),
    )
    assert do(Action.FREEZE_DRY, Material.TEXTILE, state=state).allowed


def test_an_action_barred_on_a_material_is_named_by_both() -> None:
    (refusal,) = do(Action.BLOT, Material.PASTEL).refusals
    assert refusal.sentence == (
        f"{Action.BLOT.label} on pastel, charcoal or chalk: not allowed. The house wipes no pastel."
    )
    assert (refusal.rule, refusal.material) == (Rule.MATERIAL, Material.PASTEL)


def test_what_no_table_speaks_of_is_left_to_a_conservator() -> None:
    assert (Material.STONE, Action.WATER_CLEANING) not in HOUSE.permissions
    assert do(Action.WATER_CLEANING, Material.STONE).refusals == (
        Refusal(
            rule=Rule.MATERIAL,
            sentence="Clean with water on hard stone: only on a conservator's word. "
            "No table speaks of it.",
            overridable=True,
            material=Material.STONE,
        ),
    )


def test_a_reason_that_ends_in_stops_ends_in_one() -> None:
    house = load_facts(
        "table,key,column,value,signed_by,reason\n"
        "permissions,pastel/blot,reason,ask first...,R. Vos,invented\n"
    )
    (refusal,) = do(Action.BLOT, Material.PASTEL, known=house).refusals
    assert refusal.sentence.endswith("not allowed. Ask first.")


@pytest.mark.parametrize(
    ("refusals", "overridable"),
    [((), False), ((True,), True), ((True, False), False), ((True, True), True)],
)
def test_a_conservator_can_help_only_if_everything_in_the_way_may_be_lifted(
    refusals: tuple[bool, ...], overridable: bool
) -> None:
    verdict = Verdict(
        allowed=not refusals,
        refusals=tuple(
            Refusal(rule=Rule.DAMAGE, sentence="x", overridable=may) for may in refusals
        ),
    )
    assert verdict.overridable is overridable


# --- overrides --------------------------------------------------------------------------------

STONE = Refusal(rule=Rule.MATERIAL, sentence="x", overridable=True, material=Material.OIL_CANVAS)


def test_an_override_lifts_what_it_names() -> None:
    assert override().lifts(STONE, Agent.OZONE, NOW)
    assert override(rule=Rule.MATERIAL).lifts(STONE, Agent.OZONE, NOW)
    # A refusal that is of no material is lifted whatever materials are named.
    order = Refusal(rule=Rule.SOOT_FIRST, sentence="x", overridable=True)
    assert override().lifts(order, Agent.OZONE, NOW)


@pytest.mark.parametrize(
    ("changed", "refusal", "subject"),
    [
        ({}, STONE.model_copy(update={"overridable": False}), Agent.OZONE),
        ({}, STONE, Agent.HYDROXYL),
        ({}, STONE, Action.BLOT),
        ({"rule": Rule.DAMAGE}, STONE, Agent.OZONE),
        ({"materials": (Material.STONE, Material.WAX)}, STONE, Agent.OZONE),
    ],
)
def test_an_override_lifts_nothing_else(
    changed: dict[str, Any], refusal: Refusal, subject: Agent | Action
) -> None:
    assert not override(**changed).lifts(refusal, subject, NOW)


EAST = timezone(timedelta(hours=9))


@pytest.mark.parametrize(
    ("at", "holds"),
    [
        (datetime(2026, 3, 3, 11, 59, 59, tzinfo=UTC), False),
        (datetime(2026, 3, 3, 12, tzinfo=UTC), True),
        (datetime(2026, 3, 10, 23, 59, 59, tzinfo=UTC), True),
        (datetime(2026, 3, 11, tzinfo=UTC), False),
        # 11 March 08:00 nine hours east is still 10 March in UTC, where it was signed.
        (datetime(2026, 3, 11, 8, tzinfo=EAST), True),
        (datetime(2026, 3, 11, 9, tzinfo=EAST), False),
    ],
)
def test_an_override_holds_from_its_signature_to_the_end_of_its_last_day(
    at: datetime, holds: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    # The machine's own clock is set ten hours ahead of UTC (POSIX TZ counts westward).
    with monkeypatch.context() as patch:
        patch.setenv("TZ", "FAR-10")
        time.tzset()
        held = override().lifts(STONE, Agent.OZONE, at)
    time.tzset()
    assert held is holds


def test_an_override_without_a_rule_or_licence_says_neither() -> None:
    assert (override().rule, override().licence) == (None, None)


@pytest.mark.parametrize(
    ("bad", "said"),
    [
        (
            {"role": Role.FUMIGATOR},
            "Value error, role: only a conservator may sign an override, not Licensed fumigator",
        ),
        (
            {"expires": date(2026, 3, 2)},
            "Value error, expires: lies before signed_at; give a later day",
        ),
        ({"signed_by": ""}, "signed_by"),
        ({"subject": "vinegar"}, "subject"),
    ],
)
def test_a_faulty_override_is_refused_by_field(bad: dict[str, Any], said: str) -> None:
    with pytest.raises(ValidationError, match=said):
        override(**bad)


def test_what_is_lifted_is_kept_apart_from_what_stands() -> None:
    verdict = treat(
        Agent.OZONE,
        Target.SMOKE_ODOUR,
        Material.OIL_CANVAS,
        Material.SILVER,
        overrides=[override(materials=(Material.WAX,)), override()],
    )
    assert not verdict.allowed
    assert [refusal.material for refusal in verdict.refusals] == [Material.SILVER]
    assert [refusal.material for refusal in verdict.lifted] == [Material.OIL_CANVAS]


def test_an_override_of_an_action_lifts_it() -> None:
    signed = override(subject=Action.VACUUM_DRY, materials=(Material.STONE,))
    verdict = do(Action.VACUUM_DRY, Material.STONE, overrides=[signed])
    assert verdict.allowed
    assert [refusal.rule for refusal in verdict.lifted] == [Rule.MATERIAL]
    assert verdict.notes == ()


def test_a_moment_is_asked_for_with_its_zone() -> None:
    said = r"^at: the time has no zone; give it one, such as UTC$"
    naive = datetime(2026, 3, 4)  # noqa: DTZ001
    with pytest.raises(ValueError, match=said):
        treat(Agent.OZONE, Target.SMOKE_ODOUR, Material.STONE, at=naive)
    with pytest.raises(ValueError, match=said):
        do(Action.BLOT, Material.STONE, at=naive)


def test_a_ruling_once_made_never_changes_and_takes_no_unknown_field() -> None:
    signed = override(reason="x", signed_by="y")
    with pytest.raises(ValidationError, match="frozen"):
        signed.reason = "other"  # type: ignore[misc]
    with pytest.raises(ValidationError, match="colour"):
        override(colour="red")


@pytest.mark.parametrize("rule", Rule)
def test_a_rule_is_kept_under_its_name_in_lower_case(rule: Rule) -> None:
    assert rule.value == rule.name.lower()
