"""A phone's file is taken in through the same doors as what a phone sends, each thing once."""

import hashlib
import io
import json
import re
import zipfile
from base64 import b64encode
from typing import Any

import pytest
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.asymmetric.utils import decode_dss_signature
from cryptography.hazmat.primitives.hashes import SHA256
from starlette.testclient import TestClient

from service.crew.phones import revoke
from service.installation import Installation
from service.log import reading
from service.log.reading import EVERYTHING
from service.office.from_phone import (
    Fault,
    FromPhoneError,
    Proof,
    RevokedPhonesError,
    TakenIn,
    take_in,
)
from service.web_safety import MAX_BODY_BYTES
from shared import events as ev
from shared import ledger
from shared.vocabulary import PhotoKind
from tests.phones import CLERK, SigningPhone, enrolled
from tests.service.office.seeding import photo
from tests.writers import TAGS, Writer, noted, opened, plain, tagged

PATH = "/office/from-phone"
DATA = photo()
DIGEST = hashlib.sha256(DATA).hexdigest()


def written() -> list[Any]:
    """What a phone has written on a loss: a piece, its damage and its photo."""
    phone = Writer()
    bodies = (
        opened(),
        tagged(),
        noted(),
        ev.PhotoTaken(tag=TAGS[0], photo=DIGEST, kind=PhotoKind.SITE),
    )
    return plain(*[phone.say(body) for body in bodies])


def line_of(event: Any) -> str:
    digest = hashlib.sha256(ledger.canonical_bytes(event)).hexdigest()
    return json.dumps({"digest": digest, "event": event})


def saved(
    lines: list[str],
    photos: dict[str, bytes] | None = None,
    compression: int = zipfile.ZIP_STORED,
    **cover: Any,
) -> bytes:
    """The file, as the phone's own code lays it out."""
    photos = {DIGEST: DATA} if photos is None else photos
    facts = {
        "format": "lagan-unsent/1",
        "device": "phone-a",
        "written_at": "2031-05-06T12:00:00.000Z",
        "file": 1,
        "files": 1,
        "events": len(lines),
        "photos": len(photos),
        "unreadable": [],
    }
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", compression) as archive:
        archive.writestr("unsent.json", json.dumps(facts | cover))
        archive.writestr("events.jsonl", "".join(f"{line}\n" for line in lines))
        for digest, data in photos.items():
            archive.writestr(f"photos/{digest}.jpg", data)
    return out.getvalue()


def taken(here: Installation, data: bytes) -> TakenIn:
    return take_in(here, io.BytesIO(data))


def test_events_and_photos_come_in_and_a_second_time_nothing_doubles(here: Installation) -> None:
    data = saved([line_of(event) for event in written()])
    done = taken(here, data)
    assert (done.stored, done.already_stored, done.photos_stored) == (4, 0, 1)
    assert done.faults == []
    with here.database.read() as session:
        item = reading.item(session, EVERYTHING, TAGS[0])
    assert item is not None
    assert [one.photo for one in item.photos] == [DIGEST]
    assert here.photos.get(DIGEST) == DATA

    again = taken(here, data)
    assert (again.stored, again.already_stored) == (0, 4)
    assert (again.photos_stored, again.photos_already_stored) == (0, 1)


def test_the_phone_may_send_the_same_before_and_after(
    client: TestClient, here: Installation
) -> None:
    events = written()
    phone = enrolled(here)
    phone.post_events(client, events[:2])
    done = taken(here, saved([line_of(event) for event in events]))
    assert (done.stored, done.already_stored) == (2, 2)
    receipts = phone.post_events(client, events).json()["receipts"]
    assert {one["outcome"] for one in receipts} == {"already_stored"}
    assert phone.put_photo(client, DIGEST, DATA).status_code == 200
    assert len(here.log.append(events).receipts) == 4


def test_a_file_packed_again_by_another_program_is_read_too(here: Installation) -> None:
    lines = [line_of(event) for event in written()]
    assert taken(here, saved(lines, compression=zipfile.ZIP_DEFLATED)).stored == 4


