"""Inviting, enrolling and revoking a crew's phone."""

import re
from concurrent.futures import ThreadPoolExecutor
from hashlib import sha256

import pytest
from starlette.testclient import TestClient

from service.crew.phones import EnrolmentError, Invitation, enrol, invite, phone_lines, revoke
from service.installation import Installation
from service.log import reading
from service.storage.tables import InvitationRow
from shared.events import PhoneKey
from tests.phones import CLERK, OTHER_KEY, PHONE_KEY, enrolled
from tests.service.conftest import Clock
from tests.writers import Writer, opened, plain

PATH = "/office/phones"


def invited(here: Installation, minutes: int = 15) -> Invitation:
    return invite(here, name="Crew phone 3", holder="night team", minutes=minutes, actor=CLERK)


def test_a_phone_gets_its_name_against_a_code_and_the_log_names_its_key(
    client: TestClient, here: Installation
) -> None:
    here.log.append(plain(Writer().say(opened())))
    code = invited(here).code
    answer = client.post("/api/devices", json={"code": code, "key": PHONE_KEY.model_dump()})
    assert answer.status_code == 201
    found = answer.json()
    assert found["name"] == "Crew phone 3"
    assert found["clock"] >= 1
    with here.database.read() as session:
        phone = reading.phone(session, found["device"])
    assert phone is not None
    assert (phone.key, phone.holder, phone.enrolled_by) == (PHONE_KEY, "night team", CLERK)
    standing = client.get(f"/api/devices/{found['device']}").json()
    assert standing["revoked_at"] is None
    assert client.get("/api/devices/phone-nobody").status_code == 404


def test_a_code_is_typed_as_people_type(here: Installation) -> None:
    typed = invited(here).shown.lower().replace("0", "o").replace("1", "l").replace(" ", " - ")
    assert enrol(here, typed, PHONE_KEY)[0].name == "Crew phone 3"


def test_only_the_digest_of_a_code_is_kept(here: Installation) -> None:
    code = invited(here).code
    with here.database.read() as session:
        row = session.get(InvitationRow, sha256(code.encode()).hexdigest())
    assert row is not None
    assert code not in str(row.model_dump())
    files = [one for one in here.settings.folder.rglob("*") if one.is_file()]
    assert not any(code.encode() in one.read_bytes() for one in files)


def test_a_code_works_once_and_a_lost_answer_is_given_again(here: Installation) -> None:
    code = invited(here).code
    first, _ = enrol(here, code, PHONE_KEY)
    assert enrol(here, code, PHONE_KEY)[0] == first
    with pytest.raises(EnrolmentError, match="used already"):
        enrol(here, code, OTHER_KEY)
    with here.database.read() as session:
        assert len(reading.phones(session)) == 1
    revoke(here, first.phone, reason="lost", actor=CLERK)
    with pytest.raises(EnrolmentError, match="revoked"):
        enrol(here, code, PHONE_KEY)


def test_of_two_phones_at_once_one_is_enrolled(here: Installation) -> None:
    for _ in range(5):
        code = invited(here).code
        with ThreadPoolExecutor(2) as both:
            tries = [both.submit(enrol, here, code, key) for key in (PHONE_KEY, OTHER_KEY)]
        faults = [one.exception() for one in tries]
        assert sorted(fault is None for fault in faults) == [False, True]
        assert any(isinstance(fault, EnrolmentError) for fault in faults)
    with here.database.read() as session:
        assert len(reading.phones(session)) == 5


def test_a_code_runs_out(here: Installation, clock: Clock) -> None:
    soon, later = invited(here), invited(here)
    clock.forward(minutes=14, seconds=59)
    assert enrol(here, soon.code, PHONE_KEY)
    clock.forward(seconds=1)
    with pytest.raises(EnrolmentError, match="run out"):
        enrol(here, later.code, OTHER_KEY)


