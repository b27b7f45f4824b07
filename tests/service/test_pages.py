"""Times as pages write them."""

from datetime import UTC, datetime

from service.pages import hour

NEW_YEAR = datetime(2032, 1, 1, 2, 0, tzinfo=UTC)


def test_the_year_is_written_only_where_it_is_another_by_the_local_clock() -> None:
    noon = datetime(2031, 12, 31, 17, 5, tzinfo=UTC)
    assert hour(noon, "UTC", NEW_YEAR) == "Wed 31 Dec 2031, 17:05"
    assert hour(noon, "America/New_York", NEW_YEAR) == "Wed 31 Dec, 12:05"
    assert hour(None, "UTC", NEW_YEAR) == ""
