"""Photos and other files, each known by the SHA-256 of its bytes.

The original is kept sealed as it came. What is shown is a smaller copy made here, which carries
none of the camera's own data, such as where it stood.
"""

import io
import warnings
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path

import obstore
from obstore.store import LocalStore
from PIL import Image, ImageOps, UnidentifiedImageError

MAX_BYTES = 25 * 1024 * 1024
MAX_PIXELS = 60_000_000
SHOWN_PX = 1280
THUMBNAIL_PX = 360
FORMATS = {"JPEG": "image/jpeg", "PNG": "image/png", "WEBP": "image/webp"}


class PhotoError(ValueError):
    """A file that cannot be taken; the message says why and what to do."""


@dataclass(frozen=True)
class PhotoFacts:
    """What was learned from decoding a photo."""

    sha256: str
    size: int
    media_type: str
    width: int
    height: int


class PhotoStore:
    """Files by digest, in a folder."""

    def __init__(self, folder: Path) -> None:
        """Keep files under ``folder``, which is made if need be."""
        folder.mkdir(parents=True, exist_ok=True)
        self._store = LocalStore(prefix=folder)

    def put(self, digest: str, data: bytes) -> PhotoFacts:
        """Keep a photo. ``PhotoError`` when it is not what it says or cannot be decoded."""
        facts = examine(digest, data)
        obstore.put(self._store, _key(digest), data)
        return facts

    def put_document(self, data: bytes) -> str:
        """Keep any other bytes and return their digest."""
        digest = sha256(data).hexdigest()
        obstore.put(self._store, _key(digest), data)
        return digest

    def get(self, digest: str) -> bytes:
        """The exact bytes that came in. ``KeyError`` when there are none."""
        try:
            return bytes(obstore.get(self._store, _key(digest)).bytes())
        except FileNotFoundError as error:
            raise KeyError(digest) from error

    def shown(self, digest: str, longest_px: int) -> bytes:
        """A JPEG copy no longer than ``longest_px`` a side, kept for the next time."""
        key = f"shown/{longest_px}/{digest}.jpg"
        try:
            return bytes(obstore.get(self._store, key).bytes())
        except FileNotFoundError:
            copy = smaller(self.get(digest), longest_px)
            obstore.put(self._store, key, copy)
            return copy


def examine(digest: str, data: bytes) -> PhotoFacts:
    """Check that ``data`` is the photo ``digest`` names, and measure it."""
    if len(data) > MAX_BYTES:
        raise PhotoError(f"a photo of {len(data)} bytes; at most {MAX_BYTES} are taken")
    found = sha256(data).hexdigest()
    if found != digest:
        raise PhotoError(f"the bytes have the digest {found}, not {digest}; send the photo again")
    with _opened(data) as picture:
        width, height = picture.size
        media_type = FORMATS[picture.format or ""]
    return PhotoFacts(digest, len(data), media_type, width, height)


def smaller(data: bytes, longest_px: int) -> bytes:
    """A JPEG of at most ``longest_px`` a side, upright, without any of the camera's own data."""
    with _opened(data, longest_px) as picture:
        upright = ImageOps.exif_transpose(picture).convert("RGB")
        upright.thumbnail((longest_px, longest_px))
        out = io.BytesIO()
        # Pillow would carry the comment of the original over.
        upright.save(out, "JPEG", quality=82, optimize=True, comment=b"")
    return out.getvalue()


def _opened(data: bytes, at_least_px: int | None = None) -> Image.Image:
    """The decoded picture; no larger than is needed for ``at_least_px`` a side, if given."""
    with warnings.catch_warnings():
        # Pillow only warns of a picture that would unfold to fill the memory.
        warnings.simplefilter("error", Image.DecompressionBombWarning)
        try:
            picture = Image.open(io.BytesIO(data), formats=tuple(FORMATS))
            if picture.width * picture.height > MAX_PIXELS:
                raise PhotoError(
                    f"a picture of {picture.width} × {picture.height} points; at most "
                    f"{MAX_PIXELS} in all are taken"
                )
            if at_least_px is not None:
                picture.draft("RGB", (at_least_px, at_least_px))
            picture.load()
        except (
            UnidentifiedImageError,
            OSError,
            SyntaxError,
            ValueError,
            Image.DecompressionBombError,
            Image.DecompressionBombWarning,
        ) as error:
            if isinstance(error, PhotoError):
                raise
            raise PhotoError(
                "not a JPEG, PNG or WebP picture that can be opened; take the photo again"
            ) from error
    return picture


def _key(digest: str) -> str:
    return f"sealed/{digest[:2]}/{digest}"
