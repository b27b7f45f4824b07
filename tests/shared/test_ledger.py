from hashlib import sha256
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from shared.ledger import (
    EMPTY_ROOT,
    CanonicalError,
    Checkpoint,
    CompactRange,
    Finding,
    FindingKind,
    LedgerError,
    MerkleTree,
    NoteError,
    ProofError,
    Signer,
    Verifier,
    canonical_bytes,
    leaf_hash,
    node_hash,
    open_checkpoint,
    open_note,
    parse_canonical,
    sign_checkpoint,
    sign_note,
    verify_consistency,
    verify_history,
    verify_inclusion,
)

ORIGIN = "lagan.example/losses/demo"
SIGNER = Signer("lagan.example/key-1", bytes(range(32)))
OTHER = Signer("lagan.example/key-2", bytes(range(1, 33)))

json_values = st.recursive(
    st.none()
    | st.booleans()
    | st.integers(-(2**53) + 1, 2**53 - 1)
    | st.floats(allow_nan=False, allow_infinity=False)
    | st.text(),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(), inner, max_size=4),
    max_leaves=12,
)


def _leaves(count: int) -> list[bytes]:
    return [f"event {i}".encode() for i in range(count)]


def _naive_root(hashes: list[bytes]) -> bytes:
    """MTH of RFC 9162 section 2.1.1, written as its definition."""
    if not hashes:
        return sha256(b"").digest()
    if len(hashes) == 1:
        return hashes[0]
    split = 1
    while split * 2 < len(hashes):
        split *= 2
    return node_hash(_naive_root(hashes[:split]), _naive_root(hashes[split:]))


