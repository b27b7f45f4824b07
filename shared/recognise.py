"""What people write in a catalogue, read into the words of the trade: medium, damage, size.

Nothing is guessed. A medium or a damage is recognised only where phrases of
``tables/recognition.csv`` cover the words; what they do not cover is handed back with the mend.
A size either reads completely or raises ``SizeError``.
"""

import csv
import re
import unicodedata
from collections.abc import Iterable, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from decimal import Decimal
from enum import StrEnum
from fractions import Fraction
from functools import lru_cache
from pathlib import Path
from typing import Generic, TypeVar

from rapidfuzz import fuzz, process

from shared.quantities import LengthUnit, OutOfRange, to_metres
from shared.vocabulary import Damage, Material, ObjectType

# A long list repeats its words: remembering them reads 100 000 rows in a third of the time.
_REMEMBERED = 8192
_TABLE = Path(__file__).parent / "tables" / "recognition.csv"

# --- words ------------------------------------------------------------------------------------

_SPELLINGS = (
    ("color", "colour"),
    ("mold", "mould"),
    ("gray", "grey"),
    ("fiber", "fibre"),
    ("aluminum", "aluminium"),
    ("odor", "odour"),
    ("ebonized", "ebonised"),
    ("enameled", "enamelled"),
    ("gelatine", "gelatin"),
)
_IRREGULAR = {
    "canvas": "canvas",
    "canvases": "canvas",
    "leaves": "leaf",
    "boxes": "box",
    "gouaches": "gouache",
}
_ARTICLES = frozenset({"a", "an", "the"})
_NEGATIONS = frozenset({"no", "not", "non", "never", "without", "neither", "nor", "except"})
_BREAKS = re.compile(r"[,;:()\[\]{}|\r\n]|\.(?=\s|$)")
_WORD = re.compile(r"[^\W_]+|\?")
_SHORTEST_SOUGHT = 3
"""Letters of the shortest word by which somebody may look for a material."""


@dataclass(frozen=True, slots=True)
class _Word:
    """One word: as it was written, the form it is compared in, and the clause it stands in."""

    written: str
    form: str
    clause: int


def _form(word: str) -> str:
    """Fold accents, case, spelling and plural, so that text and table compare alike."""
    decomposed = unicodedata.normalize("NFKD", word.casefold())
    folded = "".join(c for c in decomposed if not unicodedata.combining(c))
    for other, ours in _SPELLINGS:
        folded = folded.replace(other, ours)
    if folded in _IRREGULAR:
        return _IRREGULAR[folded]
    if len(folded) > 4 and folded.endswith("ies"):
        return folded[:-3] + "y"
    if len(folded) > 4 and folded.endswith(("ches", "shes", "sses", "xes")):
        return folded[:-2]
    if len(folded) > 3 and folded.endswith("s") and not folded.endswith(("ss", "us", "is")):
        return folded[:-1]
    return folded


def _words(text: str) -> list[_Word]:
    """Split ``text`` into words; hyphens and slashes part words, commas and brackets clauses."""
    text = re.sub(r"['’`]", "", text)
    text = re.sub(r"[&+]", " and ", text)
    text = re.sub(r"\bw/(?=\s)", "with ", text, flags=re.IGNORECASE)
    return [
        _Word(match.group(), _form(match.group()), clause)
        for clause, part in enumerate(_BREAKS.split(text))
        for match in _WORD.finditer(part)
        if match.group().casefold() not in _ARTICLES
    ]


def _forms(text: str) -> tuple[str, ...]:
    return tuple(word.form for word in _words(text))


# --- phrases ----------------------------------------------------------------------------------

_OBJECT_TYPES = {member.value: member for member in ObjectType}

Meaning = TypeVar("Meaning", Material, Damage)


@dataclass(frozen=True, slots=True)
class _Phrase(Generic[Meaning]):
    """A row of the table. One without meanings or advice is passed over ("and", "carved")."""

    text: str
    meanings: tuple[Meaning, ...] = ()
    object_type: ObjectType | None = None
    replaces: tuple[Meaning, ...] = ()
    advice: str = ""


@dataclass(frozen=True, slots=True)
class _Segment(Generic[Meaning]):
    """A run of words and the phrase that covers it, if one does."""

    words: tuple[_Word, ...]
    phrase: _Phrase[Meaning] | None

    @property
    def written(self) -> str:
        return " ".join(word.written for word in self.words)

    @property
    def key(self) -> tuple[str, ...]:
        return tuple(word.form for word in self.words)


