"""A facility's file of changes: what is read, what is refused and what it may never loosen.

That a limit, a gate, a caution or a denial is only ever made stricter is a rule of this design. The
figures it is tried on are those of the tables, where each names its source.
"""

import csv
import io
import re
from collections.abc import Callable

import pytest
from hypothesis import given
from hypothesis import strategies as st

from shared.fact_changes import (
    _COLUMN_RULES,
    _LOCKED_TABLES,
    _ROW_RULES,
    COLUMNS,
    FactsError,
    read_changes,
)
from shared.facts import (
    Action,
    Constant,
    Facts,
    Gate,
    LimitKind,
    facts,
    facts_as_json,
    load_facts,
)
from shared.vocabulary import Agent, Material, Permission, StepKind

HEADER = "table,key,column,value,signed_by,reason\n"


def changed(*lines: str) -> Facts:
    return load_facts(HEADER + "".join(f"{line}\n" for line in lines))


# --- reading ------------------------------------------------------------------------------------


@pytest.mark.parametrize("text", ["", "\n\n", "\ufeff", HEADER, HEADER.strip(), HEADER + ",,,,,\n"])
def test_a_file_without_changes_changes_nothing(text: str) -> None:
    known = load_facts(text)
    assert known.changes == ()
    assert known.changed == ()
    assert known.version == facts().version


@pytest.mark.parametrize(
    "saved",
    [
        lambda text: text,
        lambda text: "\ufeff" + text,
        lambda text: text.replace("\n", "\r\n"),
        lambda text: text.replace(",", ";"),
        lambda text: text.replace(",", "\t"),
        lambda text: text.replace("\n", "\n\n"),
        lambda text: text.replace(",", " , "),
        lambda text: text.rstrip("\n"),
    ],
    ids=["plain", "bom", "crlf", "semicolons", "tabs", "empty rows", "spaces", "no last newline"],
)
def test_a_file_is_read_however_it_was_saved(saved: Callable[[str], str]) -> None:
    text = HEADER + "materials,wax,window_h,24,R. Vos,soft when warm\n"
    assert load_facts(saved(text)).version == load_facts(text).version
    assert load_facts(saved(text)).materials[Material.WAX].window_h == 24


def test_a_list_in_a_file_with_semicolons_is_read_from_its_quotation_marks() -> None:
    shipped = facts().steps[StepKind.CHAMBER].requires
    text = HEADER.replace(",", ";") + f'steps;chamber;requires;"{"; ".join((*shipped, "air"))}";R;x'
    assert load_facts(text).steps[StepKind.CHAMBER].requires == (*shipped, StepKind.AIR)


_CELL = st.text(st.characters(exclude_categories=["C", "Z"]), min_size=1, max_size=12)


@given(rows=st.lists(st.tuples(*[_CELL] * 6), unique_by=lambda row: row[:3], max_size=5))
def test_whatever_a_spreadsheet_writes_comes_back(rows: list[tuple[str, ...]]) -> None:
    out = io.StringIO(newline="")
    csv.writer(out).writerows([COLUMNS, *rows])
    read = read_changes(out.getvalue())
    assert [tuple(getattr(one, column) for column in COLUMNS) for one in read] == rows
    assert [one.row for one in read] == list(range(2, len(rows) + 2))


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("wax,window_h,24\n", "row 1: column 'table' is missing; add it, so that the first row"),
        (HEADER.strip() + ",reason\n", "row 1: column 'reason' is there twice; remove one"),
        (HEADER + "materials,wax,window_h,24,R\n", "row 2: 5 cells where the header has 6"),
        (
            HEADER + "materials,wax,window_h,24,R,soft, when warm\n",
            "row 2: 7 cells where the header has 6; fill in every column, and put a cell that "
            "holds the separator in quotation marks",
        ),
        (HEADER + "\n,wax,window_h,24,R,x\n", "row 3, column table: empty; fill it in"),
        (HEADER + 'materials,wax,window_h,"24,R,x\n', "close every quotation mark"),
        (
            HEADER + "materials,wax,window_h,24,R,x\n\nmaterials,wax,window_h,20,S,y\n",
            "row 4 (materials.csv), column window_h: row 2 changes the same cell; remove one",
        ),
    ],
)
def test_a_file_that_can_t_be_read_says_where_and_how_to_mend_it(text: str, said: str) -> None:
    with pytest.raises(FactsError, match=re.escape(said)):
        load_facts(text)


