"""The ledger at its edges: what each refusal says, and where each finding points.

The forms are those of RFC 8785 (canonical JSON), RFC 7493 (whole numbers up to 2**53 - 1),
RFC 9162 section 2.1 (proofs), RFC 4648 (base64) and the C2SP documents ``signed-note`` and
``tlog-checkpoint``. The logs and keys are invented.
"""

import base64
import re
from hashlib import sha256
from typing import Any

import pytest

from shared.ledger import (
    EMPTY_ROOT,
    CanonicalError,
    Checkpoint,
    CompactRange,
    Finding,
    FindingKind,
    HistoryReport,
    LedgerError,
    MerkleTree,
    NoteError,
    OpenedNote,
    ProofError,
    Signer,
    Verifier,
    canonical_bytes,
    leaf_hash,
    open_checkpoint,
    open_note,
    parse_canonical,
    sign_checkpoint,
    sign_note,
    verify_consistency,
    verify_history,
    verify_inclusion,
)

LARGEST = 9_007_199_254_740_991  # 2**53 - 1
ORIGIN = "lagan.example/losses/demo"
SIGNER = Signer("lagan.example/key-1", bytes(range(32)))
OTHER = Signer("lagan.example/key-2", bytes(range(1, 33)))
LONE = "\ud800"


def _says(sentence: str) -> str:
    """The pattern of an error that is this sentence and nothing more."""
    return f"^{re.escape(sentence)}$"


# --- canonical bytes


@pytest.mark.parametrize(
    ("value", "said"),
    [
        (float("nan"), "no canonical form at $: nan is not a JSON number"),
        (float("-inf"), "no canonical form at $: -inf is not a JSON number"),
        (
            LARGEST + 1,
            f"no canonical form at $: {LARGEST + 1} is beyond ±(2**53 - 1); write it as text",
        ),
        (
            {"a": [0, -LARGEST - 1]},
            f"no canonical form at $.a[1]: {-LARGEST - 1} is beyond ±(2**53 - 1); write it as text",
        ),
        ([LONE], "no canonical form at $[0]: the text holds half of a surrogate pair"),
        (
            {"a": {LONE: 1}},
            f"no canonical form at $.a: the key {LONE!r} holds half of a surrogate pair",
        ),
        ({"a": {1: 2}}, "no canonical form at $.a: the key 1 is not text"),
        (
            {"a": ({1},)},
            "no canonical form at $.a[0]: set is no JSON type; write it as text",
        ),
        (b"x", "no canonical form at $: bytes is no JSON type; write it as text"),
    ],
    ids=repr,
)
def test_what_has_no_canonical_form_is_named_with_its_place(value: Any, said: str) -> None:
    with pytest.raises(CanonicalError, match=_says(said)):
        canonical_bytes(value)


@pytest.mark.parametrize(
    "sound",
    [None, True, False, "fine", LARGEST, -LARGEST, 1.5, [], [1, [2]], (), {}, {"k": [None]}],
    ids=repr,
)
def test_what_is_sound_beside_the_trouble_is_passed_over(sound: Any) -> None:
    with pytest.raises(CanonicalError, match=r"^no canonical form at \$\[1\]: nan "):
        canonical_bytes([sound, float("nan")])
    with pytest.raises(CanonicalError, match=r"^no canonical form at \$\.z\.z: nan "):
        canonical_bytes({"a": sound, "z": {"a": sound, "z": float("nan")}})
    assert parse_canonical(canonical_bytes(sound)) in (sound, list(sound) if sound == () else None)


@pytest.mark.parametrize("number", [0, 5, -5, LARGEST, -LARGEST])
def test_a_whole_number_that_every_reader_keeps_is_read_as_whole(number: int) -> None:
    read = parse_canonical(str(number).encode())
    assert read == number
    assert type(read) is int


