"""The tables read as a hygienist and a conservator would: against each other and against the code.

Where sources disagree a row says so in its own words, and the stricter figure stands.
"""

import re
from collections.abc import Iterable

import pytest

from shared import gas
from shared.facts import Constant, Harm, LimitKind, Row, facts
from shared.treatments import agents_for
from shared.vocabulary import Agent, Material, Permission, Target

# A limit for somebody who works in the air all day, or that may never be passed.
FOR_A_DAY = {
    LimitKind.OSHA_PEL_TWA,
    LimitKind.OSHA_PEL_CEILING,
    LimitKind.NIOSH_REL_TWA,
    LimitKind.NIOSH_REL_CEILING,
    LimitKind.ACGIH_TLV_TWA,
    LimitKind.ACGIH_TLV_LIGHT,
    LimitKind.ACGIH_TLV_MODERATE,
    LimitKind.ACGIH_TLV_HEAVY,
    LimitKind.LABEL_CLEARANCE,
}
GASES_TO_CLEAR = sorted(name for name, kind in facts().limits if kind is LimitKind.CLEARANCE)
WHICH_STANDS = re.compile(r"(stricter|strictest|shorter) (one )?(stands|is ours)", re.IGNORECASE)


def words(row: Row) -> str:
    """The words of a row that a person reads beside its figures."""
    return " ".join(str(getattr(row, name, "")) for name in ("note", "meaning", "sentence"))


@pytest.mark.parametrize("name", GASES_TO_CLEAR)
def test_the_level_to_clear_at_is_the_strictest_limit_for_a_day(name: str) -> None:
    known = facts()
    level = known.limit(name, LimitKind.CLEARANCE)
    for (other, kind), row in known.limits.items():
        if other == name and kind in FOR_A_DAY:
            assert level.value <= row.value, (name, kind)


@pytest.mark.parametrize("name", GASES_TO_CLEAR)
def test_a_level_stricter_than_the_law_says_why(name: str) -> None:
    known = facts()
    level = known.limit(name, LimitKind.CLEARANCE)
    legal = known.limits.get((name, LimitKind.OSHA_PEL_TWA))
    if legal is not None and level.value < legal.value:
        assert re.search("stands|strictest", level.note), name


@pytest.mark.parametrize("name", GASES_TO_CLEAR)
def test_no_level_to_clear_at_comes_near_what_endangers_life(name: str) -> None:
    known = facts()
    deadly = known.limit(name, LimitKind.NIOSH_IDLH).value
    assert known.limit(name, LimitKind.CLEARANCE).value <= deadly / 8


# Questions on which sources are known to disagree, and the row that must say so.
CONTESTED: dict[str, Iterable[Row]] = {
    "how fast wet canvas is harmed": [facts().materials[Material.OIL_CANVAS]],
    "24 to 48 h": [
        facts().materials[material]
        for material in (Material.ACRYLIC_CANVAS, Material.MAGNETIC_MEDIA, Material.IRON)
    ],
    "6 h for coated paper": [facts().materials[Material.COATED_PAPER]],
    "72 h for black and white prints": [facts().materials[Material.SILVER_GELATIN]],
    "ozone on art": [facts().agents[Agent.OZONE]],
    "ethylene oxide on art": [facts().agents[Agent.ETHYLENE_OXIDE]],
    "sulfuryl fluoride on art": [facts().agents[Agent.SULFURYL_FLUORIDE]],
    "phosphine to clear at": [facts().limit("phosphine", LimitKind.CLEARANCE)],
    "how full a chamber of art may be": [facts().spacing("art_max_fill")],
}


@pytest.mark.parametrize("question", CONTESTED)
def test_a_row_on_which_sources_disagree_says_so_and_that_the_stricter_stands(
    question: str,
) -> None:
    for row in CONTESTED[question]:
        assert WHICH_STANDS.search(words(row)) or "stricter way" in words(row), row


def test_a_row_that_speaks_of_two_figures_says_which_stands() -> None:
    spoken = [row for _, row in facts().rows() if "both given" in words(row)]
    assert len(spoken) >= 3
    for row in spoken:
        assert WHICH_STANDS.search(words(row)), row