@pytest.mark.parametrize("code", ["", "0" * 16, "x", "é" * 16, "0" * 64])
def test_a_code_that_nobody_made(client: TestClient, code: str) -> None:
    answer = client.post("/api/devices", json={"code": code, "key": PHONE_KEY.model_dump()})
    assert answer.status_code in {403, 422}


def test_what_is_no_key_uses_no_code_up(here: Installation) -> None:
    code = invited(here).code
    with pytest.raises(EnrolmentError, match=r"key: .* P-256"):
        enrol(here, code, PhoneKey(x="A" * 43, y="A" * 43))
    assert enrol(here, code, PHONE_KEY)


def test_a_phone_revoked_twice_keeps_the_first_reason(here: Installation) -> None:
    enrolled(here)
    for reason in ("lost", "found again"):
        revoke(here, "phone-a", reason=reason, actor=CLERK)
    revoke(here, "phone-nobody", reason="x", actor=CLERK)
    with here.database.read() as session:
        [line] = phone_lines(session)
    assert (line.phone.revoked_because, line.phone.revoked_by) == ("lost", CLERK)


def test_the_office_sees_what_each_phone_has_sent_and_when(
    client: TestClient, here: Installation, clock: Clock
) -> None:
    phone, writer = enrolled(here, name="Crew phone 1"), Writer()
    assert "not yet" in client.get(PATH).text
    clock.forward(hours=2)
    phone.post_events(client, plain(writer.say(opened())))
    with here.database.read() as session:
        [line] = phone_lines(session)
    assert line.stored == 1
    assert line.heard_at is not None
    assert line.heard_at.startswith("2031-05-06T12:00")
    assert "Crew phone 1" in client.get(PATH).text


def test_the_office_invites_and_the_code_is_shown_once(
    client: TestClient, here: Installation
) -> None:
    form = {"name": "<b>Crew 9</b>", "minutes": "5", "actor": CLERK}
    answer = client.post(PATH, data=form)
    assert answer.status_code == 200
    assert answer.headers["cache-control"] == "no-store"
    found = re.search(r"#enrol=([0-9A-Z]{16})<", answer.text)
    assert found is not None
    assert f"{here.settings.base_url}/crew/#enrol=" in answer.text
    assert "<b>Crew" not in answer.text
    assert found[1] not in client.get(PATH).text
    assert enrol(here, found[1], PHONE_KEY)[0].name == "<b>Crew 9</b>"


@pytest.mark.parametrize(
    ("field", "value", "words"),
    [
        ("name", "", "Name: call the phone"),
        ("name", "x" * 301, "at most 300"),
        ("holder", "x" * 301, "at most 300"),
        ("actor", " ", "Your name"),
        ("minutes", "0", "from 1 to 1440"),
        ("minutes", "1441", "from 1 to 1440"),
        ("minutes", "a while", "from 1 to 1440"),
    ],
)
def test_an_invitation_s_faults_are_named(
    client: TestClient, field: str, value: str, words: str
) -> None:
    form = {"name": "Crew 1", "minutes": "15", "actor": CLERK} | {field: value}
    answer = client.post(PATH, data=form)
    assert answer.status_code == 422
    assert words in answer.text
    assert "#enrol=" not in answer.text


def test_the_office_revokes_with_a_reason(client: TestClient, here: Installation) -> None:
    enrolled(here)
    page = f"{PATH}/phone-a/revoke"
    assert client.get(page).status_code == 200
    assert client.get(f"{PATH}/phone-b/revoke").status_code == 404
    answer = client.post(page, data={"reason": " ", "actor": CLERK})
    assert answer.status_code == 422
    assert "Reason: say why" in answer.text
    answer = client.post(page, data={"reason": "left in a taxi", "actor": CLERK})
    assert (answer.status_code, answer.headers["location"]) == (303, PATH)
    assert "left in a taxi" in client.get(PATH).text
    assert client.get("/api/devices/phone-a").json()["revoked_because"] == "left in a taxi"