def test_a_bad_value_is_laid_at_its_own_row() -> None:
    with pytest.raises(FactsError, match=r"row 2 \(materials\.csv\), column window_h") as error:
        changed("materials,wax,window_h,soon,R,x", "materials,wax,note,kept cool,R,x")
    assert "found 'soon'; mend the cell" in str(error.value)


def test_a_decimal_comma_is_not_taken_for_another_number() -> None:
    with pytest.raises(FactsError, match="found '0,5'; mend the cell"):
        load_facts(HEADER.replace(",", ";") + "limits;ozone/osha_pel_twa;value;0,5;R;x\n")


def test_a_facility_may_sign_for_what_is_shipped() -> None:
    shipped = facts().materials[Material.WAX].window_h
    known = changed(f"materials,wax,window_h,{shipped:g},R,ours too", "gases,ozone,label,Ozone,R,y")
    row = known.materials[Material.WAX]
    assert (row.window_h, row.changed_by) == (shipped, "R")
    assert f"window_h {shipped:g} as shipped (R: ours too)" in row.source
    assert known.version != facts().version


# --- what is kept of a change -------------------------------------------------------------------


def test_each_cell_keeps_its_own_signatory_reason_and_shipped_value() -> None:
    was = facts().materials[Material.WAX].window_h
    known = changed(
        "materials,wax,window_h,24,R. Vos,soft when warm",
        "bands,now,up_to_hours_left,6,A. Bell,fewer hands at night",
        "materials,wax,note,kept cool,L. Moor,for the crew",
    )
    row = known.materials[Material.WAX]
    assert row.changed_by == "R. Vos, L. Moor"
    assert row.mark == "common practice"
    first = f"window_h 24 instead of {was:g} as shipped (R. Vos: soft when warm)"
    assert first in row.source
    assert "(L. Moor: for the crew)" in row.source
    assert "A. Bell" not in row.source
    assert [cell.change.signed_by for cell in known.changes] == ["R. Vos", "A. Bell", "L. Moor"]
    assert known.changes[0].sentence == f"materials, wax: {first}"


def test_one_signatory_of_two_cells_is_named_once() -> None:
    known = changed("materials,wax,window_h,24,R,x", "materials,wax,note,kept cool,R,y")
    assert known.materials[Material.WAX].changed_by == "R"


def test_an_empty_cell_is_shown_as_nothing() -> None:
    filled = changed("room_set_points,paper,rh_step_days,3,R,y")
    assert "rh_step_days 3 instead of nothing as shipped" in filled.changes[0].words
    emptied = changed("room_set_points,paper,note,,R,y")
    assert emptied.changes[0].words.startswith("note nothing instead of ")


def test_the_phone_s_tables_are_the_changed_ones_under_another_version() -> None:
    known = changed("materials,wax,window_h,24,R,x")
    compiled = facts_as_json(known)
    assert compiled["version"] == known.version != facts_as_json()["version"]
    wax = next(row for row in compiled["tables"]["materials"] if row["material"] == "wax")
    assert (wax["window_h"], wax["changed_by"]) == (24, "R")


def test_a_change_outside_the_phone_s_tables_gives_another_version_too() -> None:
    known = changed("work_times,stabilise,base_min,300,R,x")
    assert facts_as_json(known)["version"] != facts_as_json()["version"]
    assert facts_as_json(known)["tables"] == facts_as_json()["tables"]


def test_another_reason_or_signatory_gives_another_version() -> None:
    versions = {
        changed(f"materials,wax,window_h,24,{who},{why}").version
        for who in ("R. Vos", "L. Moor")
        for why in ("trials", "habit")
    }
    assert len(versions) == 4