@dataclass(frozen=True, slots=True)
class _Reading(Generic[Meaning]):
    """What a text was found to say."""

    meanings: tuple[Meaning, ...]
    object_type: ObjectType | None
    rest: tuple[str, ...]
    mend: str


class _PhraseBook(Generic[Meaning]):
    """The phrases of one field, and the reading of a text by them."""

    def __init__(self, field: str, meaning: type[Meaning], blank_mend: str) -> None:
        self.phrases: dict[tuple[str, ...], _Phrase[Meaning]] = {}
        # A phrase such as "oil ... on canvas" holds its two ends apart: "oil and sand on canvas".
        self.pairs: dict[tuple[tuple[str, ...], tuple[str, ...]], _Phrase[Meaning]] = {}
        self._blank_mend = blank_mend
        with _TABLE.open(encoding="utf-8", newline="") as table:
            for row in csv.DictReader(table):
                if row["field"] == field:
                    self._add(row, meaning)
        self._longest = max(map(len, self.phrases))
        self._supports = {tail for _, tail in self.pairs}
        known = [*self.phrases.values(), *self.pairs.values()]
        self._suggestions = [p.text.replace(" ... ", " ") for p in known if p.meanings]

    def _add(self, row: dict[str, str], meaning: type[Meaning]) -> None:
        members = {member.value: member for member in meaning}
        phrase = _Phrase(
            text=row["phrase"],
            meanings=tuple(members[value] for value in _listed(row["meanings"])),
            object_type=_OBJECT_TYPES[row["object_type"]] if row["object_type"] else None,
            replaces=tuple(members[value] for value in _listed(row["replaces"])),
            advice=row["advice"],
        )
        head, gap, tail = row["phrase"].partition("...")
        if gap:
            key = (_forms(head), _forms(tail))
            if key in self.pairs:
                raise ValueError(f"{_TABLE.name}: '{phrase.text}' is there twice")
            self.pairs[key] = phrase
        else:
            if _forms(head) in self.phrases:
                raise ValueError(f"{_TABLE.name}: '{phrase.text}' is there twice")
            self.phrases[_forms(head)] = phrase

    def read(self, text: str) -> _Reading[Meaning]:
        """Read ``text``: what it means, the words left over, and how to mend them."""
        words = _words(text)
        if not words:
            return _Reading((), None, (), self._blank_mend)
        segments = self._join_pairs(self._segments(words))
        open_segments = [s for s in segments if s.phrase is None or s.phrase.advice]
        denied = any(s.phrase is None and set(s.key) & _NEGATIONS for s in segments)
        meanings = () if denied else _closest(s.phrase for s in segments if s.phrase)
        types = (s.phrase.object_type for s in segments if s.phrase and s.phrase.object_type)
        mend = self._mend(text, segments, open_segments, denied)
        if not open_segments and not meanings:
            mend = f"'{text.strip()[:80]}' names nothing by itself. {self._blank_mend}"
        return _Reading(meanings, next(types, None), tuple(s.written for s in open_segments), mend)

    def _segments(self, words: Sequence[_Word]) -> list[_Segment[Meaning]]:
        """Cover ``words`` from the left, the longest phrase first, within one clause."""
        segments: list[_Segment[Meaning]] = []
        start = 0
        while start < len(words):
            for length in range(min(self._longest, len(words) - start), 0, -1):
                run = tuple(words[start : start + length])
                phrase = self.phrases.get(tuple(word.form for word in run))
                if phrase and run[0].clause == run[-1].clause:
                    break
            else:
                run, phrase = (words[start],), None
            segments.append(_Segment(run, phrase))
            start += len(run)
        return segments

    def _join_pairs(self, segments: list[_Segment[Meaning]]) -> list[_Segment[Meaning]]:
        """Give a paint its support where other words stand between them."""
        joined = list(segments)
        claimed: set[int] = set()
        for index, segment in enumerate(segments):
            supports = (i for i in range(index + 1, len(segments)) if self._is_support(segments[i]))
            support = next(supports, None)
            if support is None:
                break
            phrase = self.pairs.get((segment.key, segments[support].key))
            if phrase:
                joined[index] = replace(segment, phrase=phrase)
                claimed.add(support)
        for support in claimed:
            tail = segments[support].phrase
            if tail:
                joined[support] = replace(segments[support], phrase=_Phrase(text=tail.text))
        return joined

    def _is_support(self, segment: _Segment[Meaning]) -> bool:
        return segment.key in self._supports

    def _mend(
        self,
        text: str,
        segments: list[_Segment[Meaning]],
        open_segments: list[_Segment[Meaning]],
        denied: bool,
    ) -> str:
        if not open_segments:
            return ""
        if denied:
            return f"'{text.strip()[:80]}' says what is not there; write only what is there."
        sentences = [
            f"'{segment.written}' says too little: {segment.phrase.advice}."
            for segment in open_segments
            if segment.phrase
        ]
        unknown = [s for s in open_segments if s.phrase is None]
        if unknown:
            named = ", ".join(f"'{s.written}'" for s in unknown[:5])
            more = f" and {len(unknown) - 5} more" if len(unknown) > 5 else ""
            sentences.append(f"Not understood: {named}{more}.")
            near = self._nearest(segments, unknown)
            if near:
                sentences.append("Nearest known: " + ", ".join(f"'{text}'" for text in near) + ".")
            else:
                sentences.append(self._blank_mend)
        return " ".join(sentences)

    def _nearest(
        self, segments: list[_Segment[Meaning]], unknown: list[_Segment[Meaning]]
    ) -> list[str]:
        """Up to three known phrases like the unknown words, or like their whole clause."""
        clause = unknown[0].words[0].clause
        whole = " ".join(s.written for s in segments if s.words[0].clause == clause)
        queries = dict.fromkeys([whole[:80], unknown[0].written[:80]])
        found = [
            match
            for query in queries
            for match in process.extract(
                query.casefold(), self._suggestions, scorer=fuzz.ratio, limit=3, score_cutoff=72
            )
        ]
        found.sort(key=lambda match: -match[1])
        return list(dict.fromkeys(match[0] for match in found))[:3]


