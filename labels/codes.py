"""Tag ids: made without a server, typed without mistakes, carried as a URL in a QR code.

A tag is twelve random characters and one check character.  The characters are those of
Douglas Crockford's base 32 (no I, L, O, U), so that what is printed can't be misread as
another character of the set.  The check character is that of ISO/IEC 7064 MOD 37-2, which
catches every single wrong character and every swap of neighbours, and at this length also every
swap of two characters further apart and every character twice mistaken alike (11 for 77).  Of
errors that it does not catch for sure, such as two characters wrong in different ways, about one
in 36 gets through.  Its own alphabet has 37 characters; a body whose check character would fall
outside the 32 is drawn again.
"""

import secrets
from collections.abc import Callable, Iterator
from typing import Final
from urllib.parse import SplitResult, urlsplit

from stdnum.iso7064 import mod_37_2

ALPHABET: Final = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"
"""Crockford base 32."""

BODY_LENGTH: Final = 12
TAG_LENGTH: Final = BODY_LENGTH + 1
QR_ALPHANUMERIC: Final = frozenset("0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ $%*+-./:")
"""The characters of QR alphanumeric mode (ISO/IEC 18004, table of that mode)."""

_TAG_PATH: Final = "/T/"
_LIST_PATH: Final = "/M/"
_STATION_PATH: Final = "/S/"
_GROUP: Final = 4
_READ_AS: Final = str.maketrans({"O": "0", "I": "1", "L": "1"})
_LOOKALIKES: Final = ("0DQ", "17", "2Z", "5S", "6G", "8B", "VY", "VW", "MN", "PR", "CG")


class TagError(ValueError):
    """A text is not a tag, or a base URL can't carry one; the message says how to mend it."""


def new_tag(choose: Callable[[str], str] = secrets.choice) -> str:
    """Return a new random tag of 13 characters.

    Args:
        choose: picks one character of the text given.  The default is unpredictable, and no
            other is right for tags in use; a seeded one serves an invented scenario.
    """
    while True:
        body = "".join(choose(ALPHABET) for _ in range(BODY_LENGTH))
        check: str = mod_37_2.calc_check_digit(body)
        if check in ALPHABET:
            return body + check


def new_tags(count: int, choose: Callable[[str], str] = secrets.choice) -> list[str]:
    """Return ``count`` new tags, all different.

    Raises:
        ValueError: ``count`` is negative.
    """
    if count < 0:
        raise ValueError(f"count of tags is {count}; it can't be negative")
    tags: dict[str, None] = {}
    while len(tags) < count:
        tags[new_tag(choose)] = None
    return list(tags)


def parse_tag(text: str) -> str:
    """Return the tag in a typed or scanned text.

    Spaces, hyphens and lower case are allowed, the letter O is read as 0, I and L as 1, and
    of a URL the part after ``/T/`` is taken.

    Raises:
        TagError: not a tag; the message names what to look at again.
    """
    characters = _strip(text)
    for place, character in enumerate(characters, start=1):
        if character not in ALPHABET:
            mend = "look again: is it a V?" if character == "U" else "look again"
            raise TagError(f"{character!r} at place {place} is never used in a tag; {mend}")
    if len(characters) != TAG_LENGTH:
        off = TAG_LENGTH - len(characters)
        many = f"{abs(off)} missing" if off > 0 else f"{abs(off)} too many"
        raise TagError(f"a tag has {TAG_LENGTH} characters, this has {len(characters)}: {many}")
    if not mod_37_2.is_valid(characters):
        raise TagError(
            "the check character does not fit: one character is wrong or two are swapped; "
            f"look again at {_where_to_look(characters)}"
        )
    return characters


def show_tag(tag: str) -> str:
    """Return the tag grouped for reading: ``XXXX-XXXX-XXXX-C``.

    Raises:
        TagError: not a tag.
    """
    tag = parse_tag(tag)
    return "-".join(tag[i : i + _GROUP] for i in range(0, TAG_LENGTH, _GROUP))


