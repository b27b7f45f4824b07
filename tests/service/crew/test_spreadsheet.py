"""A crew's spreadsheet, read row by row: what is understood, and what is handed back.

The currency codes are ISO 4217; quoting follows RFC 4180. How crews head their columns and
write sums is common practice, no source.
"""

import codecs
import csv
import io
import tracemalloc
from decimal import Decimal
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.crew.spreadsheet import (
    LONGEST_CELL,
    PROBLEMS_SHOWN,
    Column,
    ImportedRow,
    ImportOptions,
    MoneyError,
    SpreadsheetError,
    SpreadsheetReader,
    check_file,
    read_money,
    read_rows,
)
from shared.quantities import LengthUnit
from shared.recognise import SizePart
from shared.vocabulary import Damage, Material, ObjectType


def write(folder: Path, text: str, encoding: str = "utf-8") -> Path:
    path = folder / "crew.csv"
    path.write_bytes(text.encode(encoding))
    return path


def only_row(path: Path, options: ImportOptions | None = None) -> ImportedRow:
    (row,) = read_rows(path, options)
    return row


FULL = (
    "Label,Type,Title,Artist,Date,Medium,Dimensions,Signed,Floor,Location,Wall,Condition,"
    "Insured value,Qty,Owner,Claim no.,Remarks,Shelf mark\n"
    'T1,Painting,Harbour,A. Vessel,c. 1890,"Oil on canvas, wax-resin lined",'
    '"24 x 36 in. (61 x 91.4 cm)",l.r.,2,Library,north,"wet, sooty","$1,200.00",set of 2,'
    "Ms Rill,C-7,handle last,B 12\n"
)


def test_a_full_row(tmp_path: Path) -> None:
    row = only_row(write(tmp_path, FULL))
    assert row.problems == ()
    assert (row.row_number, row.tag, row.title, row.maker) == (2, "T1", "Harbour", "A. Vessel")
    assert row.object_type is ObjectType.PAINTING
    assert row.period == "c. 1890"
    assert row.materials == (Material.OIL_CANVAS_WAX_LINED,)
    assert row.medium_text == "Oil on canvas, wax-resin lined"
    assert row.size is not None
    assert row.size.measures == {"height_m": Decimal("0.6096"), "width_m": Decimal("0.9144")}
    assert (row.floor, row.room, row.wall, row.inscription) == ("2", "Library", "north", "l.r.")
    assert row.damages == (Damage.SOAKED, Damage.SOOT_DRY)
    assert row.value is not None
    assert (row.value.decimal, row.value.currency) == (Decimal("1200.00"), "USD")
    assert (row.quantity, row.owner, row.claim) == (2, "Ms Rill", "C-7")
    assert row.notes == "handle last\nShelf mark: B 12"


def test_the_report_names_what_was_mapped_and_what_was_assumed(tmp_path: Path) -> None:
    report = check_file(write(tmp_path, FULL))
    assert {use.column for use in report.columns if use.column} >= {
        Column.TAG,
        Column.MAKER,
        Column.ROOM,
        Column.VALUE,
    }
    assert [use.heading for use in report.unmapped] == ["Shelf mark"]
    assert report.assumptions == ("'$' was read as the US dollar (USD).",)
    assert (report.encoding, report.delimiter, report.rows, report.problem_count) == (
        "utf-8",
        ",",
        1,
        0,
    )


@pytest.mark.parametrize(
    ("heading", "column"),
    [
        ("TAG", Column.TAG),
        ("Tag No.", Column.TAG),
        ("Barcode", Column.TAG),
        ("Artist/Maker", Column.MAKER),
        ("Materials", Column.MEDIUM),
        ("Measurements", Column.SIZE),
        ("H × W × D", Column.SIZE),
        ("H x W x D (cm)", Column.SIZE),
        ("Height (cm)", Column.HEIGHT),
        ("height in inches", Column.HEIGHT),
        ("W [mm]", Column.WIDTH),
        ("Depth in", Column.DEPTH),
        ("Diam. (in.)", Column.DIAMETER),
        ("Room / Location", Column.ROOM),
        ("What happened?", Column.DAMAGE),
        ("Insured Value (GBP)", Column.VALUE),
        ("Value in EUR", Column.VALUE),
        ("Value (US$)", Column.VALUE),
        ("Date/Period", Column.PERIOD),
        ("Mediums", None),
        ("Weight (kg)", None),
    ],
)
def test_headings_are_known_by_name(tmp_path: Path, heading: str, column: Column | None) -> None:
    reader = SpreadsheetReader(write(tmp_path, f"Floor,{heading}\n1,x\n"))
    assert reader.columns[1].column is column