def _listed(cell: str) -> list[str]:
    return [part.strip() for part in cell.split(";") if part.strip()]


def _closest(phrases: Iterable[_Phrase[Meaning]]) -> tuple[Meaning, ...]:
    """All meanings in order, less those that a closer phrase replaces."""
    meanings: dict[Meaning, None] = {}
    replaced: set[Meaning] = set()
    for phrase in phrases:
        meanings.update(dict.fromkeys(phrase.meanings))
        replaced.update(phrase.replaces)
    return tuple(meaning for meaning in meanings if meaning not in replaced)


@dataclass(frozen=True, slots=True)
class MediumFinding:
    """The materials of a medium line.

    ``rest`` holds the words not understood or too vague, as written. ``mend`` says what to
    write instead; it is empty when the finding is complete.
    """

    materials: tuple[Material, ...]
    object_type: ObjectType | None
    rest: tuple[str, ...]
    mend: str

    @property
    def complete(self) -> bool:
        """Whether every word was understood and at least one material was named."""
        return not self.mend


@dataclass(frozen=True, slots=True)
class DamageFinding:
    """The damages of a line on condition; the fields are as in ``MediumFinding``."""

    damages: tuple[Damage, ...]
    rest: tuple[str, ...]
    mend: str

    @property
    def complete(self) -> bool:
        """Whether every word was understood and at least one damage was named."""
        return not self.mend


_MEDIUM = _PhraseBook(
    "medium", Material, "Name the medium, such as 'oil on canvas' or 'gelatin silver print'."
)
_DAMAGE = _PhraseBook("damage", Damage, "Say what happened, such as 'soaked', 'soot' or 'mould'.")


@lru_cache(maxsize=_REMEMBERED)
def recognise_medium(text: str) -> MediumFinding:
    """Materials and likely type of object of a catalogue's medium line. Never raises."""
    reading = _MEDIUM.read(text)
    return MediumFinding(reading.meanings, reading.object_type, reading.rest, reading.mend)


def words_for_materials() -> dict[Material, tuple[str, ...]]:
    """The words by which a person may look for a material, in the order of the alphabet.

    They are those of the phrases that mean this material and nothing else.
    """
    words: dict[Material, set[str]] = {}
    for phrase in (*_MEDIUM.phrases.values(), *_MEDIUM.pairs.values()):
        if len(phrase.meanings) == 1 and not phrase.replaces:
            named = [word.written.lower() for word in _words(phrase.text)]
            words.setdefault(phrase.meanings[0], set()).update(
                word for word in named if len(word) >= _SHORTEST_SOUGHT and word.isalpha()
            )
    return {material: tuple(sorted(found)) for material, found in words.items()}


