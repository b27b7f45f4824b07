"""The custody bundle: a loss's record and its proofs, to be checked without trusting us.

``custody.zip`` holds every event of the loss as the leaves of its tree, every signed checkpoint,
and of the facility's tree those events that touch the loss's pieces or the phones that wrote of
them, each with an inclusion proof. Checking needs nothing but the bundle and the public key.
"""

import json
import zipfile
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import IO, Any

from pydantic import BaseModel, ConfigDict, ValidationError
from sqlmodel import Session

from service.log import reading
from service.log.append import FACILITY_TREE, leaf_bytes
from service.log.folding import entry_of
from service.log.reading import Scope
from service.storage.tables import LogRow
from shared import events as ev
from shared import ledger

FORMAT = "lagan-custody/1"
MAX_MEMBER_BYTES = 1_000_000_000
READ_ME = """\
Custody record of loss {loss}

leaves.jsonl       every event of this loss, in order, one a line, in canonical form (RFC 8785)
leaf-hashes.txt    the RFC 9162 leaf hash of each, which tells where a change was made
checkpoints.json   signed statements of the tree over those lines (RFC 9162, Ed25519, C2SP
                   signed-note)
facility.json      what the facility did that touches these pieces, and which phones wrote of them,
                   with their public keys; each with its inclusion proof
bundle.json        names, sizes and the public key
photos.json        the SHA-256 of every photo and document the events name

To check it:  lagan verify custody.zip --key '{key}'

Take the key from somewhere other than this file: a checkpoint sent to you earlier carries its
name and number, and whoever prepared this can read it to you.

What it proves: that these are the events, unchanged, complete and in this order, that were sealed
when each checkpoint was signed. What it does not prove: that what a person entered was true, or
that a thing which was never entered did not happen.
"""


class BundleError(ValueError):
    """The file is no custody bundle, or is damaged beyond checking."""


class BundleFacts(BaseModel):
    """``bundle.json``."""

    model_config = ConfigDict(extra="forbid")

    format: str
    loss: str
    origin: str
    facility_origin: str
    key: str
    made_at: str
    leaves: int
    checkpoints: int
    facility_events: int


class ProvedLeaf(BaseModel):
    """One event of the facility's tree with the proof that it is in it."""

    model_config = ConfigDict(extra="forbid")

    leaf: int
    data: str
    proof: list[str]


class FacilityProofs(BaseModel):
    """``facility.json``: a checkpoint of the facility's tree, and events proved to be in it."""

    model_config = ConfigDict(extra="forbid")

    checkpoint: str | None
    events: list[ProvedLeaf]


def write_bundle(
    session: Session, signer: ledger.Signer, loss: str, made_at: str, target: Path | IO[bytes]
) -> BundleFacts:
    """Write the custody bundle of ``loss``. ``BundleError`` when nothing is recorded of it."""
    rows = reading.tree_rows(session, loss)
    if not rows:
        raise BundleError(f"nothing is recorded of a loss {loss}; see the list of losses")
    notes = [row.note for row in reading.checkpoints(session, loss)]
    proofs = _facility_proofs(session, loss, {row.device for row in rows})
    facts = BundleFacts(
        format=FORMAT,
        loss=loss,
        origin=f"{signer.name}/{loss}",
        facility_origin=f"{signer.name}/{FACILITY_TREE}",
        key=signer.verifier.text,
        made_at=made_at,
        leaves=len(rows),
        checkpoints=len(notes),
        facility_events=len(proofs.events),
    )
    with zipfile.ZipFile(target, "w", zipfile.ZIP_DEFLATED) as bundle:
        bundle.writestr("README.txt", READ_ME.format(loss=loss, key=facts.key))
        bundle.writestr("bundle.json", facts.model_dump_json(indent=1))
        hashes = []
        with bundle.open("leaves.jsonl", "w", force_zip64=True) as out:
            for row in rows:
                leaf = leaf_bytes(row.data, row.received_at)
                hashes.append(ledger.leaf_hash(leaf).hex())
                out.write(leaf + b"\n")
        bundle.writestr("leaf-hashes.txt", "".join(f"{one}\n" for one in hashes))
        bundle.writestr("checkpoints.json", json.dumps(notes, ensure_ascii=False, indent=1))
        bundle.writestr("facility.json", proofs.model_dump_json(indent=1))
        bundle.writestr("photos.json", json.dumps(_named_files(session, rows), indent=1))
    return facts


def _facility_proofs(session: Session, loss: str, writers: Iterable[str]) -> FacilityProofs:
    """The facility's events about this loss's pieces, their runs and ``writers``, with proofs."""
    notes = reading.checkpoints(session, FACILITY_TREE)
    if not notes:
        return FacilityProofs(checkpoint=None, events=[])
    pieces = reading.items(session, Scope(losses=frozenset({loss})))
    subjects = [f"item:{piece.tag}" for piece in pieces]
    subjects += [f"run:{run}" for run in {run for piece in pieces for run in piece.runs}]
    subjects += [f"phone:{device}" for device in writers]
    wanted = reading.leaves_about(session, FACILITY_TREE, subjects)
    leaves = [
        leaf_bytes(row.data, row.received_at) for row in reading.tree_rows(session, FACILITY_TREE)
    ]
    tree = ledger.MerkleTree.of_leaves(leaves)
    return FacilityProofs(
        checkpoint=notes[-1].note,
        events=[
            ProvedLeaf(
                leaf=leaf,
                data=leaves[leaf].decode(),
                proof=[step.hex() for step in tree.inclusion_proof(leaf)],
            )
            for leaf in sorted(wanted)
        ],
    )


