"""The set-up as a file: what is written is read back, and every fault has its line."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from demo_data import facility as demo
from service.facility.setup import SetupDocument, SetupError
from service.facility.setup_file import DEEPEST, LARGEST_BYTES, read_document, write_document
from shared.facility import ColdStore, Holiday
from tests.service.facility.house import AIR, FACILITY, GAS, METER

HOUSE = SetupDocument(facility=FACILITY, programmes=(GAS, AIR), instruments=(METER,))
WRITTEN = write_document(HOUSE)


def why(text: str | bytes) -> str:
    """Why a file is refused."""
    with pytest.raises(SetupError) as caught:
        read_document(text if isinstance(text, bytes) else text.encode())
    return str(caught.value)


def test_the_demonstration_is_read_back_as_it_was_written() -> None:
    document = SetupDocument(
        facility=demo.FACILITY, programmes=demo.PROGRAMMES, instruments=demo.INSTRUMENTS
    )
    assert read_document(write_document(document).encode()) == document


def test_json_is_read_as_well() -> None:
    assert read_document(HOUSE.model_dump_json().encode()) == HOUSE


WORDS = st.text(st.characters(exclude_categories=["Cs", "Cc"]), max_size=60).map(str.strip).filter(
    bool
) | st.sampled_from(
    [
        "null",
        "true",
        "no",
        "12",
        "1e3",
        "0o7",
        "08:00",
        "2031-01-01",
        "- a",
        "a: b",
        "#x",
        "~",
        "a\nb",
    ]
)


@settings(max_examples=60, deadline=None)
@given(
    label=WORDS,
    day=st.dates(),
    reason=WORDS,
    litres=st.integers(1, 10_000_000),
    cold=st.floats(-60, 0, allow_nan=False),
)
def test_whatever_is_written_is_read_back(
    label: str, day: object, reason: str, litres: int, cold: float
) -> None:
    store = ColdStore(id="cold", label=label, usable_l=litres, temperature_c=cold)
    facility = FACILITY.model_copy(
        update={
            "label": label,
            "stations": (*FACILITY.stations[:4], store),
            "holidays": (Holiday.model_validate({"day": day, "label": reason}),),
        }
    )
    document = HOUSE.model_copy(update={"facility": facility})
    assert read_document(write_document(document).encode()) == document


def test_units_are_explained_where_they_stand() -> None:
    assert "# millimetres: width, height, depth" in WRITTEN
    assert "55 % is 0.55" in WRITTEN


def test_a_wrong_value_is_named_with_its_line_and_field() -> None:
    wrong = WRITTEN.replace("usable_fill: 0.5", "usable_fill: 50", 1)
    line = next(
        number for number, one in enumerate(wrong.splitlines(), 1) if "usable_fill: 50" in one
    )
    assert why(wrong).startswith(f"line {line}, facility.stations.0.chamber.usable_fill: ")


def test_a_key_that_is_not_known_is_named_with_its_line() -> None:
    assert why("facilty: {}\n").count("line 1") == 2


@pytest.mark.parametrize(
    ("text", "reason"),
    [
        ("facility: &a [x]\nprogrammes: *a\n", "line 2: a reference (*a)"),
        ("a: " + "[" * (DEEPEST + 1) + "]" * (DEEPEST + 1), "nested more than"),
        ("a: 1\na: 2\n", "line 2: "),
        ("a: [1\n", "line "),
        ("a: !!python/object/apply:os.system [ls]\n", "line 1: "),
        ("just words", "holds no set-up"),
        (b"\xff\xfe\xff", "UTF-8"),
        (b" " * (LARGEST_BYTES + 1), "bytes"),
        ("{" * 5, "the file"),
    ],
)
def test_what_is_no_set_up_is_refused(text: str | bytes, reason: str) -> None:
    assert reason in why(text)