def test_a_heading_nearly_known_is_kept_in_the_notes_with_a_hint(tmp_path: Path) -> None:
    path = write(tmp_path, "Title,Mediums\nHarbour,oil on canvas\n")
    use = SpreadsheetReader(path).columns[1]
    assert use.column is None
    assert "head it 'medium'" in use.note
    assert only_row(path).notes == "Mediums: oil on canvas"


def test_of_two_columns_with_one_meaning_the_likelier_is_taken(tmp_path: Path) -> None:
    path = write(tmp_path, "Description,Title\nA view of ships,Harbour\n")
    row = only_row(path)
    assert row.title == "Harbour"
    assert row.notes == "Description: A view of ships"


@pytest.mark.parametrize(
    ("encoding", "found"),
    [
        ("utf-8", "utf-8"),
        ("utf-8-sig", "utf-8-sig"),
        ("utf-16", "utf-16"),
        ("utf-16-le", "utf-16-le"),
        ("utf-16-be", "utf-16-be"),
        ("cp1252", "cp1252"),
    ],
)
def test_encodings(tmp_path: Path, encoding: str, found: str) -> None:
    path = write(tmp_path, "Tag;Künstler;Title\n1;Zoë;“Café” – été\n", encoding)
    reader = SpreadsheetReader(path)
    (row,) = reader
    assert reader.encoding == found
    assert row.title == "“Café” – été"
    assert row.notes == "Künstler: Zoë"
    assert bool(reader.assumptions) is (found == "cp1252")


def test_utf16_with_the_big_end_first_and_a_byte_order_mark(tmp_path: Path) -> None:
    path = tmp_path / "crew.csv"
    path.write_bytes(codecs.BOM_UTF16_BE + "Tag,Title\n1,Été\n".encode("utf-16-be"))
    assert only_row(path).title == "Été"


def test_a_late_byte_that_is_not_utf8_still_decides(tmp_path: Path) -> None:
    rows = "".join(f"{number},Piece\n" for number in range(200_000))
    path = tmp_path / "crew.csv"
    path.write_bytes(f"Tag,Title\n{rows}".encode() + b"x,caf\xe9\n")
    assert SpreadsheetReader(path).encoding == "cp1252"


@pytest.mark.parametrize("delimiter", [",", ";", "\t"])
def test_delimiters(tmp_path: Path, delimiter: str) -> None:
    cells = [["Tag", "Title", "Size (cm)"], ["1", "Ships, boats; rafts", "61,5 x 91"]]
    stream = io.StringIO()
    csv.writer(stream, delimiter=delimiter).writerows(cells)
    path = write(tmp_path, stream.getvalue())
    reader = SpreadsheetReader(path)
    (row,) = reader
    assert reader.delimiter == delimiter
    assert (row.title, row.problems) == ("Ships, boats; rafts", ())


def test_the_separator_line_of_spreadsheet_programs_is_passed_over(tmp_path: Path) -> None:
    row = only_row(write(tmp_path, "sep=;\r\nTag;Title\r\n1;Harbour\r\n", "utf-8-sig"))
    assert (row.row_number, row.title) == (2, "Harbour")


def test_measures_in_their_own_columns_take_the_unit_of_the_heading(tmp_path: Path) -> None:
    row = only_row(
        write(tmp_path, "Height (cm);Width (in);Depth;Diameter\n61,5;36 1/2;2 cm;\n"),
    )
    assert row.problems == ()
    assert row.size is not None
    assert row.size.measures == {
        "height_m": Decimal("0.615"),
        "width_m": Decimal("0.9271"),
        "depth_m": Decimal("0.02"),
    }


def test_the_framed_size_is_the_one_to_carry(tmp_path: Path) -> None:
    row = only_row(write(tmp_path, "Size\nsheet: 24 x 36 cm; framed: 30 x 42 cm\n"))
    assert row.size is not None
    assert (row.size.part, row.size.height_m) == (SizePart.FRAMED, Decimal("0.3"))
    assert row.size_text == "sheet: 24 x 36 cm; framed: 30 x 42 cm"


def test_a_size_that_contradicts_its_column_is_a_problem(tmp_path: Path) -> None:
    row = only_row(write(tmp_path, "Size,Height (cm)\n61 x 91 cm,16\n"))
    (problem,) = row.problems
    assert (problem.row, problem.column, problem.value) == (2, "Height (cm)", "16")
    assert "0.61 m" in problem.mend