def test_a_larger_number_is_read_as_the_double_it_is_in_json() -> None:
    # RFC 8785 section 3.2.2.3: numbers are IEEE 754 doubles; 2**53 + 2 is one exactly.
    read = parse_canonical(b"9007199254740994")
    assert read == 9_007_199_254_740_994
    assert type(read) is float


@pytest.mark.parametrize(
    ("data", "said"),
    [
        (b'{"a":1,"a":2}', "the key 'a' is given twice in one object"),
        (b'{"b":2,"a":1}', "JSON, but not in canonical form: write it by RFC 8785"),
        (b"[" * 100_000, "nested too deeply"),
    ],
    ids=["twice", "unsorted", "deep"],
)
def test_bytes_that_are_not_canonical_are_refused_in_a_sentence(data: bytes, said: str) -> None:
    with pytest.raises(CanonicalError, match=_says(said)):
        parse_canonical(data)


def test_bytes_that_are_no_json_say_what_stands_in_the_way() -> None:
    with pytest.raises(CanonicalError, match=r"^not UTF-8: .*0xff"):
        parse_canonical(b'"\xff"')
    with pytest.raises(CanonicalError, match=r"^not JSON: .*line 1 column 2"):
        parse_canonical(b"{")


def test_a_value_too_deep_to_write_says_how_to_mend_it() -> None:
    value: list[Any] = []
    for _ in range(100_000):
        value = [value]
    with pytest.raises(
        CanonicalError, match=_says("no canonical form: nested too deeply; flatten the value")
    ):
        canonical_bytes(value)


# --- trees and proofs

TREE = MerkleTree.of_leaves([b"%d" % number for number in range(7)])
SHORT = bytes(31)
SHORT_SAID = "has 31 bytes; a SHA-256 hash has 32"


def test_an_empty_log_has_the_hash_of_nothing_as_its_root() -> None:
    assert CompactRange().root() == MerkleTree([]).root(0) == EMPTY_ROOT
    # SHA-256 of the empty text (FIPS 180-4 example values).
    assert EMPTY_ROOT.hex() == ("e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855")


@pytest.mark.parametrize(
    ("size", "peaks", "said"),
    [
        (1, (), "1 leaves need 1 peaks, not 0"),
        (4, (SHORT, SHORT), "4 leaves need 1 peaks, not 2"),
        (-1, (), "-1 leaves need 0 peaks, not 0"),
        (-1, (bytes(32),), "-1 leaves need 0 peaks, not 1"),
        (1, (SHORT,), f"peak {SHORT_SAID}"),
    ],
)
def test_a_range_needs_one_hash_for_each_complete_subtree(
    size: int, peaks: tuple[bytes, ...], said: str
) -> None:
    with pytest.raises(LedgerError, match=_says(said)):
        CompactRange(size, peaks)


def test_only_hashes_of_32_bytes_go_into_a_tree() -> None:
    for append in (lambda leaf: CompactRange().append(leaf), lambda leaf: MerkleTree([leaf])):
        for leaf in (SHORT, bytes(33), b""):
            with pytest.raises(
                ProofError,
                match=_says(f"leaf hash has {len(leaf)} bytes; a SHA-256 hash has 32"),
            ):
                append(leaf)


def test_a_range_goes_on_from_any_size() -> None:
    hashes = list(TREE.leaf_hashes)
    for size in range(8):
        head = CompactRange().extend(hashes[:size])
        assert (head.size, len(head.peaks)) == (size, size.bit_count())
        assert head.extend(hashes[size:]).root() == TREE.root()
    assert TREE.size == 7


