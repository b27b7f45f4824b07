"""A crew's spreadsheet becomes pieces whole or, if asked, as far as it is sound; and only once."""

from collections.abc import Iterator
from datetime import UTC, datetime
from decimal import Decimal
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from labels.codes import new_tag, parse_tag, show_tag
from service.crew import importing
from service.crew.importing import (
    ImportOutcome,
    ImportRefusedError,
    check_import,
    import_spreadsheet,
    problems_in,
    size_of,
)
from service.crew.spreadsheet import ImportOptions, SpreadsheetError
from service.installation import Installation
from service.log import reading
from service.log.append import Guard
from service.log.reading import EVERYTHING, ItemFilter
from service.settings import Settings
from shared import events as ev
from shared.recognise import PartSize, SizePart
from shared.records import Item
from shared.vocabulary import Damage, Extent, Material, ObjectType, Peril, Role, ValueBasis

NOW = datetime(2031, 3, 4, 9, tzinfo=UTC)
HEADINGS = "Tag,Type,Title,Artist,Medium,Size,Room,Damage,Agreed value (GBP),Qty,Owner,Claim,Notes"


@pytest.fixture
def here(tmp_path: Path) -> Iterator[Installation]:
    opened = Installation(Settings(folder=tmp_path / "data"), now=lambda: NOW)
    opened.log.say_all(
        [
            ev.LossOpened(
                title="Flood at the Mill",
                site="The Mill (invented)",
                zone="Europe/London",
                peril=Peril.FLOOD,
                happened_at=NOW,
            ),
            ev.ClaimAdded(
                claim="C-1", insurer="Invented Mutual", owner="Ada Quill", currency="GBP"
            ),
            ev.ClaimAdded(claim="C-2", insurer="Made-up Marine", owner="Ben Reed", currency="EUR"),
        ],
        actor="Office",
        role=Role.OFFICE,
        loss="L-1",
    )
    yield opened
    opened.close()


def sheet(folder: Path, *rows: str, headings: str = HEADINGS, name: str = "pieces.csv") -> Path:
    path = folder / name
    path.write_text("\n".join((headings, *rows)) + "\n", encoding="utf-8")
    return path


def take(here: Installation, path: Path, *, partial: bool = False) -> ImportOutcome:
    return import_spreadsheet(here, path, "L-1", actor="Cleo Marsh", partial=partial)


def pieces(here: Installation) -> list[Item]:
    with here.database.read() as session:
        return reading.items(session, EVERYTHING, ItemFilter(loss="L-1"))


def log_size(here: Installation) -> int:
    with here.database.read() as session:
        return len(reading.tree_rows(session, "L-1"))


PAINTING = ',Painting,Harbour,Ann Lee,oil on canvas,24 x 36 in.,Hall,"soaked, mould",1200.00,,,,'
FRAME = ",Frame,,,gilt wood and gesso frame,H. 12 1/2 in.,Hall,,,4,Ben Reed,,wrapped"


def test_a_row_becomes_a_piece_with_all_it_says(here: Installation, tmp_path: Path) -> None:
    tag = new_tag()
    typed = show_tag(tag).lower()
    row = f'{typed}{PAINTING.rstrip(",")},3,Ada Quill,C-1,"label: No 7"'
    outcome = take(here, sheet(tmp_path, row))

    assert (outcome.written, outcome.pieces_stored, outcome.report.problem_count) == (True, 1, 0)
    (item,) = pieces(here)
    assert item.tag == tag
    assert item.object_type is ObjectType.PAINTING
    assert item.materials == [Material.OIL_CANVAS]
    assert (item.title, item.maker, item.medium) == ("Harbour", "Ann Lee", "oil on canvas")
    assert (item.found.room, item.quantity, item.claim) == ("Hall", 3, "C-1")
    assert item.size is not None
    # 1 inch is 2.54 cm exactly (international yard and pound agreement, 1959).
    assert (item.size.height.value, item.size.width.value) == ("60.96", "91.44")
    assert item.description.splitlines() == ["label: No 7", "Size as written: 24 x 36 in."]
    assert {seen.damage for seen in item.damages} == {Damage.SOAKED, Damage.MOULD_VISIBLE}
    assert all(seen.note == "soaked, mould" for seen in item.damages)
    assert all(seen.extent is Extent.PARTIAL for seen in item.damages)
    assert item.valuation is not None
    assert item.valuation.basis is ValueBasis.AGREED
    assert item.valuation.value == ev.Money(amount="1200.00", currency="GBP")
    assert item.valuation.stated_by == "Ada Quill"
    assert any("how far it goes" in line for line in outcome.report.assumptions)