@pytest.mark.parametrize(
    ("heading", "cell", "mend"),
    [
        ("Medium", "mixed media", "name each material"),
        ("Medium", "oil on canvs", "'oil on canvas'"),
        ("Damage", "unwell", "Not understood"),
        ("Size", "24 x 36", "add the unit"),
        ("Height", "12", "add the unit"),
        ("Value", "1200", "head the column 'Value (USD)'"),
        ("Value (EUR)", "1.200", "write 1200.00"),
        ("Quantity", "some", "whole number"),
        ("Quantity", "0", "whole number"),
        ("Type", "gizmo", "'Painting'"),
        ("Tag", "1.23E+12", "as text"),
        ("Title", "x" * 301, "shorten it to 300"),
        ("Inscription", "x" * 4001, "shorten it to 4000"),
        ("Notes", "x" * (LONGEST_CELL + 1), f"shorten it to {LONGEST_CELL}"),
        ("Medium", "oil " * 100, "shorten it"),
        ("Title", "a\0b", "NUL byte"),
        ("Notes", "a\0b", "NUL byte"),
    ],
)
def test_a_problem_names_row_column_and_mend(
    tmp_path: Path, heading: str, cell: str, mend: str
) -> None:
    (row,) = read_rows(write(tmp_path, f"Floor;{heading}\n\n1;{cell}\n"))
    (problem,) = row.problems
    assert (problem.row, problem.column) == (3, heading)
    assert mend in problem.mend
    assert f"row 3, {heading}" in str(problem)


def test_a_letter_that_cannot_be_read_is_a_problem(tmp_path: Path) -> None:
    path = tmp_path / "crew.csv"
    path.write_bytes(b"Tag,Title\n1,caf\x81\n")
    (problem,) = only_row(path).problems
    assert problem.column == "Title"
    assert "could not be read" in problem.mend


def test_the_same_tag_twice_is_a_problem_of_the_second(tmp_path: Path) -> None:
    first, second = read_rows(write(tmp_path, "Tag\nab-12\nAB12\n"))
    assert first.problems == ()
    assert "row 2 has the same tag" in second.problems[0].mend


def test_empty_rows_are_passed_over_and_counted(tmp_path: Path) -> None:
    path = write(tmp_path, "\nTag,Title\n,\n\n1,Harbour\n , \n")
    report = check_file(path)
    assert (report.rows, report.empty_rows) == (1, 3)
    assert only_row(path).row_number == 5


def test_ragged_rows_keep_every_cell(tmp_path: Path) -> None:
    short, long, padded = read_rows(write(tmp_path, "Tag,Title\n1\n2,Harbour,extra\n3,Pier,,\n"))
    assert "1 cells under 2 headings" in short.problems[0].mend
    assert long.problems[0].column == "column 3"
    assert long.notes == "column 3: extra"
    assert padded.problems == ()


def test_a_line_break_in_a_cell_keeps_the_row_numbers(tmp_path: Path) -> None:
    first, second = read_rows(write(tmp_path, 'Tag,Notes\n1,"two\nlines"\n2,\n'))
    assert (first.notes, first.row_number, second.row_number) == ("two\nlines", 2, 3)


@pytest.mark.parametrize("broken", ['"24" x 36"', '"open'])
def test_a_broken_quote_is_a_problem_and_not_a_crash(tmp_path: Path, broken: str) -> None:
    rows = list(read_rows(write(tmp_path, f"Tag,Size\n1,H. 3 cm\n2,{broken}\n")))
    assert rows[0].problems == ()
    assert [(p.row, p.column) for p in rows[1].problems] == [(3, "the whole row")]
    assert "quote" in rows[1].problems[0].mend


def test_a_quote_left_open_names_the_rows_it_swallowed(tmp_path: Path) -> None:
    rows = "".join(f"{number},{'x' * 90}\n" for number in range(3000))
    report = check_file(write(tmp_path, f'Tag,Notes\n"{rows}'))
    swallowed = report.problems[0]
    assert swallowed.row == 2
    assert "not read down to row" in swallowed.mend
    last_lost = int(swallowed.mend.split("row ")[1].split(":")[0])
    assert report.rows == 1 + (3000 - (last_lost - 1))


def test_an_endless_line_is_a_problem_and_the_next_row_is_read(tmp_path: Path) -> None:
    endless = ",".join(["x" * 100_000] * 25)
    broken, after = read_rows(write(tmp_path, f"Tag,Title\n1,{endless}\n2,Harbour\n"))
    assert "characters" in broken.problems[0].mend
    assert (after.tag, after.row_number, after.problems) == ("2", 3, ())


