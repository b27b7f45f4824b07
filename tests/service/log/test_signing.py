"""A request is taken only from the phone whose key signed exactly it."""

import json
import subprocess
import time
from base64 import b64decode, b64encode
from datetime import UTC, datetime
from hashlib import sha256
from pathlib import Path

import pytest
from cryptography.hazmat.primitives.asymmetric import ec
from hypothesis import given
from hypothesis import strategies as st
from starlette.testclient import TestClient

from service.crew.phones import revoke
from service.installation import Installation
from service.log import reading
from service.log.signing import Received, UnsignedError, fits, public_key, signer_of
from shared import events as ev
from shared.events import PhoneKey
from tests.browser.chromium import NODE
from tests.phones import CLERK, OTHER_KEY, SigningPhone, enrolled
from tests.service.office.seeding import photo
from tests.writers import Writer, opened, plain, tagged

PHONE = SigningPhone("phone-a", ec.derive_private_key(7, ec.SECP256R1()))
PATH, BODY = "/log/events", b'{"events": []}'
SIGNING = Path(__file__).parents[3] / "service" / "web" / "src" / "signing.ts"


def key_of(device: str) -> PhoneKey | None:
    return PHONE.key if device == PHONE.device else None


def signer(method: str, path: str, headers: dict[str, str], body: bytes) -> str:
    return signer_of(Received(method, path, headers), body, key_of)


def headers() -> dict[str, str]:
    return PHONE.signed("POST", PATH, BODY)


@pytest.mark.parametrize("year", [1970, 2031, 2099])
def test_what_a_phone_signed_is_its_own_whatever_its_clock_says(year: int) -> None:
    signed = PHONE.signed("POST", PATH, BODY, datetime(year, 1, 2, tzinfo=UTC))
    assert signer("POST", PATH, signed, BODY) == "phone-a"


@given(st.data())
def test_any_other_body_is_refused(data: st.DataObject) -> None:
    other = data.draw(st.binary(max_size=40).filter(lambda one: one != BODY))
    with pytest.raises(UnsignedError):
        signer("POST", PATH, headers(), other)


@given(st.data())
def test_a_change_of_any_byte_of_the_signature_s_fields_is_refused(data: st.DataObject) -> None:
    signed = headers()
    name = data.draw(st.sampled_from(sorted(signed)))
    value = signed[name]
    place = data.draw(st.integers(0, len(value) - 1))
    letter = data.draw(st.characters(min_codepoint=32, max_codepoint=126))
    changed = value[:place] + letter + value[place + 1 :]
    if changed == value or (name == "Signature" and _same_bytes(changed, value)):
        return
    with pytest.raises(UnsignedError):
        signer("POST", PATH, signed | {name: changed}, BODY)


def _same_bytes(one: str, other: str) -> bool:
    """The last letter before the padding of base64 carries two bits that mean nothing."""
    return one[:-4] == other[:-4] and one[-3:] == other[-3:]


@pytest.mark.parametrize(
    ("method", "path"),
    [("PUT", PATH), ("GET", PATH), ("POST", "/log/event"), ("POST", "/photos/00"), ("POST", "/")],
)
def test_another_method_or_path_is_refused(method: str, path: str) -> None:
    with pytest.raises(UnsignedError):
        signer(method, path, headers(), BODY)


def test_another_phone_s_key_is_refused() -> None:
    request = Received("POST", PATH, headers())
    with pytest.raises(UnsignedError, match="does not fit"):
        signer_of(request, BODY, lambda _: OTHER_KEY)
    with pytest.raises(UnsignedError, match="no phone is enrolled here under the name phone-a"):
        signer_of(request, BODY, lambda _: None)


@pytest.mark.parametrize("left_out", ["Signature", "Signature-Input", "Content-Digest"])
def test_a_request_without_one_of_the_fields_is_refused(left_out: str) -> None:
    signed = {name: value for name, value in headers().items() if name != left_out}
    with pytest.raises(UnsignedError):
        signer("POST", PATH, signed, BODY)


@pytest.mark.parametrize("without", ["@method", "@path", "content-digest"])
def test_a_signature_that_leaves_something_out_is_refused(
    monkeypatch: pytest.MonkeyPatch, without: str
) -> None:
    covered = [one for one in ("@method", "@path", "content-digest") if one != without]
    monkeypatch.setattr("tests.phones.COVERED", covered)
    body = None if without == "content-digest" else BODY
    signed = PHONE.signed("POST", PATH, body)
    monkeypatch.undo()
    with pytest.raises(UnsignedError):
        signer("POST", PATH, signed, BODY)


def test_a_signature_for_another_purpose_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("tests.phones.TAG", "something-else")
    with pytest.raises(UnsignedError):
        signer("POST", PATH, headers(), BODY)


@pytest.mark.parametrize(
    "key",
    [PhoneKey(x="A" * 43, y="A" * 43), PhoneKey(x=PHONE.key.y, y=PHONE.key.x)],
    ids=["zero", "swapped"],
)
def test_what_is_no_point_of_the_curve_is_no_key(key: PhoneKey) -> None:
    with pytest.raises(ValueError, match="curve"):
        public_key(key)


# --- the phone's own end ------------------------------------------------------------------------


