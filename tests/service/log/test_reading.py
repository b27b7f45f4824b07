"""Looking up several pieces at once: by any tag they carried, in the order asked, within scope."""

from service.installation import Installation
from service.log import reading
from service.log.reading import EVERYTHING, MOST_NAMED, within
from shared import events as ev
from tests.writers import LOSS, TAGS, Writer, opened, plain, tagged


def test_pieces_are_found_by_the_tags_asked_for_in_their_order(here: Installation) -> None:
    writer = Writer()
    first, second, replacement = TAGS
    here.log.append(
        plain(
            writer.say(opened()),
            writer.say(tagged(first)),
            writer.say(tagged(second)),
            writer.say(ev.TagReplaced(tag=first, new_tag=replacement, reason="torn")),
        )
    )
    with here.database.read() as session:
        found = reading.items_by_tag(session, EVERYTHING, [replacement, second, "Z" * 13, first])
    assert [(asked, item.tag) for asked, item in found.items()] == [
        (replacement, first),
        (second, second),
        (first, first),
    ]


def test_a_piece_of_another_loss_is_not_found_within_a_loss(here: Installation) -> None:
    writer = Writer()
    here.log.append(
        plain(
            writer.say(opened()),
            writer.say(tagged(TAGS[0])),
            writer.say(opened(), "OTHER"),
            writer.say(tagged(TAGS[1]), "OTHER"),
        )
    )
    with here.database.read() as session:
        assert set(reading.items_by_tag(session, within(LOSS), TAGS)) == {TAGS[0]}
        assert reading.items_by_tag(session, within(None), TAGS) == {}


def test_more_tags_than_one_statement_names_are_looked_up_all_the_same(here: Installation) -> None:
    writer = Writer()
    here.log.append(plain(writer.say(opened()), writer.say(tagged(TAGS[2]))))
    blank = [f"{number:013d}" for number in range(1, 2 * MOST_NAMED)]
    with here.database.read() as session:
        assert list(reading.items_by_tag(session, EVERYTHING, [*blank, TAGS[2]])) == [TAGS[2]]
