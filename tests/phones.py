"""Crews' phones as tests need them: keys, and requests signed with them."""

from base64 import urlsafe_b64encode

from cryptography.hazmat.primitives.asymmetric import ec

from shared import events as ev


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
