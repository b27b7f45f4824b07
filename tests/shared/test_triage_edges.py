"""Triage at its edges: the moment an answer turns, and the words a crew member reads."""

from datetime import timedelta
from decimal import Decimal

import pytest

from shared.facts import Gate, Harm, load_facts
from shared.triage import DamageSeen, FreezeRuling, FrozenInterval, NeverDo, TriageInput, assess
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
from tests.shared.test_triage import NOW, ago, soaked, triage

SECOND = timedelta(seconds=1)
TEXTILE = (Material.TEXTILE,)
FILM = (Material.FILM_NEGATIVE,)


def clock_sentence(**known: object) -> str:
    return triage(**known).factors[0].sentence


# --- words on the clock ----------------------------------------------------------------------


def test_a_piece_nobody_has_described_is_said_to_be_so_wherever_it_matters() -> None:
    known = triage(damages=(soaked(1),))
    urgency, _, gain, _ = known.factors
    assert urgency.sentence == (
        "Nobody has said what it is made of, so it is taken as the most delicate. 7 hours left."
    )
    assert (gain.name, gain.value) == ("salvage gain", 1.0)
    assert gain.sentence == ("Nobody has said what it is made of, so all of it counts as savable.")
    assert known.freeze_wet == FreezeRuling(
        permission=Permission.CONSERVATOR,
        sentence="Nobody has said what it is made of: ask a conservator before freezing it.",
    )


def test_a_piece_of_which_nothing_is_known_can_wait_and_has_a_first_step_all_the_same() -> None:
    known = triage()
    assert known.sentence == (
        "Can wait. Nothing on it is running out. "
        "First: keep it level and apart, with its label and nothing touching its face."
    )
    assert known.route == ("Keep it level and apart, with its label and nothing touching its face",)
    assert [factor.sentence for factor in known.factors[:2]] == [
        "Nothing on it is running out.",
        "No damage was seen.",
    ]
    # 336 h stand in for a clock that does not run: 100 / (1 + 336 / 12), and no factor but 1.
    assert known.score == pytest.approx(100 / 29)
    assert (known.rank, known.band, known.may_move) == (99, Band.CAN_WAIT, True)


@pytest.mark.parametrize(
    ("damage", "mean_temperature_c", "sentence"),
    [
        (soaked(1), 5, "Film negative on a sound base comes to lasting harm in 3 days when wet."),
        (soaked(1), 20, "Mould may start within 48 hours."),
        (soaked(1), 30, "Mould may start within 24 hours in air this warm."),
        (
            DamageSeen(damage=Damage.HIGH_HUMIDITY, wet_since=ago(1)),
            5,
            "Mould may start within 3 days in air this cold.",
        ),
        (
            DamageSeen(damage=Damage.MOULD_VISIBLE, wet_since=ago(1)),
            None,
            "Mould is growing on it.",
        ),
    ],
)
def test_the_clock_says_what_sets_it(
    damage: DamageSeen, mean_temperature_c: float | None, sentence: str
) -> None:
    said = clock_sentence(materials=FILM, damages=(damage,), mean_temperature_c=mean_temperature_c)
    assert said.startswith(f"{sentence} ")
    assert said.endswith("left.")


def test_a_clock_counted_from_the_loss_says_so_after_the_time_left() -> None:
    assert clock_sentence(materials=TEXTILE, damages=(soaked(None),), loss_at=ago(30)) == (
        "Textile with stable dye comes to lasting harm in 48 hours when wet. 18 hours left. "
        "Counted from the loss, for want of a better time."
    )


def test_a_clock_that_nobody_can_start_says_so() -> None:
    assert clock_sentence(materials=TEXTILE, damages=(soaked(None),)) == (
        "Textile with stable dye comes to lasting harm in 48 hours when wet. "
        "Nobody knows since when, so that time is counted as gone."
    )


@pytest.mark.parametrize(("wet_for_h", "hours_left"), [(1, 0), (47.5, 0), (48, 0), (50, -2)])
def test_one_damage_of_unknown_age_leaves_no_time_whatever_the_others_leave(
    wet_for_h: float, hours_left: float
) -> None:
    known = triage(materials=TEXTILE, damages=(soaked(wet_for_h), soaked(None)))
    assert known.hours_left == hours_left


