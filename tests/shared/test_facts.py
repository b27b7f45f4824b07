import csv
import json
import re
from importlib import resources

import pytest

from shared.facts import (
    Action,
    BandRow,
    Constant,
    FactsError,
    LimitKind,
    RoomGroup,
    _Reader,
    facts,
    facts_as_json,
    facts_version,
    load_facts,
)
from shared.mould import precautionary_window_h
from shared.vocabulary import Agent, Band, Damage, Hazard, Material, Peril, Permission, Target

HEADER = "table,key,column,value,signed_by,reason\n"


def test_every_row_names_its_source_and_mark() -> None:
    rows = list(facts().rows())
    assert len(rows) > 600
    for table, row in rows:
        assert row.source.strip(), table
        assert row.mark in {"published", "common practice", "from memory"}


def test_a_row_without_source_in_the_files_themselves_would_show() -> None:
    for file in (resources.files("shared") / "tables").iterdir():
        if not file.name.endswith(".csv"):
            continue
        for row in csv.DictReader(file.read_text(encoding="utf-8").splitlines()):
            assert row["source"].strip(), (file.name, row)
            assert row["mark"].strip(), (file.name, row)


def test_a_published_row_does_not_admit_to_memory_or_habit() -> None:
    for table, row in facts().rows():
        if row.mark == "published":
            assert not re.search("from memory|common practice", row.source), (table, row)


def test_every_word_of_the_vocabulary_has_its_row() -> None:
    known = facts()
    assert set(known.materials) == set(known.ratings) == set(known.heat_ceilings) == set(Material)
    assert set(known.damages) == set(Damage)
    assert set(known.agents) == set(Agent)
    assert len(known.agent_targets) == len(Agent) * len(Target)
    assert all((material, Action.FREEZE_WET) in known.permissions for material in Material)


def test_every_gas_of_an_agent_has_limits_except_where_the_air_itself_is_the_limit() -> None:
    known = facts()
    with_limits = {gas for gas, _ in known.limits}
    gases = {row.gas for row in known.agents.values() if row.gas is not None}
    assert gases - with_limits == {"nitrogen"}


def test_every_caution_is_triggered_by_a_word_that_exists() -> None:
    known = facts()
    words = {
        "hazard": {row.value for row in Hazard},
        "peril": {row.value for row in Peril},
        "water_category": {row.value for row in known.water_categories},
        "mould_condition": {"1", "2", "3"},
        "agent": {row.value for row in Agent},
        "damage": {row.value for row in Damage},
        "material": {row.value for row in Material},
        "step": {row.value for row in known.steps},
        "always": {""},
        "leak": {row.hazard.value for row in known.agents.values() if row.hazard},
    }
    for row in known.cautions.values():
        assert row.trigger in words[row.trigger_kind], row.id


def test_a_pair_no_table_speaks_of_is_for_the_conservator() -> None:
    ruling = facts().permission(Material.STONE, Action.VACUUM_DRY)
    assert ruling.permission is Permission.CONSERVATOR


def test_a_limit_that_is_not_in_the_tables_is_never_made_up() -> None:
    with pytest.raises(FactsError, match="enters the limit from the label"):
        facts().limit("methyl_bromide", LimitKind.CLEARANCE)


def test_a_spacing_that_is_not_there_says_which_are() -> None:
    with pytest.raises(FactsError, match="fumigation_max_fill"):
        facts().spacing("ceiling")


def test_the_clearance_level_is_never_above_any_limit_for_a_working_day() -> None:
    day_limits = {LimitKind.OSHA_PEL_TWA, LimitKind.NIOSH_REL_CEILING, LimitKind.ACGIH_TLV_TWA}
    known = facts()
    checked = 0
    for (gas, kind), row in known.limits.items():
        if kind in day_limits and (gas, LimitKind.CLEARANCE) in known.limits:
            assert known.limit(gas, LimitKind.CLEARANCE).value <= row.value
            checked += 1
    assert checked >= 10


def test_the_mould_clock_of_the_tables_is_the_mould_model_s() -> None:
    constant = facts().constant
    assert precautionary_window_h(None) == constant(Constant.MOULD_PRECAUTION_H)
    assert precautionary_window_h(25.1) == constant(Constant.MOULD_PRECAUTION_WARM_H)
    assert precautionary_window_h(25.0) == constant(Constant.MOULD_PRECAUTION_H)
    assert precautionary_window_h(9.9) == constant(Constant.MOULD_PRECAUTION_COLD_H)


def test_the_phone_gets_the_same_tables_with_the_version() -> None:
    compiled = facts_as_json()
    assert compiled["version"] == facts_version() == facts().version
    assert len(compiled["version"]) == 64
    tables = json.loads(json.dumps(compiled))["tables"]
    wax = next(row for row in tables["materials"] if row["material"] == "wax")
    assert wax["window_h"] == facts().materials[Material.WAX].window_h
    assert {row["action"] for row in tables["permissions"]} == {"freeze_wet"}
    assert compiled["labels"]["Band"]["can_wait"] == "Can wait"