@lru_cache(maxsize=_REMEMBERED)
def recognise_damage(text: str) -> DamageFinding:
    """Damages named in a line on condition. Never raises."""
    reading = _DAMAGE.read(text)
    damages = reading.meanings
    mend = reading.mend
    if Damage.NONE_SEEN in damages and len(damages) > 1:
        mend = f"'{text.strip()[:80]}' says both damage and none; write one or the other."
        damages = ()
    return DamageFinding(damages, reading.rest, mend)


# --- sizes ------------------------------------------------------------------------------------

LONGEST_M = Decimal(30)
"""No piece that a van carries is longer; a larger figure is a slip of the unit."""

_LONGEST_TEXT = 300
_SMALLEST_KEPT_M = Decimal("1e-9")
_EXAMPLE = "write it as '24 x 36 in.' or 'H. 61 cm; W. 91.4 cm'"


class SizeError(ValueError):
    """A size that cannot be read with certainty. ``mend`` says what to write instead."""

    def __init__(self, text: str, why: str, mend: str) -> None:
        self.text = text
        self.why = why
        self.mend = mend
        super().__init__(f"size '{text[:80]}': {why}; {mend}.")

    def __reduce__(self) -> tuple[type["SizeError"], tuple[str, str, str]]:
        """Rebuild from the parts, so that the error survives the trip from a child process."""
        return (SizeError, (self.text, self.why, self.mend))


class SizePart(StrEnum):
    """The part of a piece that a size was taken of."""

    FRAMED = "framed"
    OVERALL = "overall"
    WHOLE = "whole"
    MOUNT = "mount"
    SHEET = "sheet"
    SIGHT = "sight"
    PLATE = "plate"
    IMAGE = "image"


@dataclass(frozen=True, slots=True)
class PartSize:
    """Measures of one part in m; a measure that was not given is None."""

    part: SizePart
    height_m: Decimal | None = None
    width_m: Decimal | None = None
    depth_m: Decimal | None = None
    diameter_m: Decimal | None = None
    length_m: Decimal | None = None

    @property
    def measures(self) -> dict[str, Decimal]:
        """The measures that were given, by the name of their field."""
        named = ((name.value, getattr(self, name.value)) for name in _Dimension)
        return {name: value_m for name, value_m in named if value_m is not None}


@dataclass(frozen=True, slots=True)
class SizeFinding:
    """All sizes that a text gives, the outermost part first; an unlabelled size is WHOLE."""

    sizes: tuple[PartSize, ...]

    @property
    def outer(self) -> PartSize:
        """The size a carrier meets: framed before overall, before the piece itself."""
        return self.sizes[0]


class _Kind(StrEnum):
    NUMBER = "number"
    FRACTION = "fraction"
    UNIT = "unit"
    TIMES = "x"
    LABEL = "label"
    PART = "part"
    OPEN = "("
    CLOSE = ")"
    COLON = ":"
    BREAK = "break"
    HYPHEN = "-"
    END = "end"


_STARTS_NUMBER = frozenset({_Kind.NUMBER, _Kind.FRACTION})
_STARTS_GROUP = _STARTS_NUMBER | {_Kind.LABEL}


class _Dimension(StrEnum):
    HEIGHT = "height_m"
    WIDTH = "width_m"
    DEPTH = "depth_m"
    DIAMETER = "diameter_m"
    LENGTH = "length_m"


_CATALOGUE_ORDER = (_Dimension.HEIGHT, _Dimension.WIDTH, _Dimension.DEPTH)