@pytest.mark.parametrize(
    "cell",
    [
        "=1+2",
        '=HYPERLINK("x")',
        "+1",
        "-1",
        "@SUM(A1)",
        "<script>alert(1)</script>",
        "{{7*7}}",
        "'; DROP TABLE items;--",
        "../../etc/passwd",
    ],
)
def test_hostile_cells_stay_text(tmp_path: Path, cell: str) -> None:
    stream = io.StringIO()
    csv.writer(stream).writerows([["Tag", "Title"], ["1", cell]])
    assert only_row(write(tmp_path, stream.getvalue())).title == cell


@pytest.mark.parametrize(
    ("content", "message"),
    [
        (b"", "no known heading"),
        (b"\n\n", "no known heading"),
        (b"a,b\n1,2\n", "no known heading"),
        (b"PK\x03\x04rest", "save the sheet as 'CSV UTF-8'"),
    ],
)
def test_a_file_that_is_no_list_is_refused(tmp_path: Path, content: bytes, message: str) -> None:
    path = tmp_path / "crew.csv"
    path.write_bytes(content)
    with pytest.raises(SpreadsheetError, match=message):
        check_file(path)


def test_a_missing_file_or_a_wrong_option_is_refused(tmp_path: Path) -> None:
    with pytest.raises(SpreadsheetError, match="No such file"):
        check_file(tmp_path / "none.csv")
    with pytest.raises(SpreadsheetError, match="directory"):
        check_file(tmp_path)
    path = write(tmp_path, "Tag\n1\n")
    with pytest.raises(SpreadsheetError, match="encoding 'no-such'"):
        check_file(path, ImportOptions(encoding="no-such"))
    with pytest.raises(SpreadsheetError, match="ISO 4217"):
        check_file(path, ImportOptions(currency="dollars"))
    with pytest.raises(SpreadsheetError, match="delimiter"):
        check_file(path, ImportOptions(delimiter="::"))


def test_options_fill_what_the_file_leaves_out(tmp_path: Path) -> None:
    path = write(tmp_path, "Size;Value\n24 x 36;$1,200\n")
    row = only_row(path, ImportOptions(length_unit=LengthUnit.INCH, currency="CAD"))
    assert row.problems == ()
    assert row.size is not None
    assert row.size.height_m == Decimal("0.6096")
    assert row.value is not None
    assert row.value.currency == "CAD"


# --- money ------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "default", "amount", "currency"),
    [
        ("$1,200.00", None, "1200.00", "USD"),
        ("$ 1,200", None, "1200", "USD"),
        ("US$1200", None, "1200", "USD"),
        ("C$ 12.5", None, "12.5", "CAD"),
        ("$1,200.00", "CAD", "1200.00", "CAD"),
        ("1.200,00 €", None, "1200.00", "EUR"),
        ("€ 1.200,00", None, "1200.00", "EUR"),
        ("1 200,50 €", None, "1200.50", "EUR"),
        ("1 200,50 EUR", None, "1200.50", "EUR"),
        ("GBP 1200", None, "1200", "GBP"),
        ("1200 gbp", None, "1200", "GBP"),
        ("£1,250,000", None, "1250000", "GBP"),
        ("CHF 1'200.00", None, "1200.00", "CHF"),
        ("CHF 1’200.-", None, "1200", "CHF"),
        ("1.200.000 €", None, "1200000", "EUR"),
        ("1200", "JPY", "1200", "JPY"),
        ("0012", "USD", "12", "USD"),
        ("0", "USD", "0", "USD"),
        ("12,5", "EUR", "12.5", "EUR"),
    ],
)
def test_money(text: str, default: str | None, amount: str, currency: str) -> None:
    money = read_money(text, default)
    assert (money.amount, money.currency) == (amount, currency)


@pytest.mark.parametrize(
    ("text", "default", "mend"),
    [
        ("1200", None, "currency"),
        ("¥1200", None, "currency"),
        ("kr 1200", None, "currency"),
        ("approx. $1200", None, "currency"),
        ("$1200?", None, "currency"),
        ("$-1200", None, "currency"),
        ("($1,200)", None, "currency"),
        ("$1000-1500", None, "currency"),
        ("$1.2k", None, "currency"),
        ("GBP $5", None, "currency"),
        ("unknown", "USD", "no amount"),
        ("$1.200", None, "can be 1200 or 1.200"),
        ("€1,200", None, "can be 1200 or 1.200"),
        ("KWD 1,200", None, "can be 1200 or 1.200"),
        ("$1,20,000", None, "is no amount"),
        ("$1.200.00", None, "is no amount"),
        ("$1,200,00", None, "is no amount"),
        ("$12.3456", None, "is no amount"),
        ("$9,999,999,999,999", None, "too large"),
    ],
)
def test_money_that_is_not_sure_is_refused(text: str, default: str | None, mend: str) -> None:
    with pytest.raises(MoneyError) as caught:
        read_money(text, default)
    assert mend in caught.value.mend


