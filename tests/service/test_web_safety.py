"""What every answer carries and every request must fit."""

from collections.abc import Iterator, Mapping

import pytest
from fastapi import Request
from starlette.testclient import TestClient

from service import web_safety
from service.app import create_app
from service.installation import Installation

SAFE_HEADERS = {
    "x-content-type-options": "nosniff",
    "referrer-policy": "same-origin",
    "permissions-policy": "camera=(self), geolocation=(), microphone=()",
}
"""Names and values as the WHATWG Fetch, Referrer Policy and Permissions Policy documents give."""


@pytest.fixture
def failing(here: Installation) -> Iterator[TestClient]:
    """The application with one route that fails and one that counts what it is sent."""
    app = create_app(here)

    @app.get("/fails")
    def fails() -> None:
        raise ZeroDivisionError

    @app.post("/counts")
    async def counts(request: Request) -> int:
        return len(await request.body())

    with TestClient(app, raise_server_exceptions=False, follow_redirects=False) as found:
        yield found


def assert_safe(headers: Mapping[str, str]) -> None:
    assert SAFE_HEADERS.items() <= dict(headers).items()
    policy = headers["content-security-policy"]
    for part in ("default-src 'self'", "object-src 'none'", "frame-ancestors 'none'"):
        assert part in policy
    assert "unsafe-inline" not in policy


@pytest.mark.parametrize(
    ("method", "path", "status"),
    [
        ("GET", "/", 200),
        ("GET", "/healthz", 200),
        ("GET", "/static/manifest.json", 200),
        ("HEAD", "/static/manifest.json", 200),
        ("GET", "/no-such-page", 404),
        ("GET", "/static/no-such-file", 404),
        ("GET", "/api/items/not-a-tag", 422),
        ("GET", "/T/0000000000001", 303),
        ("DELETE", "/log/events", 405),
        ("GET", "/fails", 500),
    ],
)
def test_every_answer_has_the_safe_headers(
    failing: TestClient, method: str, path: str, status: int
) -> None:
    answer = failing.request(method, path)
    assert answer.status_code == status
    assert_safe(answer.headers)


def test_a_failure_tells_nothing_of_the_inside(failing: TestClient) -> None:
    assert failing.get("/fails").text == "the service failed; nothing was saved"


@pytest.mark.parametrize("site", ["cross-site", "same-site"])
@pytest.mark.parametrize("method", ["POST", "PUT", "DELETE", "PATCH"])
def test_another_site_may_not_write(client: TestClient, method: str, site: str) -> None:
    # The header is the browser's own word (W3C Fetch Metadata Request Headers).
    answer = client.request(method, "/log/events", headers={"sec-fetch-site": site})
    assert answer.status_code == 403
    assert_safe(answer.headers)


@pytest.mark.parametrize("site", ["same-origin", "none", None])
def test_our_own_pages_and_programs_may_write(client: TestClient, site: str | None) -> None:
    headers = {"sec-fetch-site": site} if site else {}
    answer = client.post("/log/events", json={"events": []}, headers=headers)
    assert answer.status_code == 401  # Let through to the route, which asks for a signature.


def test_another_site_may_link_to_a_page(client: TestClient) -> None:
    assert client.get("/", headers={"sec-fetch-site": "cross-site"}).status_code == 200


def test_a_body_that_is_said_to_be_too_large_is_not_read(client: TestClient) -> None:
    headers = {"content-length": str(web_safety.MAX_BODY_BYTES + 1)}
    answer = client.post("/log/events", content=b"{}", headers=headers)
    assert answer.status_code == 413
    assert f"at most {web_safety.MAX_BODY_BYTES} bytes" in answer.text
    assert_safe(answer.headers)


def test_a_length_that_is_no_number_is_refused(client: TestClient) -> None:
    answer = client.post("/log/events", content=b"{}", headers={"content-length": "many"})
    assert answer.status_code == 413


@pytest.mark.parametrize("path", ["/log/events", "/counts"])
def test_a_body_that_grows_too_large_is_refused_as_too_large(
    failing: TestClient, monkeypatch: pytest.MonkeyPatch, path: str
) -> None:
    monkeypatch.setattr(web_safety, "MAX_BODY_BYTES", 1_000)

    def endless() -> Iterator[bytes]:
        for _ in range(100):
            yield b" " * 100

    answer = failing.post(path, content=endless(), headers={"content-type": "application/json"})
    assert answer.status_code == 413
    assert_safe(answer.headers)


def test_a_body_within_the_limit_is_taken_in_pieces(failing: TestClient) -> None:
    pieces = (b"x" * 1_000 for _ in range(50))
    assert failing.post("/counts", content=pieces).json() == 50_000
