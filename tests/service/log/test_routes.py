"""The two doors a phone writes through, and the description of the whole interface."""

import asyncio
import io
import logging
from collections.abc import Iterator, MutableMapping
from hashlib import sha256
from typing import Any

import pytest
import structlog
from jsonschema import Draft202012Validator
from PIL import Image
from starlette.testclient import TestClient
from structlog.testing import capture_logs

from service.installation import Installation
from service.log import reading
from service.log.routes import MAX_BATCH
from service.storage.photos import MAX_BYTES
from tests.phones import SigningPhone, enrolled
from tests.writers import Writer, opened, plain, tagged


def photo() -> tuple[str, bytes]:
    """A picture drawn by code, with its digest."""
    out = io.BytesIO()
    Image.new("RGB", (500, 300), (90, 10, 10)).save(out, "JPEG")
    return sha256(out.getvalue()).hexdigest(), out.getvalue()


# --- events -------------------------------------------------------------------------------------


@pytest.fixture
def phone(here: Installation) -> SigningPhone:
    """The phone that the tests' writer writes on."""
    return enrolled(here)


def test_a_batch_gets_a_receipt_for_every_event_in_order(
    client: TestClient, phone: SigningPhone
) -> None:
    writer = Writer()
    sent = plain(writer.say(opened()), writer.say(tagged()))
    answer = phone.post_events(client, [sent[0], {"id": "x"}, sent[1], sent[0]])
    assert answer.status_code == 200
    found = answer.json()
    assert [one["outcome"] for one in found["receipts"]] == [
        "stored",
        "refused",
        "stored",
        "already_stored",
    ]
    assert found["receipts"][1]["why"].startswith("format: ")
    assert found["clock"] == 2


def test_a_batch_beyond_the_limit_is_refused_whole(
    client: TestClient, here: Installation, phone: SigningPhone
) -> None:
    (event,) = plain(Writer().say(opened()))
    full = phone.post_events(client, [{}] * MAX_BATCH)
    assert full.status_code == 200
    assert len(full.json()["receipts"]) == MAX_BATCH
    answer = phone.post_events(client, [event] * (MAX_BATCH + 1))
    assert answer.status_code == 422
    assert str(MAX_BATCH) in answer.text
    with here.database.read() as session:
        assert reading.losses(session, reading.EVERYTHING) == []


@pytest.mark.parametrize("body", ["", "[]", "{", '{"events": 3}', '{"events": [1]}', "{}"])
def test_what_is_no_batch_is_refused(client: TestClient, phone: SigningPhone, body: str) -> None:
    headers = phone.signed("POST", "/log/events", body.encode())
    headers["content-type"] = "application/json"
    assert client.post("/log/events", content=body, headers=headers).status_code == 422


# --- photos -------------------------------------------------------------------------------------


def test_a_photo_is_new_once(client: TestClient, phone: SigningPhone) -> None:
    digest, data = photo()
    assert client.get(f"/photos/{digest}").status_code == 404
    first, second = (phone.put_photo(client, digest, data) for _ in range(2))
    assert (first.status_code, second.status_code) == (201, 200)
    assert first.json() == second.json()
    assert first.json() == {"sha256": digest, "size": len(data), "width": 500, "height": 300}


def test_what_is_shown_is_a_smaller_copy_and_not_the_original(
    client: TestClient, phone: SigningPhone
) -> None:
    digest, data = photo()
    phone.put_photo(client, digest, data)
    answer = client.get(f"/photos/{digest}?small=true")
    assert answer.headers["content-type"] == "image/jpeg"
    assert answer.content != data
    with Image.open(io.BytesIO(answer.content)) as shown:
        assert shown.size == (360, 216)


@pytest.mark.parametrize("cut", [90, None], ids=["cut short", "grown"])
def test_a_photo_that_is_not_the_one_named(
    client: TestClient, phone: SigningPhone, cut: int | None
) -> None:
    digest, data = photo()
    sent = data[:cut] if cut else data + b"x"
    answer = phone.put_photo(client, digest, sent)
    assert answer.status_code == 422
    assert "send the photo again" in answer.json()["detail"]


def test_what_is_no_photo_is_refused_with_the_mend(client: TestClient, phone: SigningPhone) -> None:
    data = b"<svg onload='alert(1)'/>"
    answer = phone.put_photo(client, sha256(data).hexdigest(), data)
    assert answer.status_code == 422
    assert "take the photo again" in answer.json()["detail"]


@pytest.mark.parametrize("name", ["abc", "../../etc/passwd", "A" * 64])
def test_a_photo_is_named_by_a_digest_only(client: TestClient, name: str) -> None:
    assert client.put(f"/photos/{name}", content=b"x").status_code in {404, 405, 422}