def _named_files(session: Session, rows: Iterable[LogRow]) -> list[dict[str, object]]:
    """Every photo and document the events name, and whether it has arrived."""
    named: dict[str, str] = {}
    for row in rows:
        match entry_of(row).body:
            case ev.PhotoTaken(photo=digest, tag=tag):
                named[digest] = f"photo of {tag}"
            case (
                ev.HandedOver(signature=str(digest))
                | ev.ItemReturned(signature=str(digest))
                | ev.AuthorisationRecorded(document=str(digest))
            ):
                named[digest] = "signature or document"
            case _:
                pass
    held = reading.photos_held(session, named)
    return [
        {"sha256": digest, "what": what, "arrived": digest in held}
        for digest, what in sorted(named.items())
    ]


@dataclass
class BundleReport:
    """What checking a bundle found."""

    facts: BundleFacts
    sealed: int = 0
    facility_proved: int = 0
    chained: int = 0
    key_given: bool = False
    faults: list[str] = field(default_factory=list)

    @property
    def intact(self) -> bool:
        """Whether nothing is wrong."""
        return not self.faults

    def as_json(self) -> dict[str, Any]:
        """For a program to read."""
        return {
            "intact": self.intact,
            "loss": self.facts.loss,
            "leaves": self.facts.leaves,
            "sealed": self.sealed,
            "checkpoints": self.facts.checkpoints,
            "facility_events_proved": self.facility_proved,
            "device_links_checked": self.chained,
            "key": self.facts.key,
            "key_given_by_reader": self.key_given,
            "faults": self.faults,
        }


def verify_bundle(path: Path, key: str | None = None) -> BundleReport:
    """Check a custody bundle against ``key`` (or, weaker, against the key inside it).

    Raises ``BundleError`` when the file cannot be read as a bundle at all.
    """
    try:
        with zipfile.ZipFile(path) as bundle:
            facts = BundleFacts.model_validate_json(_member(bundle, "bundle.json"))
            leaves = _member(bundle, "leaves.jsonl").split(b"\n")
            hashes = [
                bytes.fromhex(one)
                for one in _member(bundle, "leaf-hashes.txt").decode("ascii").split()
            ]
            notes = json.loads(_member(bundle, "checkpoints.json"))
            proofs = FacilityProofs.model_validate_json(_member(bundle, "facility.json"))
        verifier = ledger.Verifier.from_text(key or facts.key)
    except (OSError, zipfile.BadZipFile, KeyError, ValidationError, ValueError) as error:
        raise BundleError(f"{path} is no readable custody bundle: {error}") from error
    report = BundleReport(facts, key_given=key is not None)
    if leaves and leaves[-1] == b"":
        leaves.pop()
    if facts.format != FORMAT:
        report.faults.append(f"bundle.json: the format is {facts.format}, not {FORMAT}")
    if key is not None and key != facts.key:
        report.faults.append("bundle.json: the key inside is not the key you gave")
    history = ledger.verify_history(
        leaves,
        [str(note) for note in notes],
        [verifier],
        facts.origin,
        recorded_hashes=hashes,
    )
    report.sealed = history.sealed_size
    report.faults += [f"leaves.jsonl: {finding.message}" for finding in history.findings]
    if history.unsealed_count:
        report.faults.append(
            f"leaves.jsonl: the last {history.unsealed_count} events are under no checkpoint"
        )
    _check_facility(report, proofs, verifier)
    _check_devices(report, [*leaves, *(one.data.encode() for one in proofs.events)])
    return report


def _member(bundle: zipfile.ZipFile, name: str) -> bytes:
    info = bundle.getinfo(name)
    if info.file_size > MAX_MEMBER_BYTES:
        raise BundleError(f"{name} would unfold to {info.file_size} bytes")
    return bundle.read(info)


def _check_facility(
    report: BundleReport, proofs: FacilityProofs, verifier: ledger.Verifier
) -> None:
    if not proofs.events:
        return
    try:
        sealed = ledger.open_checkpoint(
            proofs.checkpoint or "", [verifier], report.facts.facility_origin
        )
    except ledger.LedgerError as error:
        report.faults.append(f"facility.json: {error}")
        return
    for one in proofs.events:
        try:
            ledger.verify_inclusion(
                ledger.leaf_hash(one.data.encode()),
                one.leaf,
                sealed.size,
                [bytes.fromhex(step) for step in one.proof],
                sealed.root,
            )
            report.facility_proved += 1
        except ValueError as error:
            report.faults.append(f"facility.json: event at {one.leaf}: {error}")


def _check_devices(report: BundleReport, leaves: Sequence[bytes]) -> None:
    """Each device's events must link to the one before, wherever both are in the bundle."""
    digests: dict[tuple[str, int], str] = {}
    linked: list[tuple[int, ev.Event]] = []
    for index, leaf in enumerate(leaves):
        try:
            event = ev.Event.model_validate(ledger.parse_canonical(leaf)["event"])
        except (ValidationError, ValueError, KeyError, TypeError) as error:
            report.faults.append(f"event at {index} cannot be read: {error}")
            continue
        digests[event.device, event.sequence] = ev.event_digest(event)
        linked.append((index, event))
    for index, event in linked:
        before = digests.get((event.device, event.sequence - 1))
        if before is None:
            continue
        report.chained += 1
        if event.previous != before:
            report.faults.append(
                f"event at {index}: device {event.device} number {event.sequence} does not link "
                "to the device's event before it"
            )