@pytest.mark.parametrize(
    ("asked", "said"),
    [
        (lambda: TREE.root(8), "size 8 is not within the tree of 7 leaves"),
        (lambda: TREE.root(-1), "size -1 is not within the tree of 7 leaves"),
        (lambda: TREE.inclusion_proof(0, 8), "size 8 is not within the tree of 7 leaves"),
        (lambda: TREE.inclusion_proof(3, 3), "leaf 3 is not in a tree of 3 leaves"),
        (lambda: TREE.inclusion_proof(-1), "leaf -1 is not in a tree of 7 leaves"),
        (lambda: TREE.consistency_proof(1, 8), "size 8 is not within the tree of 7 leaves"),
        (lambda: TREE.consistency_proof(0), "no consistency proof from size 0 to size 7"),
        (lambda: TREE.consistency_proof(6, 5), "no consistency proof from size 6 to size 5"),
    ],
)
def test_a_proof_of_what_is_not_there_is_refused(asked: Any, said: str) -> None:
    with pytest.raises(ProofError, match=_says(said)):
        asked()


def test_trees_of_one_size_are_consistent_without_a_proof() -> None:
    assert TREE.consistency_proof(7) == TREE.consistency_proof(4, 4) == ()
    verify_consistency(7, 7, TREE.root(), TREE.root(), [])


INCLUSION = TREE.inclusion_proof(2)
CONSISTENCY = TREE.consistency_proof(3)


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        ({"leaf": SHORT}, f"leaf hash {SHORT_SAID}"),
        ({"index": -1}, "leaf -1 is not in a tree of 7 leaves"),
        ({"index": 7}, "leaf 7 is not in a tree of 7 leaves"),
        ({"size": 0}, "leaf 2 is not in a tree of 0 leaves"),
        ({"proof": [*INCLUSION[:2], SHORT]}, f"proof hash {SHORT_SAID}"),
        ({"proof": [*INCLUSION, bytes(32)]}, "the proof is longer than the tree is high"),
        ({"proof": INCLUSION[:-1]}, "the proof is too short"),
        ({"proof": []}, "the proof is too short"),
        ({"root": TREE.root(6)}, "the proof does not lead to the root"),
        ({"leaf": TREE.leaf_hashes[3]}, "the proof does not lead to the root"),
    ],
)
def test_an_inclusion_proof_that_does_not_hold_says_why(changed: dict[str, Any], said: str) -> None:
    sound: dict[str, Any] = {
        "leaf": TREE.leaf_hashes[2],
        "index": 2,
        "size": 7,
        "proof": INCLUSION,
        "root": TREE.root(),
    }
    verify_inclusion(**sound)
    with pytest.raises(ProofError, match=_says(said)):
        verify_inclusion(**(sound | changed))


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        ({"first_size": 0}, "no consistency proof goes from size 0 to size 7"),
        ({"first_size": 8}, "no consistency proof goes from size 8 to size 7"),
        ({"first_size": 7}, "trees of the same size need an empty proof"),
        ({"first_size": 7, "proof": []}, "two different roots for 7 leaves"),
        ({"proof": []}, "the proof is empty"),
        ({"proof": [*CONSISTENCY[:-1], SHORT]}, f"proof hash {SHORT_SAID}"),
        ({"proof": [*CONSISTENCY, bytes(32)]}, "the proof is longer than the tree is high"),
        ({"proof": CONSISTENCY[:-1]}, "the proof is too short"),
        ({"first_root": TREE.root(4)}, "the proof does not lead to the earlier root"),
        ({"root": TREE.root(6)}, "the proof does not lead to the later root"),
    ],
)
def test_a_consistency_proof_that_does_not_hold_says_why(
    changed: dict[str, Any], said: str
) -> None:
    sound: dict[str, Any] = {
        "first_size": 3,
        "size": 7,
        "first_root": TREE.root(3),
        "root": TREE.root(),
        "proof": CONSISTENCY,
    }
    verify_consistency(**sound)
    with pytest.raises(ProofError, match=_says(said)):
        verify_consistency(**(sound | changed))


# --- keys


@pytest.mark.parametrize("name", ["", "a+b", "+", "two words", "tab\tbed", "nul\x00", "no\u00a0"])
def test_a_key_name_is_one_plain_word(name: str) -> None:
    said = _says(f"key name {name!r}: needs text without spaces, controls and '+'")
    with pytest.raises(NoteError, match=said):
        Signer(name, bytes(32))
    with pytest.raises(NoteError, match=said):
        Verifier(name, bytes(32))