_SIZE_VOCABULARY: tuple[tuple[_Kind, object, str], ...] = (
    (_Kind.UNIT, LengthUnit.INCH, 'in ins inch inches "'),
    (_Kind.UNIT, LengthUnit.FOOT, "ft foot feet '"),
    (_Kind.UNIT, LengthUnit.CENTIMETRE, "cm cms centimetre centimetres centimeter centimeters"),
    (_Kind.UNIT, LengthUnit.MILLIMETRE, "mm mms millimetre millimetres millimeter millimeters"),
    (_Kind.UNIT, LengthUnit.METRE, "m metre metres meter meters"),
    (_Kind.TIMES, None, "x × ✕ * by"),
    (_Kind.LABEL, _Dimension.HEIGHT, "h ht height high"),
    (_Kind.LABEL, _Dimension.WIDTH, "w wd width wide"),
    (_Kind.LABEL, _Dimension.DEPTH, "d dp depth deep"),
    (_Kind.LABEL, _Dimension.LENGTH, "l length long"),
    (_Kind.LABEL, _Dimension.DIAMETER, "diam dia diameter ø ⌀"),
    (_Kind.PART, SizePart.FRAMED, "framed frame"),
    (_Kind.PART, SizePart.OVERALL, "overall object"),
    (_Kind.PART, SizePart.WHOLE, "unframed canvas panel stretcher"),
    (_Kind.PART, SizePart.MOUNT, "mount mounted mat matted"),
    (_Kind.PART, SizePart.SHEET, "sheet paper"),
    (_Kind.PART, SizePart.SIGHT, "sight"),
    (_Kind.PART, SizePart.PLATE, "plate platemark"),
    (_Kind.PART, SizePart.IMAGE, "image print"),
    (_Kind.COLON, None, ": ="),
    (_Kind.BREAK, None, ", ; / | or and"),
    (_Kind.OPEN, None, "( ["),
    (_Kind.CLOSE, None, ") ]"),
    (_Kind.HYPHEN, None, "-"),
)
_SIZE_WORDS = {
    word: (kind, value) for kind, value, words in _SIZE_VOCABULARY for word in words.split()
}

_SIZE_TOKEN = re.compile(
    r"""(?P<number>[0-9](?:[0-9.,]*[0-9])?|[.,][0-9]+)"""
    r"""|(?P<word>[^\W\d_]+)\.?"""
    r"""|(?P<sign>[×✕*⌀"'()\[\],;:/=|-])"""
)
_DENOMINATORS = frozenset({2, 3, 4, 5, 6, 8, 10, 12, 16, 32, 64})


@dataclass(frozen=True, slots=True)
class _Token:
    kind: _Kind
    value: object
    written: str
    # How finely a number was written: the value of one in its last place.
    step: Fraction = Fraction(1)


@dataclass(frozen=True, slots=True)
class _Measure:
    """One number as written: feet and inches already added up in inches."""

    value: Fraction
    step: Fraction
    unit: LengthUnit | None
    dimension: _Dimension | None


@dataclass(frozen=True, slots=True)
class _Entry:
    """A measure whose part, dimension and unit are known."""

    part: SizePart | None
    dimension: _Dimension
    value_m: Decimal
    tolerance_m: Decimal


def _plain_signs(text: str) -> str:
    """Write vulgar fractions, primes and typographic dashes in plain characters."""
    plain = []
    for char in text:
        parts = unicodedata.normalize("NFKC", char)
        plain.append(f" {parts}" if "⁄" in parts else char)
    joined = "".join(plain).replace("⁄", "/").replace("''", '"')
    for signs, sign in (("″”“„", '"'), ("′’‘´`", "'"), ("–—−‐‑", "-")):
        joined = re.sub(f"[{signs}]", sign, joined)
    return re.sub(r"\b(?:approximately|about|circa|approx\.?|ca?\.)(?!\w)", " ", joined)


