"""Wrapping and splitting: nothing is lost and nothing overflows."""

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from service.reports.layout import (
    BODY,
    SMALL,
    STRONG,
    Beside,
    Column,
    Grid,
    Row,
    Stack,
    cell,
    grid,
    shown,
    spread,
    stacked_height,
    text_width,
    wrap,
)

_texts = st.text(
    alphabet=st.characters(exclude_categories=["Cs"], max_codepoint=0x2FFF), max_size=300
)


@given(_texts, st.sampled_from([BODY, STRONG, SMALL]), st.floats(20, 500))
@example("W" * 200, BODY, 20.0)
@settings(deadline=None)
def test_lines_fit_and_hold_every_character(text: str, style: object, width: float) -> None:
    lines = wrap(text, style, width)  # type: ignore[arg-type]

    assert all(text_width(line, style) <= width + 0.01 for line in lines)  # type: ignore[arg-type]
    assert "".join("".join(lines).split()) == "".join(shown(text).split())


def test_line_breaks_of_the_text_stay() -> None:
    assert wrap("one\n\ntwo", BODY, 200) == ("one", "", "two")


def test_a_row_splits_between_lines_and_keeps_them_all() -> None:
    lines = "\n".join(f"line {number}" for number in range(50))
    row = Row([cell("label", 0, 60), cell(lines, 70, 200)])
    first, rest = row.split(400, 20 * BODY.leading + 5)

    assert isinstance(first, Row)
    assert isinstance(rest, Row)
    assert first.wrap(400, 1000)[1] <= 20 * BODY.leading + 5
    assert first.cells[1].lines + rest.cells[1].lines == row.cells[1].lines
    assert row.split(400, BODY.leading) == []


def test_a_low_row_moves_on_whole() -> None:
    row = Row([cell("one\ntwo\nthree\nfour\nfive", 0, 200)])

    assert row.split(400, 4 * BODY.leading) == []


def line(text: str) -> Row:
    return Row([cell(text, 0, 100)])


def texts_of(beside: Beside, x: float) -> list[str]:
    return [
        row.cells[0].lines[0] for stack in beside.stacks if stack.x == x for row in stack.flowables
    ]


def test_stacks_side_by_side_are_as_high_as_the_highest() -> None:
    rows = [line(str(number)) for number in range(9)]
    beside = Beside([Stack(0, 100, (rows[0],)), Stack(120, 100, tuple(rows))])

    assert beside.wrap(300, 1000) == (300, stacked_height(rows, 100))
    assert beside.split(300, 40) == []


def test_very_tall_stacks_break_between_rows_and_lose_none() -> None:
    left = tuple(line(f"left {number}") for number in range(4))
    right = tuple(line(f"right {number}") for number in range(60))
    beside = Beside([Stack(0, 100, left), Stack(120, 100, right)])
    first, rest = beside.split(300, 200)

    assert isinstance(first, Beside)
    assert isinstance(rest, Beside)
    assert first.wrap(300, 200)[1] <= 200
    assert texts_of(first, 0) == [f"left {number}" for number in range(4)]
    assert texts_of(first, 120) + texts_of(rest, 120) == [f"right {number}" for number in range(60)]
    assert texts_of(rest, 0) == []
    # Where one of the stacks could not even begin, all go to the next page.
    tall = Row([cell("\n".join("abcdefghij"), 0, 100)], below=100)
    assert Beside([Stack(0, 100, (tall,)), Stack(120, 100, right)]).split(300, 60) == []


def test_a_table_splits_under_a_repeated_head() -> None:
    table = grid([Column("A", 1), Column("B", 2)], [[f"a{n}", f"b{n}"] for n in range(30)], 300)
    first, rest = table.split(300, 100)

    assert isinstance(first, Grid)
    assert isinstance(rest, Grid)
    assert first.wrap(300, 100)[1] <= 100
    assert first.head is rest.head
    assert [*first.rows, *rest.rows] == list(table.rows)


def test_a_row_of_common_height_moves_on_and_a_tall_one_breaks() -> None:
    common = grid([Column("A", 1)], [["\n".join("abcde")]], 300)
    tall = grid([Column("A", 1)], [["\n".join(str(n) for n in range(60))]], 300)

    assert common.split(300, 50) == []
    first, rest = tall.split(300, 120)
    assert isinstance(first, Grid)
    assert isinstance(rest, Grid)
    assert first.wrap(300, 120)[1] <= 120
    lines = (*first.rows[0].cells[0].lines, *rest.rows[0].cells[0].lines)
    assert lines == tall.rows[0].cells[0].lines


def test_a_row_with_a_missing_text_is_refused() -> None:
    with pytest.raises(ValueError, match="zip"):
        grid([Column("A", 1), Column("B", 1)], [["only one"]], 300)


def test_columns_fill_the_width() -> None:
    spans = spread([1, 2, 1], 420, 10)

    assert spans == [(0, 100), (110, 200), (320, 100)]
