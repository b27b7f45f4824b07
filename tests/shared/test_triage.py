from datetime import UTC, datetime, timedelta
from decimal import Decimal
from typing import Any, Literal

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import ValidationError

from shared.facts import Constant, Gate, Harm, facts, load_facts
from shared.triage import DamageSeen, FrozenInterval, Triage, TriageInput, assess
from shared.vocabulary import (
    Band,
    Damage,
    Extent,
    Hazard,
    Material,
    Permission,
    Significance,
    WaterCategory,
)

NOW = datetime(2026, 3, 4, 12, tzinfo=UTC)
BANDS = list(Band)
STRICTNESS = [Permission.YES, Permission.CONSERVATOR, Permission.NO]


def ago(hours: float) -> datetime:
    return NOW - timedelta(hours=hours)


def soaked(hours: float | None = 1.0, **more: Any) -> DamageSeen:
    return DamageSeen(damage=Damage.SOAKED, wet_since=None if hours is None else ago(hours), **more)


def triage(**known: Any) -> Triage:
    return assess(TriageInput(now=NOW, **known))


hours = st.floats(0, 500)
damage_seen = st.builds(
    DamageSeen,
    damage=st.sampled_from(Damage),
    extent=st.sampled_from(Extent),
    water_category=st.none() | st.sampled_from(WaterCategory),
    wet_since=st.none() | hours.map(ago),
    mould_condition=st.none() | st.sampled_from([1, 2, 3]),
)
frozen_intervals = st.lists(
    st.tuples(hours, hours).map(
        lambda pair: FrozenInterval(start=ago(max(pair)), end=ago(min(pair)))
    ),
    max_size=3,
).map(tuple)
pieces = st.builds(
    TriageInput,
    now=st.just(NOW),
    materials=st.lists(st.sampled_from(Material), min_size=1, max_size=4).map(tuple),
    damages=st.lists(damage_seen, max_size=4).map(tuple),
    hazards=st.frozensets(st.sampled_from(Hazard), max_size=2),
    significance=st.sampled_from(Significance),
    mean_temperature_c=st.none() | st.floats(-20, 45),
    loss_at=st.none() | hours.map(ago),
    frozen=frozen_intervals,
    conservator_only=st.booleans(),
)


def with_more(piece: TriageInput, **more: Any) -> TriageInput:
    return TriageInput.model_validate({**dict(piece), **more})


# --- properties ----------------------------------------------------------------------------------


@given(pieces, st.floats(0, 200))
def test_less_time_left_never_lowers_score_or_band(piece: TriageInput, later_h: float) -> None:
    unpaused = with_more(piece, frozen=())
    early = assess(unpaused)
    late = assess(with_more(unpaused, now=NOW + timedelta(hours=later_h)))
    assert late.score >= early.score
    assert BANDS.index(late.band) <= BANDS.index(early.band)


@given(pieces, pieces)
def test_a_gate_wins_over_any_score(one: TriageInput, other: TriageInput) -> None:
    first, second = assess(one), assess(other)
    if first.gates and not second.gates:
        assert first.sort_key < second.sort_key


@given(pieces)
def test_a_gate_s_word_comes_first(piece: TriageInput) -> None:
    known = assess(piece)
    if known.gates:
        row = facts().gates[known.gates[0].gate]
        assert known.first == row.do_first
        assert row.sentence in known.sentence
        assert BANDS.index(known.band) <= BANDS.index(row.band)


@given(pieces, damage_seen)
def test_one_more_damage_never_gives_time_or_permission(
    piece: TriageInput, damage: DamageSeen
) -> None:
    check_more_never_gives(piece, with_more(piece, damages=(*piece.damages, damage)))


@given(pieces, st.sampled_from(Material))
def test_one_more_material_never_gives_time_or_permission(
    piece: TriageInput, material: Material
) -> None:
    check_more_never_gives(piece, with_more(piece, materials=(*piece.materials, material)))