def test_a_phone_that_vanishes_in_the_middle_of_a_photo_is_one_line_in_the_log(
    client: TestClient, here: Installation
) -> None:
    structlog.configure(wrapper_class=structlog.make_filtering_bound_logger(logging.INFO))
    digest, data = photo()
    coming: list[dict[str, Any]] = [
        {"type": "http.request", "body": data[:100], "more_body": True},
        {"type": "http.disconnect"},
    ]
    sent: list[MutableMapping[str, Any]] = []

    async def receive() -> dict[str, Any]:
        return coming.pop(0) if coming else {"type": "http.disconnect"}

    async def send(message: MutableMapping[str, Any]) -> None:
        sent.append(message)

    scope = {
        "type": "http",
        "asgi": {"version": "3.0"},
        "http_version": "1.1",
        "method": "PUT",
        "scheme": "http",
        "path": f"/photos/{digest}",
        "raw_path": f"/photos/{digest}".encode(),
        "query_string": b"",
        "root_path": "",
        "headers": [(b"host", b"testserver")],
        "client": ("testclient", 1),
        "server": ("testserver", 80),
    }

    async def call() -> None:
        await client.app(scope, receive, send)

    with capture_logs() as lines:
        asyncio.run(call())
    gone = {
        "event": "phone gone in the middle of a photo",
        "photo": digest,
        "bytes": 100,
        "log_level": "info",
    }
    assert [one for one in lines if one["event"] != "request"] == [gone]
    assert [one["status"] for one in sent if one["type"] == "http.response.start"] in ([], [400])
    with pytest.raises(KeyError):
        here.photos.get(digest)


def test_a_photo_that_grows_too_large_is_refused(client: TestClient) -> None:
    def endless() -> Iterator[bytes]:
        for _ in range(MAX_BYTES // 1_000_000 + 2):
            yield b"\0" * 1_000_000

    answer = client.put(f"/photos/{'0' * 64}", content=endless())
    assert answer.status_code == 413


# --- the interface ------------------------------------------------------------------------------


@pytest.fixture
def described(client: TestClient) -> dict[str, Any]:
    found: dict[str, Any] = client.get("/openapi.json").json()
    return found


def operations(document: dict[str, Any]) -> Iterator[tuple[str, dict[str, Any]]]:
    for path, methods in document["paths"].items():
        for method, operation in methods.items():
            yield f"{method} {path}", operation


def references(node: Any) -> Iterator[str]:
    if isinstance(node, dict):
        if isinstance(node.get("$ref"), str):
            yield node["$ref"]
        for value in node.values():
            yield from references(value)
    elif isinstance(node, list):
        for value in node:
            yield from references(value)


def test_the_interface_is_described_in_openapi_3_1(described: dict[str, Any]) -> None:
    assert described["openapi"].startswith("3.1.")
    assert described["info"]["title"] == "Lagan"
    assert {
        "post /log/events",
        "put /photos/{digest}",
        "get /photos/{digest}",
        "post /api/devices",
        "get /api/losses",
        "get /api/losses/{loss_id}",
        "get /api/items/{tag}",
        "get /api/vocabulary",
        "get /api/facts",
        "get /healthz",
    } <= {name for name, _ in operations(described)}


def test_every_operation_has_a_summary_an_id_of_its_own_and_described_answers(
    described: dict[str, Any],
) -> None:
    ids = [operation["operationId"] for _, operation in operations(described)]
    assert len(ids) == len(set(ids))
    for name, operation in operations(described):
        assert operation["summary"].strip(), name
        assert operation["tags"], name
        good = [code for code in operation["responses"] if code.startswith("2")]
        assert good, name
        for code, answer in operation["responses"].items():
            assert answer["description"].strip(), (name, code)
        for code in good:
            assert operation["responses"][code].get("content"), (name, code)


def test_every_path_parameter_is_declared_and_every_reference_leads_somewhere(
    described: dict[str, Any],
) -> None:
    for path, methods in described["paths"].items():
        wanted = {part[1:-1] for part in path.split("/") if part.startswith("{")}
        for operation in methods.values():
            given = {one["name"] for one in operation.get("parameters", ()) if one["in"] == "path"}
            assert given == wanted, path
    for reference in references(described):
        found: Any = described
        for part in reference.removeprefix("#/").split("/"):
            found = found[part]


def test_every_schema_is_valid_json_schema(described: dict[str, Any]) -> None:
    # OpenAPI 3.1 takes its schemas from JSON Schema, draft 2020-12.
    for schema in described["components"]["schemas"].values():
        Draft202012Validator.check_schema(schema)


@pytest.mark.parametrize(
    ("method", "path", "body"),
    [
        ("get", "/healthz", None),
        ("get", "/api/losses", None),
        ("get", "/api/vocabulary", None),
        ("get", "/api/facts", None),
    ],
)
def test_answers_fit_their_description(
    client: TestClient,
    here: Installation,
    described: dict[str, Any],
    method: str,
    path: str,
    body: object,
) -> None:
    here.log.append(plain(Writer().say(opened())))
    answer = client.request(method, path, json=body)
    operation = described["paths"][path][method]
    schema = operation["responses"][str(answer.status_code)]["content"]["application/json"]
    whole = schema["schema"] | {"components": described["components"]}
    Draft202012Validator(whole).validate(answer.json())


def test_health_says_how_far_the_log_is(client: TestClient, here: Installation) -> None:
    assert client.get("/healthz").json() == {"status": "ok", "log_position": 0}
    here.log.append(plain(Writer().say(opened())))
    assert client.get("/healthz").json() == {"status": "ok", "log_position": 1}
