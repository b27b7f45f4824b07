"""Requests' signatures and digests against the examples that their standards print."""

import json
from base64 import b64decode
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest
from http_message_signatures import HTTPMessageVerifier, MappingKeyResolver
from http_message_signatures.algorithms import ECDSA_P256_SHA256
from http_message_signatures.digests import ContentDigest

from service.log.signing import fits, public_key
from shared.events import PhoneKey

VECTOR: dict[str, Any] = json.loads(
    (Path(__file__).parent / "vectors" / "rfc9421_ecdsa_p256.json").read_text(encoding="utf-8")
)
KEY = PhoneKey(**VECTOR["key"])
BASE = "\n".join(VECTOR["base"]).encode()
SIGNATURE = b64decode(VECTOR["signature"])


def test_the_signature_of_rfc_9421_b_2_4_fits_its_base_and_no_other() -> None:
    assert fits(KEY, SIGNATURE, BASE)
    for place in range(0, len(BASE), 7):
        changed = bytearray(BASE)
        changed[place] ^= 1
        assert not fits(KEY, SIGNATURE, bytes(changed))
    for place in range(len(SIGNATURE)):
        changed = bytearray(SIGNATURE)
        changed[place] ^= 1
        assert not fits(KEY, bytes(changed), BASE)
    assert not fits(KEY, SIGNATURE[:-1], BASE)
    assert not fits(KEY, bytes(64), BASE)


@dataclass
class Response:
    """The standard's test-response, with sig-b24."""

    status_code: int = 200
    headers: dict[str, str] = field(
        default_factory=lambda: {
            "Content-Type": "application/json",
            "Content-Digest": VECTOR["base"][2].partition(": ")[2],
            "Content-Length": "23",
            "Signature-Input": "sig-b24=" + VECTOR["base"][4].partition(": ")[2],
            "Signature": f"sig-b24=:{VECTOR['signature']}:",
        }
    )


def test_the_library_that_the_service_verifies_with_takes_the_standard_s_example() -> None:
    keys = MappingKeyResolver(public_keys={"test-key-ecc-p256": public_key(KEY)}, private_keys={})
    verifier = HTTPMessageVerifier(signature_algorithm=ECDSA_P256_SHA256, key_resolver=keys)
    [found] = verifier.verify(
        Response(),
        max_age=None,
        require_components=("@status", "content-digest"),
        body=VECTOR["body"].encode(),
    )
    assert found.parameters == {"created": 1618884473, "keyid": "test-key-ecc-p256"}


# RFC 9530, appendix B.1 (a whole resource that ends in a line feed), B.2 (no content) and B.3
# (a part of it).
@pytest.mark.parametrize(
    ("body", "digest"),
    [
        (b'{"hello": "world"}\n', "sha-256=:RK/0qy18MlBSVnWgjwz6lZEWjP/lF5HF9bvEF8FabDg=:"),
        (b"", "sha-256=:47DEQpj8HBSa+/TImW+5JCeuQeRkm5NMpJWZG3hSuFU=:"),
        (b'"world"}\n', "sha-256=:jjcgBDWNAtbYUXI37CVG3gRuGOAjaaDRGpIUFsdyepQ=:"),
    ],
)
def test_digests_are_those_of_rfc_9530(body: bytes, digest: str) -> None:
    assert ContentDigest.create(body) == digest
    ContentDigest.verify(digest, body)