def test_a_row_without_a_tag_gets_a_sound_one(here: Installation, tmp_path: Path) -> None:
    take(here, sheet(tmp_path, PAINTING, FRAME))
    found = pieces(here)
    assert len(found) == 2
    assert all(parse_tag(item.tag) == item.tag for item in found)
    (frame,) = (item for item in found if item.object_type is ObjectType.FRAME)
    assert (frame.quantity, frame.claim, frame.size) == (4, "C-2", None)
    assert frame.description == "wrapped\nSize as written: H. 12 1/2 in."


def test_nothing_is_taken_while_one_row_has_a_problem(here: Installation, tmp_path: Path) -> None:
    before = log_size(here)
    outcome = take(here, sheet(tmp_path, PAINTING, ",Painting,Bad,,oil on moonbeams,,,,,,,,"))

    assert (outcome.written, outcome.pieces_stored) == (False, 0)
    assert log_size(here) == before
    (problem,) = outcome.report.problems
    assert (problem.row, problem.column) == (3, "Medium")
    assert "moonbeams" in problem.mend or "moonbeams" in problem.value


def test_partial_takes_the_sound_rows_and_lists_the_others(
    here: Installation, tmp_path: Path
) -> None:
    path = sheet(tmp_path, PAINTING, ",Painting,Bad,,oil on moonbeams,,,,,,,,", FRAME)
    outcome = take(here, path, partial=True)
    assert (outcome.written, outcome.pieces_stored, outcome.report.rows_with_problems) == (
        True,
        2,
        1,
    )
    assert {item.title for item in pieces(here)} == {"Harbour", ""}


@pytest.mark.parametrize(
    ("row", "column", "mend"),
    [
        ("NOTATAG,Painting,A,,oil on canvas,,,,,,,,", "Tag", "6 missing"),
        (",,A,,bronze,,,,,,,,", "Type", "what kind of object"),
        (",Painting,A,,,,,,,,,,", "Medium", "what it is made of"),
        (",Painting,A,,oil on canvas,,,,,,,C-9,", "Claim", "C-1 (Ada Quill), C-2 (Ben Reed)"),
        (",Painting,A,,oil on canvas,,,,,,Ada Quill,C-2,", "Owner", "belongs to Ben Reed"),
        (",Painting,A,,oil on canvas,,,,,,Nobody,,", "Owner", "no claim on this loss has"),
    ],
)
def test_what_is_wrong_is_named_by_row_column_and_mend(
    here: Installation, tmp_path: Path, row: str, column: str, mend: str
) -> None:
    outcome = take(here, sheet(tmp_path, PAINTING, row))
    assert not outcome.written
    (problem,) = outcome.report.problems
    assert (problem.row, problem.column) == (3, column)
    assert mend in problem.mend


def test_what_the_reader_has_said_is_not_said_again(here: Installation, tmp_path: Path) -> None:
    tag = new_tag()
    rows = [f"{tag}{PAINTING}", f"{tag}{FRAME}", ",Widget,,,oil on moonbeams,,,,,,,,"]
    report = check_import(here, sheet(tmp_path, *rows), "L-1")
    assert [(problem.row, problem.column) for problem in report.problems] == [
        (3, "Tag"),
        (4, "Medium"),
        (4, "Type"),
    ]


