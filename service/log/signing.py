"""Who signed a request, or a file: checked against the key of an enrolled phone.

Requests carry HTTP Message Signatures (RFC 9421, ``ecdsa-p256-sha256``) over the method, the path
and the digest of the content (RFC 9530). The authority is left out: one service answers under
several names on a local network.

No signature is too old or too young: a phone's clock may be wrong by decades, and refusing its
work for that would lose it. Who sends a captured request again gains nothing: every event is
stored once under its id, and every photo under its own digest.
"""

from base64 import urlsafe_b64decode
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from cryptography.exceptions import InvalidSignature as WrongSignature
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.asymmetric.utils import encode_dss_signature
from cryptography.hazmat.primitives.hashes import SHA256
from http_message_signatures import (
    HTTPMessageSignaturesException,
    HTTPMessageVerifier,
    HTTPSignatureKeyResolver,
    InvalidSignature,
)
from http_message_signatures.algorithms import ECDSA_P256_SHA256

from shared.events import PhoneKey

COVERED = ("@method", "@path", "content-digest")
TAG = "lagan-phone"
"""Tells these signatures from any that something in between puts beside them."""

COORDINATE_BYTES = 32
_SOMEWHERE = "http://service.invalid"
"""The signature does not cover the authority, but an address needs one to be read."""


class UnsignedError(ValueError):
    """A request is not signed by an enrolled phone; the message says what to do."""


def public_key(key: PhoneKey) -> ec.EllipticCurvePublicKey:
    """The key as the cryptography library holds it. ``ValueError`` when off the curve."""
    x, y = (int.from_bytes(urlsafe_b64decode(f"{one}="), "big") for one in (key.x, key.y))
    return ec.EllipticCurvePublicNumbers(x, y, ec.SECP256R1()).public_key()


def fits(key: PhoneKey, signature: bytes, data: bytes) -> bool:
    """Whether ``signature`` (r and s, 32 bytes each) of ``data`` was made with ``key``."""
    if len(signature) != 2 * COORDINATE_BYTES:
        return False
    r, s = (
        int.from_bytes(half, "big")
        for half in (signature[:COORDINATE_BYTES], signature[COORDINATE_BYTES:])
    )
    try:
        public_key(key).verify(encode_dss_signature(r, s), data, ec.ECDSA(SHA256()))
    except WrongSignature:
        return False
    return True


@dataclass(frozen=True)
class Received:
    """A request as it came: the path as sent, and every header line."""

    method: str
    path: str
    headers: Mapping[str, str]

    @property
    def url(self) -> str:
        """Its address, under a name that stands for the service."""
        return f"{_SOMEWHERE}{self.path}"


class _Timeless(HTTPMessageVerifier):
    """Takes a signature whatever the time it says: see the module's docstring."""

    def validate_created_and_expires(self, sig_input: Any, max_age: Any = None) -> None:
        """Nothing is too old and nothing too young."""


class _Keys(HTTPSignatureKeyResolver):
    def __init__(self, key_of: Callable[[str], PhoneKey | None]) -> None:
        self._key_of = key_of

    def resolve_public_key(self, key_id: str) -> ec.EllipticCurvePublicKey:
        key = self._key_of(key_id)
        if key is None:
            raise _UnknownPhoneError(key_id)
        return public_key(key)


class _UnknownPhoneError(InvalidSignature):
    """No phone is enrolled under the name that the signature gives."""


def signer_of(request: Received, body: bytes, key_of: Callable[[str], PhoneKey | None]) -> str:
    """The phone that signed ``request`` with its key, which ``key_of`` finds by its name.

    Raises ``UnsignedError``.
    """
    names = {name.lower() for name in request.headers}
    if not {"signature", "signature-input"} <= names:
        raise UnsignedError(
            "this request is not signed; only a phone that the office has enrolled may write here. "
            "Ask the office for a code: it is under Phones"
        )
    verifier = _Timeless(signature_algorithm=ECDSA_P256_SHA256, key_resolver=_Keys(key_of))
    try:
        [found] = verifier.verify(
            request, max_age=None, expect_tag=TAG, require_components=COVERED, body=body
        )
    except _UnknownPhoneError as error:
        raise UnsignedError(
            f"no phone is enrolled here under the name {str(error)[:80]}; ask the office for a code"
        ) from error
    except (InvalidSignature, HTTPMessageSignaturesException, ValueError) as error:
        raise UnsignedError(
            "the signature does not fit this request, and nothing was taken. Send it again; if "
            "that does not help, have the office enrol this phone anew"
        ) from error
    return str(found.parameters["keyid"])