def test_no_rounding_gives_time_where_frozen_spells_meet() -> None:
    soaked = DamageSeen(damage=Damage.SOAKED, wet_since=NOW)
    piece = TriageInput(
        now=NOW,
        materials=(Material.OIL_CANVAS,),
        damages=(soaked,),
        loss_at=ago(18.55724899240039),
        frozen=(
            FrozenInterval(start=ago(1), end=NOW),
            FrozenInterval(start=ago(19), end=ago(1)),
        ),
    )
    unknown_since = DamageSeen(damage=Damage.SOAKED)
    check_more_never_gives(piece, with_more(piece, damages=(soaked, unknown_since)))


def check_more_never_gives(piece: TriageInput, more: TriageInput) -> None:
    before, after = assess(piece), assess(more)
    if before.hours_left is not None:
        assert after.hours_left is not None
        assert after.hours_left <= before.hours_left
        assert after.window_h is not None
        assert before.window_h is not None
        assert after.window_h <= before.window_h
    assert STRICTNESS.index(after.freeze_wet.permission) >= STRICTNESS.index(
        before.freeze_wet.permission
    )
    assert {fired.gate for fired in before.gates} <= {fired.gate for fired in after.gates}
    for never in before.never:
        # A plainer prohibition may take the place of one with a condition.
        assert any(never.sentence.startswith(plain.sentence) for plain in after.never)
    assert not (after.may_move and not before.may_move)


@given(pieces, st.floats(0, 100))
def test_freezing_stops_the_clock_and_never_sets_it_back(piece: TriageInput, held_h: float) -> None:
    warm = with_more(piece, frozen=())
    before = assess(warm)
    frozen = FrozenInterval(start=NOW)
    during = assess(with_more(warm, frozen=(frozen,), now=NOW + timedelta(hours=held_h)))
    if before.hours_left is None:
        assert during.hours_left is None
        return
    assert during.hours_left == pytest.approx(before.hours_left, abs=1e-6)


@given(pieces)
def test_time_frozen_is_never_counted_twice(piece: TriageInput) -> None:
    doubled = with_more(piece, frozen=piece.frozen * 2)
    assert assess(doubled).hours_left == assess(piece).hours_left


@given(pieces)
def test_the_score_is_the_product_of_the_factors_shown(piece: TriageInput) -> None:
    known = assess(piece)
    product = 1.0
    for factor in known.factors:
        assert factor.sentence
        product *= factor.value
    assert known.score == product
    assert 0 < known.score <= 100 * 3 * 1 * 2


# --- the clock -----------------------------------------------------------------------------------


def test_the_shortest_window_of_the_parts_counts() -> None:
    known = triage(materials=(Material.PRINT_PAPER, Material.GILDED_GESSO), damages=(soaked(3),))
    assert known.window_h == 8
    assert known.hours_left == 5
    assert known.deadline == NOW + timedelta(hours=5)
    assert known.band is Band.NOW


@pytest.mark.parametrize(
    ("temperature_c", "window_h"), [(None, 48), (26, 24), (25, 48), (10, 48), (9, 72)]
)
def test_mould_shortens_a_longer_window(temperature_c: float | None, window_h: float) -> None:
    known = triage(
        materials=(Material.FILM_NEGATIVE,),
        damages=(soaked(0),),
        mean_temperature_c=temperature_c,
    )
    assert known.window_h == window_h


def test_mould_does_not_shorten_the_window_of_what_it_can_t_grow_on() -> None:
    assert triage(materials=(Material.GLASS,), damages=(soaked(0),)).window_h == 168


def test_humid_air_runs_the_mould_clock_only() -> None:
    humid = DamageSeen(damage=Damage.HIGH_HUMIDITY, wet_since=ago(10))
    assert triage(materials=(Material.WATERCOLOUR,), damages=(humid,)).hours_left == 38
    assert triage(materials=(Material.IRON,), damages=(humid,)).hours_left is None


def test_without_a_wetting_time_the_loss_s_own_stands_in() -> None:
    known = triage(materials=(Material.TEXTILE,), damages=(soaked(None),), loss_at=ago(30))
    assert known.hours_left == 18
    assert "Counted from the loss" in known.factors[0].sentence


def test_without_any_time_it_counts_as_gone() -> None:
    known = triage(materials=(Material.TEXTILE,), damages=(soaked(None),))
    assert known.hours_left == 0
    assert known.band is Band.NOW
    assert "counted as gone" in known.factors[0].sentence


