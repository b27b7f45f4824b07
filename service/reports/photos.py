"""Photos made small enough to print, once each, ahead of the page that shows them.

A printed photo is decoded and encoded anew, so that what its camera wrote beside the picture,
place and owner's name included, stays out of the report.
"""

import io
from collections import deque
from collections.abc import Iterable
from concurrent.futures import Future, ThreadPoolExecutor
from pathlib import Path
from tempfile import TemporaryDirectory
from types import TracebackType
from typing import Final, Protocol, Self

from PIL import Image, ImageOps, UnidentifiedImageError

LONGEST_SIDE_PX: Final = 1100
"""The longest side printed at most."""

ENOUGH_PX: Final = 720
"""The longest side aimed at: about 200 dots an inch at the largest size a report shows."""

JPEG_QUALITY: Final = 78
MOST_PIXELS: Final = 120_000_000
_AHEAD: Final = 24
_WORKERS: Final = 2


class PhotoSource(Protocol):
    """Where the bytes of photos are kept."""

    def read(self, digest: str) -> bytes | None:
        """The bytes with this SHA-256, or ``None`` while they have not come in."""


class NoPhotos:
    """A source that has none: for reports without photos."""

    def read(self, digest: str) -> bytes | None:
        """None, whatever is asked for."""
        return None


def printable_jpeg(data: bytes) -> bytes | None:
    """``data`` as a small upright JPEG without metadata; ``None`` if it is no sound photo."""
    try:
        with Image.open(io.BytesIO(data)) as image:
            if image.width * image.height > MOST_PIXELS:
                return None
            # Lets the JPEG decoder leave out what would be thrown away, in steps of two.
            share = ENOUGH_PX / max(image.size)
            image.draft("RGB", (round(image.width * share), round(image.height * share)))
            upright = ImageOps.exif_transpose(image)
            if upright.mode != "RGB":
                upright = upright.convert("RGB")
            upright.thumbnail((LONGEST_SIDE_PX, LONGEST_SIDE_PX))
            out = io.BytesIO()
            upright.info.clear()
            upright.save(out, "JPEG", quality=JPEG_QUALITY)
            return out.getvalue()
    except (OSError, ValueError, SyntaxError, UnidentifiedImageError, Image.DecompressionBombError):
        return None


class PrintedPhotos:
    """The photos of one report in the order it needs them, as files for the PDF writer.

    Use as a context: the files are gone when it ends.
    """

    def __init__(self, source: PhotoSource, digests: Iterable[str]) -> None:
        self._source = source
        self._waiting = deque(dict.fromkeys(digests))
        self._started: dict[str, Future[Path | None]] = {}

    def __enter__(self) -> Self:
        """Start on the first photos."""
        self._folder = TemporaryDirectory(prefix="lagan-photos-")
        self._pool = ThreadPoolExecutor(_WORKERS)
        for _ in range(_AHEAD):
            self._start_next()
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        """Stop and clean up."""
        self._pool.shutdown(wait=True, cancel_futures=True)
        self._folder.cleanup()

    def file(self, digest: str) -> Path | None:
        """The printable file of a photo, or ``None`` when it is not here or can't be read.

        Raises ``KeyError`` for a photo that was not announced.
        """
        self._start_next()
        while digest not in self._started and self._waiting:
            self._start_next()
        return self._started[digest].result()

    def _start_next(self) -> None:
        if self._waiting:
            digest = self._waiting.popleft()
            self._started[digest] = self._pool.submit(self._prepare, digest)

    def _prepare(self, digest: str) -> Path | None:
        data = self._source.read(digest)
        jpeg = printable_jpeg(data) if data is not None else None
        if jpeg is None:
            return None
        # The writer tells JPEG by its name, and embeds one file name once.
        path = Path(self._folder.name) / f"{digest}.jpg"
        path.write_bytes(jpeg)
        return path
