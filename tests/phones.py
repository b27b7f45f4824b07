"""Crews' phones as tests need them: enrolled, with a key, and signing what they send."""

import html
import re
from base64 import urlsafe_b64encode
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

from cryptography.hazmat.primitives.asymmetric import ec
from http_message_signatures import HTTPMessageSigner, MappingKeyResolver
from http_message_signatures.algorithms import ECDSA_P256_SHA256
from httpx2 import Response
from playwright.sync_api import BrowserContext, Page, expect
from starlette.testclient import TestClient

from service.installation import Installation
from service.log.signing import COVERED, TAG
from shared import events as ev
from shared import ledger
from shared.vocabulary import Role

CLERK = "Isolde Farthingale (invented)"


def key_of(private: ec.EllipticCurvePrivateKey) -> ev.PhoneKey:
    """The public half, as a phone sends it."""
    numbers = private.public_key().public_numbers()
    x, y = (
        urlsafe_b64encode(one.to_bytes(32, "big")).decode().rstrip("=")
        for one in (numbers.x, numbers.y)
    )
    return ev.PhoneKey(x=x, y=y)


PHONE_KEY = key_of(ec.derive_private_key(2, ec.SECP256R1()))
OTHER_KEY = key_of(ec.derive_private_key(3, ec.SECP256R1()))


@dataclass
class _Request:
    method: str
    url: str
    headers: dict[str, str]


@dataclass(frozen=True)
class SigningPhone:
    """A phone's name and key."""

    device: str
    private: ec.EllipticCurvePrivateKey

    @property
    def key(self) -> ev.PhoneKey:
        """The public half."""
        return key_of(self.private)

    def signed(
        self, method: str, path: str, body: bytes | None, created: datetime | None = None
    ) -> dict[str, str]:
        """The header fields that sign a request, made by the library's own signer."""
        request = _Request(method, f"http://testserver{path}", {})
        keys = MappingKeyResolver(public_keys={}, private_keys={self.device: self.private})
        HTTPMessageSigner(signature_algorithm=ECDSA_P256_SHA256, key_resolver=keys).sign(
            request,
            key_id=self.device,
            created=created or datetime(1970, 1, 1, 0, 5, tzinfo=UTC),
            label="phone",
            tag=TAG,
            include_alg=False,
            covered_component_ids=COVERED,
            body=body,
        )
        return request.headers

    def post_events(self, client: TestClient, events: list[Any]) -> Response:
        """Send a batch as the phone does."""
        body = ledger.canonical_bytes({"events": events})
        headers = self.signed("POST", "/log/events", body)
        return client.post(
            "/log/events", content=body, headers={"content-type": "application/json", **headers}
        )

    def put_photo(self, client: TestClient, digest: str, data: bytes) -> Response:
        """Send a photo as the phone does."""
        path = f"/photos/{digest}"
        return client.put(path, content=data, headers=self.signed("PUT", path, data))


def enrolled(here: Installation, device: str = "phone-a", name: str = "Crew phone") -> SigningPhone:
    """A phone that the office has enrolled under this name."""
    phone = SigningPhone(device, ec.generate_private_key(ec.SECP256R1()))
    here.log.say(
        ev.PhoneEnrolled(phone=device, name=name, key=phone.key), actor=CLERK, role=Role.OFFICE
    )
    return phone


def office_code(context: BrowserContext, name: str = "Crew phone 3") -> str:
    """A code from the office's page."""
    answer = context.request.post("/office/phones", form={"name": name, "actor": CLERK})
    assert answer.ok, answer.text()
    found = re.search(r"#enrol=([0-9A-Z]+)", html.unescape(answer.text()))
    assert found is not None
    return found[1]


def enrol_page(page: Page, name: str = "Crew phone 3") -> None:
    """Open the crew's page on a new phone through an invitation of the office."""
    page.goto(f"/crew/#enrol={office_code(page.context, name)}")
    expect(page.get_by_role("heading", level=1)).to_have_text("Which loss are you at?")
