"""What waits today: hours left in words, the order of harm, and records that changed seen anew."""

from datetime import timedelta

from service.facility.today import Matter, StandingPieces, Waiting, to_start, waits_on_people
from service.installation import Installation
from service.log import reading
from service.log.reading import EVERYTHING
from shared.vocabulary import Damage, StepKind
from tests.service.facility.house import VASE, bring, finish, furnish
from tests.writers import START


def matter(waiting: Waiting, hours: float | None) -> Matter:
    until = None if hours is None else START + timedelta(hours=hours)
    return Matter(waiting, "Vase", "why", "Lead", "/", "Open", until)


def test_time_left_is_told_in_words() -> None:
    told = [matter(Waiting.PIECE, hours).left(START) for hours in (0.5, 5, 96, -3, None)]
    assert told == ["30 min left", "5 h left", "4 days left", "3 h past", ""]


def test_harm_to_people_comes_first_then_the_nearest_deadline() -> None:
    found = [matter(Waiting.PIECE, None), matter(Waiting.PIECE, 2), matter(Waiting.PEOPLE, None)]
    assert sorted(found, key=lambda one: one.order) == [found[2], found[1], found[0]]


def test_a_record_that_changed_is_seen_at_the_next_view(here: Installation) -> None:
    furnish(here)
    bring(here, VASE, Damage.SOAKED)
    kept = StandingPieces()
    with here.database.read() as session:
        book = reading.facility(session)
        before = kept.now(session, book, here.now(), here.facts)
        waiting = waits_on_people(before, reading.losses(session, EVERYTHING), {"bench": "Bench"})
    assert {one.who for one in waiting} >= {"Adjuster", "Owner, by the office"}
    assert all(one.remaining for one in before if to_start([one]))
    finish(here, VASE, StepKind.STABILISE)
    with here.database.read() as session:
        after = kept.now(session, book, here.now(), here.facts)
    assert StepKind.STABILISE in before[0].remaining
    assert StepKind.STABILISE not in after[0].remaining
