"""How figures, sentences and digests read."""

from datetime import UTC, datetime

from hypothesis import given
from hypothesis import strategies as st

from service.reports.wording import date_span, in_groups, sentences

START = datetime(2026, 3, 14, 23, 30, tzinfo=UTC)
END = datetime(2026, 3, 16, 8, 0, tzinfo=UTC)


def test_sentences_never_run_together() -> None:
    assert (
        sentences(["Never let it dry in the roll", "Never rinse", "", "Never freeze."])
        == "Never let it dry in the roll. Never rinse. Never freeze."
    )
    assert sentences([]) == ""


@given(st.lists(st.text("ab .!?", max_size=8)))
def test_no_word_of_a_sentence_is_lost(texts: list[str]) -> None:
    said = sentences(texts)

    assert said.replace(".", "").split() == " ".join(texts).replace(".", "").split()
    assert not said.strip() or said.endswith((".", "!", "?"))


def test_a_span_of_days_is_on_the_calendar_of_the_loss() -> None:
    assert date_span(START, END, "Europe/Berlin") == "15 Mar 2026 to 16 Mar 2026"
    assert date_span(START, END, "America/New_York") == "14 Mar 2026 to 16 Mar 2026"
    assert date_span(END, END, "UTC") == date_span(None, END, "UTC") == "16 Mar 2026"
    assert date_span(None, None, "UTC") == ""


@given(st.text("0123456789abcdef", max_size=64))
def test_a_grouped_digest_is_the_digest(digest: str) -> None:
    grouped = in_groups(digest)

    assert grouped.replace(" ", "") == digest
    assert all(len(group) == 8 for group in grouped.split()[:-1])