def test_every_fault_is_named_and_keeps_nothing_else_out(here: Installation) -> None:
    events = written()
    altered = line_of(events[2]).replace("soot_dry", "soot_wet")
    unknown = line_of({**events[3], "body": {**events[3]["body"], "tag": "not a tag"}})
    lines = [line_of(events[0]), "{ no line", line_of(events[1]), altered, unknown]
    wrong = "0" * 64
    text = hashlib.sha256(b"text").hexdigest()
    photos = {DIGEST: DATA, wrong: DATA, text: b"text", "../passwd": b"x"}
    done = taken(here, saved(lines, photos, events=7, unreadable=["ab" * 32]))
    assert (done.stored, done.photos_stored) == (2, 1)
    faults = {fault.what: fault.why for fault in done.faults}
    assert "can't be read" in faults["Entry in line 2"]
    assert "altered" in faults["Entry in line 4"]
    assert "tag" in faults[f"Entry {events[3]['id']}"]
    assert "7 were announced and 5 were found" in faults["Missing entries"]
    assert "have the digest" in faults["Photo 000000000000…"]
    assert "not a JPEG" in faults[f"Photo {text[:12]}…"]
    assert "belongs" in faults["photos/../passwd.jpg"]
    assert "4 were announced and 3" in faults["Missing photos"]
    assert "take it again" in faults["Photo abababababab…"]
    assert len(done.faults) == 9


def test_a_photo_damaged_on_the_way_is_named(here: Installation) -> None:
    data = bytearray(saved([line_of(event) for event in written()]))
    data[data.index(DATA) + 200] ^= 0xFF
    done = taken(here, bytes(data))
    assert done.stored == 4
    assert done.faults == [
        Fault(
            f"Photo {DIGEST[:12]}…", "it is damaged in the file; save the file on the phone again"
        )
    ]


def test_lost_events_are_missed(here: Installation) -> None:
    out = io.BytesIO()
    whole = zipfile.ZipFile(io.BytesIO(saved([line_of(one) for one in written()])))
    with zipfile.ZipFile(out, "w") as part:
        part.writestr("unsent.json", whole.read("unsent.json"))
    done = taken(here, out.getvalue())
    assert {one.what for one in done.faults} == {
        "events.jsonl",
        "Missing entries",
        "Missing photos",
    }


@pytest.mark.parametrize(
    ("data", "why"),
    [
        (b"plain text", "not a whole ZIP file"),
        (saved([])[:-30], "not a whole ZIP file"),
        (saved([], format="lagan-unsent/2"), "lagan-unsent/2"),
        (saved([], device=None), "was not saved by a phone"),
    ],
    ids=["text", "cut short", "other format", "no device"],
)
def test_what_is_no_such_file_is_refused_whole(here: Installation, data: bytes, why: str) -> None:
    with pytest.raises(FromPhoneError, match=why):
        taken(here, data)


def test_what_unfolds_beyond_all_measure_is_refused_unread(here: Installation) -> None:
    vast = {DIGEST: bytes(130 * 1024 * 1024)}
    with pytest.raises(FromPhoneError, match="far more"):
        taken(here, saved([], vast, compression=zipfile.ZIP_DEFLATED))


def test_the_page_shows_receipts_and_says_that_the_phone_keeps_its_copy(
    client: TestClient,
) -> None:
    assert "does not empty the phone" in client.get(PATH).text
    events = written()
    bad = line_of({**events[3], "body": {**events[3]["body"], "tag": "<b>x"}})
    data = saved([*map(line_of, events[:3]), bad], events=4)
    answer = client.post(PATH, files={"file": ("unsent.zip", data, "application/zip")})
    assert answer.status_code == 200
    assert "Not all of this file was taken" in answer.text
    assert f"Entry {events[3]['id']}" in answer.text
    whole = client.post(PATH, files={"file": ("u.zip", saved(list(map(line_of, events))))})
    assert "All of this file is in" in whole.text


@pytest.mark.parametrize(
    ("files", "status", "words"),
    [
        ({}, 422, "choose the file"),
        ({"file": ("empty.zip", b"")}, 422, "choose the file"),
        ({"file": ("note.txt", b"hello")}, 422, "not a whole ZIP file"),
        ({"file": ("big.zip", bytes(61 * 1024 * 1024))}, 422, "at most 60 MB"),
        ({"file": ("huge.zip", bytes(MAX_BODY_BYTES))}, 413, "bytes is taken"),
    ],
    ids=["none", "empty", "other", "big", "huge"],
)
def test_what_can_not_be_taken_is_said(
    client: TestClient, files: Any, status: int, words: str
) -> None:
    answer = client.post(PATH, files=files)
    assert answer.status_code == status
    assert words in answer.text


# --- whose file it is ---------------------------------------------------------------------------


