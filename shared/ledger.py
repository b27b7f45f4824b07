"""Tamper evidence: canonical bytes, a Merkle tree over them, and signed checkpoints.

An event is hashed in its one canonical form (RFC 8785).  The hashes of a loss form a Merkle
tree (RFC 9162 section 2.1, SHA-256).  From time to time its root is signed (Ed25519, RFC 8032)
as a checkpoint: a C2SP signed note that any holder can keep and compare later.  Whoever has
the leaves, the checkpoints and the public key can tell whether a leaf was changed, taken out
or put in after it was sealed, and where, without trusting the party that kept the log.

This proves integrity, not truth: it says nothing on whether what was recorded was so.

Sources: RFC 8785 (JSON Canonicalization Scheme), RFC 7493 (I-JSON), RFC 9162 section 2.1
(the same tree as RFC 6962), RFC 8032, C2SP ``signed-note`` and ``tlog-checkpoint``.
"""

from __future__ import annotations

import base64
import binascii
import json
import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from difflib import SequenceMatcher
from enum import StrEnum
from hashlib import sha256
from typing import Any, Final, Self

import rfc8785
from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey, Ed25519PublicKey

HASH_BYTES: Final = 32
EMPTY_ROOT: Final = sha256(b"").digest()
"""Root of a tree without leaves (RFC 9162 section 2.1.1)."""

_LEAF_PREFIX: Final = b"\x00"
_NODE_PREFIX: Final = b"\x01"
_ED25519_TYPE: Final = b"\x01"
_ED25519_KEY_BYTES: Final = 32
_KEY_ID_BYTES: Final = 4
_SIGNATURE_MARK: Final = "— "
_MOST_SIGNATURES: Final = 100
_MOST_NOTE_CHARS: Final = 1_000_000
_MAX_SAFE_INTEGER: Final = 2**53 - 1


class LedgerError(ValueError):
    """Anything this module refuses."""


class CanonicalError(LedgerError):
    """A value has no canonical JSON form, or bytes are not in it."""


class ProofError(LedgerError):
    """An inclusion or consistency proof is malformed or does not hold."""


class NoteError(LedgerError):
    """A signed note, checkpoint or key text is malformed or not signed by a known key."""


# --- canonical bytes -------------------------------------------------------------------------


def canonical_bytes(value: Any) -> bytes:
    """Return the RFC 8785 bytes of a JSON value.

    Args:
        value: dict with text keys, list, tuple, str, int within ±(2**53 - 1), finite float,
            bool or None, nested to any reasonable depth.

    Raises:
        CanonicalError: names where in the value the trouble is, and how to mend it.
    """
    try:
        return rfc8785.dumps(value)
    # The library lets the encoder's own error through for keys.
    except (rfc8785.CanonicalizationError, UnicodeEncodeError) as error:
        where = _first_refused(value, "$") or f"$: {error}"
        raise CanonicalError(f"no canonical form at {where}") from error
    except RecursionError as error:
        raise CanonicalError("no canonical form: nested too deeply; flatten the value") from error


def parse_canonical(data: bytes) -> Any:
    """Read bytes that must be the canonical form of a JSON value.

    Raises:
        CanonicalError: not UTF-8, not JSON, a key given twice (RFC 7493 section 2.3), or valid
            JSON written in another form than RFC 8785 gives.
    """
    try:
        value = json.loads(
            data.decode("utf-8"), object_pairs_hook=_object_without_repeats, parse_int=_whole
        )
    except UnicodeDecodeError as error:
        raise CanonicalError(f"not UTF-8: {error}") from error
    except RecursionError as error:
        raise CanonicalError("nested too deeply") from error
    except json.JSONDecodeError as error:
        raise CanonicalError(f"not JSON: {error}") from error
    if canonical_bytes(value) != data:
        raise CanonicalError("JSON, but not in canonical form: write it by RFC 8785")
    return value


def _whole(digits: str) -> int | float:
    """Read a whole number as the IEEE 754 double it is in JSON (RFC 8785 section 3.2.2.3)."""
    number = float(digits)
    return int(digits) if abs(number) <= _MAX_SAFE_INTEGER else number