def test_an_unknown_time_beside_a_known_one_gives_no_time() -> None:
    known = triage(materials=(Material.TEXTILE,), damages=(soaked(60), soaked(None)))
    assert known.hours_left == -12


def test_a_wetting_time_ahead_of_now_gives_no_more_than_the_window_and_says_so() -> None:
    known = triage(materials=(Material.TEXTILE,), damages=(soaked(-5),))
    assert known.hours_left == 48
    assert "check the clock" in known.factors[0].sentence


def test_frozen_spells_that_overlap_or_lie_outside_count_once_and_inside() -> None:
    known = triage(
        materials=(Material.TEXTILE,),
        damages=(soaked(40),),
        frozen=(
            FrozenInterval(start=ago(60), end=ago(35)),
            FrozenInterval(start=ago(30), end=ago(20)),
            FrozenInterval(start=ago(25), end=ago(10)),
        ),
    )
    # Wet 40 h, of which 5 h and 20 h frozen: 15 h counted.
    assert known.hours_left == 33
    assert not known.paused


def test_held_frozen_it_can_wait_and_the_sentence_says_how_to_thaw() -> None:
    known = triage(
        materials=(Material.BOUND_VOLUME,),
        damages=(soaked(45),),
        frozen=(FrozenInterval(start=ago(2)),),
    )
    assert known.paused
    assert known.band is Band.CAN_WAIT
    assert known.hours_left == 5
    assert "5 hours left. Thaw it only when it can be dried at once." in known.sentence


def test_nothing_wet_means_no_clock() -> None:
    known = triage(
        materials=(Material.OIL_CANVAS,), damages=(DamageSeen(damage=Damage.SMOKE_ODOUR),)
    )
    assert (known.window_h, known.hours_left, known.deadline) == (None, None, None)
    assert known.band is Band.CAN_WAIT
    no_clock_h = facts().constant(Constant.NO_CLOCK_H)
    assert known.factors[0].value == pytest.approx(100 / (1 + no_clock_h / 12))


@pytest.mark.parametrize(
    ("left_h", "band"),
    [
        (8, Band.NOW),
        (8.1, Band.TODAY),
        (48, Band.TODAY),
        (48.1, Band.THIS_WEEK),
        (168, Band.THIS_WEEK),
    ],
)
def test_bands_by_hours_left(left_h: float, band: Band) -> None:
    known = triage(materials=(Material.SILVER,), damages=(soaked(168 - left_h),))
    assert known.band is band


# --- the score -----------------------------------------------------------------------------------


def test_a_score_worked_by_hand() -> None:
    known = triage(
        materials=(Material.WATERCOLOUR,),
        damages=(soaked(2, extent=Extent.WIDE),),
        significance=Significance.TREASURED,
    )
    # 6 h left: 100/(1+6/12) = 66.7; soaked 3; watercolour 0.8; treasured 1.5.
    assert known.score == pytest.approx(200 / 3 * 3 * 0.8 * 1.5)
    assert [factor.name for factor in known.factors] == [
        "urgency",
        "severity",
        "salvage gain",
        "significance",
    ]


def test_dirtier_water_is_more_severe() -> None:
    clean = triage(
        materials=(Material.GLASS,),
        damages=(DamageSeen(damage=Damage.DAMP, wet_since=NOW, water_category=WaterCategory.ONE),),
    )
    foul = triage(
        materials=(Material.GLASS,),
        damages=(
            DamageSeen(damage=Damage.DAMP, wet_since=NOW, water_category=WaterCategory.THREE),
        ),
    )
    assert foul.score == pytest.approx(clean.score * 1.5)
    assert severity_words(clean) == f"It is damp. Up to half. {WaterCategory.ONE.label}."
    assert severity_words(foul) == f"It is damp. Up to half. {WaterCategory.THREE.label}."


def severity_words(known: Triage) -> str:
    return next(factor.sentence for factor in known.factors if factor.name == "severity")


def test_an_assumed_water_category_is_named_too() -> None:
    known = triage(materials=(Material.GLASS,), damages=(DamageSeen(damage=Damage.MUD),))
    assert WaterCategory.THREE.label in severity_words(known)