@pytest.mark.parametrize(
    ("wet_for_h", "warning"),
    [(0, ""), (-1, " Its starting time lies ahead: check the clock.")],
)
def test_a_wetting_time_is_doubted_only_if_it_lies_ahead(wet_for_h: float, warning: str) -> None:
    assert clock_sentence(materials=TEXTILE, damages=(soaked(wet_for_h),)) == (
        "Textile with stable dye comes to lasting harm in 48 hours when wet. "
        f"48 hours left.{warning}"
    )


def test_freezing_that_ends_now_has_ended() -> None:
    books = (Material.BOUND_VOLUME,)
    ended = triage(
        materials=books, damages=(soaked(5),), frozen=(FrozenInterval(start=ago(4), end=NOW),)
    )
    assert not ended.paused
    assert ended.hours_left == 47
    still = FrozenInterval(start=ago(4), end=NOW + SECOND)
    assert triage(materials=books, damages=(soaked(5),), frozen=(still,)).paused


def test_a_frozen_piece_that_has_run_out_is_told_to_stay_frozen_till_it_can_be_dried() -> None:
    known = triage(
        materials=(Material.BOUND_VOLUME,),
        damages=(soaked(52),),
        frozen=(FrozenInterval(start=ago(2)),),
    )
    assert known.sentence == (
        "Can wait. Frozen: its clock stands still. Its time ran out 2 hours ago. "
        "Thaw it only when it can be dried at once. First: leave it closed."
    )


# --- words on gates --------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("known", "sentence"),
    [
        ({"conservator_only": True}, "A conservator decides what is done to it. It is marked so."),
        (
            {
                "materials": (Material.OIL_CANVAS,),
                "damages": (soaked(5),),
                "frozen": (FrozenInterval(start=ago(2)),),
            },
            "A conservator decides what is done to it. It is frozen although it must not be.",
        ),
        (
            {"materials": (Material.DAGUERREOTYPE,)},
            "A conservator decides what is done to it. Daguerreotype or other cased photograph.",
        ),
        (
            {"hazards": {Hazard.BUILDING, Hazard.ELECTRICITY}},
            "Hold: it is not safe to go near this piece. "
            "The building is not released. The power is not known to be off.",
        ),
        (
            {"damages": (soaked(1, mould_condition=3),)},
            "It carries mould that can be seen. "
            "Mould grows or has grown here, alive or dead, seen or not.",
        ),
        (
            {
                "damages": (
                    soaked(1, water_category=WaterCategory.THREE),
                    soaked(2, water_category=WaterCategory.THREE),
                )
            },
            "It was wet by grossly contaminated water. It is soaked.",
        ),
    ],
)
def test_a_gate_says_what_fired_it_and_each_cause_once(
    known: dict[str, object], sentence: str
) -> None:
    (fired,) = triage(**{"materials": TEXTILE, **known}).gates
    assert fired.sentence == sentence


def test_a_gate_without_a_clock_says_nothing_about_time() -> None:
    known = triage(materials=TEXTILE, conservator_only=True)
    assert known.sentence == (
        "Today. A conservator decides what is done to it. It is marked so. "
        "First: leave it as it is, keep it level and ring a conservator."
    )


def test_one_gate_that_forbids_moving_is_enough_and_the_weightiest_ranks_the_piece() -> None:
    known = triage(materials=TEXTILE, hazards={Hazard.BUILDING}, conservator_only=True)
    assert not known.may_move
    assert known.rank == 1
    assert [fired.gate for fired in known.gates] == [Gate.HUMAN_SAFETY, Gate.CONSERVATOR_ONLY]
    assert triage(materials=TEXTILE, conservator_only=True).may_move


# --- the score -------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("wet_for_h", "urgency"), [(47.5, 96.0), (48, 100.0), (60, 100.0), (36, 50.0)]
)
def test_urgency_grows_to_full_when_the_time_is_up_and_no_further(
    wet_for_h: float, urgency: float
) -> None:
    # 100 / (1 + hours left / 12).
    known = triage(materials=TEXTILE, damages=(soaked(wet_for_h),))
    assert known.factors[0].value == pytest.approx(urgency)


