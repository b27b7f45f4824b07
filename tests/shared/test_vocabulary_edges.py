"""The words of the trade: each is its own value, and each has a label that a person can read."""

import json
import pickle

import pytest
from pydantic import TypeAdapter

from shared import vocabulary
from shared.vocabulary import (
    Agent,
    Band,
    Damage,
    Extent,
    Labelled,
    Material,
    Permission,
    Phase,
    Role,
    StepKind,
    WaterCategory,
)

KINDS = [
    kind
    for kind in vars(vocabulary).values()
    if isinstance(kind, type) and issubclass(kind, Labelled) and kind is not Labelled
]
each_kind = pytest.mark.parametrize("kind", KINDS, ids=lambda kind: kind.__name__)


@each_kind
def test_no_two_words_of_a_kind_are_shown_alike(kind: type[Labelled]) -> None:
    labels = [word.label for word in kind]
    assert len(set(labels)) == len(labels) > 1


@each_kind
def test_a_word_reads_back_from_its_value_and_keeps_its_label(kind: type[Labelled]) -> None:
    for word in kind:
        for again in (
            kind(word.value),
            kind[word.name],
            pickle.loads(pickle.dumps(word)),
            TypeAdapter(kind).validate_json(json.dumps(word.value)),
        ):
            assert again is word
            assert again.label == word.label


@each_kind
def test_a_word_is_its_value_as_text_and_its_label_starts_a_sentence(
    kind: type[Labelled],
) -> None:
    for word in kind:
        assert str(word) == word.value == f"{word}"
        assert json.loads(json.dumps(word)) == word.value
        assert word.label == word.label.strip()
        assert word.label[0].isupper()
        assert not word.label.endswith(".")


@each_kind
def test_a_value_is_a_plain_name_that_a_table_and_a_program_can_share(
    kind: type[Labelled],
) -> None:
    for word in kind:
        if isinstance(word, WaterCategory):
            assert word.value in {"1", "2", "3"}
        else:
            assert word.value == word.name.lower()
            assert word.value.isidentifier()


def test_a_word_given_no_label_has_an_empty_one() -> None:
    class Bare(Labelled):
        PLAIN = "plain"

    assert Bare.PLAIN.label == ""
    assert Bare("plain") is Bare.PLAIN


def test_a_word_that_is_not_in_the_vocabulary_is_refused() -> None:
    with pytest.raises(ValueError, match="unobtainium"):
        Material("unobtainium")
    with pytest.raises(ValueError, match="Oil on canvas"):
        Material("Oil on canvas")


def test_steps_are_listed_in_their_lawful_order() -> None:
    assert [step.value for step in StepKind] == [
        "stabilise",
        "freeze",
        "dry",
        "soot_removal",
        "mould_removal",
        "chamber",
        "air",
        "studio",
        "return",
    ]


def test_a_run_goes_from_planned_to_unloaded_and_may_be_aborted() -> None:
    assert [phase.label for phase in Phase] == [
        "Planned",
        "Loading",
        "Sealed",
        "Dosing",
        "Holding",
        "Airing",
        "Opened after clearance",
        "Unloaded",
        "Aborted",
    ]


def test_what_moves_first_is_listed_first() -> None:
    assert [band.label for band in Band] == ["Now", "Today", "This week", "Can wait"]


def test_the_worse_water_and_the_later_category_compare_greater() -> None:
    """The three categories of ANSI/IICRC S500, from sanitary to grossly contaminated."""
    assert WaterCategory.ONE < WaterCategory.TWO < WaterCategory.THREE
    assert max(WaterCategory).label == "Category 3: grossly contaminated"


@pytest.mark.parametrize(
    ("word", "label"),
    [
        (Agent.FREEZING, "Low temperature, dry, against insects"),
        (Damage.STUCK_TO_GLAZING, "Stuck to its glass"),
        (Extent.WIDE, "More than half"),
        (Permission.CONSERVATOR, "Only on a conservator's word"),
        (Role.FUMIGATOR, "Licensed fumigator"),
    ],
)
def test_a_label_is_what_a_person_reads(word: Labelled, label: str) -> None:
    assert word.label == label