def test_the_condition_of_mould_weighs_and_is_named() -> None:
    def musty(condition: Literal[1, 2, 3] | None) -> Triage:
        seen = DamageSeen(damage=Damage.MOULD_SUSPECTED, mould_condition=condition)
        return triage(materials=(Material.BOUND_VOLUME,), damages=(seen,), loss_at=NOW)

    unsaid, grown = musty(None), musty(3)
    assert grown.score == pytest.approx(unsaid.score * 1.5)
    assert facts().mould_conditions[3].meaning in severity_words(grown)
    assert musty(1).score == musty(2).score == unsaid.score


@pytest.mark.parametrize(
    ("temperature_c", "words"),
    [
        (30, "Mould may start within 24 hours in air this warm."),
        (20, "Mould may start within 48 hours."),
        (None, "Mould may start within 48 hours."),
        (5, "Mould may start within 3 days in air this cold."),
    ],
)
def test_air_that_changes_the_mould_window_is_named(temperature_c: float, words: str) -> None:
    humid = DamageSeen(damage=Damage.HIGH_HUMIDITY, wet_since=NOW)
    known = triage(
        materials=(Material.BOUND_VOLUME,), damages=(humid,), mean_temperature_c=temperature_c
    )
    assert known.factors[0].sentence.startswith(words)


def test_value_breaks_ties_only() -> None:
    cheap = triage(materials=(Material.PASTEL,), damages=(soaked(),), value=Decimal(10))
    dear = triage(materials=(Material.PASTEL,), damages=(soaked(),), value=Decimal(9000))
    urgent = triage(materials=(Material.PASTEL,), damages=(soaked(5),))
    assert cheap.score == dear.score
    assert sorted([cheap, dear, urgent], key=lambda known: known.sort_key) == [urgent, dear, cheap]


# --- gates and words -----------------------------------------------------------------------------


def fired(known: Triage) -> list[Gate]:
    return [gate.gate for gate in known.gates]


def test_gates_stand_in_order_of_weight() -> None:
    known = triage(
        materials=(Material.NITRATE_ACETATE,),
        damages=(
            soaked(1, water_category=WaterCategory.THREE),
            DamageSeen(damage=Damage.MOULD_VISIBLE),
        ),
        hazards={Hazard.BUILDING},
        conservator_only=True,
    )
    assert fired(known) == [
        Gate.HUMAN_SAFETY,
        Gate.HAZARDOUS_CONTENTS,
        Gate.CATEGORY_THREE,
        Gate.VISIBLE_MOULD,
        Gate.CONSERVATOR_ONLY,
    ]
    assert not known.may_move
    assert known.band is Band.NOW


@pytest.mark.parametrize(
    ("given", "gate"),
    [
        ({"hazards": {Hazard.FUMIGANT}}, Gate.HUMAN_SAFETY),
        ({"hazards": {Hazard.LEAD_OR_ARSENIC}}, Gate.HAZARDOUS_CONTENTS),
        ({"materials": (Material.FUR_FEATHER,)}, Gate.HAZARDOUS_CONTENTS),
        ({"damages": (DamageSeen(damage=Damage.MUD),)}, Gate.CATEGORY_THREE),
        ({"damages": (DamageSeen(damage=Damage.DAMP, mould_condition=3),)}, Gate.VISIBLE_MOULD),
        ({"damages": (DamageSeen(damage=Damage.FLAKING),)}, Gate.CONSERVATOR_ONLY),
        ({"materials": (Material.DAGUERREOTYPE,)}, Gate.CONSERVATOR_ONLY),
        ({"conservator_only": True}, Gate.CONSERVATOR_ONLY),
    ],
)
def test_what_fires_a_gate(given: dict[str, Any], gate: Gate) -> None:
    assert fired(triage(**{"materials": (Material.TEXTILE,), **given})) == [gate]


def test_mud_of_known_clean_water_fires_no_gate() -> None:
    clean = DamageSeen(damage=Damage.MUD, water_category=WaterCategory.ONE)
    assert fired(triage(materials=(Material.TEXTILE,), damages=(clean,))) == []


def test_a_painting_found_frozen_calls_the_conservator() -> None:
    known = triage(
        materials=(Material.OIL_CANVAS,),
        damages=(soaked(5),),
        frozen=(FrozenInterval(start=ago(2)),),
    )
    assert fired(known) == [Gate.CONSERVATOR_ONLY]
    assert "frozen although it must not be" in known.sentence


