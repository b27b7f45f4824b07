"""A crew's phone in a real browser, its store looked into and filled from outside.

What is written into the store comes from the Python end of the event contract, so that a phone can
be given a day's work at once; the bytes of both ends are compared elsewhere.
"""

import io
import re
from base64 import b64encode
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from hashlib import sha256
from typing import Any

from PIL import Image
from playwright.sync_api import BrowserContext, Page
from pydantic import BaseModel

from labels.codes import new_tag
from shared import events as ev
from shared import ledger
from shared.vocabulary import Material, ObjectType, PhotoKind, Role
from tests.phones import office_code
from tests.writers import START

LOSS = "FAULTS-1"
SAVED = re.compile("^Saved (on this phone|and sent)$")
"""What the screen of a piece says once it is safe."""
PERSON = "Hesper Quillfeather (invented)"
ZONE = "Europe/Lisbon"

_OPENED = """new Promise((done, fail) => {
  const open = indexedDB.open("lagan");
  open.onsuccess = () => done(open.result);
  open.onerror = () => fail(open.error);
})"""

_READ = f"""async () => {{
  const db = await {_OPENED};
  const all = (store) => new Promise((done) => {{
    const asked = db.transaction(store).objectStore(store).getAll();
    asked.onsuccess = () => done(asked.result);
  }});
  const note = (name) => new Promise((done) => {{
    const asked = db.transaction("notes").objectStore("notes").get(name);
    asked.onsuccess = () => done(asked.result ?? null);
  }});
  const found = {{
    journal: await note("journal"),
    draft: await note("draft"),
    events: await all("events"),
    outbox: await all("outbox"),
    photos: (await all("photos")).map((one) => one.sha),
  }};
  db.close();
  return found;
}}"""

NOTES = f"""async (names) => {{
  const db = await {_OPENED};
  const notes = db.transaction("notes").objectStore("notes");
  const found = await Promise.all(names.map((name) => new Promise((done) => {{
    const asked = notes.get(name);
    asked.onsuccess = () => done(asked.result ?? null);
  }})));
  db.close();
  return found;
}}"""
"""What the phone remembers under these names, null where nothing."""

_COUNT = f"""async () => {{
  const db = await {_OPENED};
  const asked = db.transaction("outbox").objectStore("outbox").count();
  await new Promise((done) => (asked.onsuccess = done));
  db.close();
  return asked.result;
}}"""

_WRITE = f"""async (given) => {{
  const db = await {_OPENED};
  const change = db.transaction(["notes", "events", "outbox", "photos"], "readwrite");
  const notes = change.objectStore("notes");
  for (const [name, value] of Object.entries(given.notes)) notes.put(value, name);
  for (const one of given.events) change.objectStore("events").put(one);
  for (const one of given.outbox) change.objectStore("outbox").put(one);
  for (const {{ sha, base64 }} of given.photos) {{
    const bytes = Uint8Array.from(atob(base64), (letter) => letter.charCodeAt(0));
    const full = new Blob([bytes], {{ type: "image/jpeg" }});
    change.objectStore("photos").put({{ sha, full, thumb: full }});
  }}
  await new Promise((done, fail) => {{
    change.oncomplete = done;
    change.onabort = () => fail(change.error);
  }});
  db.close();
}}"""


@dataclass(frozen=True)
class Kept:
    """What a phone holds.

    Attributes:
        journal: where its chain stands; ``None`` before it was given a name.
        draft: the piece in hand, ``None`` when there is none.
        events: as kept, with their digests, in the order they were written.
        outbox: what waits.
        photos: digests of the photos kept.
    """

    journal: dict[str, Any] | None
    draft: dict[str, Any] | None
    events: list[dict[str, Any]]
    outbox: list[dict[str, Any]]
    photos: set[str]


def kept_by(page: Page) -> Kept:
    """What the phone holds now."""
    found = page.evaluate(_READ)
    found["events"].sort(key=lambda one: one["event"]["sequence"])
    return Kept(**{**found, "photos": set(found["photos"])})


def waiting_on(page: Page) -> int:
    """How many things the phone has not sent."""
    found: int = page.evaluate(_COUNT)
    return found


