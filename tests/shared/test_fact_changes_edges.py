"""A facility's file of changes: its separators, its places, and what counts as stricter."""

import re

import pytest

from shared.fact_changes import (
    COLUMNS,
    Change,
    FactsError,
    _drops_nothing,
    _no_higher,
    _no_lower,
    _only_more,
    _stricter,
    read_changes,
    why_protected,
)

HEADER = ",".join(COLUMNS)


def change(table: str, key: str, column: str, value: str = "") -> Change:
    return Change(2, table, key, column, value, "R. Vos", "trials")


def test_the_header_alone_says_what_parts_the_cells() -> None:
    reason = "one; two; three; four; five; six; seven"
    (made,) = read_changes(f"{HEADER}\nmaterials,wax,window_h,12,R. Vos,{reason}\n")
    assert made.reason == reason
    semicolons = HEADER.replace(",", ";")
    reason = "a, b, c, d, e, f, g"
    (made,) = read_changes(f"{semicolons}\nmaterials;wax;window_h;12;R. Vos;{reason}\n")
    assert made.reason == reason


def test_blank_rows_before_the_header_count_for_nothing_but_their_place() -> None:
    semicolons = HEADER.replace(",", ";")
    text = f"\n\n{semicolons}\nmaterials;wax;window_h;12;R. Vos;trials\n"
    (made,) = read_changes(text)
    assert made.where == "changed facts, row 4 (materials.csv)"


def test_a_quotation_mark_left_open_is_said_with_the_last_good_row() -> None:
    said = "changed facts, after row 0: unexpected end of data; close every quotation mark"
    with pytest.raises(FactsError, match=f"^{re.escape(said)}$"):
        read_changes('"table,key,column\n')
    with pytest.raises(FactsError, match=r"^changed facts, after row 1: "):
        read_changes(f'{HEADER}\nmaterials,"wax\n')


def test_a_missing_column_is_named_with_the_row_that_ought_to_be_there() -> None:
    with pytest.raises(FactsError, match=re.escape(f"so that the first row reads {HEADER}")):
        read_changes("table,key,column,value,signed_by\n")


def test_along_a_scale_only_forwards_is_stricter_and_staying_is_allowed() -> None:
    rule = _stricter("yes", "conservator", "no", mend="ask")
    allowed = {
        (old, new)
        for old in ("yes", "conservator", "no")
        for new in ("yes", "conservator", "no")
        if rule.allows(old, new)
    }
    assert allowed == {
        ("yes", "yes"),
        ("yes", "conservator"),
        ("yes", "no"),
        ("conservator", "conservator"),
        ("conservator", "no"),
        ("no", "no"),
    }
    assert rule.mend == "ask"


def test_a_list_may_grow_or_stay_and_never_lose_a_member() -> None:
    rule = _only_more("gates")
    assert rule.allows(["a"], ["a"]) and rule.allows(["a"], ["b", "a"])
    assert not rule.allows(["a", "b"], ["a"])
    assert rule.mend == "gates may be added, never dropped: name the shipped ones too"
    assert _drops_nothing([], [])


def test_a_limit_may_stay_where_it_is() -> None:
    assert _no_higher(1.0, 1.0) and _no_higher(1.0, 0.9) and not _no_higher(1.0, 1.1)
    assert _no_lower(1.0, 1.0) and _no_lower(1.0, 1.1) and not _no_lower(1.0, 0.9)


def test_what_protects_people_is_told_with_what_may_be_done_instead() -> None:
    assert why_protected(change("materials", "wax", "window_h"), 24, 12) is None
    limit = change("limits", "ozone/twa", "value")
    assert why_protected(limit, 0.1, 0.1) is None
    assert why_protected(limit, 0.1, 0.2) == ("it protects people, so a facility may only lower it")
    low = change("limits", "oxygen/hazardous_low", "value")
    assert why_protected(low, 19.5, 19.0) == ("it protects people, so a facility may only raise it")
    assert why_protected(low, 19.5, 20.0) is None
    assert why_protected(change("gases", "ozone", "molar_mass"), 48, 47) == (
        "a gas's molar mass is no facility's choice: readings are converted with it; "
        "remove this row"
    )