def tag_url(base_url: str, tag: str) -> str:
    """Return the text of the tag's QR code, ``HTTPS://HOST/T/TAG``.

    It is all upper case, because QR alphanumeric mode has no lower case and needs 5.5 bits a
    character instead of 8.  Scheme and host don't distinguish case; a path does.

    Args:
        base_url: where the service answers, such as ``https://tags.example``.
        tag: the tag, in any form that :func:`parse_tag` reads.

    Raises:
        TagError: not a tag, or the base can't be written in alphanumeric mode.
    """
    return f"{_base_in_capitals(base_url)}{_TAG_PATH}{parse_tag(tag)}"


def list_url(base_url: str, loss: str, manifest: str) -> str:
    """Return the text of the QR code of a truck's list, ``HTTPS://HOST/M/LOSS/LIST``.

    What alphanumeric mode can't write, lower case above all, stands as the ``%`` and two digits of
    RFC 3986, so that both names come back letter for letter. The crew's phone writes and reads the
    same (``service/web/src/list-code.ts``).

    Args:
        base_url: where the service answers, such as ``https://tags.example``.
        loss: the loss's id, of ASCII letters, digits, dots, hyphens and underscores.
        manifest: the list's id, of the same.

    Raises:
        TagError: the base can't be written in alphanumeric mode.
    """
    names = "/".join(
        "".join(one if one in QR_ALPHANUMERIC else f"%{ord(one):02X}" for one in name)
        for name in (loss, manifest)
    )
    return f"{_base_in_capitals(base_url)}{_LIST_PATH}{names}"


def station_url(base_url: str, station: str) -> str:
    """Return the text of the QR code at a place of the facility, ``HTTPS://HOST/S/STATION``.

    A station's id has lower case only, so it comes back from the capitals.

    Raises:
        TagError: the base or the id can't be written in alphanumeric mode.
    """
    name = station.upper()
    if not name or set(name) - QR_ALPHANUMERIC:
        raise TagError(f"station {station!r}: its id can't be written in QR alphanumeric mode")
    return f"{_base_in_capitals(base_url)}{_STATION_PATH}{name}"


def parse_station(text: str) -> str:
    """Return the station's id in a scanned URL, or the text itself in lower case."""
    return text.strip().rpartition("/")[2].lower()


def _base_in_capitals(base_url: str) -> str:
    parts = _split_base(base_url)
    base = f"{parts.scheme.upper()}://{parts.netloc.upper()}{parts.path.rstrip('/')}"
    for character in base:
        if character not in QR_ALPHANUMERIC:
            raise TagError(
                f"base URL: {character!r} can't be written in QR alphanumeric mode; use a host "
                "of letters, digits, hyphens and dots, and a path in upper case or none"
            )
    return base


def _split_base(base_url: str) -> SplitResult:
    try:
        parts = urlsplit(base_url.strip())
        has_host = bool(parts.hostname)
    except ValueError as error:
        raise TagError(f"base URL {base_url!r} can't be read: {error}") from error
    if parts.scheme not in {"http", "https"} or not has_host:
        raise TagError(f"base URL {base_url!r}: give it as https://host")
    if parts.query or parts.fragment or parts.username is not None:
        raise TagError(f"base URL {base_url!r}: leave out user, '?' and '#'")
    return parts


def _strip(text: str) -> str:
    """Return the bare characters of a typed tag or of the tag in a URL."""
    upper = text.strip().upper()
    if "://" in upper:
        _, found, upper = upper.rpartition(_TAG_PATH)
        if not found:
            raise TagError("this code holds a web address, but not that of a tag")
        upper = upper.rstrip("/")
    bare = "".join(
        character for character in upper if not (character.isspace() or character in "-‐–")
    )
    return bare.translate(_READ_AS)


def _where_to_look(characters: str) -> str:
    """Name the places where one likely slip would explain the misfit."""
    places = sorted({place for place, slip in _likely_slips(characters) if mod_37_2.is_valid(slip)})
    if not places:
        return "every character"
    named = [f"place {place + 1} ({characters[place]})" for place in places]
    return "every character, first at " + ", ".join(named)


def _likely_slips(characters: str) -> Iterator[tuple[int, str]]:
    """Yield texts one look-alike or one swap of neighbours away, with the place."""
    for place, character in enumerate(characters):
        before, after = characters[:place], characters[place + 1 :]
        for group in _LOOKALIKES:
            if character in group:
                for other in group.replace(character, ""):
                    yield place, before + other + after
        if after:
            yield place, before + after[0] + character + after[1:]