@pytest.mark.parametrize(
    ("damages", "severity", "sentence"),
    [
        ((soaked(1, extent=Extent.SLIGHT),), 2.4, "It is soaked. A corner or an edge."),
        ((soaked(1),), 2.7, "It is soaked. Up to half."),
        ((soaked(1, extent=Extent.WIDE),), 3.0, "It is soaked. More than half."),
        (
            (DamageSeen(damage=Damage.DAMP, water_category=WaterCategory.THREE),),
            2.7,
            "It is damp. Up to half. Category 3: grossly contaminated.",
        ),
        (
            (DamageSeen(damage=Damage.SMOKE_ODOUR, mould_condition=2, extent=Extent.WIDE),),
            2.0,
            "It smells of smoke. More than half. "
            "Spores have settled from a place where mould grew; little or no growth.",
        ),
        # The worst of several, weighed by its extent; of equals the one noted first.
        (
            (soaked(1, extent=Extent.SLIGHT), DamageSeen(damage=Damage.FLAKING)),
            2.7,
            "Its surface is coming off. Up to half.",
        ),
        (
            (DamageSeen(damage=Damage.BROKEN), DamageSeen(damage=Damage.WARPED)),
            1.8,
            "It is broken, torn or holed. Up to half.",
        ),
        (
            (DamageSeen(damage=Damage.WARPED), DamageSeen(damage=Damage.BROKEN)),
            1.8,
            "It has warped, cockled or split. Up to half.",
        ),
    ],
)
def test_severity_is_that_of_the_worst_damage_weighed_by_its_extent(
    damages: tuple[DamageSeen, ...], severity: float, sentence: str
) -> None:
    factor = triage(materials=TEXTILE, damages=damages).factors[1]
    assert factor.value == pytest.approx(severity)
    assert factor.sentence == sentence


def test_salvage_gain_is_that_of_the_part_which_gains_most() -> None:
    known = triage(materials=(Material.TEXTILE, Material.OIL_CANVAS))
    gain = known.factors[2]
    assert (gain.name, gain.value) == ("salvage gain", 0.9)
    assert gain.sentence == "Oil on canvas: about 90% of it can be saved by prompt work."


def test_significance_is_named_in_its_own_words() -> None:
    factor = triage(materials=TEXTILE, significance=Significance.OUTSTANDING).factors[3]
    assert (factor.name, factor.value) == ("significance", 2.0)
    assert factor.sentence == "Outstanding or irreplaceable."


def test_the_stated_value_is_handed_back_and_an_unknown_one_sorts_as_nothing() -> None:
    known = triage(materials=TEXTILE, value=Decimal("1250.50"))
    assert known.value == Decimal("1250.50")
    assert known.sort_key == (99, 3, -known.score, Decimal("-1250.50"))
    assert triage(materials=TEXTILE).value is None
    assert triage(materials=TEXTILE).sort_key[-1] == 0


# --- the route -------------------------------------------------------------------------------


def test_the_route_goes_by_gates_then_the_worst_damage_then_the_most_pressing_part() -> None:
    known = triage(
        materials=(Material.SILVER, Material.PRINT_PAPER),
        damages=(
            DamageSeen(damage=Damage.HIGH_HUMIDITY, wet_since=ago(1)),
            soaked(1),
            DamageSeen(damage=Damage.FLAKING),
        ),
    )
    assert known.route == (
        "Leave it as it is, keep it level and ring a conservator",
        "Keep it face up and level and gather every flake",
        "Move it to drier air",
        "Keep it flat and supported",
        "Interleave",
        "Air dry it",
    )
    assert known.first == known.route[0]


def test_a_step_that_two_damages_ask_for_is_told_once() -> None:
    known = triage(
        materials=TEXTILE,
        damages=(DamageSeen(damage=Damage.SOOT_WET), DamageSeen(damage=Damage.SOOT_OIL)),
        loss_at=NOW,
    )
    assert known.route == ("Leave the soot alone",)


@pytest.mark.parametrize(
    ("damage", "words"),
    [
        (Damage.HEAT, "Heat has softened, blistered or scorched it."),
        (Damage.STUCK_TO_GLAZING, "It is stuck to its glass."),
    ],
)
def test_a_damage_that_leaves_freezing_to_a_conservator_says_why(
    damage: Damage, words: str
) -> None:
    known = triage(materials=TEXTILE, damages=(DamageSeen(damage=damage, wet_since=NOW),))
    assert known.freeze_wet == FreezeRuling(
        permission=Permission.CONSERVATOR,
        sentence=f"Freeze it only on a conservator's word. {words}",
    )