def write_into(
    page: Page,
    notes: dict[str, Any],
    *,
    events: Sequence[dict[str, Any]] = (),
    outbox: Sequence[dict[str, Any]] = (),
    photos: Sequence[bytes] = (),
) -> None:
    """Put things into the phone's store, all or none."""
    page.evaluate(
        _WRITE,
        {
            "notes": notes,
            "events": list(events),
            "outbox": list(outbox),
            "photos": [
                {"sha": sha_of(data), "base64": b64encode(data).decode()} for data in photos
            ],
        },
    )


def open_phone(context: BrowserContext) -> Page:
    """The app opened on a phone with the office's code until the service has given it a name."""
    page = context.new_page()
    code = office_code(context)
    page.goto(f"/crew/#enrol={code}")
    again = page.get_by_role("button", name="Try again")
    while kept_by(page).journal is None:
        page.wait_for_timeout(100)
        if again.is_visible():
            again.click()
    write_into(page, {"person": PERSON})
    return page


def pictures() -> Iterator[bytes]:
    """JPEGs that differ, each of a few hundred bytes."""
    for number in range(256**3):
        out = io.BytesIO()
        colour = (number // 256 % 256, number % 256, 90)
        Image.new("RGB", (16, 12), colour).save(out, "JPEG", comment=str(number).encode())
        yield out.getvalue()


def written(journal: dict[str, Any], bodies: Sequence[BaseModel]) -> tuple[list[ev.Event], Any]:
    """The phone's next events, and where its journal stands after them."""
    writer = ev.Journal(
        device=journal["device"],
        zone=ZONE,
        sequence=journal["sequence"],
        clock=journal["clock"],
        previous=journal["previous"],
    )
    events = [
        writer.write(body, actor=PERSON, role=Role.CREW, at=START, loss=LOSS) for body in bodies
    ]
    after = {
        "device": writer.device,
        "sequence": writer.sequence,
        "clock": writer.clock,
        "previous": writer.previous,
    }
    return events, after


def give_work(page: Page, photos: Sequence[bytes], since_ms: int = 0) -> dict[str, str]:
    """One piece for each photo, unsent since ``since_ms``; digests of the events by id."""
    journal = kept_by(page).journal
    assert journal is not None
    bodies: list[BaseModel] = []
    for data in photos:
        tag = new_tag()
        bodies.append(
            ev.ItemTagged(
                tag=tag, object_type=ObjectType.PAINTING, materials=(Material.OIL_CANVAS,)
            )
        )
        digest = sha_of(data)
        bodies.append(ev.PhotoTaken(tag=tag, photo=digest, kind=PhotoKind.SITE))
    events, after = written(journal, bodies)
    plain = [event.model_dump(mode="json") for event in events]
    digests = {event["id"]: digest_of(event) for event in plain}
    outbox = [
        {
            "key": f"event:{event['id']}",
            "kind": "event",
            "ref": event["id"],
            "order": event["sequence"],
            "since": since_ms,
            "refused": None,
        }
        for event in plain
    ]
    for data in photos:
        digest = sha_of(data)
        outbox.append(
            {
                "key": f"photo:{digest}",
                "kind": "photo",
                "ref": digest,
                "order": 2**53 - 1,
                "since": since_ms,
                "refused": None,
            }
        )
    kept = [
        {"id": event["id"], "loss": LOSS, "event": event, "digest": digests[event["id"]]}
        for event in plain
    ]
    write_into(page, {"journal": after}, events=kept, outbox=outbox, photos=photos)
    return digests


def sha_of(data: bytes) -> str:
    """SHA-256 of a photo, as the log and the phone name it."""
    return sha256(data).hexdigest()


def digest_of(event: object) -> str:
    """SHA-256 of the canonical bytes (RFC 8785), as the log has it."""
    return sha256(ledger.canonical_bytes(event)).hexdigest()


def assert_unbroken(kept: Kept) -> None:
    """Every event follows the one before it, and the journal stands behind the last.

    A device's chain is sequence numbers without a gap, each event naming its forerunner's digest.
    """
    assert kept.journal is not None
    previous = ""
    for number, one in enumerate(kept.events, start=1):
        event = one["event"]
        assert event["sequence"] == number
        assert event["previous"] == previous
        previous = digest_of(event)
        assert one["digest"] == previous
    assert kept.journal["sequence"] == len(kept.events)
    assert kept.journal["previous"] == previous