@pytest.mark.parametrize("count", [0, 31, 33, 64])
def test_a_key_has_32_bytes(count: int) -> None:
    with pytest.raises(NoteError, match=_says(f"private key has {count} bytes, not 32")):
        Signer("key", bytes(count))
    with pytest.raises(NoteError, match=_says(f"public key has {count} bytes, not 32")):
        Verifier("key", bytes(count))


def test_a_new_key_has_the_name_asked_for_and_signs() -> None:
    signer = Signer.generate("lagan.example/new")
    assert signer.name == signer.verifier.name == "lagan.example/new"
    assert signer.verifier.verifies(b"message", signer.sign(b"message"))


def test_a_signature_on_anything_else_or_of_another_length_does_not_hold() -> None:
    signature = SIGNER.sign(b"message")
    assert len(signature) == 64
    assert not SIGNER.verifier.verifies(b"Message", signature)
    assert not OTHER.verifier.verifies(b"message", signature)
    for malformed in (signature[:63], signature + b"x", b""):
        assert not SIGNER.verifier.verifies(b"message", malformed)


def test_a_key_line_is_the_name_the_key_id_and_the_key_joined_by_plus() -> None:
    verifier = SIGNER.verifier
    name, key_id, key = verifier.text.split("+", 2)
    assert name == "lagan.example/key-1"
    assert base64.b64decode(key) == b"\x01" + verifier.public_key
    # C2SP signed-note: the first four bytes of SHA-256(name || 0x0A || 0x01 || key).
    digest = sha256(b"lagan.example/key-1\n\x01" + verifier.public_key).hexdigest()
    assert key_id == digest[:8]
    assert verifier.key_id.hex() == digest[:8]


def test_a_key_line_reads_back_with_space_around_it_and_plus_signs_in_it() -> None:
    keys = (Signer("key", bytes([number]) * 32).verifier for number in range(256))
    with_plus = next(key for key in keys if "+" in key.text.split("+", 2)[2])
    assert Verifier.from_text(f"  {with_plus.text}\n") == with_plus


def _key_line(name: str, key_id: str, key: bytes) -> str:
    return f"{name}+{key_id}+{base64.b64encode(key).decode()}"


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ("", "verifier key: needs name, key id and key, joined by '+'"),
        ("name+00000000", "verifier key: needs name, key id and key, joined by '+'"),
        ("name+00000000+A", "verifier key: not base64"),
        ("name+00000000+AA A", "verifier key: not base64"),
        ("name+00000000+é", "verifier key: not base64"),
        (
            "name+00000000+AR==",
            "verifier key: not in the one base64 form of RFC 4648 section 4",
        ),
        (
            _key_line("name", "00000000", b"\x02" + bytes(32)),
            "verifier key: only Ed25519 (type 0x01) is known here",
        ),
        (
            _key_line("name", "00000000", b""),
            "verifier key: only Ed25519 (type 0x01) is known here",
        ),
        (_key_line("name", "00000000", b"\x01" + bytes(31)), "public key has 31 bytes, not 32"),
        (
            _key_line("name", "00000000", b"\x01" + bytes(32)),
            "verifier key: the key id does not belong to this name and key",
        ),
    ],
)
def test_a_faulty_key_line_says_what_is_wrong(line: str, said: str) -> None:
    with pytest.raises(NoteError, match=_says(said)):
        Verifier.from_text(line)


# --- notes

EMPTY_SAID = "note: the text must not be empty and must end with a newline"
CONTROL_SAID = "note: control characters other than newline are not allowed"
LINE_SAID = "note: a signature line is not '— name base64'"


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", EMPTY_SAID),
        ("\n", EMPTY_SAID),
        ("text", EMPTY_SAID),
        ("a\tb\n", CONTROL_SAID),
        ("a\rb\n", CONTROL_SAID),
        ("a\x1fb\n", CONTROL_SAID),
        ("a\x00b\n", CONTROL_SAID),
        (f"a{LONE}\n", "note: the text holds half of a surrogate pair"),
    ],
)
def test_a_text_that_cannot_be_a_note_is_not_signed(text: str, said: str) -> None:
    with pytest.raises(NoteError, match=_says(said)):
        sign_note(text, [SIGNER])