# --- what protects people -----------------------------------------------------------------------


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ("limits,ozone/clearance,value,50", "may only lower it"),
        ("limits,oxygen/hazardous_low,value,18", "may only raise it"),
        ("limits,oxygen/hazardous_high,value,25", "may only lower it"),
        ("limits,ozone/clearance,unit,% v/v", "the unit stands"),
        ("gases,ozone,molar_mass_g_mol,96", "readings are converted with it"),
        ("gates,human_safety,may_move,yes", "it keeps people from harm"),
        ("hazard_gates,fumigant,gate,conservator_only", "it keeps people from harm"),
        ("prohibitions,freeze it,harm,lasting", "never called less than is shipped"),
        ("cautions,site-controller,text,Go in.", "cautions stand as shipped"),
        ("schedules,anoxia_egg,hold_low_h,24", "a licensed person signs a programme"),
        ("agents,ozone,default,yes", "may only be made stricter"),
        ("agents,thymol,default,conservator", "may only be made stricter"),
        ("agents,phosphine,licence,none", "stands as shipped"),
        ("agents,phosphine,t_min_c,0", "stands as shipped"),
        ("agents,ozone,hazard,", "stands as shipped"),
        ("denials,ozone/silver/,permission,conservator", "signed and dated override"),
        ("denials,ozone/silver/,until,dry", "it ends the denial sooner"),
        ("permissions,oil_canvas/freeze_wet,permission,yes", "may only be made stricter"),
        ("damages,mould_visible,gates,", "gates may be added, never dropped"),
        ("damages,mould_visible,steps,dry", "steps may be added, never dropped"),
        ("damages,soaked,wets,no", "what a damage is stands as shipped"),
        ("damages,soaked,never,", "never-do's may be added, never dropped"),
        ("water_categories,3,gates,", "gates may be added, never dropped"),
        ("steps,chamber,requires,", "steps may be added, never dropped"),
        ("steps,chamber,order,1", "the order of steps stands as shipped"),
        ("agent_targets,anoxia/mould,serves,yes", "never said to do more than is shipped"),
        ("object_types,painting,straight_line,if_ordinary", "never depreciated by age"),
        ("spacings,generator_distance_m,value,2", "may only raise it"),
        ("spacings,fumigation_max_fill,value,0.95", "may only lower it"),
    ],
)
def test_a_file_never_loosens_what_protects_people(line: str, said: str) -> None:
    with pytest.raises(FactsError) as error:
        changed(f"{line},R. Vos,it has always been fine")
    assert said in str(error.value)
    assert "instead of" in str(error.value)
    assert str(error.value).startswith("changed facts, row 2 (")


def test_what_protects_people_may_be_made_stricter() -> None:
    known = changed(
        "limits,ozone/clearance,value,0.001,R,x",
        "limits,oxygen/hazardous_low,value,20.5,R,x",
        "agents,carbon_air,default,conservator,R,x",
        "denials,ozone/leather/,permission,no,R,x",
        "permissions,wood/freeze_wet,permission,no,R,x",
        "materials,wax,gates,conservator_only,R,x",
        "object_types,furniture,straight_line,no,R,x",
        "spacings,generator_distance_m,value,9,R,x",
    )
    assert known.limit("ozone", LimitKind.CLEARANCE).value == 0.001
    assert known.limit("oxygen", LimitKind.HAZARDOUS_LOW).value == 20.5
    assert known.agents[Agent.CARBON_AIR].default is Permission.CONSERVATOR
    assert known.denials[(Agent.OZONE, Material.LEATHER, None)].permission is Permission.NO
    assert known.permission(Material.WOOD, Action.FREEZE_WET).permission is Permission.NO
    assert known.materials[Material.WAX].gates == (Gate.CONSERVATOR_ONLY,)
    assert len(known.changes) == 8


def test_a_longer_mould_clock_is_taken_and_said() -> None:
    shipped = facts().constant(Constant.MOULD_PRECAUTION_H)
    known = changed("constants,mould_precaution_h,value,60,R. Vos,dry cold climate")
    assert known.constant(Constant.MOULD_PRECAUTION_H) == 60
    assert (
        f"value 60 instead of {shipped:g} as shipped"
        in known.constants[Constant.MOULD_PRECAUTION_H].source
    )


@given(
    gas=st.sampled_from([key for key in facts().limits if key[0] != "oxygen"]),
    share=st.floats(0.01, 100),
)
def test_no_file_raises_any_limit(gas: tuple[str, LimitKind], share: float) -> None:
    shipped = facts().limits[gas].value
    wanted = shipped * share
    line = f"limits,{gas[0]}/{gas[1]},value,{wanted!r},R,x"
    if wanted <= shipped:
        assert changed(line).limits[gas].value == wanted
    else:
        with pytest.raises(FactsError):
            changed(line)


def test_every_rule_names_a_table_a_row_and_a_column_that_exist() -> None:
    columns = {table: set(type(row).model_fields) for table, row in facts().rows()}
    assert set(_LOCKED_TABLES) <= set(columns)
    for table, column in _COLUMN_RULES:
        assert column in columns[table]
    for table, key, column in _ROW_RULES:
        keys = {"/".join(one) if isinstance(one, tuple) else one for one in getattr(facts(), table)}
        assert key in keys
        assert column in columns[table]