def test_a_facility_that_forbids_freezing_after_a_damage_is_quoted_as_forbidding_it() -> None:
    changed = load_facts(
        "table,key,column,value,signed_by,reason\n"
        "damages,heat,freeze_wet,no,R. Vos,no freezer for blistered paint\n"
    )
    heat = DamageSeen(damage=Damage.HEAT, wet_since=NOW)
    known = assess(TriageInput(now=NOW, materials=TEXTILE, damages=(heat,)), changed)
    assert known.freeze_wet == FreezeRuling(
        permission=Permission.NO,
        sentence="Do not freeze it. Heat has softened, blistered or scorched it.",
    )


def test_a_material_that_must_not_be_frozen_is_not_softened_by_a_damage() -> None:
    known = triage(
        materials=(Material.OIL_CANVAS,), damages=(DamageSeen(damage=Damage.HEAT, wet_since=NOW),)
    )
    assert known.freeze_wet == FreezeRuling(
        permission=Permission.NO,
        sentence="Do not freeze it. Oil on canvas: "
        "the canvas, size and paint move apart when they freeze.",
    )


def test_what_never_to_do_is_told_once_by_the_first_that_says_it() -> None:
    known = triage(
        materials=(Material.OIL_CANVAS,),
        damages=(soaked(1), DamageSeen(damage=Damage.DYE_BLEED, wet_since=ago(1))),
    )
    stacked = [never for never in known.never if never.sentence == "Never stack it"]
    assert stacked == [
        NeverDo(sentence="Never stack it", because="Oil on canvas", harm=Harm.LASTING)
    ]


# --- a facility's own figures ----------------------------------------------------------------


def test_a_facility_s_change_is_quoted_where_it_was_used_and_only_there() -> None:
    changed = load_facts(
        "table,key,column,value,signed_by,reason\n"
        "materials,textile,window_h,24,R. Vos,warm cellar\n"
        "damages,mould_visible,window_h,12,R. Vos,warm cellar\n"
        "bands,now,up_to_hours_left,12,R. Vos,few hands\n"
    )

    def quoted(material: Material, damage: Damage) -> list[str]:
        seen = DamageSeen(damage=damage, wet_since=NOW)
        piece = TriageInput(now=NOW, materials=(material,), damages=(seen,))
        return [words.split(":")[0] for words in assess(piece, changed).changed_facts]

    assert sorted(quoted(Material.TEXTILE, Damage.SOAKED)) == ["bands", "materials"]
    assert sorted(quoted(Material.GLASS, Damage.MOULD_VISIBLE)) == ["bands", "damages"]
    assert sorted(quoted(Material.GLASS, Damage.SOAKED)) == ["bands"]


def test_a_facility_s_change_is_quoted_with_its_table_its_signatory_and_both_figures() -> None:
    changed = load_facts(
        "table,key,column,value,signed_by,reason\n"
        "materials,textile,window_h,24,R. Vos,warm cellar\n"
    )
    (words,) = assess(TriageInput(now=NOW, materials=TEXTILE), changed).changed_facts
    assert words.startswith("materials: ")
    assert "window_h 24 instead of 48 as shipped" in words
    assert "warm cellar" in words


# --- bad input -------------------------------------------------------------------------------


@pytest.mark.parametrize("temperature_c", [-40.0, 60.0])
def test_the_ends_of_the_temperature_range_are_let_in(temperature_c: float) -> None:
    piece = TriageInput(now=NOW, mean_temperature_c=temperature_c)
    assert piece.mean_temperature_c == temperature_c


@pytest.mark.parametrize("temperature_c", [-40.1, 60.1])
def test_a_temperature_beyond_the_range_is_refused_with_the_mend(temperature_c: float) -> None:
    words = "mean_temperature_c must be between -40 and 60 °C; a figure in °F must be converted"
    with pytest.raises(ValueError, match=words):
        TriageInput(now=NOW, mean_temperature_c=temperature_c)


def test_a_frozen_spell_may_be_over_as_it_begins_but_not_before() -> None:
    assert FrozenInterval(start=NOW, end=NOW).end == NOW
    with pytest.raises(ValueError, match="end is before start; swap them"):
        FrozenInterval(start=NOW, end=NOW - SECOND)