def test_a_note_needs_somebody_to_sign_it() -> None:
    with pytest.raises(NoteError, match=_says("note: needs at least one signer")):
        sign_note("text\n", [])


def test_a_note_is_its_text_an_empty_line_and_a_line_for_each_signer_in_order() -> None:
    text = "über a b\n\nsecond part\n"
    lines = "".join(
        f"— {signer.name} "
        + base64.b64encode(signer.verifier.key_id + signer.sign(text.encode())).decode()
        + "\n"
        for signer in (OTHER, SIGNER)
    )
    note = sign_note(text, [OTHER, SIGNER])
    assert note == f"{text}\n{lines}"
    assert open_note(note, [SIGNER.verifier, OTHER.verifier]) == OpenedNote(
        text, (OTHER.verifier, SIGNER.verifier)
    )


NOTE = sign_note("text\n", [SIGNER])
STRANGE = "— stranger AAAAAAA=\n"  # five bytes: a key id and one byte of signature


@pytest.mark.parametrize(
    ("note", "said"),
    [
        ("text\n", "note: no empty line before the signatures"),
        ("\n\n" + STRANGE, EMPTY_SAID),
        (NOTE.rstrip("\n"), EMPTY_SAID),
        (NOTE + "\n", LINE_SAID),
        ("text\n\nname AAAAAAA=\n", LINE_SAID),
        ("text\n\n— name\n", LINE_SAID),
        ("text\n\n— name AAAAAAA= more\n", LINE_SAID),
        (
            "text\n\n— na+me AAAAAAA=\n",
            "key name 'na+me': needs text without spaces, controls and '+'",
        ),
        ("text\n\n— name AAAAA\n", "note signature: not base64"),
        ("text\n\n— name AAAAAA==\n", "note: a signature is too short"),
        ("text\n\n" + STRANGE, "note: not signed by a known key"),
        (NOTE.replace("text", "next"), f"note: the signature by {SIGNER.name} does not hold"),
        (NOTE + STRANGE * 100, "note: more than 100 signatures"),
        ("x" * 1_000_000 + "\n", "note: too long"),
    ],
    ids=lambda text: repr(text[-24:]),
)
def test_a_note_that_does_not_open_says_why(note: str, said: str) -> None:
    with pytest.raises(NoteError, match=_says(said)):
        open_note(note, [SIGNER.verifier])


def test_a_note_may_have_a_hundred_signatures_most_of_them_by_strangers() -> None:
    opened = open_note(NOTE + STRANGE * 99, [SIGNER.verifier])
    assert opened.signed_by == (SIGNER.verifier,)
    before = NOTE.replace("— ", f"{STRANGE}— ", 1)
    assert open_note(before, [SIGNER.verifier]).signed_by == (SIGNER.verifier,)


def test_a_note_may_be_a_million_characters_long() -> None:
    frame = len(sign_note("\n" * 2, [SIGNER])) - 2
    note = sign_note("x" * (999_999 - frame) + "\n", [SIGNER])
    assert len(note) == 1_000_000
    assert open_note(note, [SIGNER.verifier]).signed_by == (SIGNER.verifier,)


def test_a_key_that_signed_twice_is_named_once() -> None:
    note = sign_note("text\n", [SIGNER, SIGNER])
    assert open_note(note, [SIGNER.verifier]).signed_by == (SIGNER.verifier,)


# --- checkpoints

ROOT = leaf_hash(b"x")
ROOT_TEXT = base64.b64encode(ROOT).decode()