def test_letters_read_alike_are_one_tag(here: Installation, tmp_path: Path) -> None:
    tag = next(tag for tag in iter(new_tag, "") if "0" in tag[1:])
    rows = [f"{tag}{PAINTING}", f"{tag.replace('0', 'O')}{FRAME}"]
    report = check_import(here, sheet(tmp_path, *rows), "L-1")
    (problem,) = report.problems
    assert (problem.row, problem.column) == (3, "Tag")
    assert "row 2 has the same tag" in problem.mend


def test_the_same_file_adds_nothing_the_second_time(here: Installation, tmp_path: Path) -> None:
    tagged = f"{new_tag()}{PAINTING}"
    path = sheet(tmp_path, tagged, FRAME, FRAME)
    first = take(here, path)
    size = log_size(here)
    second = take(here, path)

    assert (first.pieces_stored, first.pieces_already_stored) == (3, 0)
    assert (second.written, second.pieces_stored, second.pieces_already_stored) == (True, 0, 3)
    assert second.events_stored == 0
    assert second.report.problem_count == 0
    assert log_size(here) == size


def test_another_file_with_a_stored_tag_is_refused(here: Installation, tmp_path: Path) -> None:
    tag = new_tag()
    take(here, sheet(tmp_path, f"{tag}{PAINTING}"))
    outcome = take(here, sheet(tmp_path, f"{tag}{FRAME}", name="other.csv"))
    (problem,) = outcome.report.problems
    assert (problem.row, problem.column) == (2, "Tag")
    assert "tied to a piece already" in problem.mend


def test_a_tag_that_replaced_another_is_in_use(here: Installation, tmp_path: Path) -> None:
    old, new = new_tag(), new_tag()
    take(here, sheet(tmp_path, f"{old}{PAINTING}"))
    here.log.say(
        ev.TagReplaced(tag=old, new_tag=new, reason="torn"), actor="A", role=Role.CREW, loss="L-1"
    )
    outcome = take(here, sheet(tmp_path, f"{new}{FRAME}", name="other.csv"))
    assert "tied to a piece already" in outcome.report.problems[0].mend


def test_a_corrected_copy_brings_in_only_what_was_missing(
    here: Installation, tmp_path: Path
) -> None:
    bad = ",Painting,Bad,,oil on moonbeams,,,,,,,,"
    take(here, sheet(tmp_path, PAINTING, bad, FRAME), partial=True)
    mended = sheet(
        tmp_path, FRAME, PAINTING, bad.replace("moonbeams", "canvas"), name="corrected.csv"
    )
    again = take(here, mended, partial=True)

    assert again.pieces_stored == 1
    assert [problem.row for problem in again.report.problems] == [2, 3]
    assert all("imported before, as piece" in one.mend for one in again.report.problems)
    assert len(pieces(here)) == 3