def _flip(data: bytes, bit: int) -> bytes:
    changed = bytearray(data)
    changed[bit // 8] ^= 1 << (bit % 8)
    return bytes(changed)


# --- canonical bytes


@given(json_values)
def test_canonical_bytes_read_back_and_are_stable(value: Any) -> None:
    canonical = canonical_bytes(value)
    assert parse_canonical(canonical) == value
    # -0.0 and 1.0 are written as 0 and 1, so types may change where bytes may not.
    assert canonical_bytes(parse_canonical(canonical)) == canonical


@given(st.dictionaries(st.text(), st.integers(-9, 9), min_size=2, max_size=6), st.randoms())
def test_the_order_of_keys_makes_no_difference(value: dict[str, int], random: Any) -> None:
    keys = list(value)
    random.shuffle(keys)
    assert canonical_bytes({key: value[key] for key in keys}) == canonical_bytes(value)


@pytest.mark.parametrize(
    ("data", "why"),
    [
        (b'{"b":1,"a":2}', "not in canonical form"),
        (b'{"a": 1}', "not in canonical form"),
        (b"1.0", "not in canonical form"),
        (b'"\\u0041"', "not in canonical form"),
        (b"NaN", "not a JSON number"),
        (b"1e999", "not a JSON number"),
        (b"9007199254740993", "not in canonical form"),
        (b"9" * 400, "not a JSON number"),
        (b"-0", "not in canonical form"),
        (b"{", "not JSON"),
        (b"", "not JSON"),
        (b'"\xff"', "not UTF-8"),
        (b"[" * 100_000, "nested too deeply"),
    ],
    ids=lambda value: str(value)[:24],
)
def test_bytes_in_another_form_are_refused(data: bytes, why: str) -> None:
    with pytest.raises(CanonicalError, match=why):
        parse_canonical(data)


def test_deep_values_are_refused_in_words() -> None:
    value: list[Any] = []
    for _ in range(100_000):
        value = [value]
    with pytest.raises(CanonicalError, match="nested too deeply"):
        canonical_bytes(value)


# --- the tree


@given(st.lists(st.binary(max_size=8), max_size=70))
def test_both_trees_follow_the_definition_and_append_stepwise(leaves: list[bytes]) -> None:
    hashes = [leaf_hash(leaf) for leaf in leaves]
    tree = MerkleTree(hashes)
    grown = CompactRange()
    for size in range(len(hashes) + 1):
        expected = _naive_root(hashes[:size])
        assert grown.root() == expected
        assert tree.root(size) == expected
        if size < len(hashes):
            grown = grown.append(hashes[size])
    assert CompactRange(grown.size, grown.peaks) == grown


def test_an_empty_tree_has_the_root_of_the_empty_text() -> None:
    assert CompactRange().root() == MerkleTree([]).root() == EMPTY_ROOT


@given(st.data())
def test_every_leaf_is_proved_in_every_tree(data: st.DataObject) -> None:
    size = data.draw(st.integers(1, 130), "size")
    index = data.draw(st.integers(0, size - 1), "index")
    tree = MerkleTree.of_leaves(_leaves(size + data.draw(st.integers(0, 5), "later leaves")))
    proof = tree.inclusion_proof(index, size)
    verify_inclusion(tree.leaf_hashes[index], index, size, proof, tree.root(size))


def test_every_proof_of_every_small_tree_holds() -> None:
    tree = MerkleTree.of_leaves(_leaves(24))
    for size in range(1, 25):
        for index in range(size):
            proof = tree.inclusion_proof(index, size)
            verify_inclusion(tree.leaf_hashes[index], index, size, proof, tree.root(size))
        for first in range(1, size + 1):
            verify_consistency(
                first, size, tree.root(first), tree.root(size), tree.consistency_proof(first, size)
            )


@given(st.data())
def test_one_flipped_bit_fails_an_inclusion_proof(data: st.DataObject) -> None:
    size = data.draw(st.integers(1, 130), "size")
    index = data.draw(st.integers(0, size - 1), "index")
    tree = MerkleTree.of_leaves(_leaves(size))
    parts = [tree.leaf_hashes[index], tree.root(), *tree.inclusion_proof(index)]
    which = data.draw(st.integers(0, len(parts) - 1), "part")
    parts[which] = _flip(parts[which], data.draw(st.integers(0, 255), "bit"))
    leaf, root, *proof = parts
    with pytest.raises(ProofError):
        verify_inclusion(leaf, index, size, proof, root)


@given(st.data())
def test_one_flipped_bit_fails_a_consistency_proof(data: st.DataObject) -> None:
    size = data.draw(st.integers(2, 130), "size")
    first = data.draw(st.integers(1, size - 1), "first size")
    tree = MerkleTree.of_leaves(_leaves(size))
    parts = [tree.root(first), tree.root(), *tree.consistency_proof(first)]
    which = data.draw(st.integers(0, len(parts) - 1), "part")
    parts[which] = _flip(parts[which], data.draw(st.integers(0, 255), "bit"))
    first_root, root, *proof = parts
    with pytest.raises(ProofError):
        verify_consistency(first, size, first_root, root, proof)


@given(st.integers(1, 60), st.integers(0, 59), st.integers(0, 59))
def test_a_proof_holds_at_no_other_position(size: int, index: int, other: int) -> None:
    index, other = index % size, other % size
    tree = MerkleTree.of_leaves(_leaves(size))
    if other == index:
        other = size
    with pytest.raises(ProofError):
        verify_inclusion(
            tree.leaf_hashes[index], other, size, tree.inclusion_proof(index), tree.root()
        )


@given(st.integers(2, 60), st.data())
def test_a_rewritten_history_has_no_consistency_proof(size: int, data: st.DataObject) -> None:
    first = data.draw(st.integers(1, size - 1), "first size")
    changed = data.draw(st.integers(0, first - 1), "changed leaf")
    leaves = _leaves(size)
    honest = MerkleTree.of_leaves(leaves[:first])
    leaves[changed] += b"!"
    rewritten = MerkleTree.of_leaves(leaves)
    with pytest.raises(ProofError):
        verify_consistency(
            first, size, honest.root(), rewritten.root(), rewritten.consistency_proof(first)
        )


def test_a_leaf_cannot_pass_for_a_node() -> None:
    left, right = leaf_hash(b"l"), leaf_hash(b"r")
    assert leaf_hash(left + right) != node_hash(left, right)


def test_wrong_sizes_are_refused() -> None:
    tree = MerkleTree.of_leaves(_leaves(5))
    with pytest.raises(ProofError, match="not in a tree of 5"):
        tree.inclusion_proof(5)
    with pytest.raises(ProofError, match="not within"):
        tree.root(6)
    with pytest.raises(ProofError, match="from size 0"):
        tree.consistency_proof(0)
    with pytest.raises(ProofError, match="from size 4 to size 3"):
        tree.consistency_proof(4, 3)
    with pytest.raises(ProofError, match="31 bytes"):
        CompactRange().append(bytes(31))
    with pytest.raises(LedgerError, match="5 leaves need 2 peaks"):
        CompactRange(5, (bytes(32),))


# --- keys and notes


def test_keys_round_trip_as_text_and_hide_their_seed() -> None:
    assert Verifier.from_text(SIGNER.verifier.text) == SIGNER.verifier
    assert Signer.generate("lagan.example/new").seed != Signer.generate("lagan.example/new").seed
    assert SIGNER.seed.hex() not in repr(SIGNER)
    assert repr(SIGNER.seed) not in repr(SIGNER)


@pytest.mark.parametrize(
    "text",
    [
        "",
        "a+b",
        SIGNER.verifier.text.replace("key-1", "key-9"),
        SIGNER.verifier.text[:-4],
        "two words" + SIGNER.verifier.text.removeprefix("lagan.example/key-1"),
    ],
)
def test_bad_verifier_texts_are_refused(text: str) -> None:
    with pytest.raises(NoteError):
        Verifier.from_text(text)


@given(st.text(min_size=1).map(lambda t: t + "\n"))
def test_notes_open_to_the_text_signed(text: str) -> None:
    if any(ord(c) < 0x20 and c != "\n" for c in text):
        with pytest.raises(NoteError):
            sign_note(text, [SIGNER])
        return
    note = sign_note(text, [SIGNER, OTHER])
    assert open_note(note, [SIGNER.verifier]).text == text
    opened = open_note(note, [OTHER.verifier, SIGNER.verifier])
    assert opened.signed_by == (SIGNER.verifier, OTHER.verifier)


@settings(max_examples=200)
@given(st.data())
def test_one_flipped_bit_fails_a_note(data: st.DataObject) -> None:
    note = sign_checkpoint(Checkpoint(ORIGIN, 3, leaf_hash(b"x")), [SIGNER]).encode()
    changed = _flip(note, data.draw(st.integers(0, len(note) * 8 - 1)))
    with pytest.raises((NoteError, UnicodeDecodeError)):
        open_checkpoint(changed.decode("utf-8"), [SIGNER.verifier], ORIGIN)


def test_notes_need_a_known_key_and_no_failing_one() -> None:
    note = sign_note("text\n", [SIGNER])
    with pytest.raises(NoteError, match="known key"):
        open_note(note, [OTHER.verifier])
    renamed = Verifier(SIGNER.name, OTHER.verifier.public_key)
    with pytest.raises(NoteError, match="known key"):
        open_note(note, [renamed])
    # A genuine signature beside a failing one by another known key refuses the whole.
    foreign = sign_note("other\n", [OTHER]).rpartition("\n\n")[2]
    with pytest.raises(NoteError, match="does not hold"):
        open_note(note + foreign, [SIGNER.verifier, OTHER.verifier])
    assert open_note(note + foreign, [SIGNER.verifier]).text == "text\n"


@pytest.mark.parametrize(
    "note",
    [
        "",
        "\n",
        "text\n",
        "text\n\n",
        "text\n\nno mark\n",
        "text\n\n— name\n",
        "text\n\n— name AAAA\n",
        "text\n\n— name AAAAAAAAAA=\n",
        "text\n\n— na+me AAAAAAAA\n",
        "te\txt\n\n— name AAAAAAAA\n",
        "text\n\n— name AAAAAAAA",
        "text\n\n" + "— name AAAAAAAA\n" * 101,
        "x" * 1_000_001,
    ],
    ids=lambda note: repr(note[:24]),
)
def test_malformed_notes_are_refused(note: str) -> None:
    with pytest.raises(NoteError):
        open_note(note, [SIGNER.verifier])


@pytest.mark.parametrize(
    "text",
    [
        "origin\n3\n",
        "origin\n03\n" + "A" * 43 + "=\n",
        "origin\n-3\n" + "A" * 43 + "=\n",
        "origin\n٣\n" + "A" * 43 + "=\n",
        "origin\n" + "9" * 20 + "\n" + "A" * 43 + "=\n",
        "origin\n3\nAAAA\n",
        "\n3\n" + "A" * 43 + "=\n",
        "origin\n3\n" + "A" * 42 + "B=\n",
        "origin\n3\n" + "A" * 43 + "=",
        "origin\n3\n" + "A" * 43 + "=\n\n",
    ],
)
def test_malformed_checkpoints_are_refused(text: str) -> None:
    with pytest.raises(NoteError):
        Checkpoint.from_text(text)


def test_checkpoints_round_trip_and_name_their_log() -> None:
    checkpoint = Checkpoint(ORIGIN, 12, leaf_hash(b"x"), ("more",))
    note = sign_checkpoint(checkpoint, [SIGNER])
    assert open_checkpoint(note, [SIGNER.verifier], ORIGIN) == checkpoint
    with pytest.raises(NoteError, match="another log"):
        open_checkpoint(note, [SIGNER.verifier], "lagan.example/losses/other")


# --- histories


def _seal(leaves: list[bytes], sizes: list[int]) -> list[str]:
    tree = MerkleTree.of_leaves(leaves)
    return [sign_checkpoint(Checkpoint(ORIGIN, size, tree.root(size)), [SIGNER]) for size in sizes]


def _found(findings: tuple[Finding, ...]) -> list[tuple[FindingKind, int, int, bool]]:
    return [(f.kind, f.start, f.stop, f.exact) for f in findings]


LEAVES = _leaves(50)
SEALS = _seal(LEAVES, [7, 20, 40])
HASHES = [leaf_hash(leaf) for leaf in LEAVES]


def test_an_intact_history_says_how_far_it_is_sealed() -> None:
    report = verify_history(LEAVES, SEALS[::-1], [SIGNER.verifier], ORIGIN)
    assert report.intact
    assert (report.sealed_size, report.verified_size, report.unsealed_count) == (40, 40, 10)


def test_checkpoints_alone_bracket_the_fault() -> None:
    leaves = [*LEAVES]
    leaves[11] += b"!"
    report = verify_history(leaves, SEALS, [SIGNER.verifier], ORIGIN)
    assert _found(report.findings) == [(FindingKind.ALTERED, 7, 20, False)]
    assert report.verified_size == 7
    short = verify_history(LEAVES[:30], SEALS, [SIGNER.verifier], ORIGIN)
    assert _found(short.findings) == [(FindingKind.MISSING, 20, 40, False)]


@given(st.integers(0, 39), st.integers(0, 7), st.booleans())
def test_one_altered_leaf_is_found_exactly(index: int, bit: int, by_proof: bool) -> None:
    leaves = [*LEAVES]
    leaves[index] = _flip(leaves[index], bit)
    tree = MerkleTree(HASHES)
    proofs = {i: tree.inclusion_proof(i, 40) for i in range(40)}
    report = verify_history(
        leaves,
        SEALS,
        [SIGNER.verifier],
        ORIGIN,
        recorded_hashes=None if by_proof else HASHES,
        proofs=proofs if by_proof else None,
    )
    assert _found(report.findings) == [(FindingKind.ALTERED, index, index + 1, True)]
    assert report.verified_size == max(size for size in (0, 7, 20) if size <= index)


@given(st.integers(0, 39))
def test_a_missing_leaf_is_found_exactly(index: int) -> None:
    leaves = LEAVES[:index] + LEAVES[index + 1 :]
    report = verify_history(leaves, SEALS, [SIGNER.verifier], ORIGIN, recorded_hashes=HASHES)
    assert _found(report.findings) == [(FindingKind.MISSING, index, index + 1, True)]


@given(st.integers(0, 39))
def test_an_inserted_leaf_is_found_exactly(index: int) -> None:
    leaves = [*LEAVES[:index], b"new", *LEAVES[index:]]
    report = verify_history(leaves, SEALS, [SIGNER.verifier], ORIGIN, recorded_hashes=HASHES)
    assert _found(report.findings) == [(FindingKind.INSERTED, index, index, True)]


def test_several_faults_are_all_named() -> None:
    leaves = [*LEAVES]
    leaves[3] = b"changed"
    del leaves[30]
    report = verify_history(leaves, SEALS, [SIGNER.verifier], ORIGIN, recorded_hashes=HASHES)
    assert _found(report.findings) == [
        (FindingKind.ALTERED, 3, 4, True),
        (FindingKind.MISSING, 30, 31, True),
    ]


def test_recorded_hashes_that_were_altered_too_are_not_believed() -> None:
    leaves = [*LEAVES]
    leaves[11] += b"!"
    recorded = [leaf_hash(leaf) for leaf in leaves]
    report = verify_history(leaves, SEALS, [SIGNER.verifier], ORIGIN, recorded_hashes=recorded)
    assert _found(report.findings) == [(FindingKind.ALTERED, 7, 20, False)]


def test_a_proof_for_a_leaf_that_is_not_there_names_it() -> None:
    tree = MerkleTree(HASHES)
    proofs = {i: tree.inclusion_proof(i, 40) for i in (2, 39)}
    report = verify_history(LEAVES[:39], SEALS, [SIGNER.verifier], ORIGIN, proofs=proofs)
    assert _found(report.findings) == [(FindingKind.MISSING, 39, 40, True)]


def test_checkpoints_that_are_not_genuine_are_named_and_left_out() -> None:
    forged = SEALS[1].replace("\n20\n", "\n21\n")
    foreign = sign_checkpoint(Checkpoint("elsewhere", 20, MerkleTree(HASHES).root(20)), [SIGNER])
    report = verify_history(LEAVES, [SEALS[0], forged, foreign], [SIGNER.verifier], ORIGIN)
    assert _found(report.findings) == [
        (FindingKind.BAD_CHECKPOINT, 1, 2, True),
        (FindingKind.BAD_CHECKPOINT, 2, 3, True),
    ]
    assert report.verified_size == 7


def test_without_a_genuine_checkpoint_nothing_is_called_intact() -> None:
    report = verify_history(LEAVES, [], [SIGNER.verifier], ORIGIN)
    assert not report.intact
    assert [f.kind for f in report.findings] == [FindingKind.NO_CHECKPOINT]
    assert report.verified_size == 0


def test_two_signed_histories_are_found() -> None:
    rewritten = [b"changed", *LEAVES[1:]]
    same_size = verify_history(LEAVES, [*SEALS, *_seal(rewritten, [20])], [SIGNER.verifier], ORIGIN)
    assert [f.kind for f in same_size.findings] == [FindingKind.SPLIT]
    other_size = verify_history(
        LEAVES,
        [*SEALS, *_seal(rewritten, [15])],
        [SIGNER.verifier],
        ORIGIN,
        recorded_hashes=HASHES,
    )
    assert [f.kind for f in other_size.findings] == [FindingKind.SPLIT]


def test_a_changed_key_keeps_the_history_checkable() -> None:
    tree = MerkleTree(HASHES)
    later = sign_checkpoint(Checkpoint(ORIGIN, 50, tree.root()), [OTHER])
    report = verify_history(LEAVES, [*SEALS, later], [SIGNER.verifier, OTHER.verifier], ORIGIN)
    assert report.intact
    assert report.verified_size == 50


def test_one_byte_in_ten_thousand_leaves_is_located() -> None:
    leaves = _leaves(10_000)
    seals = _seal(leaves, [10_000])
    hashes = [leaf_hash(leaf) for leaf in leaves]
    leaves[6_543] = _flip(leaves[6_543], 0)
    report = verify_history(leaves, seals, [SIGNER.verifier], ORIGIN, recorded_hashes=hashes)
    assert _found(report.findings) == [(FindingKind.ALTERED, 6_543, 6_544, True)]