def test_a_checkpoint_is_three_lines_and_its_extensions() -> None:
    assert Checkpoint("log", 12, ROOT).text == f"log\n12\n{ROOT_TEXT}\n"
    extended = Checkpoint("log", 12, ROOT, ("one", "two"))
    assert extended.text == f"log\n12\n{ROOT_TEXT}\none\ntwo\n"
    assert Checkpoint.from_text(extended.text) == extended


@pytest.mark.parametrize("size", [0, 1, 10, 10**19 - 1])
def test_a_checkpoint_may_be_of_any_size_up_to_nineteen_digits(size: int) -> None:
    text = f"log\n{size}\n{ROOT_TEXT}\n"
    assert Checkpoint.from_text(text).size == size


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (f"log\n3\n{ROOT_TEXT}", "checkpoint: needs the lines origin, size and root"),
        ("log\n3\n", "checkpoint: needs the lines origin, size and root"),
        *(
            (
                f"log\n{size}\n{ROOT_TEXT}\n",
                f"checkpoint: the size {size!r} is not a plain decimal number",
            )
            for size in ("", "00", "03", "-3", "+3", "3.0", "٣", "²")
        ),
        (f"log\n{10**19}\n{ROOT_TEXT}\n", "checkpoint: the size is too large"),
        ("log\n3\n!\n", "checkpoint root: not base64"),
        ("log\n3\nAR==\n", "checkpoint root: not in the one base64 form of RFC 4648 section 4"),
        ("log\n3\nAA==\n", "checkpoint: the root has 1 bytes, not 32"),
        (f"\n3\n{ROOT_TEXT}\n", "checkpoint: the line '' is empty or holds a control"),
        (f"l\tog\n3\n{ROOT_TEXT}\n", r"checkpoint: the line 'l\tog' is empty or holds a control"),
        (
            f"log\n3\n{ROOT_TEXT}\nmore\n\n",
            "checkpoint: the line '' is empty or holds a control",
        ),
    ],
)
def test_a_faulty_checkpoint_says_what_is_wrong(text: str, said: str) -> None:
    with pytest.raises(NoteError, match=_says(said)):
        Checkpoint.from_text(text)


def test_a_checkpoint_made_here_is_held_to_the_same() -> None:
    with pytest.raises(NoteError, match=_says("checkpoint: the size -1 is negative")):
        Checkpoint("log", -1, ROOT)
    assert Checkpoint("a log of two words", 0, EMPTY_ROOT).text.startswith("a log of two words\n0")


def test_a_checkpoint_of_another_log_is_refused_only_where_a_log_was_named() -> None:
    checkpoint = Checkpoint("elsewhere", 3, ROOT)
    note = sign_checkpoint(checkpoint, [SIGNER])
    assert open_checkpoint(note, [SIGNER.verifier]) == checkpoint
    with pytest.raises(
        NoteError, match=_says(f"checkpoint of another log: 'elsewhere', not {ORIGIN!r}")
    ):
        open_checkpoint(note, [SIGNER.verifier], ORIGIN)


# --- histories

LEAVES = [f"event {number}".encode() for number in range(50)]
HASHES = [leaf_hash(leaf) for leaf in LEAVES]


def seals(leaves: list[bytes], *sizes: int) -> list[str]:
    tree = MerkleTree.of_leaves(leaves)
    return [sign_checkpoint(Checkpoint(ORIGIN, size, tree.root(size)), [SIGNER]) for size in sizes]


def checked(leaves: list[bytes], checkpoints: list[str], **evidence: Any) -> HistoryReport:
    return verify_history(leaves, checkpoints, [SIGNER.verifier], ORIGIN, **evidence)


def altered(*places: int) -> list[bytes]:
    return [leaf + b"!" * (place in places) for place, leaf in enumerate(LEAVES)]


