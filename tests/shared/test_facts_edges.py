"""The loader of the tables: what each must have, and how it says what is amiss."""

import csv
import re
import shutil
from importlib import resources
from pathlib import Path

import pytest

from shared.facts import FactsError, facts, load_facts

HEADER = "table,key,column,value,signed_by,reason\n"


@pytest.fixture
def tables(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A copy of the shipped tables that the loader reads instead."""
    shutil.copytree(str(resources.files("shared") / "tables"), tmp_path / "tables")
    monkeypatch.setattr(resources, "files", lambda package: tmp_path)
    return tmp_path / "tables"


def rows_of(file: Path) -> list[list[str]]:
    with file.open(newline="", encoding="utf-8") as lines:
        return list(csv.reader(lines))


def write(file: Path, rows: list[list[str]]) -> None:
    with file.open("w", newline="", encoding="utf-8") as lines:
        csv.writer(lines).writerows(rows)


@pytest.mark.parametrize(
    ("table", "starts"),
    [
        ("materials", "wax"),
        ("ratings", "iron"),
        ("heat_ceilings", "glass"),
        ("permissions", "parchment"),
        ("gates", "visible_mould"),
        ("damages", "soot_wet"),
        ("water_categories", "3"),
        ("mould_conditions", "1"),
        ("mould_conditions", "2"),
        ("mould_conditions", "3"),
        ("bands", "today"),
        ("significances", ""),
        ("extents", "wide"),
        ("constants", "promise_d"),
        ("room_set_points", "leather"),
        ("agents", "ozone"),
        ("agent_targets", "ozone"),
        ("drying_bodies", "volume"),
        ("steps", "dry"),
        ("object_types", "painting"),
    ],
)
def test_a_table_that_lacks_a_row_it_needs_is_refused_by_name(
    tables: Path, table: str, starts: str
) -> None:
    file = tables / f"{table}.csv"
    head, *rows = rows_of(file)
    gone = next(row for row in rows if row[0].startswith(starts) and "freeze_dry" not in row)
    write(file, [head, *(row for row in rows if row is not gone)])
    with pytest.raises(FactsError, match=rf"^{table}\.csv: no row for '.*{gone[0]}.*'; add one$"):
        load_facts()


def test_the_tables_load_from_their_files_every_time(tables: Path) -> None:
    assert load_facts().version == facts().version
    head, *rows = rows_of(tables / "gases.csv")
    write(tables / "gases.csv", [head, *rows[1:]])
    assert load_facts().version != facts().version


@pytest.mark.parametrize("column", ["source", "mark", "changed_by", "colour"])
def test_a_column_that_is_not_a_facility_s_to_change_is_refused(column: str) -> None:
    said = (
        f"changed facts, row 2 (materials.csv), column {column!r}: no such column to change; "
        "check its name"
    )
    with pytest.raises(FactsError, match=f"^{re.escape(said)}$"):
        load_facts(HEADER + f"materials,wax,{column},published,R. Vos,we say so\n")


def test_several_changes_of_a_row_are_told_one_after_another() -> None:
    changed = load_facts(
        HEADER + "materials,wax,window_h,12,R. Vos,trials\n"
        "materials,wax,note,ours,L. Moor,to say so\n"
    )
    ((_, row),) = changed.changed
    assert row.changed_by == "R. Vos, L. Moor"
    assert re.fullmatch(
        r"changed by the facility: window_h 12 instead of .* as shipped \(R\. Vos: trials\); "
        r"note ours instead of .* as shipped \(L\. Moor: to say so\); "
        r"common practice, no source",
        row.source,
    )


def test_a_refused_change_names_both_values_and_what_stands_for_an_empty_one() -> None:
    with pytest.raises(FactsError, match="column gates: nothing instead of visible_mould is not"):
        load_facts(HEADER + "damages,mould_visible,gates,,R. Vos,no need\n")
    with pytest.raises(FactsError, match="column permission: yes instead of no is not taken"):
        load_facts(HEADER + "permissions,wax/freeze_wet,permission,yes,R. Vos,went well\n")


def test_a_cell_that_cannot_be_read_is_quoted_with_its_place(tables: Path) -> None:
    file = tables / "heat_ceilings.csv"
    head, *rows = rows_of(file)
    rows[3][1] = "warm"
    write(file, [head, *rows])
    with pytest.raises(FactsError, match=r"^heat_ceilings\.csv row 5.*found 'warm'; mend the cell"):
        load_facts()