def signed_file(
    phone: SigningPhone, lines: list[str], *, cover: dict[str, Any] | None = None
) -> bytes:
    """A file whose cover is signed as the phone's own code signs it; ``cover`` is put in after."""
    text = "".join(f"{line}\n" for line in lines).encode()
    facts: dict[str, Any] = {
        "format": "lagan-unsent/1",
        "device": phone.device,
        "written_at": "2031-05-06T12:00:00.000Z",
        "file": 1,
        "files": 1,
        "events": len(lines),
        "photos": 0,
        "unreadable": [],
        "events_sha256": hashlib.sha256(text).hexdigest(),
    }
    signature = phone.private.sign(ledger.canonical_bytes(facts), ec.ECDSA(SHA256()))
    r, s = decode_dss_signature(signature)
    raw = r.to_bytes(32, "big") + s.to_bytes(32, "big")
    del facts["photos"]  # Counted there again.
    return saved(lines, {}, **{**facts, "signature": b64encode(raw).decode(), **(cover or {})})


def test_a_file_is_proven_to_be_from_the_phone_that_signed_it(here: Installation) -> None:
    phone = enrolled(here)
    lines = [line_of(event) for event in written()]
    done = taken(here, signed_file(phone, lines))
    assert (done.proof, done.stored, done.faults) == (Proof.PROVEN, 4, [])
    assert done.phone is not None
    assert done.phone.phone == "phone-a"


@pytest.mark.parametrize(
    ("cover", "proof"),
    [
        ({"signature": ""}, Proof.UNSIGNED),
        ({"device": "phone-nobody"}, Proof.UNKNOWN),
        ({"device": "phone-b"}, Proof.BROKEN),
        ({"written_at": "2031-05-07T12:00:00.000Z"}, Proof.BROKEN),
        ({"events_sha256": "0" * 64}, Proof.BROKEN),
        ({"signature": "AAAA"}, Proof.BROKEN),
        ({"signature": "é"}, Proof.BROKEN),
    ],
)
def test_a_changed_cover_proves_nothing_and_what_is_sound_is_taken_all_the_same(
    here: Installation, cover: dict[str, Any], proof: Proof
) -> None:
    phone = enrolled(here)
    enrolled(here, "phone-b")
    lines = [line_of(event) for event in written()]
    done = taken(here, signed_file(phone, lines, cover=cover))
    assert (done.proof, done.stored) == (proof, 4)


def test_a_line_left_out_is_seen_by_the_signature(here: Installation) -> None:
    phone = enrolled(here)
    lines = [line_of(event) for event in written()]
    whole = zipfile.ZipFile(io.BytesIO(signed_file(phone, lines)))
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as shorter:
        shorter.writestr("unsent.json", whole.read("unsent.json"))
        shorter.writestr("events.jsonl", "".join(f"{line}\n" for line in lines[:3]))
    assert taken(here, out.getvalue()).proof is Proof.BROKEN


def test_the_file_of_a_revoked_phone_is_taken_in_once_somebody_says_so(
    client: TestClient, here: Installation
) -> None:
    phone = enrolled(here, name="Crew phone 3")
    lines = [line_of(event) for event in written()]
    data = signed_file(phone, lines)
    revoke(here, "phone-a", reason="left in a taxi", actor=CLERK)
    with pytest.raises(RevokedPhonesError):
        taken(here, data)
    # Whoever saves the file under another name: what counts is who wrote the entries.
    with pytest.raises(RevokedPhonesError):
        taken(here, saved(lines, device="phone-nobody"))

    answer = client.post(PATH, files={"file": ("u.zip", data)})
    for words in ("Crew phone 3 was revoked", "left in a taxi", CLERK, "Proven to be from"):
        assert words in answer.text.replace("&#39;", "'")
    with here.database.read() as session:
        assert reading.items(session, EVERYTHING) == []
    digest = re.search(r'name="digest" value="([0-9a-f]{64})"', answer.text)
    assert digest is not None
    answer = client.post(f"{PATH}/confirm", data={"digest": digest[1]})
    assert "All of this file is in" in answer.text
    with here.database.read() as session:
        assert [item.tag for item in reading.items(session, EVERYTHING)] == [TAGS[0]]

    # The phone now gets its receipts, though it may write nothing new.
    receipts = phone.post_events(client, written()).json()["receipts"]
    assert {one["outcome"] for one in receipts} == {"already_stored"}
    assert client.post(f"{PATH}/confirm", data={"digest": "0" * 64}).status_code == 404