@given(
    st.decimals("0", "999999999", places=2),
    st.sampled_from([(",", "."), (".", ","), (" ", ","), ("'", "."), ("", "."), ("", ",")]),
    st.sampled_from(["USD", "GBP", "EUR", "JPY", "KWD", "CHF"]),
    st.booleans(),
)
def test_a_written_amount_reads_back(
    amount: Decimal, marks: tuple[str, str], currency: str, code_first: bool
) -> None:
    thousands, decimal = marks
    whole, cents = f"{amount:,.2f}".split(".")
    digits = whole.replace(",", thousands) + decimal + cents
    money = read_money(f"{currency} {digits}" if code_first else f"{digits} {currency}")
    assert (money.decimal, money.currency) == (amount, currency)


@given(st.text(max_size=40), st.sampled_from([None, "USD", "EUR"]))
def test_any_text_is_money_or_a_money_error(text: str, default: str | None) -> None:
    try:
        assert read_money(text, default).decimal >= 0
    except MoneyError as error:
        assert error.mend


# --- whole files ------------------------------------------------------------------------------

CELLS = st.text(alphabet=st.characters(codec="utf-8"), max_size=20)


@given(st.lists(st.lists(CELLS, min_size=3, max_size=3), max_size=8))
def test_no_cell_of_a_well_formed_file_is_lost(
    tmp_path_factory: pytest.TempPathFactory, rows: list[list[str]]
) -> None:
    path = tmp_path_factory.mktemp("cells") / "crew.csv"
    with path.open("w", encoding="utf-8", newline="") as stream:
        csv.writer(stream, quoting=csv.QUOTE_ALL).writerows([["Title", "Maker", "Shelf"], *rows])
    filled = [row for row in rows if any(cell.strip() for cell in row)]
    read = list(read_rows(path, ImportOptions(encoding="utf-8")))
    assert [(r.title, r.maker) for r in read] == [(t.strip(), m.strip()) for t, m, _ in filled]
    for row, (_, _, shelf) in zip(read, filled, strict=True):
        assert row.notes == (f"Shelf: {shelf.strip()}" if shelf.strip() else "")


@given(st.binary(max_size=300), st.booleans())
def test_any_file_is_read_or_refused(
    tmp_path_factory: pytest.TempPathFactory, content: bytes, headed: bool
) -> None:
    path = tmp_path_factory.mktemp("bytes") / "crew.csv"
    path.write_bytes((b"Tag,Medium,Size,Value,Damage,Qty\n" if headed else b"") + content)
    try:
        report = check_file(path)
    except SpreadsheetError as error:
        assert str(error)
    else:
        assert report.problem_count >= report.rows_with_problems


def test_a_list_of_20_000_rows_is_read_in_flat_memory(tmp_path: Path) -> None:
    """The tags are held to find duplicates; all else stays below a bound of 10 MB.

    A list of 100 000 rows, whose bound is 50 MB, takes five times as long and shows no more.
    """
    path = tmp_path / "crew.csv"
    media = ["oil on canvas", "gelatin silver print, hand coloured", "mixed media", "giltwood"]
    with path.open("w", encoding="utf-8", newline="") as stream:
        rows = csv.writer(stream)
        rows.writerow(["Tag", "Title", "Medium", "Size", "Damage", "Value (GBP)", "Notes"])
        for number in range(20_000):
            size = f"{10 + number % 50} x {10 + number % 70} cm"
            note = f"found beside piece {number - 1}, wrapped and carried down"
            rows.writerow(
                [f"T{number:09}", f"Piece {number}", media[number % 4], size, "wet", number, note]
            )
    tracemalloc.start()
    try:
        report = check_file(path)
        _, peak_bytes = tracemalloc.get_traced_memory()
    finally:
        tracemalloc.stop()
    assert report.rows == 20_000
    assert report.problem_count == report.rows_with_problems == 5_000
    assert len(report.problems) == PROBLEMS_SHOWN
    assert peak_bytes < 10_000_000
