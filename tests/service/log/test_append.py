"""The log: once each, whole or not at all, sealed, and never losing what it refuses."""

import json
from datetime import timedelta
from itertools import pairwise
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from sqlalchemy import text

from service.installation import Installation
from service.log import reading
from service.log.append import Outcome, RefusedError
from service.log.reading import EVERYTHING
from service.settings import Settings
from service.storage.database import Database, DurabilityError
from shared import events as ev
from shared import ledger
from shared.vocabulary import Damage, Role
from tests.service.conftest import Clock
from tests.writers import LOSS, TAGS, Writer, noted, opened, plain, tagged


def outcomes(here: Installation, *raws: object) -> list[Outcome]:
    return [receipt.outcome for receipt in here.log.append(list(raws)).receipts]


def test_an_event_is_stored_once_however_often_it_is_sent(here: Installation) -> None:
    writer = Writer()
    sent = plain(writer.say(opened()), writer.say(tagged()))
    assert outcomes(here, *sent) == [Outcome.STORED, Outcome.STORED]
    assert outcomes(here, *sent, *sent) == [Outcome.ALREADY_STORED] * 4
    with here.database.read() as session:
        assert len(reading.tree_rows(session, LOSS)) == 2


def test_the_receipt_of_a_repeat_is_the_receipt_of_the_first(here: Installation) -> None:
    sent = plain(Writer().say(opened()))
    first, second = here.log.append(sent), here.log.append(sent)
    assert first.receipts[0].digest == second.receipts[0].digest


def test_same_id_and_other_bytes_are_refused_and_both_are_kept(here: Installation) -> None:
    (raw,) = plain(Writer().say(opened()))
    assert isinstance(raw, dict)
    altered = raw | {"actor": "somebody else"}
    assert outcomes(here, raw, altered) == [Outcome.STORED, Outcome.REFUSED]
    with here.database.read() as session:
        (kept,) = reading.refused(session)
    assert json.loads(kept.data)["actor"] == "somebody else"


def test_one_number_of_a_device_is_written_once(here: Installation) -> None:
    (raw,) = plain(Writer().say(opened()))
    assert isinstance(raw, dict)
    receipts = here.log.append([raw, raw | {"id": "another-id"}]).receipts
    assert receipts[1].outcome is Outcome.REFUSED
    assert "number 1" in (receipts[1].why or "")


@pytest.mark.parametrize(
    ("raw", "named"),
    [
        ({}, "format"),
        ([], "valid dictionary"),
        ("text", "valid dictionary"),
        (None, "valid dictionary"),
        ({"id": "x", "body": {"n": float("nan")}}, "plain JSON"),
        ({"id": "x", "text": "\ud800"}, "plain JSON"),
        ({"id": "x", "n": 2**60}, "plain JSON"),
    ],
)
def test_what_is_no_event_is_refused_by_name_and_kept(
    here: Installation, raw: object, named: str
) -> None:
    (receipt,) = here.log.append([raw]).receipts
    assert receipt.outcome is Outcome.REFUSED
    assert named in (receipt.why or "")
    with here.database.read() as session:
        assert len(reading.refused(session)) == 1


def test_a_wrong_field_refuses_one_event_and_not_its_neighbours(here: Installation) -> None:
    writer = Writer()
    good, bad, last = (
        writer.say(opened()).model_dump(mode="json"),
        writer.say(tagged()).model_dump(mode="json"),
        writer.say(noted()).model_dump(mode="json"),
    )
    bad["body"]["materials"] = ["unobtainium"]
    assert outcomes(here, good, bad, last) == [Outcome.STORED, Outcome.REFUSED, Outcome.STORED]


def test_a_type_from_a_newer_version_is_stored_undecoded_and_said_so(here: Installation) -> None:
    raw = Writer().say(opened()).model_dump(mode="json") | {"body": {"type": "from_the_future"}}
    (receipt,) = here.log.append([raw]).receipts
    assert receipt.outcome is Outcome.STORED
    assert "does not know" in (receipt.why or "")


def test_every_batch_is_sealed_by_a_checkpoint_that_holds(here: Installation) -> None:
    writer = Writer()
    here.log.append(plain(writer.say(opened())))
    here.log.append(plain(writer.say(tagged()), writer.say(noted())))
    with here.database.read() as session:
        notes = [row.note for row in reading.checkpoints(session, LOSS)]
    sizes = [
        ledger.open_checkpoint(note, [here.log.signer.verifier], here.log.origin(LOSS)).size
        for note in notes
    ]
    assert sizes == [1, 3]


