"""Takes in what a phone could not send: a file that its crew saved there and brought along.

The file is a ZIP archive with ``unsent.json`` (what it is), ``events.jsonl`` (one line for each
event, with its digest) and ``photos/DIGEST.jpg``. The cover is signed with the phone's key and
names the digest of the events, so that it can be told whether the file is as that phone wrote it.
Everything goes through the same doors as what a
phone sends, so that what arrives both ways is stored once. One fault never keeps the rest out.
"""

import json
import zipfile
import zlib
from base64 import b64decode
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from enum import StrEnum
from hashlib import sha256
from re import compile as pattern
from typing import Any, BinaryIO

import structlog
from pydantic import BaseModel

from service.installation import Installation
from service.log import reading
from service.log.append import MAX_EVENT_BYTES, Outcome
from service.log.signing import fits
from service.storage.photos import MAX_BYTES, PhotoError
from shared import ledger
from shared.records import Phone

MOST_FILE_BYTES = 60 * 1024 * 1024
"""A phone with more than this to carry makes several files of it."""

COVER, EVENTS = "unsent.json", "events.jsonl"
FORMAT = "lagan-unsent/1"
BATCH = 200
MOST_LINE_BYTES = 2 * MAX_EVENT_BYTES
"""An event as a phone spells it may be longer than in its canonical form."""

_PHOTO = pattern(r"photos/([0-9a-f]{64})\.jpg")
_DAMAGED = (zipfile.BadZipFile, zlib.error, EOFError, OSError, NotImplementedError, RuntimeError)

logger = structlog.get_logger()


class FromPhoneError(ValueError):
    """Nothing can be taken from this file; the message says why and what to do."""


class Proof(StrEnum):
    """Whether a file is from the phone that it names."""

    PROVEN = "proven"
    UNSIGNED = "unsigned"
    UNKNOWN = "unknown"
    BROKEN = "broken"


class RevokedPhonesError(ValueError):
    """The file holds what revoked phones wrote: somebody has to say that it is to be taken in."""

    def __init__(self, phones: Sequence[Phone], proof: Proof) -> None:
        """``phones`` are the revoked ones, ``proof`` is about the phone that saved the file."""
        super().__init__("a phone that wrote this was revoked")
        self.phones = phones
        self.proof = proof


class Cover(BaseModel):
    """What the file says of itself."""

    format: str
    device: str
    written_at: str
    file: int
    files: int
    events: int
    photos: int
    unreadable: list[str] = []
    events_sha256: str = ""
    signature: str = ""


@dataclass(frozen=True)
class Fault:
    """One thing that was not taken: what it is, and why."""

    what: str
    why: str


@dataclass
class TakenIn:
    """What became of a file."""

    cover: Cover
    proof: Proof
    phone: Phone | None = None
    stored: int = 0
    already_stored: int = 0
    photos_stored: int = 0
    photos_already_stored: int = 0
    faults: list[Fault] = field(default_factory=list)


def take_in(here: Installation, source: BinaryIO, *, although_revoked: bool = False) -> TakenIn:
    """Store every event and photo of the file that is sound, each at most once.

    Raises ``FromPhoneError`` when it is not such a file at all, and ``RevokedPhonesError`` when a
    phone that wrote it was revoked, unless it is to be taken in ``although_revoked``.
    """
    try:
        archive = zipfile.ZipFile(source)
    except _DAMAGED as error:
        raise FromPhoneError(
            "this is not a whole ZIP file; it may have been cut short on the way: save it on the "
            "phone again"
        ) from error
    with archive:
        cover, signed = _cover(archive)
        with here.database.read() as session:
            phone = reading.phone(session, cover.device)
        done = TakenIn(cover, _proof(archive, cover, signed, phone), phone)
        events = list(_events(archive, done))
        revoked = _revoked(here, {cover.device, *map(_device, events)})
        if revoked and not although_revoked:
            raise RevokedPhonesError(revoked, done.proof)
        _count("entries", cover.events, len(events) + len(done.faults), done)
        for at in range(0, len(events), BATCH):
            _append(here, events[at : at + BATCH], done)
        _take_photos(here, archive, done)
    done.faults.extend(
        Fault(f"Photo {digest[:12]}…", "the phone could not read it any more: take it again")
        for digest in done.cover.unreadable
    )
    logger.info(
        "file of a phone taken in",
        device=done.cover.device,
        proof=done.proof.value,
        of_revoked=[one.phone for one in revoked],
        stored=done.stored,
        already_stored=done.already_stored,
        photos=done.photos_stored,
        faults=len(done.faults),
    )
    return done


def _device(event: Any) -> str:
    return str(event.get("device", "")) if isinstance(event, dict) else ""


