"""Photos: sealed as they came, refused when they are not what they say, shown without secrets."""

import io
import struct
import zlib
from hashlib import sha256
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from PIL import Image

from service.storage.photos import MAX_BYTES, PhotoError, PhotoStore, examine, smaller

GPS_IFD, ORIENTATION, MAKE, COMMENT = 0x8825, 0x0112, 0x010F, b"taken at 51.5 N"


@pytest.fixture
def store(tmp_path: Path) -> PhotoStore:
    return PhotoStore(tmp_path / "photos")


def picture(
    width: int = 60, height: int = 40, form: str = "JPEG", orientation: int | None = None
) -> bytes:
    """A red picture with a blue left half, with a camera's data where the form carries them."""
    image = Image.new("RGB", (width, height), (200, 20, 20))
    image.paste((20, 20, 200), (0, 0, width // 2, height))
    exif = Image.Exif()
    exif[MAKE] = "Invented Camera Works"
    exif.get_ifd(GPS_IFD)[2] = (51.0, 30.0, 0.0)
    if orientation is not None:
        exif[ORIENTATION] = orientation
    out = io.BytesIO()
    extra = {"comment": COMMENT} if form == "JPEG" else {}
    image.save(out, form, exif=exif, **extra)
    return out.getvalue()


def digest_of(data: bytes) -> str:
    return sha256(data).hexdigest()


@pytest.mark.parametrize(
    ("form", "media_type"), [("JPEG", "image/jpeg"), ("PNG", "image/png"), ("WEBP", "image/webp")]
)
def test_a_photo_comes_back_byte_for_byte(store: PhotoStore, form: str, media_type: str) -> None:
    data = picture(form=form)
    facts = store.put(digest_of(data), data)
    assert (facts.width, facts.height, facts.size) == (60, 40, len(data))
    assert facts.media_type == media_type
    assert store.get(digest_of(data)) == data


def test_a_photo_altered_on_the_way_is_refused(store: PhotoStore) -> None:
    data = picture()
    with pytest.raises(PhotoError, match="send the photo again"):
        store.put("0" * 64, data)
    with pytest.raises(KeyError):
        store.get("0" * 64)


def gif() -> bytes:
    out = io.BytesIO()
    Image.new("RGB", (5, 5)).save(out, "GIF")
    return out.getvalue()


@pytest.mark.parametrize(
    "data",
    [b"", b"not a picture", b"%PDF-1.7 and more", b"<svg xmlns='x'/>", gif(), picture()[:200]],
    ids=["nothing", "words", "pdf", "svg", "a form not taken", "its beginning only"],
)
def test_what_is_no_photo_is_refused(data: bytes) -> None:
    with pytest.raises(PhotoError, match="not a JPEG, PNG or WebP picture that can be opened"):
        examine(digest_of(data), data)


@settings(max_examples=40)
@given(cut=st.integers(1, len(picture()) - 1), form=st.sampled_from(["JPEG", "PNG", "WEBP"]))
def test_a_photo_cut_anywhere_is_refused_or_whole_and_nothing_else(cut: int, form: str) -> None:
    data = picture(form=form)[:cut]
    try:
        facts = examine(digest_of(data), data)
    except PhotoError:
        return
    # A few bytes short of its end a picture may still have every point of it.
    assert (facts.width, facts.height) == (60, 40)


def bomb(width: int, height: int) -> bytes:
    """A PNG that claims to be enormous in a few hundred bytes (PNG, third edition, W3C 2025)."""

    def chunk(name: bytes, body: bytes) -> bytes:
        return (
            struct.pack(">I", len(body)) + name + body + struct.pack(">I", zlib.crc32(name + body))
        )

    header = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    return (
        b"\x89PNG\r\n\x1a\n"
        + chunk(b"IHDR", header)
        + chunk(b"IDAT", zlib.compress(b"\0" * 1_000))
        + chunk(b"IEND", b"")
    )


@pytest.mark.parametrize("side", [8_000, 12_000, 60_000])
def test_a_picture_that_would_fill_the_memory_is_refused_unopened(side: int) -> None:
    data = bomb(side, side)
    with pytest.raises(PhotoError, match=r"points; at most|that can be opened"):
        examine(digest_of(data), data)


def test_a_file_beyond_the_limit_is_refused() -> None:
    data = b"\xff" * (MAX_BYTES + 1)
    with pytest.raises(PhotoError, match=f"at most {MAX_BYTES} are taken"):
        examine(digest_of(data), data)


@pytest.mark.parametrize("form", ["JPEG", "PNG", "WEBP"])
def test_what_is_shown_carries_none_of_the_cameras_data(form: str) -> None:
    original = picture(2_000, 1_000, form)
    with Image.open(io.BytesIO(original)) as before:
        assert before.getexif().get_ifd(GPS_IFD)
    shown = smaller(original, 360)
    with Image.open(io.BytesIO(shown)) as after:
        assert dict(after.getexif()) == {}
        assert set(after.info) <= {"jfif", "jfif_version", "jfif_unit", "jfif_density"}
    for secret in (b"Exif", b"Invented Camera", COMMENT):
        assert secret not in shown


# Where the blue half of the picture ends up, by EXIF orientation (CIPA DC-008, tag 0x0112).
BLUE_SIDE = {1: "left", 2: "right", 3: "right", 4: "left", 5: "top", 6: "top", 7: "bottom"}


@pytest.mark.parametrize("orientation", sorted(BLUE_SIDE))
def test_what_is_shown_stands_upright(orientation: int) -> None:
    data = picture(600, 400, orientation=orientation)
    with Image.open(io.BytesIO(smaller(data, 200))) as shown:
        width, height = shown.size
        assert (width > height) == (orientation < 5)
        spots = {
            "left": (5, height // 2),
            "right": (width - 5, height // 2),
            "top": (width // 2, 5),
            "bottom": (width // 2, height - 5),
        }
        colour = shown.getpixel(spots[BLUE_SIDE[orientation]])
    assert isinstance(colour, tuple)
    assert colour[2] > 150 > colour[0]


@settings(max_examples=25, suppress_health_check=[HealthCheck.too_slow])
@given(width=st.integers(1, 900), height=st.integers(1, 900), longest=st.sampled_from([90, 360]))
def test_what_is_shown_is_never_larger_than_asked_nor_than_it_was(
    width: int, height: int, longest: int
) -> None:
    with Image.open(io.BytesIO(smaller(picture(width, height), longest))) as shown:
        assert max(shown.size) <= max(1, min(longest, max(width, height)))
        assert min(shown.size) >= 1


def test_a_copy_to_show_is_made_once_and_the_original_stays(store: PhotoStore) -> None:
    data = picture(1_000, 700)
    store.put(digest_of(data), data)
    first = store.shown(digest_of(data), 360)
    assert store.shown(digest_of(data), 360) == first
    assert store.get(digest_of(data)) == data
    with pytest.raises(KeyError):
        store.shown("0" * 64, 360)


def test_a_document_is_known_by_its_digest(store: PhotoStore) -> None:
    digest = store.put_document(b"a signed paper")
    assert digest == digest_of(b"a signed paper")
    assert store.get(digest) == b"a signed paper"