def test_an_import_that_was_cut_off_goes_on_where_it_stopped(
    here: Installation, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = sheet(
        tmp_path, *(PAINTING.replace("Harbour", f"Harbour {count}") for count in range(20))
    )
    monkeypatch.setattr(importing, "BATCH_EVENTS", 20)
    append = here.log.append
    calls = 0

    def failing(raws: list[object]) -> object:
        nonlocal calls
        calls += 1
        if calls == 3:
            raise OSError("the disk is full")
        return append(raws)

    with monkeypatch.context() as broken:
        broken.setattr(here.log, "append", failing)
        with pytest.raises(OSError, match="disk"):
            take(here, path)
    stopped_at = len(pieces(here))
    assert 0 < stopped_at < 20

    rest = take(here, path)
    assert (rest.pieces_already_stored, rest.pieces_stored) == (stopped_at, 20 - stopped_at)
    assert {item.title for item in pieces(here)} == {f"Harbour {count}" for count in range(20)}
    with here.database.read() as session:
        rows = [row for row in reading.tree_rows(session, "L-1") if row.device.startswith("import")]
    events = [ev.Event.model_validate_json(row.data) for row in rows]
    assert [event.sequence for event in events] == list(range(1, len(events) + 1))
    assert [event.previous for event in events[1:]] == [row.digest for row in rows[:-1]]


def test_an_event_that_the_log_refuses_stops_the_import(here: Installation, tmp_path: Path) -> None:
    here.log.guards = (Guard((ev.ItemTagged,), lambda *_: "not today"),)
    with pytest.raises(ImportRefusedError, match="not today"):
        take(here, sheet(tmp_path, PAINTING))


def test_every_problem_can_be_had_beyond_those_the_report_lists(
    here: Installation, tmp_path: Path
) -> None:
    path = sheet(tmp_path, *(",Painting,Bad,,oil on moonbeams,,,,,,,,",) * 250)
    report = check_import(here, path, "L-1")
    assert (report.problem_count, len(report.problems)) == (250, 200)
    assert [problem.row for problem in problems_in(here, path, "L-1")] == list(range(2, 252))


def test_progress_ends_at_the_last_row(here: Installation, tmp_path: Path) -> None:
    told: list[tuple[int, int | None]] = []
    import_spreadsheet(
        here,
        sheet(tmp_path, *(FRAME,) * 120),
        "L-1",
        actor="A",
        progress=lambda done, total: told.append((done, total)),
    )
    assert told == [(100, None), (100, 120), (120, 120)]


def test_a_loss_or_file_that_is_not_there_is_named(here: Installation, tmp_path: Path) -> None:
    with pytest.raises(ImportRefusedError, match="no loss L-9"):
        check_import(here, sheet(tmp_path, PAINTING), "L-9")
    with pytest.raises(SpreadsheetError, match=r"gone\.csv"):
        check_import(here, tmp_path / "gone.csv", "L-1")


def test_a_file_in_another_currency_says_so_in_the_options(
    here: Installation, tmp_path: Path
) -> None:
    headings = HEADINGS.replace("Agreed value (GBP)", "Value")
    path = sheet(tmp_path, PAINTING, headings=headings)
    assert not take(here, path).written
    outcome = import_spreadsheet(
        here, path, "L-1", actor="A", options=ImportOptions(currency="EUR")
    )
    assert outcome.written
    (item,) = pieces(here)
    assert item.valuation is not None
    assert item.valuation.basis is ValueBasis.DECLARED
    assert item.valuation.value.currency == "EUR"
    assert any("declared by the owner" in line for line in outcome.report.assumptions)


@pytest.mark.parametrize(
    ("measures", "sides"),
    [
        ({"height_m": "0.3", "width_m": "0.2"}, {"height": "30", "width": "20"}),
        ({"diameter_m": "0.25"}, {"height": "25", "width": "25"}),
        (
            {"height_m": "0.3", "diameter_m": "0.2"},
            {"height": "30", "width": "20", "depth": "20"},
        ),
        ({"height_m": "0.3", "length_m": "1.2", "depth_m": "0.1"}, {"width": "120"}),
        ({"height_m": "0.3"}, None),
    ],
)
def test_sides_of_a_size(measures: dict[str, str], sides: dict[str, str] | None) -> None:
    size = PartSize(SizePart.WHOLE, **{name: Decimal(value) for name, value in measures.items()})
    found = size_of(size)
    if sides is None:
        assert found is None
        return
    assert found is not None
    assert {name: {"value": value, "unit": "cm"} for name, value in sides.items()}.items() <= (
        found.items()
    )


@given(st.decimals(min_value="0.001", max_value="50", places=7))
def test_any_length_fits_the_record(value_m: Decimal) -> None:
    size = size_of(PartSize(SizePart.WHOLE, height_m=value_m, width_m=value_m))
    assert size is not None
    made = ev.Size.model_validate(size)
    assert Decimal(made.height.value) == pytest.approx(value_m * 100, abs=Decimal("0.000001"))