def _revoked(here: Installation, devices: set[str]) -> list[Phone]:
    with here.database.read() as session:
        return [
            phone
            for phone in reading.phones(session)
            if phone.phone in devices and phone.revoked_at
        ]


def _cover(archive: zipfile.ZipFile) -> tuple[Cover, bytes]:
    """The cover, and those of its bytes that are signed."""
    if sum(one.file_size for one in archive.infolist()) > 2 * MOST_FILE_BYTES:
        raise FromPhoneError("it would unfold to far more than a phone writes; save it again")
    try:
        text = archive.read(COVER)
        cover = Cover.model_validate_json(text)
        facts = json.loads(text)
        facts.pop("signature", None)
        signed = ledger.canonical_bytes(facts)
    except (KeyError, ValueError, RecursionError, *_DAMAGED) as error:
        raise FromPhoneError(
            "this ZIP file was not saved by a phone's page “Not yet sent”, or it is damaged"
        ) from error
    if cover.format != FORMAT:
        raise FromPhoneError(f"it is written as {cover.format}; this version reads {FORMAT}")
    return cover, signed


def _proof(archive: zipfile.ZipFile, cover: Cover, signed: bytes, phone: Phone | None) -> Proof:
    if not cover.signature:
        return Proof.UNSIGNED
    if phone is None:
        return Proof.UNKNOWN
    try:
        whole = sha256(archive.read(EVENTS)).hexdigest() == cover.events_sha256
        signature = b64decode(cover.signature, validate=True)
    except (KeyError, ValueError, *_DAMAGED):
        return Proof.BROKEN
    return Proof.PROVEN if whole and fits(phone.key, signature, signed) else Proof.BROKEN


def _events(archive: zipfile.ZipFile, done: TakenIn) -> Iterator[Any]:
    """Every event that is as the phone wrote it; a fault is noted for each of the others."""
    try:
        with archive.open(EVENTS) as lines:
            number = 0
            while line := lines.readline(MOST_LINE_BYTES):
                number += 1
                try:
                    yield _event(line)
                except ValueError as error:
                    done.faults.append(Fault(f"Entry in line {number}", str(error)))
    except KeyError:
        done.faults.append(Fault(EVENTS, "it is missing from the file"))
    except _DAMAGED:
        done.faults.append(Fault(EVENTS, "it is damaged from some line on; save the file again"))


def _event(line: bytes) -> object:
    """The event in a line. ``ValueError`` when it is not as the phone wrote it."""
    try:
        read = json.loads(line)
        digest, event = read["digest"], read["event"]
        data = ledger.canonical_bytes(event)
    except (ValueError, KeyError, TypeError, RecursionError) as error:
        raise ValueError("it can't be read; save the file on the phone again") from error
    if sha256(data).hexdigest() != digest:
        raise ValueError("it was altered after the phone wrote it; save the file again")
    return event


def _append(here: Installation, batch: list[Any], done: TakenIn) -> None:
    for receipt in here.log.append(batch).receipts:
        if receipt.outcome is Outcome.STORED:
            done.stored += 1
        elif receipt.outcome is Outcome.ALREADY_STORED:
            done.already_stored += 1
        else:
            done.faults.append(Fault(f"Entry {receipt.id or 'without a number'}", f"{receipt.why}"))


def _take_photos(here: Installation, archive: zipfile.ZipFile, done: TakenIn) -> None:
    found = 0
    for one in archive.infolist():
        if one.filename in {COVER, EVENTS} or one.is_dir():
            continue
        named = _PHOTO.fullmatch(one.filename)
        if named is None:
            why = "nothing of this name belongs in the file"
            done.faults.append(Fault(one.filename[:120], why))
            continue
        found += 1
        try:
            _, new = here.keep_photo(named[1], _photo(archive, one))
        except PhotoError as error:
            done.faults.append(Fault(f"Photo {named[1][:12]}…", str(error)))
        else:
            if new:
                done.photos_stored += 1
            else:
                done.photos_already_stored += 1
    _count("photos", done.cover.photos, found, done)


def _photo(archive: zipfile.ZipFile, one: zipfile.ZipInfo) -> bytes:
    if one.file_size > MAX_BYTES:
        raise PhotoError(f"a photo of at most {MAX_BYTES} bytes is taken")
    try:
        return archive.read(one)
    except _DAMAGED as error:
        raise PhotoError("it is damaged in the file; save the file on the phone again") from error


def _count(what: str, announced: int, found: int, done: TakenIn) -> None:
    if found < announced:
        why = f"{announced} were announced and {found} were found; save the file again"
        done.faults.append(Fault(f"Missing {what}", why))
