"""The custody bundle: whole, checkable without us, and any change in it is found and located."""

import json
import zipfile
from collections.abc import Callable
from pathlib import Path

import pytest

from service.installation import Installation
from service.log.custody import BundleError, verify_bundle, write_bundle
from shared import events as ev
from shared import ledger
from shared.vocabulary import PhotoKind, Role, StepKind
from tests.phones import PHONE_KEY
from tests.writers import LOSS, START, TAGS, Writer, noted, opened, plain, tagged

MADE_AT = "2031-05-06T12:00:00Z"


@pytest.fixture
def bundle(here: Installation, tmp_path: Path) -> Path:
    """A loss of a few batches, with work at the facility and a neighbour's loss."""
    a, b = Writer("phone-a"), Writer("phone-b")
    here.log.append(plain(a.say(opened()), a.say(tagged())))
    here.log.append(
        plain(
            a.say(noted()), a.say(ev.PhotoTaken(tag=TAGS[0], photo="ab" * 32, kind=PhotoKind.SITE))
        )
    )
    here.log.append(plain(b.say(opened(), "OTHER"), b.say(tagged(TAGS[1]), "OTHER")))
    for tag in TAGS[:2]:
        here.log.say(
            ev.StepDone(tag=tag, step=StepKind.STABILISE, started_at=START, ended_at=START),
            actor="bench",
            role=Role.LEAD,
        )
    path = tmp_path / "custody.zip"
    with here.database.read() as session:
        write_bundle(session, here.log.signer, LOSS, MADE_AT, path)
    return path


def key_of(here: Installation) -> str:
    return here.log.signer.verifier.text


def altered(bundle: Path, name: str, change: Callable[[bytes], bytes]) -> Path:
    """A copy of the bundle with one member changed."""
    copy = bundle.with_name("altered.zip")
    with zipfile.ZipFile(bundle) as source, zipfile.ZipFile(copy, "w") as target:
        for member in source.namelist():
            data = source.read(member)
            target.writestr(member, change(data) if member == name else data)
    return copy


def test_an_untouched_bundle_holds(here: Installation, bundle: Path) -> None:
    report = verify_bundle(bundle, key_of(here))
    assert report.intact, report.faults
    assert (report.facts.leaves, report.sealed, report.facts.checkpoints) == (4, 4, 2)
    assert report.facility_proved == 1
    assert report.chained == 3


def test_the_bundle_says_nothing_of_another_loss(bundle: Path) -> None:
    with zipfile.ZipFile(bundle) as opened_bundle:
        everything = b"".join(opened_bundle.read(name) for name in opened_bundle.namelist())
    assert TAGS[0].encode() in everything
    assert TAGS[1].encode() not in everything
    assert b"OTHER" not in everything


@pytest.mark.parametrize("line", range(4))
def test_one_changed_byte_is_found_and_located(here: Installation, bundle: Path, line: int) -> None:
    def change(data: bytes) -> bytes:
        lines = data.split(b"\n")
        lines[line] = lines[line].replace(b"holder of", b"holder 0f")
        return b"\n".join(lines)

    report = verify_bundle(altered(bundle, "leaves.jsonl", change), key_of(here))
    assert not report.intact
    assert any(f"{line}" in fault for fault in report.faults)


@pytest.mark.parametrize(
    ("name", "change"),
    [
        ("leaves.jsonl", lambda data: data.split(b"\n", 1)[1]),
        ("leaves.jsonl", lambda data: b"\n".join(data.split(b"\n")[:-2]) + b"\n"),
        ("leaves.jsonl", lambda data: data + data.split(b"\n")[0] + b"\n"),
        ("leaves.jsonl", lambda data: b"\n".join(reversed(data.split(b"\n")[:-1])) + b"\n"),
        ("checkpoints.json", lambda data: data.replace(b"\\n4\\n", b"\\n3\\n")),
        ("checkpoints.json", lambda data: b"[]"),
        ("facility.json", lambda data: data.replace(b"bench", b"bunch")),
        ("facility.json", lambda data: data.replace(b'"leaf": 0', b'"leaf": 1')),
    ],
    ids=[
        "first event gone",
        "last event gone",
        "event added",
        "order changed",
        "checkpoint altered",
        "checkpoints gone",
        "facility event altered",
        "facility event moved",
    ],
)
def test_any_tampering_is_found(
    here: Installation, bundle: Path, name: str, change: Callable[[bytes], bytes]
) -> None:
    with zipfile.ZipFile(bundle) as source:
        if change(source.read(name)) == source.read(name):
            pytest.fail("the tampering changed nothing; mend the test")
    assert not verify_bundle(altered(bundle, name, change), key_of(here)).intact


def test_a_bundle_signed_by_another_key_is_not_believed(here: Installation, bundle: Path) -> None:
    stranger = ledger.Signer.generate(here.log.signer.name).verifier.text
    assert not verify_bundle(bundle, stranger).intact
    inside = altered(
        bundle,
        "bundle.json",
        lambda data: json.dumps(json.loads(data) | {"key": stranger}).encode(),
    )
    assert not verify_bundle(inside, None).intact


@pytest.mark.parametrize("data", [b"", b"PK\x03\x04", b"not a zip at all"])
def test_what_is_no_bundle_is_said_to_be_none(tmp_path: Path, data: bytes) -> None:
    path = tmp_path / "x.zip"
    path.write_bytes(data)
    with pytest.raises(BundleError, match="no readable custody bundle"):
        verify_bundle(path)


def test_a_loss_without_a_record_has_no_bundle(here: Installation, tmp_path: Path) -> None:
    with here.database.read() as session, pytest.raises(BundleError, match="NOWHERE"):
        write_bundle(session, here.log.signer, "NOWHERE", MADE_AT, tmp_path / "x.zip")


def test_the_keys_of_the_phones_that_wrote_are_proved_and_no_others(
    here: Installation, bundle: Path
) -> None:
    for phone in ("phone-a", "phone-b"):
        here.log.say(
            ev.PhoneEnrolled(phone=phone, name=phone, key=PHONE_KEY),
            actor="office",
            role=Role.OFFICE,
        )
    with here.database.read() as session:
        write_bundle(session, here.log.signer, LOSS, MADE_AT, bundle)
    report = verify_bundle(bundle, key_of(here))
    assert report.intact, report.faults
    with zipfile.ZipFile(bundle) as found:
        proved = [
            json.loads(one["data"]) for one in json.loads(found.read("facility.json"))["events"]
        ]
    bodies = [one["event"]["body"] for one in proved]
    phones = [body for body in bodies if body["type"] == "phone_enrolled"]
    assert [(one["phone"], one["key"]["x"]) for one in phones] == [("phone-a", PHONE_KEY.x)]