def test_what_the_phone_s_program_signs_is_taken_here() -> None:
    script = f"""
      const {{ makeKey, signatureOf, signedHeaders }} = await import({json.dumps(str(SIGNING))});
      const {{ privateKey, publicKey }} = await makeKey();
      const signer = {{ device: "phone-a", privateKey }};
      const bytes = (text) => new TextEncoder().encode(text);
      const requests = [["POST", "/log/events", '{{"events": []}}'], ["PUT", "/photos/00", ""]];
      const signed = [];
      for (const [method, path, body] of requests)
        for (const at of [0, 1.7e12, 4.1e12])
          signed.push([method, path, body, await signedHeaders(
            signer, {{ method, path, body: bytes(body) }}, new Date(at))]);
      const file = await signatureOf(privateKey, bytes("a file"));
      console.log(JSON.stringify({{ publicKey, signed, file }}));
    """
    done = subprocess.run(
        [str(NODE), "--input-type=module", "-e", script],
        capture_output=True,
        text=True,
        check=True,
    )
    told = json.loads(done.stdout)
    key = PhoneKey(**told["publicKey"])
    assert len(told["signed"]) == 6
    for method, path, body, fields in told["signed"]:
        request = Received(method, path, fields)
        assert signer_of(request, body.encode(), lambda _: key) == "phone-a"
    assert fits(key, b64decode(told["file"]), b"a file")


# --- the two doors ------------------------------------------------------------------------------


def test_what_no_enrolled_phone_signed_is_not_taken(client: TestClient, here: Installation) -> None:
    events = plain(Writer().say(opened()))
    stranger = SigningPhone("phone-z", PHONE.private)
    assert client.post("/log/events", json={"events": events}).status_code == 401
    answer = stranger.post_events(client, events)
    assert answer.status_code == 401
    assert "phone-z" in answer.json()["detail"]
    data = photo()
    answer = client.put(f"/photos/{'0' * 64}", content=data)
    assert answer.status_code == 401
    assert "not signed" in answer.json()["detail"]
    with here.database.read() as session:
        assert reading.losses(session, reading.EVERYTHING) == []
        assert reading.refused(session) == []


def test_a_phone_sends_only_what_it_wrote_itself(client: TestClient, here: Installation) -> None:
    phone = enrolled(here)
    mine, other = Writer(), Writer("phone-b")
    events = plain(mine.say(opened()), other.say(opened()), mine.say(tagged()))
    receipts = phone.post_events(client, events).json()["receipts"]
    assert [one["outcome"] for one in receipts] == ["stored", "refused", "stored"]
    assert "phone-b" in receipts[1]["why"]


def test_a_phone_revoked_between_two_requests_is_refused_at_the_second_and_nothing_is_lost(
    client: TestClient, here: Installation
) -> None:
    phone, writer = enrolled(here), Writer()
    first, second = plain(writer.say(opened())), plain(writer.say(tagged()))
    assert phone.post_events(client, first).json()["receipts"][0]["outcome"] == "stored"
    revoke(here, "phone-a", reason="left in a taxi", actor=CLERK)
    again, new = phone.post_events(client, first + second).json()["receipts"]
    assert again["outcome"] == "already_stored"
    assert new["outcome"] == "refused"
    for words in ("revoked", CLERK, "left in a taxi", "save what waits to a file"):
        assert words in new["why"]
    with here.database.read() as session:
        [kept] = reading.refused(session)
        assert reading.items(session, reading.EVERYTHING) == []
    assert json.loads(kept.data) == second[0]
    assert "left in a taxi" in kept.reason


def test_a_revoked_phone_s_photo_is_refused_unless_it_is_here(
    client: TestClient, here: Installation
) -> None:
    phone, data = enrolled(here), photo()
    digest = sha256(data).hexdigest()
    revoke(here, "phone-a", reason="lost", actor=CLERK)
    answer = phone.put_photo(client, digest, data)
    assert answer.status_code == 403
    assert "lost" in answer.json()["detail"]
    here.keep_photo(digest, data)
    assert phone.put_photo(client, digest, data).status_code == 200


def test_nobody_but_the_service_enrols_or_revokes(client: TestClient, here: Installation) -> None:
    phone, writer, forged = enrolled(here), Writer(), Writer("service")
    said = [
        ev.PhoneEnrolled(phone="phone-x", name="x", key=OTHER_KEY),
        ev.PhoneRevoked(phone="phone-a", reason="x"),
    ]
    receipts = phone.post_events(client, plain(*map(writer.say, said))).json()["receipts"]
    assert {one["outcome"] for one in receipts} == {"refused"}
    receipts = here.log.append(plain(*map(forged.say, said))).receipts
    assert {one.outcome.value for one in receipts} == {"refused"}
    with here.database.read() as session:
        assert [one.phone for one in reading.phones(session)] == ["phone-a"]


def test_the_cost_of_verifying(capsys: pytest.CaptureFixture[str]) -> None:
    """Prints what one request costs here; nothing hangs on it."""
    body = b64encode(bytes(48_000))
    signed = PHONE.signed("POST", PATH, body)
    started = time.perf_counter()
    for _ in range(100):
        assert signer("POST", PATH, signed, body) == "phone-a"
    took = (time.perf_counter() - started) * 10
    with capsys.disabled():
        print(f"\nverifying one request of {len(body) // 1000} kB: {took:.2f} ms")