@pytest.mark.parametrize(
    ("material", "stricter_h", "looser_h"),
    [
        (Material.ACRYLIC_CANVAS, 24, 48),
        (Material.MAGNETIC_MEDIA, 24, 48),
        (Material.IRON, 24, 48),
        (Material.SILVER_GELATIN, 48, 72),
        (Material.COATED_PAPER, 6, 8),
        (Material.OIL_CANVAS, 8, 48),
    ],
)
def test_of_two_windows_given_the_shorter_is_the_default(
    material: Material, stricter_h: float, looser_h: float
) -> None:
    assert facts().materials[material].window_h == stricter_h < looser_h


def test_ethylene_oxide_is_not_offered_for_any_piece() -> None:
    # EPA interim registration review decision, January 2025: no museum, library, archive use.
    assert facts().agents[Agent.ETHYLENE_OXIDE].default is Permission.NO
    assert Agent.ETHYLENE_OXIDE in agents_for(Target.MOULD)  # it acts; it is the piece that may not


# --- what never to do -----------------------------------------------------------------------------

CONDITIONS = (":", " if ", " unless ", " with ", " wet", " warm")


def prohibitions() -> set[str]:
    known = facts()
    of_materials = {phrase for row in known.materials.values() for phrase in row.never}
    return of_materials | {phrase for row in known.damages.values() for phrase in row.never}


def test_a_prohibition_that_begins_with_another_only_adds_a_condition_or_reason() -> None:
    # Triage leaves such a one out beside the plain one, so nothing else may begin that way.
    found = prohibitions()
    for plain in found:
        for phrase in found - {plain}:
            if phrase.startswith((f"{plain} ", f"{plain}:")):
                assert phrase.removeprefix(plain).startswith(CONDITIONS), (plain, phrase)


def test_no_prohibition_hides_another_behind_an_or() -> None:
    found = prohibitions()
    for phrase in found:
        first, _, second = phrase.partition(" or ")
        if second:
            assert first not in found, phrase


def test_every_prohibition_has_its_harm_and_no_harm_is_without_one() -> None:
    assert set(facts().prohibitions) == prohibitions()


def test_what_only_adds_a_condition_to_another_does_no_graver_harm() -> None:
    # Triage leaves it out beside the plain one, which must not come later for that.
    harms, order = facts().prohibitions, list(Harm)
    for plain in harms:
        for phrase in harms:
            if phrase.startswith((f"{plain} ", f"{plain}:")):
                assert order.index(harms[plain].harm) <= order.index(harms[phrase].harm), phrase


# --- one figure, one value ------------------------------------------------------------------------


def test_the_loading_rules_and_the_spacings_table_give_the_same_figures() -> None:
    def table(name: str) -> float:
        return facts().spacing(name).value

    art, container = gas.ARTWORK_LOADING, gas.CONTAINER_LOADING
    assert art.max_fill == table("art_max_fill")
    assert art.between_m == table("art_gap_m")
    assert art.to_wall_m == table("art_wall_gap_m")
    assert container.max_fill == table("fumigation_max_fill")
    assert container.headspace_m == art.headspace_m == table("fumigation_headspace_m")
    assert container.underfloor_m == art.underfloor_m == table("fumigation_underfloor_m")
    assert table("freezer_carton_fill") == gas.FREEZER_CARTON_FILL
    assert table("rack_gap_low_m") <= table("rack_gap_m") <= table("rack_gap_high_m")


@pytest.mark.parametrize(
    ("name", "value", "unit"),
    [
        (Constant.PROMISE_D, 60, "day"),
        (Constant.START_BY_FACTOR, 3, "1"),
        (Constant.THAW_MOST_H, 4, "h"),
        (Constant.ROOM_RH_MARGIN_PERCENT, 3, "%"),
        (Constant.ROOM_T_MARGIN_C, 2, "°C"),
    ],
)
def test_what_the_planner_goes_by_is_a_row_a_facility_may_change(
    name: Constant, value: float, unit: str
) -> None:
    row = facts().constants[name]
    assert (row.value, row.unit, row.mark) == (value, unit, "common practice")


def test_every_drying_body_caps_the_step_no_looser_than_its_room_starts() -> None:
    # A room that starts damp and steps down must not meet a slab allowed a larger step.
    known = facts()
    for rating in known.ratings.values():
        body = known.drying_bodies[rating.drying_body]
        start = known.room_set_points[rating.room].rh_start_percent
        if start is not None:
            assert body.max_rh_step <= 1 - start / 100 + 1e-9, rating.material