def test_a_history_that_fits_is_intact_to_its_newest_seal() -> None:
    assert checked(LEAVES, seals(LEAVES, 7, 40)) == HistoryReport(40, 40, 10, ())
    assert checked(LEAVES, seals(LEAVES, 50)) == HistoryReport(50, 50, 0, ())
    assert checked([], seals([], 0)) == HistoryReport(0, 0, 0, ())


def test_without_a_seal_the_whole_history_is_in_doubt() -> None:
    assert checked(LEAVES, []) == HistoryReport(
        0,
        0,
        50,
        (
            Finding(
                FindingKind.NO_CHECKPOINT,
                0,
                50,
                False,
                "no genuine checkpoint, so nothing can be proved",
            ),
        ),
    )


def test_a_bad_checkpoint_is_told_first_with_its_fault() -> None:
    report = checked(LEAVES, ["text\n"])
    bad = Finding(
        FindingKind.BAD_CHECKPOINT, 0, 1, True, "note: no empty line before the signatures"
    )
    assert report.findings[0] == bad
    assert report.findings[1].kind is FindingKind.NO_CHECKPOINT
    for evidence in ({"recorded_hashes": HASHES}, {}):
        both = checked(altered(11), [*seals(LEAVES, 7, 40), "text\n"], **evidence)
        assert both.findings[0] == Finding(
            FindingKind.BAD_CHECKPOINT, 2, 3, True, "note: no empty line before the signatures"
        )
        assert [finding.kind for finding in both.findings[1:]] == [FindingKind.ALTERED]


def test_two_seals_of_one_size_that_differ_name_the_later_in_the_list() -> None:
    report = checked(LEAVES, [*seals(LEAVES, 7, 20), *seals(altered(1), 20)])
    assert report.findings == (
        Finding(
            FindingKind.SPLIT,
            2,
            3,
            True,
            "two signed checkpoints of 20 leaves have different roots",
        ),
    )
    # The same seal twice is no contradiction.
    assert checked(LEAVES, seals(LEAVES, 20, 20)).intact


def test_an_earlier_seal_of_another_history_is_told_beside_the_newest() -> None:
    report = checked(LEAVES, [*seals(altered(1), 15), *seals(LEAVES, 40)])
    assert report == HistoryReport(
        40,
        0,
        10,
        (
            Finding(
                FindingKind.SPLIT,
                0,
                15,
                False,
                "the signed checkpoint of 15 leaves is not consistent with the newest one, "
                "of 40, which the leaves fit",
            ),
        ),
    )


@pytest.mark.parametrize(
    ("leaves", "kind", "message"),
    [
        (
            altered(7),
            FindingKind.ALTERED,
            "a leaf was altered, taken out or put in, between leaf 7 and leaf 39",
        ),
        (
            altered(39)[:40],
            FindingKind.ALTERED,
            "a leaf was altered, taken out or put in, between leaf 7 and leaf 39",
        ),
        (
            LEAVES[:39],
            FindingKind.MISSING,
            "39 leaves given, 40 sealed: at least one is missing, between leaf 7 and leaf 39",
        ),
    ],
)
def test_seals_alone_name_the_first_and_the_last_leaf_in_doubt(
    leaves: list[bytes], kind: FindingKind, message: str
) -> None:
    report = checked(leaves, seals(LEAVES, 7, 40))
    assert report.findings == (Finding(kind, 7, 40, False, message),)
    assert (report.sealed_size, report.verified_size) == (40, 7)
    assert report.unsealed_count == max(len(leaves) - 40, 0)


def test_recorded_hashes_tell_each_kind_of_fault_apart() -> None:
    leaves = altered(3, 25)
    leaves[30:31] = []
    leaves[10:10] = [b"new", b"newer"]
    report = checked(leaves, seals(LEAVES, 40), recorded_hashes=HASHES)
    assert report.findings == (
        Finding(FindingKind.ALTERED, 3, 4, True, "leaf 3 was altered"),
        Finding(FindingKind.INSERTED, 10, 10, True, "2 put in before leaf 10"),
        Finding(FindingKind.ALTERED, 25, 26, True, "leaf 25 was altered"),
        Finding(FindingKind.MISSING, 30, 31, True, "leaf 30 is missing"),
    )