def test_a_replaced_tag_leads_to_the_same_piece_before_and_after(here: Installation) -> None:
    a, b = Writer("phone-a"), Writer("phone-b")
    old, new = TAGS[0], TAGS[1]
    here.log.append(plain(a.say(opened()), a.say(tagged(old))))
    here.log.append(plain(b.say(noted(Damage.MUD, new))))
    here.log.append(plain(a.say(ev.TagReplaced(tag=old, new_tag=new, reason="torn"))))
    here.log.append(plain(b.say(noted(Damage.SOAKED, new))))
    with here.database.read() as session:
        item = reading.item(session, EVERYTHING, new)
        assert item is not None
        assert item.tag == old
        assert item.tags == [old, new]
        assert {seen.damage for seen in item.damages} == {Damage.MUD, Damage.SOAKED}
        assert len(reading.items(session, EVERYTHING)) == 1


def test_a_tag_that_is_in_use_cannot_replace_another(here: Installation) -> None:
    a = Writer()
    here.log.append(plain(a.say(opened()), a.say(tagged(TAGS[0])), a.say(tagged(TAGS[1]))))
    replace = a.say(ev.TagReplaced(tag=TAGS[0], new_tag=TAGS[1], reason="torn"))
    assert outcomes(here, *plain(replace)) == [Outcome.REFUSED]


def test_the_services_own_events_follow_all_it_has_seen(here: Installation) -> None:
    writer = Writer()
    writer.journal.saw(500)
    here.log.append(plain(writer.say(opened())))
    said = here.log.say(tagged(), actor="office", role=Role.OFFICE, loss=LOSS)
    assert said.clock == 502
    again = here.log.say(noted(), actor="office", role=Role.OFFICE, loss=LOSS)
    assert again.previous == ev.event_digest(said)


def test_several_of_the_services_own_are_kept_all_or_none(here: Installation) -> None:
    good = noted()
    bad = ev.ChamberOpened(run="nowhere", readings="0" * 64, at=here.now())
    with pytest.raises(RefusedError, match="NOT CLEARED"):
        here.log.say_all([good, bad], actor="lead", role=Role.LEAD)
    with here.database.read() as session:
        assert reading.tree_rows(session, "facility") == []


def test_a_clock_that_steps_back_is_not_followed(here: Installation, clock: Clock) -> None:
    before = here.now()
    clock.forward(hours=-2)
    assert here.now() == before
    here.log.append(plain(Writer().say(opened())))
    folder = here.settings.folder
    here.close()
    reopened = Installation(Settings(folder=folder), now=clock)
    assert reopened.now() == before
    clock.forward(hours=3)
    assert reopened.now() == before + timedelta(hours=1)
    reopened.close()


def test_durability_is_asserted_on_every_connection(tmp_path: Path) -> None:
    with Database(tmp_path / "x.db").read() as session:
        assert session.execute(text("PRAGMA synchronous")).scalar_one() == 2
        assert session.execute(text("PRAGMA journal_mode")).scalar_one() == "wal"


def test_a_database_that_cannot_promise_durability_is_not_used(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    # A memory database has no write-ahead log: the assertion must see that.
    monkeypatch.setattr(Path, "mkdir", lambda *args, **kwargs: None)
    with pytest.raises(DurabilityError, match="journal mode memory"):
        Database(Path(":memory:"))


@settings(
    max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(data=st.data())
def test_any_order_and_any_repetition_of_batches_store_the_same_records(
    tmp_path_factory: pytest.TempPathFactory, data: st.DataObject
) -> None:
    a, b = Writer("phone-a"), Writer("phone-b")
    events = [
        a.say(opened()),
        a.say(tagged()),
        b.say(noted(Damage.SOAKED)),
        a.say(ev.ItemDescribed(tag=TAGS[0], title="Harbour")),
        b.say(ev.ItemDescribed(tag=TAGS[0], title="Harbor")),
        b.say(ev.TagReplaced(tag=TAGS[0], new_tag=TAGS[1], reason="torn")),
        a.say(noted(Damage.MUD, TAGS[1])),
        b.say(noted(Damage.SOOT_DRY, TAGS[1])),
    ]
    sent = data.draw(st.permutations(events + data.draw(st.lists(st.sampled_from(events)))))
    cuts = data.draw(st.lists(st.integers(1, len(sent)), max_size=4).map(sorted))
    found = []
    for arrival in ([events], [sent[i:j] for i, j in pairwise([0, *cuts, len(sent)])]):
        here = Installation(Settings(folder=tmp_path_factory.mktemp("log")))
        for batch in arrival:
            here.log.append(plain(*batch))
        with here.database.read() as session:
            found.append(
                [one.model_dump() for one in reading.items(session, EVERYTHING)]
                + [one.model_dump() for one in reading.losses(session, EVERYTHING)]
            )
        here.close()
    assert found[0] == found[1]
