"""The ledger against published vectors; each file's source is in ``vectors/SOURCE.md``."""

import base64
import json
import struct
from hashlib import sha256
from pathlib import Path
from typing import Any

import pytest

from shared import ledger

VECTORS = Path(__file__).parent / "vectors"


def _load(name: str) -> Any:
    return json.loads((VECTORS / f"{name}.json").read_text(encoding="utf-8"))


MERKLE = _load("rfc6962_merkle")
INCLUSION = _load("rfc6962_inclusion_probes")["cases"]
CONSISTENCY = _load("rfc6962_consistency_probes")["cases"]
JCS = _load("rfc8785_jcs")
ED25519 = _load("rfc8032_ed25519")["cases"]
NOTE = _load("signed_note")

LEAVES = [bytes.fromhex(leaf) for leaf in MERKLE["leaf_inputs_hex"]]


def test_the_vector_files_are_whole() -> None:
    assert len(LEAVES) == 8
    assert sum(not case["wantErr"] for case in INCLUSION) == 6
    assert len(INCLUSION) == 98
    assert sum(not case["wantErr"] for case in CONSISTENCY) == 6
    assert len(CONSISTENCY) == 98
    assert len(JCS["object_cases"]) == 6
    assert len(JCS["number_cases"]) == 26


# --- RFC 6962 / RFC 9162 section 2.1: transparency-dev/merkle ---------------------------------


@pytest.mark.parametrize(("size", "root"), list(MERKLE["root_by_size"].items()))
def test_roots_rfc6962(size: str, root: str) -> None:
    hashes = [ledger.leaf_hash(leaf) for leaf in LEAVES[: int(size)]]
    assert ledger.CompactRange().extend(hashes).root().hex() == root
    assert ledger.MerkleTree(hashes).root().hex() == root
    assert ledger.MerkleTree.of_leaves(LEAVES).root(int(size)).hex() == root


def test_inner_nodes_rfc6962() -> None:
    level = [ledger.leaf_hash(leaf) for leaf in LEAVES]
    for expected in MERKLE["node_hashes_by_level"]:
        assert [node.hex() for node in level] == expected
        level = [ledger.node_hash(*level[i : i + 2]) for i in range(0, len(level) - 1, 2)]


@pytest.mark.parametrize("case", MERKLE["single_hash_cases"], ids=lambda case: case["desc"])
def test_single_hashes_rfc6962(case: dict[str, str]) -> None:
    if "leaf_hex" in case:
        computed = ledger.leaf_hash(bytes.fromhex(case["leaf_hex"]))
    else:
        computed = ledger.node_hash(
            bytes.fromhex(case["left_hex"]), bytes.fromhex(case["right_hex"])
        )
    assert computed.hex() == case["hash"]


@pytest.mark.parametrize("case", INCLUSION, ids=lambda case: case["id"])
def test_inclusion_probes_rfc6962(case: dict[str, Any]) -> None:
    arguments = (
        bytes.fromhex(case["leafHash"]),
        case["leafIdx"],
        case["treeSize"],
        [bytes.fromhex(part) for part in case["proof"]],
        bytes.fromhex(case["root"]),
    )
    if case["wantErr"]:
        with pytest.raises(ledger.ProofError):
            ledger.verify_inclusion(*arguments)
    else:
        ledger.verify_inclusion(*arguments)


@pytest.mark.parametrize("case", CONSISTENCY, ids=lambda case: case["id"])
def test_consistency_probes_rfc6962(case: dict[str, Any]) -> None:
    arguments = (
        case["size1"],
        case["size2"],
        bytes.fromhex(case["root1"]),
        bytes.fromhex(case["root2"]),
        [bytes.fromhex(part) for part in case["proof"]],
    )
    if case["wantErr"]:
        with pytest.raises(ledger.ProofError):
            ledger.verify_consistency(*arguments)
    else:
        ledger.verify_consistency(*arguments)


@pytest.mark.parametrize("case", [c for c in INCLUSION if not c["wantErr"]], ids=lambda c: c["id"])
def test_our_inclusion_proofs_equal_the_published_ones(case: dict[str, Any]) -> None:
    tree = ledger.MerkleTree.of_leaves(LEAVES)
    if bytes.fromhex(case["root"]) != tree.root(case["treeSize"]):
        # One accepted probe is of a tree of one leaf that is not among the eight.
        tree = ledger.MerkleTree([bytes.fromhex(case["leafHash"])])
    proof = tree.inclusion_proof(case["leafIdx"], case["treeSize"])
    assert [part.hex() for part in proof] == case["proof"]