class _SizeReader:
    """Reads one size text.

    The grammar, after the tokens::

        text      = { part [":"] | group | "(" (part | group) ")" | break }
        group     = dimension { times dimension }
        dimension = [label] measure [label] [unit]
        measure   = number [unit [number inch]]
        number    = NUMBER [["-"] FRACTION] | FRACTION
    """

    def __init__(
        self, text: str, default_unit: LengthUnit | None, longest_m: Decimal = LONGEST_M
    ) -> None:
        self._text = text
        self._default_unit = default_unit
        self._longest_m = longest_m
        self._tokens = self._tokenise()
        self._at = 0
        self._entries: list[_Entry] = []
        self._unlabelled_from = 0
        units = {t.value for t in self._tokens if t.kind is _Kind.UNIT}
        self._only_unit = next(iter(units)) if len(units) == 1 else None
        self._several_units = len(units) > 1

    def _error(self, why: str, mend: str = _EXAMPLE) -> SizeError:
        return SizeError(self._text, why, mend)

    # tokens

    def _tokenise(self) -> list[_Token]:
        if len(self._text) > _LONGEST_TEXT:
            raise self._error("it is too long to be a size", "keep only the size in this place")
        text = _plain_signs(self._text.casefold())
        tokens: list[_Token] = []
        at = 0
        while at < len(text):
            if text[at].isspace() or re.match(r"\.(?![0-9])", text[at : at + 2]):
                at += 1
                continue
            match = _SIZE_TOKEN.match(text, at)
            if not match:
                raise self._error(f"'{text[at]}' is not understood")
            at = match.end()
            if match["number"]:
                fraction = re.compile(r"/([0-9]+)").match(text, at)
                if fraction and match["number"].isdigit():
                    at = fraction.end()
                    tokens.append(self._fraction(match["number"], fraction[1]))
                else:
                    tokens.append(self._decimal(match["number"]))
            else:
                tokens += self._named(match["word"] or match["sign"])
        tokens.append(_Token(_Kind.END, None, "the end"))
        return tokens

    def _named(self, word: str) -> list[_Token]:
        if word in _SIZE_WORDS:
            return [_Token(*_SIZE_WORDS[word], written=word)]
        # "24hx36w" and "61cmx91cm" are written without spaces.
        head, times, tail = word.partition("x")
        if times and (head or tail) and all(p in _SIZE_WORDS for p in (head, tail) if p):
            parts = [p for p in (head, times, tail) if p]
            return [_Token(*_SIZE_WORDS[p], written=p) for p in parts]
        raise self._error(f"'{word}' is not understood")

    def _fraction(self, top: str, bottom: str) -> _Token:
        numerator, denominator = int(top), int(bottom)
        if denominator not in _DENOMINATORS or not 0 < numerator < denominator:
            raise self._error(
                f"'{top}/{bottom}' is no fraction of a ruler",
                f"write '{top} x {bottom}' for two measures, or a fraction such as 1/2",
            )
        value = Fraction(numerator, denominator)
        return _Token(_Kind.FRACTION, value, f"{top}/{bottom}", Fraction(1, denominator))

    def _decimal(self, written: str) -> _Token:
        """A number with a point or a comma; a comma before three digits could mean either."""
        commas, points = written.count(","), written.count(".")
        plain = written
        if commas and points:
            thousands, decimal = (
                (",", ".") if written.rfind(".") > written.rfind(",") else (".", ",")
            )
            grouped = rf"[0-9]{{1,3}}(?:\{thousands}[0-9]{{3}})+\{decimal}[0-9]+"
            if not re.fullmatch(grouped, written):
                raise self._error(f"'{written}' is no number")
            plain = written.replace(thousands, "").replace(decimal, ".")
        elif commas + points > 1:
            raise self._error(
                f"'{written}' is no number", "write the number without thousands marks"
            )
        elif commas:
            if re.fullmatch(r"[1-9][0-9]{0,2},[0-9]{3}", written):
                joined, split = written.replace(",", ""), written.replace(",", ".")
                raise self._error(
                    f"'{written}' can be {joined} or {split}", f"write {joined} or {split}"
                )
            plain = written.replace(",", ".")
        places = len(plain.partition(".")[2])
        return _Token(_Kind.NUMBER, Fraction(plain), written, Fraction(1, 10**places))

    # grammar

    @property
    def _next(self) -> _Token:
        return self._tokens[self._at]

    def _take(self, kind: _Kind) -> _Token | None:
        token = self._next
        if token.kind is not kind:
            return None
        self._at += 1
        return token

    def read(self) -> SizeFinding:
        """The whole text. Raises SizeError."""
        part: SizePart | None = None
        last_group: list[_Dimension] = []
        while not self._take(_Kind.END):
            if self._take(_Kind.BREAK) or self._take(_Kind.COLON):
                continue
            named = self._take(_Kind.PART)
            if named:
                if self._group_ahead():
                    part = SizePart(str(named.value))
                    self._unlabelled_from = len(self._entries)
                else:
                    self._name_part(named)
            elif self._take(_Kind.OPEN):
                self._bracket(part, last_group)
            else:
                last_group = self._group(part, None)
        return self._settle()

    def _group_ahead(self) -> bool:
        """Whether measures follow, with or without a colon."""
        at = self._at + (self._next.kind is _Kind.COLON)
        return self._tokens[at].kind in _STARTS_GROUP

    def _name_part(self, named: _Token) -> None:
        """A part written after its measures: "24 x 36 in. (sheet)"."""
        recent = self._entries[self._unlabelled_from :]
        if not recent or any(entry.part for entry in recent):
            raise self._error(
                f"'{named.written}' has no measures", f"write '{named.written}: 24 x 36 in.'"
            )
        part = SizePart(str(named.value))
        self._entries[self._unlabelled_from :] = [replace(entry, part=part) for entry in recent]
        self._unlabelled_from = len(self._entries)

    def _bracket(self, part: SizePart | None, last_group: list[_Dimension]) -> None:
        named = self._take(_Kind.PART)
        if named:
            self._name_part(named)
        else:
            self._group(part, last_group)
        if not self._take(_Kind.CLOSE):
            raise self._error(f"'{self._next.written}' is not expected in a bracket")

    def _group(self, part: SizePart | None, like: list[_Dimension] | None) -> list[_Dimension]:
        """Measures joined by "x". In a bracket, ``like`` says what the ones before it measured."""
        measures = [self._dimension()]
        while self._take(_Kind.TIMES):
            measures.append(self._dimension())
        dimensions = self._dimensions(measures, like)
        unit = self._group_unit(measures)
        for measure, dimension in zip(measures, dimensions, strict=True):
            self._entries.append(self._entry(part, dimension, measure, measure.unit or unit))
        return dimensions

    def _dimension(self) -> _Measure:
        before = self._take(_Kind.LABEL)
        if before:
            self._take(_Kind.COLON)
        measure = self._measure()
        after = None
        if self._next.kind is _Kind.LABEL and not self._label_of_next():
            after = self._take(_Kind.LABEL)
        if measure.unit is None:
            unit = self._take(_Kind.UNIT)
            measure = replace(measure, unit=LengthUnit(str(unit.value)) if unit else None)
        if before and after:
            raise self._error(f"'{before.written}' and '{after.written}' label one number")
        label = before or after
        return replace(measure, dimension=_Dimension(str(label.value)) if label else None)

    def _label_of_next(self) -> bool:
        """Whether the label ahead stands before a number, as in "H 24 W 36 in."."""
        after = self._at + 1
        after += self._tokens[after].kind is _Kind.COLON
        return self._tokens[after].kind in _STARTS_NUMBER

    def _measure(self) -> _Measure:
        value, step = self._number()
        unit = self._take(_Kind.UNIT)
        if not unit:
            return _Measure(value, step, None, None)
        if unit.value is LengthUnit.FOOT and self._next.kind in _STARTS_NUMBER:
            inches, step = self._number()
            inch = self._take(_Kind.UNIT)
            if not inch or inch.value is not LengthUnit.INCH or inches >= 12:
                raise self._error(
                    "feet are not followed by inches", "write feet and inches as 2' 6\""
                )
            return _Measure(value * 12 + inches, step, LengthUnit.INCH, None)
        return _Measure(value, step, LengthUnit(str(unit.value)), None)

    def _number(self) -> tuple[Fraction, Fraction]:
        fraction = self._take(_Kind.FRACTION)
        if fraction:
            return Fraction(str(fraction.value)), fraction.step
        if self._next.kind is _Kind.HYPHEN:
            raise self._error("a measure cannot be negative", "write a size above 0")
        number = self._take(_Kind.NUMBER)
        if not number:
            raise self._error(f"a number is missing before '{self._next.written}'")
        value = Fraction(str(number.value))
        whole = number.step == 1
        hyphen = whole and self._take(_Kind.HYPHEN)
        fraction = self._take(_Kind.FRACTION) if whole else None
        if fraction:
            return value + Fraction(str(fraction.value)), fraction.step
        if hyphen:
            raise self._error("a range is no size", "write one measure, the largest")
        return value, number.step

    # meaning

    def _dimensions(
        self, measures: list[_Measure], like: list[_Dimension] | None
    ) -> list[_Dimension]:
        labelled = [m.dimension for m in measures if m.dimension]
        if len(labelled) == len(measures):
            if len(set(labelled)) < len(labelled):
                raise self._error("one label is given twice")
            return labelled
        if labelled:
            raise self._error(
                "some numbers are labelled and some not", "label all: 'H. 24 x W. 36 in.'"
            )
        if like and len(like) == len(measures):
            return like
        if len(measures) == 1:
            raise self._error(
                "one number does not say what it measures", "write 'H. 24 in.' or 'diam. 24 in.'"
            )
        if len(measures) > len(_CATALOGUE_ORDER):
            raise self._error("more than three numbers", "give height x width x depth")
        return list(_CATALOGUE_ORDER[: len(measures)])

    def _group_unit(self, measures: list[_Measure]) -> LengthUnit | None:
        """The unit for numbers without one: the only one of the group, of the text, or given."""
        if all(measure.unit for measure in measures):
            return None
        units = {measure.unit for measure in measures if measure.unit}
        if len(units) == 1:
            return next(iter(units))
        if not units and self._only_unit:
            return LengthUnit(str(self._only_unit))
        if units or self._several_units:
            raise self._error(
                "a number has no unit and the others differ", "give every number its unit"
            )
        if self._default_unit is None:
            raise self._error("no unit", "add the unit, such as in. or cm")
        return self._default_unit

    def _entry(
        self,
        part: SizePart | None,
        dimension: _Dimension,
        measure: _Measure,
        unit: LengthUnit | None,
    ) -> _Entry:
        if unit is None:
            raise self._error("no unit", "add the unit, such as in. or cm")
        if measure.value <= 0:
            raise self._error("a measure is 0", "leave it out or write a size above 0")
        # The conversion takes no longer length than it believes.
        value_m = self._longest_m + 1
        with suppress(OutOfRange):
            value_m = _metres(measure.value, unit)
        if value_m > self._longest_m:
            raise self._error(
                f"a measure is more than {self._longest_m} m", "check the number and its unit"
            )
        if value_m < _SMALLEST_KEPT_M:
            raise self._error("a measure is too small", "check the number and its unit")
        return _Entry(part, dimension, value_m, _metres(measure.step / 2, unit))

    def _settle(self) -> SizeFinding:
        """Bring the entries together: a second figure for the same measure must agree."""
        if not self._entries:
            raise self._error("no number in it")
        kept: dict[tuple[SizePart, _Dimension], _Entry] = {}
        for entry in self._entries:
            key = (entry.part or SizePart.WHOLE, entry.dimension)
            first = kept.setdefault(key, entry)
            apart = abs(first.value_m - entry.value_m)
            if apart > first.tolerance_m + entry.tolerance_m:
                raise self._error(
                    f"{first.value_m.normalize():f} m and {entry.value_m.normalize():f} m are "
                    "given for the same measure",
                    "correct one, or say what each is: 'sheet: ...; image: ...'",
                )
        parts = {part for part, _ in kept}
        return SizeFinding(
            tuple(
                PartSize(
                    part, **{str(d): kept[part, d].value_m for d in _Dimension if (part, d) in kept}
                )
                for part in SizePart
                if part in parts
            )
        )

    def read_one(self) -> Decimal:
        """A single measure and nothing else, in m. Raises SizeError."""
        measure = self._dimension()
        if not self._take(_Kind.END):
            raise self._error("more than one number", "give one number in this place")
        unit = measure.unit or self._default_unit
        return self._entry(None, _Dimension.HEIGHT, measure, unit).value_m


def _metres(value: Fraction, unit: LengthUnit) -> Decimal:
    """Length in m to the nanometre; exact for every decimal and every sixty-fourth of an inch."""
    number = Decimal(value.numerator) / Decimal(value.denominator)
    return Decimal(str(to_metres(number, unit))).quantize(_SMALLEST_KEPT_M).normalize()


@lru_cache(maxsize=_REMEMBERED)
def recognise_size(text: str, default_unit: LengthUnit | None = None) -> SizeFinding:
    """Read a catalogue's size: height x width x depth unless labelled.

    A figure in a second unit must agree with the first within the rounding of both; the first
    is kept. Raises SizeError where a unit is missing and ``default_unit`` is None, where the
    text can be read in two ways, and for sizes of 0 or more than 30 m.
    """
    return _SizeReader(text, default_unit).read()


@lru_cache(maxsize=_REMEMBERED)
def recognise_length(
    text: str, default_unit: LengthUnit | None = None, longest_m: Decimal = LONGEST_M
) -> Decimal:
    """Read a single measure, such as a cell under "Height (cm)", in m. Raises SizeError.

    ``longest_m``: what is longer is a slip of the pen; a piece's side unless it is said.
    """
    return _SizeReader(text, default_unit, longest_m).read_one()