def test_permissions_of_the_parts_are_anded_and_say_which_part() -> None:
    known = triage(materials=(Material.PRINT_PAPER, Material.PASTEL), damages=(soaked(),))
    assert known.freeze_wet.permission is Permission.CONSERVATOR
    known = triage(
        materials=(Material.PRINT_PAPER, Material.PASTEL, Material.GILDED_GESSO),
        damages=(soaked(),),
    )
    assert known.freeze_wet.permission is Permission.NO
    assert "Gilded" in known.freeze_wet.sentence
    assert not any("reeze it if" in step for step in known.route)


def test_freezing_is_offered_only_where_allowed_and_not_yet_done() -> None:
    books = {"materials": (Material.BOUND_VOLUME,), "damages": (soaked(),)}
    offer = "Freeze it if it can't be drying in time"
    assert offer in triage(**books).route
    assert offer not in triage(**books, frozen=(FrozenInterval(start=NOW),)).route
    assert offer not in triage(**books, conservator_only=True).route


def test_never_do_says_who_says_so() -> None:
    known = triage(
        materials=(Material.WATERCOLOUR,),
        damages=(DamageSeen(damage=Damage.SOOT_WET),),
    )
    because = {never.sentence: never.because for never in known.never}
    assert because["Never blot it"] == Material.WATERCOLOUR.label
    assert because["Never rinse the soot"] == Damage.SOOT_WET.label


def test_what_hurts_people_is_told_first_then_the_gravest_and_the_soonest_harm() -> None:
    known = triage(
        materials=(Material.WOOD, Material.OIL_CANVAS, Material.NITRATE_ACETATE),
        damages=(DamageSeen(damage=Damage.MUD, wet_since=NOW),),
    )
    told = [never.sentence.removeprefix("Never ") for never in known.never]
    of_nitrate = list(facts().materials[Material.NITRATE_ACETATE].never)
    assert told[: len(of_nitrate)] == of_nitrate  # it burns and fumes: the gate makes it so
    assert told[len(of_nitrate)] == "rub or brush the mud"
    assert told.index("freeze it") < told.index("stack it")  # gone for good before lasting harm
    assert told.index("stack it") < told.index("dry it fast")  # in 8 h before in 48 h


@given(st.lists(st.sampled_from(Material), max_size=4), st.lists(damage_seen, max_size=4))
def test_no_lesser_harm_is_told_before_a_graver_one(
    materials: list[Material], damages: list[DamageSeen]
) -> None:
    told = triage(materials=materials, damages=damages).never
    order = [list(Harm).index(one.harm) for one in told]
    assert order == sorted(order)
    for one in told:
        by_table = facts().harm_of(one.sentence.removeprefix("Never "))
        assert one.harm in {by_table, Harm.PEOPLE}


def test_what_a_facility_adds_counts_among_the_gravest() -> None:
    changed = load_facts(
        "table,key,column,value,signed_by,reason\n"
        "materials,wax,never,warm it; freeze it; wipe it; weigh it,R. Vos,we lost two\n"
    )
    first = assess(TriageInput(now=NOW, materials=(Material.WAX,)), changed).never[0]
    assert (first.sentence, first.harm) == ("Never weigh it", Harm.PEOPLE)


@pytest.mark.parametrize(
    ("piece", "said", "left_out"),
    [
        (
            (Material.CERAMIC_HIGH, Material.TEXTILE),
            "Never warm it",
            "Never warm it if it is crazed or mended: the glue softens",
        ),
        (
            (Material.OIL_CANVAS_WAX_LINED, Material.PLAIN_FRAME),
            "Never warm it",
            "Never warm it: the wax lining softens",
        ),
        (
            (Material.PASTEL, Material.GILDED_GESSO),
            "Never freeze it",
            "Never freeze it unless a conservator says so",
        ),
        ((Material.CERAMIC_LOW, Material.PLASTER), "Never soak it", "Never soak it unless"),
    ],
)
def test_a_composite_is_told_each_thing_once_and_in_its_strictest_form(
    piece: tuple[Material, ...], said: str, left_out: str
) -> None:
    for order in (piece, piece[::-1]):
        sentences = [never.sentence for never in triage(materials=order).never]
        assert sentences.count(said) == 1
        assert not any(sentence.startswith(left_out) for sentence in sentences)