@pytest.mark.parametrize(
    "case",
    [c for c in CONSISTENCY if not c["wantErr"] and len(c["root1"]) == 64],
    ids=lambda c: c["id"],
)
def test_our_consistency_proofs_equal_the_published_ones(case: dict[str, Any]) -> None:
    tree = ledger.MerkleTree.of_leaves(LEAVES)
    assert tree.root(case["size1"]).hex() == case["root1"]
    proof = tree.consistency_proof(case["size1"], case["size2"])
    assert [part.hex() for part in proof] == case["proof"]


# --- RFC 8785: cyberphone/json-canonicalization and appendix B --------------------------------


@pytest.mark.parametrize("case", JCS["object_cases"], ids=lambda case: case["name"])
def test_documents_rfc8785(case: dict[str, str]) -> None:
    canonical = ledger.canonical_bytes(json.loads(case["input_utf8"]))
    assert canonical.hex() == case["canonical_hex"]
    assert sha256(canonical).hexdigest() == case["sha256_of_canonical"]
    # Python's 4.50 and 56.0 read back as the same numbers, so canonical bytes read back too.
    assert ledger.canonical_bytes(ledger.parse_canonical(canonical)) == canonical


@pytest.mark.parametrize("case", JCS["number_cases"], ids=lambda case: case["ieee754_be_hex"])
def test_numbers_rfc8785_appendix_b(case: dict[str, str | None]) -> None:
    bits = case["ieee754_be_hex"]
    assert bits is not None
    (number,) = struct.unpack(">d", bytes.fromhex(bits))
    if case["json"] is None:
        with pytest.raises(ledger.CanonicalError):
            ledger.canonical_bytes(number)
    else:
        assert ledger.canonical_bytes(number).decode("ascii") == case["json"]


@pytest.mark.parametrize(
    ("value", "named"),
    [
        ({"a": [1.0, float("nan")]}, "$.a[1]"),
        (float("inf"), "$"),
        ({"maker": "\udead"}, "$.maker"),
        ({"\udead": 1}, "surrogate"),
        ({"a": {1: "x"}}, "$.a: the key 1"),
        ([2**53], "$[0]"),
        (-(2**53), "$"),
        ({"when": object()}, "$.when"),
    ],
    ids=["nan", "infinity", "surrogate", "surrogate key", "key", "2**53", "-2**53", "type"],
)
def test_refusals_rfc8785_and_rfc7493(value: Any, named: str) -> None:
    with pytest.raises(ledger.CanonicalError) as refused:
        ledger.canonical_bytes(value)
    assert named in str(refused.value)


def test_repeated_keys_are_refused_rfc7493_section_2_3() -> None:
    with pytest.raises(ledger.CanonicalError, match="given twice"):
        ledger.parse_canonical(b'{"a":1,"a":1}')


# --- RFC 8032 section 7.1 ---------------------------------------------------------------------


@pytest.mark.parametrize("case", ED25519, ids=lambda case: f"TEST {case['test']}")
def test_ed25519_rfc8032(case: dict[str, str]) -> None:
    signer = ledger.Signer("example.com/key", bytes.fromhex(case["secret_hex"]))
    message = bytes.fromhex(case["message_hex"])
    signature = bytes.fromhex(case["signature_hex"])
    assert signer.verifier.public_key.hex() == case["public_hex"]
    assert signer.sign(message) == signature
    assert signer.verifier.verifies(message, signature)
    assert not signer.verifier.verifies(message + b"x", signature)


# --- C2SP signed-note and tlog-checkpoint -----------------------------------------------------


def test_signed_note_c2sp() -> None:
    verifier = ledger.Verifier.from_text(NOTE["signed_note"]["vkey"])
    assert verifier.name == "example.com/foo"
    assert verifier.key_id.hex() == "530d903a"
    assert verifier.text == NOTE["signed_note"]["vkey"]
    opened = ledger.open_note(NOTE["signed_note"]["note"], [verifier])
    assert opened.text == "This is an example message.\n"
    assert opened.signed_by == (verifier,)


def test_signed_note_c2sp_with_another_text_is_refused() -> None:
    verifier = ledger.Verifier.from_text(NOTE["signed_note"]["vkey"])
    forged = NOTE["signed_note"]["note"].replace("an example", "no example")
    with pytest.raises(ledger.NoteError, match="does not hold"):
        ledger.open_note(forged, [verifier])


def test_checkpoint_c2sp() -> None:
    text = NOTE["checkpoint_format_example_no_key"].partition("\n\n")[0] + "\n"
    checkpoint = ledger.Checkpoint.from_text(text)
    assert checkpoint.origin == "example.com/behind-the-sofa"
    assert checkpoint.size == 20852163
    encoded = base64.b64encode(checkpoint.root)
    assert encoded == b"CsUYapGGPo4dkMgIAUqom/Xajj7h2fB2MPA3j2jxq2I="
    assert checkpoint.text == text