def test_a_facility_s_change_is_signed_marked_and_changes_the_version() -> None:
    changed = load_facts(HEADER + "permissions,wood/freeze_wet,permission,no,R. Vos,we lost two\n")
    row = changed.permission(Material.WOOD, Action.FREEZE_WET)
    assert row.permission is Permission.NO
    assert row.changed_by == "R. Vos"
    assert "we lost two" in row.source
    assert row.mark == "common practice"
    assert [table for table, _ in changed.changed] == ["permissions"]
    assert changed.version != facts_version()
    assert facts().changed == ()


def test_two_changes_to_one_row_both_count() -> None:
    changed = load_facts(
        HEADER
        + "materials,wax,window_h,24,R. Vos,soft when warm\n"
        + "materials,wax,note,kept cool,R. Vos,soft when warm\n"
    )
    assert changed.materials[Material.WAX].window_h == 24
    assert changed.materials[Material.WAX].note == "kept cool"


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ("materials,waxx,window_h,24,R,x", "row 2, column key: materials.csv has no row 'waxx'"),
        (
            "material,wax,window_h,24,R,x",
            "row 2, column table: there is no table 'material'; use one of",
        ),
        ("materials,wax,window_h,-1,R,x", "column window_h: Input should be greater than 0"),
        ("materials,wax,window_h,soon,R,x", "column window_h"),
        ("materials,wax,window_h,,R,x", "column window_h: Field required"),
        ("materials,wax,windo,24,R,x", "column 'windo': no such column"),
        ("materials,wax,source,hearsay,R,x", "column 'source': no such column"),
        ("materials,wax,material,iron,R,x", "a key can't be changed"),
        ("materials,wax,window_h,24,,x", "row 2, column signed_by: empty"),
        ("damages,none_seen,window_h,24,R,x", "clock must be yes"),
        ("room_set_points,paper,t_low_c,40,R,x", "t_low_c is above t_high_c"),
        ("denials,ozone/silver/,permission,yes,R,x", "can't say yes"),
        ("ratings,wax,salvage_gain,2,R,x", "less than or equal to 1"),
    ],
)
def test_a_change_that_can_t_be_used_says_where_and_how_to_mend_it(line: str, said: str) -> None:
    with pytest.raises(FactsError, match=re.escape(said)):
        load_facts(HEADER + line + "\n")


@pytest.mark.parametrize(
    ("header", "said"),
    [
        ("table,key,column,value,signed_by\n", "column 'reason' is missing; add it"),
        (HEADER.strip() + ",when\n", "column 'when' is not known; remove it"),
    ],
)
def test_a_change_file_with_another_header_is_refused(header: str, said: str) -> None:
    with pytest.raises(FactsError, match=re.escape(said)):
        load_facts(header)


def test_a_table_that_lacks_a_row_or_has_one_twice_is_refused() -> None:
    with pytest.raises(FactsError, match=r"bands\.csv: no row for 'can_wait'; add one"):
        _Reader({}).table("bands", BandRow, lambda row: row.band, Band)
    with pytest.raises(FactsError, match=r"bands\.csv row 3: 'any' is there twice; remove one"):
        _Reader({}).table("bands", BandRow, lambda _: "any")


@pytest.mark.parametrize(
    ("materials", "group"),
    [
        ([Material.OIL_CANVAS], RoomGroup.PAINTING),
        ([Material.BOUND_VOLUME], RoomGroup.PAPER),
        ([Material.WATERCOLOUR, Material.GILDED_GESSO, Material.GLASS], RoomGroup.PANEL),
        ([Material.SILVER, Material.BONE_IVORY], RoomGroup.LEATHER),
    ],
)
def test_a_piece_dries_in_the_gentlest_room_of_its_materials(
    materials: list[Material], group: RoomGroup
) -> None:
    assert facts().room_for(materials).group is group
    assert facts().room_for(materials[::-1]).group is group


def test_the_heat_ceiling_is_that_of_the_most_delicate_material() -> None:
    assert facts().heat_ceiling_c([Material.IRON, Material.WAX]) == 30


def test_a_piece_of_nothing_has_no_room_and_no_ceiling() -> None:
    with pytest.raises(FactsError, match="say what the piece is made of"):
        facts().room_for([])
    with pytest.raises(FactsError, match="say what the piece is made of"):
        facts().heat_ceiling_c([])


@pytest.mark.parametrize("material", Material)
def test_a_room_is_never_warmer_than_its_materials_stand(material: Material) -> None:
    assert facts().room_for([material]).t_high_c <= facts().heat_ceiling_c([material])


def test_a_denial_bars_one_thing() -> None:
    with pytest.raises(FactsError, match="name either a material or a damage"):
        load_facts(HEADER + "denials,ozone/silver/,damage,flaking,R,x\n")