def test_a_history_cut_short_names_each_leaf_that_is_gone() -> None:
    for count in (40, 38):
        report = checked(LEAVES[:count], seals(LEAVES, 40), recorded_hashes=HASHES)
        assert report.findings == tuple(
            Finding(FindingKind.MISSING, place, place + 1, True, f"leaf {place} is missing")
            for place in range(count, 40)
        )


def test_what_was_written_after_the_seal_is_not_called_put_in() -> None:
    # The keeper lists the sealed hashes only; ten further leaves were written since.
    report = checked(altered(3), seals(LEAVES, 40), recorded_hashes=HASHES[:40])
    assert [finding.message for finding in report.findings] == ["leaf 3 was altered"]
    assert report.unsealed_count == 10


def test_a_run_of_leaves_swapped_for_fewer_or_more_is_told_leaf_by_leaf() -> None:
    fewer = [*LEAVES[:5], b"x", *LEAVES[8:]]
    assert [
        f.message for f in checked(fewer, seals(LEAVES, 40), recorded_hashes=HASHES).findings
    ] == [
        "leaf 5 was altered",
        "leaf 6 is missing",
        "leaf 7 is missing",
    ]
    more = [*LEAVES[:5], b"x", b"y", *LEAVES[6:]]
    assert [
        f.message for f in checked(more, seals(LEAVES, 40), recorded_hashes=HASHES).findings
    ] == [
        "leaf 5 was altered",
        "1 put in before leaf 6",
    ]


def test_a_leaf_that_is_often_repeated_is_not_blamed_for_its_neighbours() -> None:
    leaves = [b"again" if place % 10 == 0 else b"%d" % place for place in range(400)]
    changed = [leaf + b"!" * (place in (49, 51)) for place, leaf in enumerate(leaves)]
    hashes = [leaf_hash(leaf) for leaf in leaves]
    report = checked(changed, seals(leaves, 400), recorded_hashes=hashes)
    assert [finding.message for finding in report.findings] == [
        "leaf 49 was altered",
        "leaf 51 was altered",
    ]


@pytest.mark.parametrize(
    "recorded",
    [
        [leaf_hash(leaf) for leaf in altered(11)],
        HASHES[:39],
        [*HASHES, SHORT],
        [],
    ],
    ids=["altered too", "too few", "not hashes", "none"],
)
def test_recorded_hashes_that_do_not_give_the_root_are_no_evidence(recorded: list[bytes]) -> None:
    report = checked(altered(11), seals(LEAVES, 7, 40), recorded_hashes=recorded)
    assert [(f.start, f.stop, f.exact) for f in report.findings] == [(7, 40, False)]


def test_each_leaf_whose_own_proof_fails_is_named_and_the_rest_is_not() -> None:
    tree = MerkleTree(HASHES)
    proofs = {place: tree.inclusion_proof(place, 40) for place in (30, 5, 12, 39)}
    report = checked(altered(12, 30, 31), seals(LEAVES, 40), proofs=proofs)
    assert report.findings == tuple(
        Finding(
            FindingKind.ALTERED,
            place,
            place + 1,
            True,
            f"leaf {place} or its proof: the proof does not lead to the root",
        )
        for place in (12, 30)
    )
    short = checked(LEAVES[:30], seals(LEAVES, 40), proofs=proofs)
    assert [finding.message for finding in short.findings] == [
        "leaf 30 is missing",
        "leaf 39 is missing",
    ]


def test_proofs_that_all_hold_leave_the_fault_between_the_seals() -> None:
    tree = MerkleTree(HASHES)
    proofs = {5: tree.inclusion_proof(5, 40)}
    report = checked(altered(12), seals(LEAVES, 7, 40), proofs=proofs)
    assert [(f.start, f.stop, f.exact) for f in report.findings] == [(7, 40, False)]