def _object_without_repeats(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    result: dict[str, Any] = {}
    for key, value in pairs:
        if key in result:
            raise CanonicalError(f"the key {key!r} is given twice in one object")
        result[key] = value
    return result


def _first_refused(value: Any, path: str) -> str | None:
    """Find the first part of ``value`` that JSON canonicalization refuses."""
    if isinstance(value, Mapping):
        for key, inner in value.items():
            if not isinstance(key, str):
                return f"{path}: the key {key!r} is not text"
            if not _is_utf8(key):
                return f"{path}: the key {key!r} holds half of a surrogate pair"
            if found := _first_refused(inner, f"{path}.{key}"):
                return found
        return None
    if isinstance(value, list | tuple):
        found_in = (_first_refused(inner, f"{path}[{i}]") for i, inner in enumerate(value))
        return next((found for found in found_in if found), None)
    if isinstance(value, str):
        return None if _is_utf8(value) else f"{path}: the text holds half of a surrogate pair"
    if value is None or isinstance(value, bool):
        return None
    if isinstance(value, int):
        if abs(value) <= _MAX_SAFE_INTEGER:
            return None
        return f"{path}: {value} is beyond ±(2**53 - 1); write it as text"
    if isinstance(value, float):
        return None if math.isfinite(value) else f"{path}: {value} is not a JSON number"
    return f"{path}: {type(value).__name__} is no JSON type; write it as text"


def _is_utf8(text: str) -> bool:
    try:
        text.encode("utf-8")
    except UnicodeEncodeError:
        return False
    return True


# --- hashes and the tree ---------------------------------------------------------------------


def leaf_hash(data: bytes) -> bytes:
    """Hash of a leaf: SHA-256(0x00 || data), RFC 9162 section 2.1.1."""
    return sha256(_LEAF_PREFIX + data).digest()


def node_hash(left: bytes, right: bytes) -> bytes:
    """Hash of an inner node: SHA-256(0x01 || left || right), RFC 9162 section 2.1.1."""
    return sha256(_NODE_PREFIX + left + right).digest()


def _largest_power_of_two_below(n: int) -> int:
    """Largest power of two smaller than ``n``, for n >= 2: where RFC 9162 splits a tree."""
    return 1 << ((n - 1).bit_length() - 1)


def _require_hash(value: bytes, name: str) -> None:
    if len(value) != HASH_BYTES:
        raise ProofError(f"{name} has {len(value)} bytes; a SHA-256 hash has {HASH_BYTES}")


@dataclass(frozen=True)
class CompactRange:
    """The least that must be kept to go on appending: one hash per complete subtree.

    Attributes:
        size: leaves so far.
        peaks: hashes of the complete subtrees, largest first; one for each bit set in ``size``.
    """

    size: int = 0
    peaks: tuple[bytes, ...] = ()

    def __post_init__(self) -> None:
        if self.size < 0 or len(self.peaks) != self.size.bit_count():
            raise LedgerError(
                f"{self.size} leaves need {max(self.size, 0).bit_count()} peaks, "
                f"not {len(self.peaks)}"
            )
        for peak in self.peaks:
            _require_hash(peak, "peak")

    def append(self, leaf: bytes) -> CompactRange:
        """Return the range with one more leaf hash (32 bytes) at its end."""
        _require_hash(leaf, "leaf hash")
        peaks = list(self.peaks)
        merged, size = leaf, self.size
        while size & 1:
            merged = node_hash(peaks.pop(), merged)
            size >>= 1
        return CompactRange(self.size + 1, (*peaks, merged))

    def extend(self, leaves: Iterable[bytes]) -> CompactRange:
        """Return the range with these leaf hashes appended in order."""
        grown = self
        for leaf in leaves:
            grown = grown.append(leaf)
        return grown

    def root(self) -> bytes:
        """Root of the tree over the leaves so far."""
        if not self.peaks:
            return EMPTY_ROOT
        root = self.peaks[-1]
        for peak in reversed(self.peaks[:-1]):
            root = node_hash(peak, root)
        return root


class MerkleTree:
    """A tree over known leaf hashes that gives its root, past roots and proofs.

    It keeps the hash of every complete subtree (about 64 bytes a leaf), so that a proof costs
    O(log² n) hashes.  It is not changed after it is made.
    """

    def __init__(self, leaf_hashes: Sequence[bytes]) -> None:
        for leaf in leaf_hashes:
            _require_hash(leaf, "leaf hash")
        # _levels[k][i] is the hash of the complete subtree of 2**k leaves from leaf i * 2**k.
        self._levels: list[list[bytes]] = [list(leaf_hashes)]
        while len(self._levels[-1]) > 1:
            below = self._levels[-1]
            self._levels.append(
                [node_hash(below[i], below[i + 1]) for i in range(0, len(below) - 1, 2)]
            )

    @classmethod
    def of_leaves(cls, leaves: Iterable[bytes]) -> Self:
        """Make the tree from the leaves' data instead of from their hashes."""
        return cls([leaf_hash(leaf) for leaf in leaves])

    @property
    def size(self) -> int:
        """Number of leaves."""
        return len(self._levels[0])

    @property
    def leaf_hashes(self) -> tuple[bytes, ...]:
        """The leaf hashes in order."""
        return tuple(self._levels[0])

    def root(self, size: int | None = None) -> bytes:
        """Root over the first ``size`` leaves (all by default).

        Raises:
            ProofError: ``size`` is beyond the tree.
        """
        size = self._checked_size(size)
        return self._subtree(0, size) if size else EMPTY_ROOT

    def inclusion_proof(self, index: int, size: int | None = None) -> tuple[bytes, ...]:
        """Path from leaf ``index`` (from 0) to the root of the first ``size`` leaves.

        Source: PATH(m, D[n]) of RFC 9162 section 2.1.3.1.

        Raises:
            ProofError: the leaf is not within ``size``, or ``size`` is beyond the tree.
        """
        size = self._checked_size(size)
        if not 0 <= index < size:
            raise ProofError(f"leaf {index} is not in a tree of {size} leaves")
        path: list[bytes] = []
        low, high = 0, size
        while high - low > 1:
            middle = low + _largest_power_of_two_below(high - low)
            if index < middle:
                path.append(self._subtree(middle, high))
                high = middle
            else:
                path.append(self._subtree(low, middle))
                low = middle
        return tuple(reversed(path))

    def consistency_proof(self, first_size: int, size: int | None = None) -> tuple[bytes, ...]:
        """Proof that the tree of ``first_size`` leaves is a prefix of that of ``size`` leaves.

        Source: PROOF(m, D[n]) of RFC 9162 section 2.1.4.1.

        Raises:
            ProofError: unless 0 < first_size <= size <= leaves in the tree.
        """
        size = self._checked_size(size)
        if not 0 < first_size <= size:
            raise ProofError(f"no consistency proof from size {first_size} to size {size}")
        path: list[bytes] = []
        low, high = 0, size
        known_to_verifier = True
        while first_size != high:
            middle = low + _largest_power_of_two_below(high - low)
            if first_size <= middle:
                path.append(self._subtree(middle, high))
                high = middle
            else:
                path.append(self._subtree(low, middle))
                low = middle
                known_to_verifier = False
        if not known_to_verifier:
            path.append(self._subtree(low, high))
        return tuple(reversed(path))

    def _checked_size(self, size: int | None) -> int:
        if size is None:
            return self.size
        if not 0 <= size <= self.size:
            raise ProofError(f"size {size} is not within the tree of {self.size} leaves")
        return size

    def _subtree(self, low: int, high: int) -> bytes:
        """Hash over leaves low..high-1, where ``low`` is a multiple of the subtree's span."""
        count = high - low
        if count & (count - 1) == 0:
            level = count.bit_length() - 1
            return self._levels[level][low >> level]
        middle = low + _largest_power_of_two_below(count)
        return node_hash(self._subtree(low, middle), self._subtree(middle, high))


# --- checking proofs -------------------------------------------------------------------------


def verify_inclusion(
    leaf: bytes, index: int, size: int, proof: Sequence[bytes], root: bytes
) -> None:
    """Check that a leaf hash is leaf ``index`` of the tree with this size and root.

    Source: RFC 9162 section 2.1.3.2.

    Raises:
        ProofError: the proof is malformed or does not lead to ``root``.
    """
    _require_hash(leaf, "leaf hash")
    if not 0 <= index < size:
        raise ProofError(f"leaf {index} is not in a tree of {size} leaves")
    position, last = index, size - 1
    computed = leaf
    for sibling in proof:
        _require_hash(sibling, "proof hash")
        if last == 0:
            raise ProofError("the proof is longer than the tree is high")
        if position & 1 or position == last:
            computed = node_hash(sibling, computed)
            while position and not position & 1:
                position, last = position >> 1, last >> 1
        else:
            computed = node_hash(computed, sibling)
        position, last = position >> 1, last >> 1
    if last != 0:
        raise ProofError("the proof is too short")
    if computed != root:
        raise ProofError("the proof does not lead to the root")


def verify_consistency(
    first_size: int,
    size: int,
    first_root: bytes,
    root: bytes,
    proof: Sequence[bytes],
) -> None:
    """Check that the tree (first_size, first_root) is a prefix of the tree (size, root).

    Source: RFC 9162 section 2.1.4.2.  A first size of 0 is refused: an empty tree is a prefix
    of everything, so a proof from it would say nothing.

    Raises:
        ProofError: the proof is malformed or the trees are not consistent.
    """
    if not 0 < first_size <= size:
        raise ProofError(f"no consistency proof goes from size {first_size} to size {size}")
    if first_size == size:
        if proof:
            raise ProofError("trees of the same size need an empty proof")
        if first_root != root:
            raise ProofError(f"two different roots for {size} leaves")
        return
    if not proof:
        raise ProofError("the proof is empty")
    for part in proof:
        _require_hash(part, "proof hash")

    path = list(proof)
    if first_size & (first_size - 1) == 0:
        path.insert(0, first_root)
    position, last = first_size - 1, size - 1
    while position & 1:
        position, last = position >> 1, last >> 1
    computed_first = computed = path[0]
    for part in path[1:]:
        if last == 0:
            raise ProofError("the proof is longer than the tree is high")
        if position & 1 or position == last:
            computed_first = node_hash(part, computed_first)
            computed = node_hash(part, computed)
            while position and not position & 1:
                position, last = position >> 1, last >> 1
        else:
            computed = node_hash(computed, part)
        position, last = position >> 1, last >> 1
    if last != 0:
        raise ProofError("the proof is too short")
    if computed_first != first_root:
        raise ProofError("the proof does not lead to the earlier root")
    if computed != root:
        raise ProofError("the proof does not lead to the later root")


# --- keys and signed notes -------------------------------------------------------------------


def _check_key_name(name: str) -> None:
    if not name or "+" in name or any(c.isspace() or ord(c) < 0x20 for c in name):
        raise NoteError(f"key name {name!r}: needs text without spaces, controls and '+'")


def _decode_base64(text: str, what: str) -> bytes:
    try:
        data = base64.b64decode(text, validate=True)
    except (binascii.Error, ValueError) as error:
        raise NoteError(f"{what}: not base64") from error
    if base64.b64encode(data).decode("ascii") != text:
        raise NoteError(f"{what}: not in the one base64 form of RFC 4648 section 4")
    return data


@dataclass(frozen=True)
class Verifier:
    """A public Ed25519 key and its name.

    Attributes:
        name: key name, best a URL without scheme; no spaces, no '+'.
        public_key: 32 bytes (RFC 8032 section 5.1.5).
    """

    name: str
    public_key: bytes

    def __post_init__(self) -> None:
        _check_key_name(self.name)
        if len(self.public_key) != _ED25519_KEY_BYTES:
            raise NoteError(f"public key has {len(self.public_key)} bytes, not 32")

    @property
    def key_id(self) -> bytes:
        """SHA-256(name || 0x0A || 0x01 || public key)[:4], as C2SP signed-note says."""
        material = self.name.encode("utf-8") + b"\n" + _ED25519_TYPE + self.public_key
        return sha256(material).digest()[:_KEY_ID_BYTES]

    @property
    def text(self) -> str:
        """The key as one line to hand over: name, key id in hex and base64 key, by '+'."""
        key = base64.b64encode(_ED25519_TYPE + self.public_key).decode("ascii")
        return f"{self.name}+{self.key_id.hex()}+{key}"

    @classmethod
    def from_text(cls, text: str) -> Self:
        """Read the line that :attr:`text` gives.

        Raises:
            NoteError: malformed, another signature type than Ed25519, or a key id that does
                not belong to the key.
        """
        parts = text.strip().split("+", 2)
        if len(parts) != 3:
            raise NoteError("verifier key: needs name, key id and key, joined by '+'")
        name, key_id, encoded = parts
        data = _decode_base64(encoded, "verifier key")
        if data[:1] != _ED25519_TYPE:
            raise NoteError("verifier key: only Ed25519 (type 0x01) is known here")
        verifier = cls(name, data[1:])
        if verifier.key_id.hex() != key_id:
            raise NoteError("verifier key: the key id does not belong to this name and key")
        return verifier

    def verifies(self, message: bytes, signature: bytes) -> bool:
        """Tell whether ``signature`` (64 bytes) is this key's on ``message``."""
        try:
            Ed25519PublicKey.from_public_bytes(self.public_key).verify(signature, message)
        except (InvalidSignature, ValueError):
            return False
        return True


@dataclass(frozen=True)
class Signer:
    """A private Ed25519 key and its name.  The seed never shows in ``repr``.

    Attributes:
        name: key name, as in :class:`Verifier`.
        seed: 32 secret bytes (RFC 8032 section 5.1.5).
    """

    name: str
    seed: bytes = field(repr=False)

    def __post_init__(self) -> None:
        _check_key_name(self.name)
        if len(self.seed) != _ED25519_KEY_BYTES:
            raise NoteError(f"private key has {len(self.seed)} bytes, not 32")

    @classmethod
    def generate(cls, name: str) -> Self:
        """Make a new key from the system's randomness."""
        return cls(name, Ed25519PrivateKey.generate().private_bytes_raw())

    @property
    def verifier(self) -> Verifier:
        """The public half."""
        key = Ed25519PrivateKey.from_private_bytes(self.seed).public_key()
        return Verifier(self.name, key.public_bytes_raw())

    def sign(self, message: bytes) -> bytes:
        """Return the 64-byte Ed25519 signature of ``message``."""
        return Ed25519PrivateKey.from_private_bytes(self.seed).sign(message)


@dataclass(frozen=True)
class OpenedNote:
    """A note of which at least one signature by a known key holds.

    Attributes:
        text: the signed text, with its final newline.
        signed_by: the known keys whose signatures hold, each once.
    """

    text: str
    signed_by: tuple[Verifier, ...]


def _check_note_text(text: str) -> None:
    if not text.endswith("\n") or text == "\n":
        raise NoteError("note: the text must not be empty and must end with a newline")
    if any(ord(c) < 0x20 and c != "\n" for c in text):
        raise NoteError("note: control characters other than newline are not allowed")
    if not _is_utf8(text):
        raise NoteError("note: the text holds half of a surrogate pair")


def sign_note(text: str, signers: Sequence[Signer]) -> str:
    """Sign a text (ending in newline) with each signer, as C2SP signed-note says.

    Raises:
        NoteError: the text can't be a note's text, or there is no signer.
    """
    _check_note_text(text)
    if not signers:
        raise NoteError("note: needs at least one signer")
    lines = []
    for signer in signers:
        signature = signer.verifier.key_id + signer.sign(text.encode("utf-8"))
        encoded = base64.b64encode(signature).decode("ascii")
        lines.append(f"{_SIGNATURE_MARK}{signer.name} {encoded}\n")
    return text + "\n" + "".join(lines)


def open_note(note: str, verifiers: Sequence[Verifier]) -> OpenedNote:
    """Check a signed note and return its text.

    Signatures by unknown keys are passed over; one by a known key that does not hold refuses
    the whole note (C2SP signed-note).

    Raises:
        NoteError: malformed, a known key's signature fails, or no known key signed.
    """
    if len(note) > _MOST_NOTE_CHARS:
        raise NoteError("note: too long")
    _check_note_text(note)
    # The signatures follow the last empty line; the text may hold empty lines of its own.
    head, separator, tail = note.rpartition("\n\n")
    if not separator:
        raise NoteError("note: no empty line before the signatures")
    text = head + "\n"
    _check_note_text(text)
    lines = tail.removesuffix("\n").split("\n")
    if len(lines) > _MOST_SIGNATURES:
        raise NoteError(f"note: more than {_MOST_SIGNATURES} signatures")

    known = {(verifier.name, verifier.key_id): verifier for verifier in verifiers}
    signed_by: list[Verifier] = []
    for line in lines:
        name, key_id, signature = _parse_signature_line(line)
        verifier = known.get((name, key_id))
        if verifier is None or verifier in signed_by:
            continue
        if not verifier.verifies(text.encode("utf-8"), signature):
            raise NoteError(f"note: the signature by {name} does not hold")
        signed_by.append(verifier)
    if not signed_by:
        raise NoteError("note: not signed by a known key")
    return OpenedNote(text, tuple(signed_by))


def _parse_signature_line(line: str) -> tuple[str, bytes, bytes]:
    """Split a signature line into key name, key id (4 bytes) and signature."""
    parts = line.removeprefix(_SIGNATURE_MARK).split(" ")
    if not line.startswith(_SIGNATURE_MARK) or len(parts) != 2:
        raise NoteError("note: a signature line is not '— name base64'")
    name, encoded = parts
    _check_key_name(name)
    data = _decode_base64(encoded, "note signature")
    if len(data) <= _KEY_ID_BYTES:
        raise NoteError("note: a signature is too short")
    return name, data[:_KEY_ID_BYTES], data[_KEY_ID_BYTES:]


# --- checkpoints -----------------------------------------------------------------------------


@dataclass(frozen=True)
class Checkpoint:
    """The state of one log at one size (C2SP tlog-checkpoint).

    Attributes:
        origin: which log this is; the same in all its checkpoints.
        size: leaves in the tree.
        root: root hash, 32 bytes.
        extensions: further lines, which the tree does not vouch for; best none.
    """

    origin: str
    size: int
    root: bytes
    extensions: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        for line in (self.origin, *self.extensions):
            if not line or any(ord(c) < 0x20 for c in line):
                raise NoteError(f"checkpoint: the line {line!r} is empty or holds a control")
        if self.size < 0:
            raise NoteError(f"checkpoint: the size {self.size} is negative")
        if len(self.root) != HASH_BYTES:
            raise NoteError(f"checkpoint: the root has {len(self.root)} bytes, not {HASH_BYTES}")

    @property
    def text(self) -> str:
        """The text to sign: origin, size in decimal, root in base64, one a line."""
        root = base64.b64encode(self.root).decode("ascii")
        return "".join(f"{line}\n" for line in (self.origin, self.size, root, *self.extensions))

    @classmethod
    def from_text(cls, text: str) -> Self:
        """Read the text of a checkpoint.

        Raises:
            NoteError: fewer than three lines, a size with leading zeros or signs, a root that
                is not 32 bytes of base64.
        """
        lines = text.removesuffix("\n").split("\n")
        if not text.endswith("\n") or len(lines) < 3:
            raise NoteError("checkpoint: needs the lines origin, size and root")
        origin, size, root, *extensions = lines
        if not (size.isascii() and size.isdigit() and (size == "0" or size[0] != "0")):
            raise NoteError(f"checkpoint: the size {size!r} is not a plain decimal number")
        if len(size) > 19:
            raise NoteError("checkpoint: the size is too large")
        return cls(origin, int(size), _decode_base64(root, "checkpoint root"), tuple(extensions))


def sign_checkpoint(checkpoint: Checkpoint, signers: Sequence[Signer]) -> str:
    """Return the checkpoint as a signed note."""
    return sign_note(checkpoint.text, signers)


def open_checkpoint(
    note: str, verifiers: Sequence[Verifier], origin: str | None = None
) -> Checkpoint:
    """Check a signed checkpoint and return it.

    Args:
        note: the signed note.
        verifiers: the keys that are trusted to sign.
        origin: the log it must belong to; without it, any log signed by a known key passes.

    Raises:
        NoteError: not a checkpoint, not signed by a known key, or of another log.
    """
    checkpoint = Checkpoint.from_text(open_note(note, verifiers).text)
    if origin is not None and checkpoint.origin != origin:
        raise NoteError(f"checkpoint of another log: {checkpoint.origin!r}, not {origin!r}")
    return checkpoint


# --- checking a history ----------------------------------------------------------------------


class FindingKind(StrEnum):
    """What is wrong with a history."""

    BAD_CHECKPOINT = "bad checkpoint"
    SPLIT = "two histories were signed"
    NO_CHECKPOINT = "no genuine checkpoint"
    ALTERED = "altered"
    MISSING = "missing"
    INSERTED = "inserted"


@dataclass(frozen=True)
class Finding:
    """One thing wrong with a history, and where.

    Attributes:
        kind: what is wrong.
        start: first position concerned: the leaf's index (from 0) in the sealed log; for a
            bad checkpoint, or two of one size, the index in the list of checkpoints given.
        stop: one past the last position concerned.  An inserted leaf sits before ``start``
            of the sealed log, and there ``stop`` equals ``start``.
        exact: True when each position in the range is itself at fault; False when all that
            can be told is that the fault lies within the range.
        message: the finding in words.
    """

    kind: FindingKind
    start: int
    stop: int
    exact: bool
    message: str


@dataclass(frozen=True)
class HistoryReport:
    """Outcome of :func:`verify_history`.

    Attributes:
        sealed_size: leaves covered by the newest genuine checkpoint.
        verified_size: leaves from the start that a genuine checkpoint proves untouched.
        unsealed_count: leaves given beyond the newest checkpoint; nothing vouches for them yet.
        findings: all that is wrong, in order; empty when the sealed history is intact.
    """

    sealed_size: int
    verified_size: int
    unsealed_count: int
    findings: tuple[Finding, ...]

    @property
    def intact(self) -> bool:
        """True when nothing is wrong with the sealed part."""
        return not self.findings


def verify_history(
    leaves: Sequence[bytes],
    checkpoints: Sequence[str],
    verifiers: Sequence[Verifier],
    origin: str,
    *,
    recorded_hashes: Sequence[bytes] | None = None,
    proofs: Mapping[int, Sequence[bytes]] | None = None,
) -> HistoryReport:
    """Check leaves against signed checkpoints and locate the first and every further fault.

    Every genuine checkpoint is compared with the root of that many leaves, which also proves
    the checkpoints consistent with one another.  Where a root differs, the fault is narrowed
    down by the best evidence there is:

    1. ``recorded_hashes`` whose own root is the signed one: exact, and an altered leaf is told
       from a missing or an inserted one;
    2. ``proofs``: each leaf with a proof is tried by itself; those that fail are named;
    3. otherwise the range between the last checkpoint that fits and the first that doesn't.

    Args:
        leaves: the canonical bytes of all events, in log order.
        checkpoints: signed notes, in any order.
        verifiers: the trusted public keys (several after a key was changed).
        origin: the log that the checkpoints must belong to.
        recorded_hashes: the leaf hashes as the log's keeper lists them.
        proofs: inclusion proofs by leaf index, to the newest genuine checkpoint.
    """
    findings, genuine = _open_all(checkpoints, verifiers, origin)
    if not genuine:
        nothing = Finding(
            FindingKind.NO_CHECKPOINT,
            0,
            len(leaves),
            False,
            "no genuine checkpoint, so nothing can be proved",
        )
        return HistoryReport(0, 0, len(leaves), (*findings, nothing))

    sealed = genuine[-1]
    hashes = [leaf_hash(leaf) for leaf in leaves]
    verified_size, first_bad = _compare_roots(hashes, genuine)
    if first_bad is not None:
        trusted = _trusted_hashes(recorded_hashes, sealed)
        if _fits(hashes, sealed):
            findings.append(_inconsistent(first_bad, sealed))
        elif trusted is not None:
            findings += _differences(hashes, trusted, sealed.size)
        else:
            failed = _failed_proofs(hashes, proofs or {}, sealed)
            findings += failed or [_bracket(verified_size, first_bad.size, len(leaves))]
    return HistoryReport(
        sealed.size, verified_size, max(len(leaves) - sealed.size, 0), tuple(findings)
    )


def _open_all(
    checkpoints: Sequence[str], verifiers: Sequence[Verifier], origin: str
) -> tuple[list[Finding], list[Checkpoint]]:
    """Return what is wrong with the checkpoints, and the genuine ones by size."""
    findings: list[Finding] = []
    by_size: dict[int, Checkpoint] = {}
    for position, note in enumerate(checkpoints):
        try:
            checkpoint = open_checkpoint(note, verifiers, origin)
        except NoteError as error:
            findings.append(
                Finding(FindingKind.BAD_CHECKPOINT, position, position + 1, True, str(error))
            )
            continue
        earlier = by_size.setdefault(checkpoint.size, checkpoint)
        if earlier.root != checkpoint.root:
            message = f"two signed checkpoints of {checkpoint.size} leaves have different roots"
            findings.append(Finding(FindingKind.SPLIT, position, position + 1, True, message))
    return findings, [by_size[size] for size in sorted(by_size)]


def _compare_roots(
    hashes: Sequence[bytes], genuine: Sequence[Checkpoint]
) -> tuple[int, Checkpoint | None]:
    """Return the size of the last checkpoint that fits, and the first that doesn't."""
    grown, verified_size = CompactRange(), 0
    for checkpoint in genuine:
        grown = grown.extend(hashes[grown.size : checkpoint.size])
        if grown.size != checkpoint.size or grown.root() != checkpoint.root:
            return verified_size, checkpoint
        verified_size = checkpoint.size
    return verified_size, None


def _fits(hashes: Sequence[bytes], checkpoint: Checkpoint) -> bool:
    """Tell whether the first leaf hashes give the checkpoint's root at its size."""
    if len(hashes) < checkpoint.size:
        return False
    return CompactRange().extend(hashes[: checkpoint.size]).root() == checkpoint.root


def _inconsistent(first_bad: Checkpoint, sealed: Checkpoint) -> Finding:
    """Say that the signer sealed two histories, one of which the leaves agree with."""
    message = (
        f"the signed checkpoint of {first_bad.size} leaves is not consistent with "
        f"the newest one, of {sealed.size}, which the leaves fit"
    )
    return Finding(FindingKind.SPLIT, 0, first_bad.size, False, message)


def _trusted_hashes(recorded: Sequence[bytes] | None, sealed: Checkpoint) -> Sequence[bytes] | None:
    """Return the recorded hashes, if those under the seal give the signed root."""
    if recorded is None:
        return None
    if any(len(value) != HASH_BYTES for value in recorded) or not _fits(recorded, sealed):
        return None
    return recorded


def _differences(
    hashes: Sequence[bytes], recorded: Sequence[bytes], sealed_size: int
) -> list[Finding]:
    """Name every sealed leaf that differs from the recorded hashes.

    The recorded hashes beyond the seal prove nothing, but they help to line up what is given,
    so that the loss of the last sealed leaf doesn't look like an alteration.
    """
    # SequenceMatcher is slow on long equal runs; most of a history is one before the fault.
    start = 0
    while start < min(len(hashes), sealed_size) and hashes[start] == recorded[start]:
        start += 1
    findings = []
    matcher = SequenceMatcher(None, recorded[start:], hashes[start:], autojunk=False)
    for tag, from_, to, given_from, given_to in matcher.get_opcodes():
        if tag == "equal":
            continue
        low, high = start + from_, start + to
        altered = min(high - low, given_to - given_from)
        inserted = given_to - given_from - altered
        for i in range(low, min(high, sealed_size)):
            is_altered = i < low + altered
            kind = FindingKind.ALTERED if is_altered else FindingKind.MISSING
            message = f"leaf {i} {'was altered' if is_altered else 'is missing'}"
            findings.append(Finding(kind, i, i + 1, True, message))
        # What follows the last sealed leaf is the unsealed tail, not an insertion.
        if inserted and high < sealed_size:
            message = f"{inserted} put in before leaf {high}"
            findings.append(Finding(FindingKind.INSERTED, high, high, True, message))
    return findings


def _failed_proofs(
    hashes: Sequence[bytes], proofs: Mapping[int, Sequence[bytes]], sealed: Checkpoint
) -> list[Finding]:
    """Name every leaf whose own inclusion proof fails."""
    findings = []
    for index in sorted(proofs):
        if index >= len(hashes):
            kind, message = FindingKind.MISSING, f"leaf {index} is missing"
        else:
            try:
                verify_inclusion(hashes[index], index, sealed.size, proofs[index], sealed.root)
            except ProofError as error:
                kind, message = FindingKind.ALTERED, f"leaf {index} or its proof: {error}"
            else:
                continue
        findings.append(Finding(kind, index, index + 1, True, message))
    return findings


def _bracket(verified_size: int, bad_size: int, leaf_count: int) -> Finding:
    """Say that the fault lies between two checkpoints."""
    if leaf_count < bad_size:
        kind = FindingKind.MISSING
        message = f"{leaf_count} leaves given, {bad_size} sealed: at least one is missing"
    else:
        kind = FindingKind.ALTERED
        message = "a leaf was altered, taken out or put in"
    return Finding(
        kind,
        verified_size,
        bad_size,
        False,
        f"{message}, between leaf {verified_size} and leaf {bad_size - 1}",
    )
