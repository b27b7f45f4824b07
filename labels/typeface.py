"""The typeface of everything printed, and what to do with characters that it lacks.

The Bitstream Vera family comes with reportlab, so nothing has to be fetched, and it is
embedded in the PDF.  It covers Western European text and the signs a sheet needs
(× – ° ≤ ³ €), but not every script.  A character that it lacks is never dropped in silence:
:func:`printable` puts something readable in square brackets.
"""

import unicodedata
from functools import cache
from typing import Final
from xml.sax.saxutils import escape

from reportlab.lib.fonts import addMapping
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont

REGULAR: Final = "Vera"
BOLD: Final = "VeraBd"
ITALIC: Final = "VeraIt"
BOLD_ITALIC: Final = "VeraBI"

BRACKET_NOTE: Final = (
    "A letter in [ ] stands for one that this sheet's typeface lacks; the record has it in full."
)

_PLAIN: Final = {"″": '"', "′": "'", "μ": "µ", "‐": "-", "‑": "-", "−": "-", "→": "->"}


@cache
def register() -> frozenset[int]:
    """Make the family known to reportlab; return the code points that it covers."""
    for name in (REGULAR, BOLD, ITALIC, BOLD_ITALIC):
        pdfmetrics.registerFont(TTFont(name, f"{name}.ttf"))
    for bold, italic, name in (
        (0, 0, REGULAR),
        (1, 0, BOLD),
        (0, 1, ITALIC),
        (1, 1, BOLD_ITALIC),
    ):
        addMapping(REGULAR, bold, italic, name)
    return frozenset(pdfmetrics.getFont(REGULAR).face.charToGlyph)


def printable(text: str) -> str:
    """Return the text with each character that the typeface lacks made visible.

    Signs with a plain equal are written with it: 3/8 for a fraction, CO2 for a subscript, " for
    an inch mark.  An accented letter becomes its base letter in brackets, ``Dvo[r]ák``; anything
    else its code point, ``[U+6F22]``.  Line breaks stay; other controls become spaces.
    """
    parts: list[str] = []
    for character in unicodedata.normalize("NFC", text):
        if character == "\n" or _is_covered(character):
            parts.append(character)
        elif character.isspace() or unicodedata.category(character) == "Cc":
            parts.append(" ")
        else:
            parts.append(_stand_in(character, after_digit=bool(parts) and parts[-1].isdigit()))
    return "".join(parts)


def _is_covered(character: str) -> bool:
    return ord(character) in register() and character.isprintable()


def _stand_in(character: str, *, after_digit: bool) -> str:
    if character in _PLAIN:
        return _PLAIN[character]
    plain = unicodedata.normalize("NFKD", character)
    kind = unicodedata.decomposition(character).partition(" ")[0]
    if kind == "<fraction>":
        # 12⅜ must not become 123/8.
        return (" " if after_digit else "") + plain.replace("⁄", "/")
    if kind in {"<sub>", "<super>"} and all(map(_is_covered, plain)):
        return plain
    is_accented_letter = plain[0].isalpha() and all(map(unicodedata.combining, plain[1:]))
    if is_accented_letter and _is_covered(plain[0]):
        return f"[{plain[0]}]"
    return f"[U+{ord(character):04X}]"


def markup(text: str) -> str:
    """Return user text for a reportlab Paragraph: printable, escaped, line breaks kept."""
    return escape(printable(text)).replace("\n", "<br/>")


def fitting_size(text: str, font: str, width_pt: float, largest_pt: float) -> float:
    """Return the largest size, up to ``largest_pt``, at which a line fits the width (pt)."""
    register()
    natural = pdfmetrics.stringWidth(text, font, largest_pt)
    return largest_pt if natural <= width_pt else largest_pt * width_pt / natural
