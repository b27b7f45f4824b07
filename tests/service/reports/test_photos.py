"""Photos made printable: upright, small, without metadata, each prepared once."""

import io

import pytest
from PIL import Image

from service.reports.photos import LONGEST_SIDE_PX, PrintedPhotos, printable_jpeg
from tests.service.reports import factories


def opened(data: bytes | None) -> Image.Image:
    assert data is not None
    return Image.open(io.BytesIO(data))


@pytest.mark.parametrize("size", [(4000, 3000), (900, 1500), (1600, 1200), (80, 60), (5000, 40)])
def test_a_photo_keeps_its_shape_and_fits(size: tuple[int, int]) -> None:
    small = opened(printable_jpeg(factories.photo_bytes("shape", *size)))

    assert max(small.size) <= LONGEST_SIDE_PX
    assert small.width / small.height == pytest.approx(size[0] / size[1], rel=0.03)
    if max(size) <= LONGEST_SIDE_PX:
        assert small.size == size


def test_a_photo_taken_sideways_stands_upright() -> None:
    image = Image.new("RGB", (400, 200), "white")
    exif = image.getexif()
    exif[0x0112] = 6  # Orientation: turn a quarter clockwise to show (Exif 2.3, tag 274).
    raw = io.BytesIO()
    image.save(raw, "JPEG", exif=exif)

    assert opened(printable_jpeg(raw.getvalue())).size == (200, 400)


@pytest.mark.parametrize("mode", ["RGBA", "L", "P", "CMYK", "1"])
def test_other_kinds_of_picture_are_printable(mode: str) -> None:
    raw = io.BytesIO()
    Image.new("RGB", (60, 40), "teal").convert(mode).save(raw, "TIFF")

    assert opened(printable_jpeg(raw.getvalue())).mode == "RGB"


@pytest.mark.parametrize("data", [b"", b"GIF89a", b"\xff\xd8\xff\xe0", b"<svg/>"])
def test_what_is_no_photo_gives_none(data: bytes) -> None:
    assert printable_jpeg(data) is None


def test_a_photo_cut_short_gives_none() -> None:
    whole = factories.photo_bytes("cut", 640, 480)

    assert printable_jpeg(whole[: len(whole) // 2]) is None


def test_each_photo_is_read_once_and_its_file_goes_in_the_end() -> None:
    asked: list[str] = []

    class Counting(factories.Photos):
        def read(self, digest: str) -> bytes | None:
            asked.append(digest)
            return super().read(digest)

    kept = Counting()
    digests = [kept.add(factories.photo_bytes(str(number), 64, 48)) for number in range(40)]
    with PrintedPhotos(kept, [*digests, *digests, "ab" * 32]) as printed:
        files = [printed.file(digest) for digest in [*digests, *digests]]
        assert all(file is not None and file.exists() for file in files)
        assert printed.file("ab" * 32) is None
        with pytest.raises(KeyError):
            printed.file("cd" * 32)

    assert sorted(asked) == sorted([*digests, "ab" * 32])
    assert not any(file is not None and file.exists() for file in files)