@given(st.lists(st.sampled_from(Material), max_size=4), st.lists(damage_seen, max_size=4))
def test_no_prohibition_is_lost_and_none_is_told_twice(
    materials: list[Material], damages: list[DamageSeen]
) -> None:
    told = [never.sentence for never in triage(materials=materials, damages=damages).never]
    phrases = [phrase for one in materials for phrase in facts().materials[one].never]
    phrases += [phrase for seen in damages for phrase in facts().damages[seen.damage].never]
    for phrase in phrases:
        assert any(f"Never {phrase}".startswith(sentence) for sentence in told)
    assert len(set(told)) == len(told)
    for one in told:
        assert not any(
            other != one and one.startswith((f"{other} ", f"{other}:")) for other in told
        )


def test_a_material_s_drying_route_is_for_wet_pieces_only() -> None:
    dry = triage(
        materials=(Material.TEXTILE,), damages=(DamageSeen(damage=Damage.SOOT_DRY),), loss_at=NOW
    )
    assert dry.route == ("Lift it without rubbing",)


def test_the_sentence_for_a_person_in_a_hurry() -> None:
    known = triage(materials=(Material.WATERCOLOUR,), damages=(soaked(5),))
    assert known.sentence == "Now. 3 hours left. First: lay it face up."
    late = triage(materials=(Material.WATERCOLOUR,), damages=(soaked(20),))
    assert late.sentence == "Now. Its time ran out 12 hours ago. First: lay it face up."


@pytest.mark.parametrize(
    ("left_h", "words"),
    [
        (168, "7 days left."),
        (72, "3 days left."),
        (71.9, "71 hours left."),
        (1, "1 hour left."),
        (0.9, "Less than an hour left."),
        (0, "Its time is up."),
        (-0.9, "Its time is up."),
        (-1, "Its time ran out 1 hour ago."),
    ],
)
def test_time_left_is_said_in_round_words_and_never_rounded_up(left_h: float, words: str) -> None:
    known = triage(materials=(Material.SILVER,), damages=(soaked(168 - left_h),))
    assert f". {words} First:" in known.sentence


@pytest.mark.parametrize(
    ("material", "words"),
    [
        (Material.TEXTILE, "It may be frozen to gain time."),
        (Material.PASTEL, "Freeze it only on a conservator's word. Pastel"),
        (Material.OIL_CANVAS, "Do not freeze it. Oil on canvas"),
    ],
)
def test_the_word_on_freezing(material: Material, words: str) -> None:
    known = triage(materials=(material,), damages=(soaked(),))
    assert known.freeze_wet.sentence.startswith(words)


def test_an_unknown_material_is_taken_as_the_most_delicate() -> None:
    known = triage(damages=(soaked(1),))
    assert known.window_h == 8
    assert known.freeze_wet.permission is Permission.CONSERVATOR


def test_a_facility_s_change_is_used_and_said() -> None:
    changed = load_facts(
        "table,key,column,value,signed_by,reason\n"
        "materials,textile,window_h,24,R. Vos,warm cellar\n"
        "materials,wax,window_h,24,R. Vos,warm cellar\n"
    )
    piece = TriageInput(now=NOW, materials=(Material.TEXTILE,), damages=(soaked(0),))
    known = assess(piece, changed)
    assert known.window_h == 24
    assert known.facts_version == changed.version
    assert len(known.changed_facts) == 1
    assert "R. Vos" in known.changed_facts[0]
    assert assess(piece).changed_facts == ()


# --- bad input -----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("bad", "said"),
    [
        ({"now": datetime(2026, 3, 4)}, "now"),  # noqa: DTZ001
        ({"mean_temperature_c": 77}, "must be converted"),
        ({"mean_temperature_c": float("nan")}, "must be between"),
        ({"value": Decimal(-1)}, "value"),
        ({"materials": ("plutonium",)}, "materials"),
        ({"frozen": ({"start": NOW, "end": ago(1)},)}, "end is before start"),
    ],
)
def test_bad_input_names_the_field(bad: dict[str, Any], said: str) -> None:
    with pytest.raises(ValidationError, match=said):
        TriageInput.model_validate({"now": NOW, **bad})
