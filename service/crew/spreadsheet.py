"""Reads a crew's spreadsheet (CSV) into rows of known meaning; writes nothing.

The file is streamed, so its size does not matter. Whatever cannot be read with certainty becomes
a ``Problem`` that names the row, the column and the mend; no cell is dropped. Cells are text from
strangers: they are kept as text and never evaluated.
"""

import codecs
import csv
import re
import unicodedata
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from decimal import Decimal
from enum import StrEnum
from pathlib import Path
from typing import IO

from rapidfuzz import process

from shared.events import Money
from shared.quantities import LengthUnit
from shared.recognise import (
    PartSize,
    SizeError,
    SizePart,
    recognise_damage,
    recognise_length,
    recognise_medium,
    recognise_size,
)
from shared.vocabulary import Damage, Material, ObjectType

LONGEST_CELL = 10_000
"""Characters; a longer cell is a slip of the paste."""

LONGEST_LINE = 300
"""Characters that a title, a maker or a place may have in an event (``shared.events.Line``)."""

LONGEST_INSCRIPTION = 4000
"""Characters that an inscription may have in an event (``shared.events.Text``)."""

PROBLEMS_SHOWN = 200
"""Problems that a report lists; all are counted."""

_LONGEST_FILE_LINE = 1_000_000
_MOST_IN_A_SET = 10_000
_WHOLE_ROW = "the whole row"
_SAMPLE_BYTES = 4096
_UNREADABLE = "\N{REPLACEMENT CHARACTER}"
_DELIMITERS = (",", ";", "\t")
_SEPARATOR_LINE = re.compile(r"sep=.", re.IGNORECASE)
_BYTE_ORDER_MARKS = (
    (codecs.BOM_UTF8, "utf-8-sig"),
    (codecs.BOM_UTF16_LE, "utf-16"),
    (codecs.BOM_UTF16_BE, "utf-16"),
)
_COUNT = re.compile(r"(?:set of )?([0-9]{1,6})(?:[.,]0+)?(?: ?(?:pcs|pieces|x))?")
_SAME_MEASURE_M = Decimal("0.005")
_TYPE_OF = {
    name.casefold(): member for member in ObjectType for name in (member.label, member.value)
}


class SpreadsheetError(ValueError):
    """A file that cannot be read at all; the message says how to mend it."""


class MoneyError(ValueError):
    """An amount that cannot be read with certainty; ``mend`` says what to write instead."""

    def __init__(self, mend: str) -> None:
        self.mend = mend
        super().__init__(mend)


# --- columns ----------------------------------------------------------------------------------


class Column(StrEnum):
    """What a column of the spreadsheet holds."""

    TAG = "tag"
    OBJECT_TYPE = "object type"
    TITLE = "title"
    MAKER = "maker"
    PERIOD = "period"
    MEDIUM = "medium"
    SIZE = "size"
    HEIGHT = "height"
    WIDTH = "width"
    DEPTH = "depth"
    DIAMETER = "diameter"
    INSCRIPTION = "inscription"
    FLOOR = "floor"
    ROOM = "room"
    WALL = "wall"
    DAMAGE = "damage"
    VALUE = "value"
    QUANTITY = "quantity"
    OWNER = "owner"
    CLAIM = "claim"
    NOTES = "notes"


_HEADINGS: dict[Column, str] = {
    Column.TAG: "tag, tag no, tag number, tag id, tag code, label, label no, label number, "
    "barcode, bar code, qr, qr code, code",
    Column.OBJECT_TYPE: "object type, type, type of object, category, kind, object",
    Column.TITLE: "title, name, item, item name, object name, work, artwork, description, subject",
    Column.MAKER: "maker, artist, artist maker, author, photographer, creator, manufacturer, by",
    Column.PERIOD: "date, period, date period, year, dated, date made, circa",
    Column.MEDIUM: "medium, media, material, materials, medium and support, technique, "
    "medium materials, materials and techniques, made of",
    Column.SIZE: "size, sizes, dimension, dimensions, dims, dim, measurement, measurements, hxw, "
    "h x w, h x w x d, hxwxd, size h x w, dimensions h x w, dimensions h x w x d",
    Column.HEIGHT: "height, h, ht",
    Column.WIDTH: "width, w, wd",
    Column.DEPTH: "depth, d, dp",
    Column.DIAMETER: "diameter, diam, dia",
    Column.INSCRIPTION: "inscription, inscriptions, marks, inscriptions and markings, signature, "
    "signed, markings",
    Column.FLOOR: "floor, level, storey",
    Column.ROOM: "room, location, place, where found, found in, room location, area",
    Column.WALL: "wall, position, position in room",
    Column.DAMAGE: "damage, damages, damaged by, what happened, condition, condition on site",
    Column.VALUE: "value, insured value, insurance value, agreed value, appraised value, "
    "scheduled value, declared value, valuation, amount",
    Column.QUANTITY: "quantity, qty, pieces, pcs, count, number of pieces, no of pieces",
    Column.OWNER: "owner, owner name, insured, insured name, client, belongs to",
    Column.CLAIM: "claim, claim no, claim number, claim ref, claim reference",
    Column.NOTES: "notes, note, remarks, remark, comment, comments",
}
_COLUMN_OF = {
    name.strip(): column for column, names in _HEADINGS.items() for name in names.split(",")
}
_RANKS = {name: rank for rank, name in enumerate(_COLUMN_OF)}
_MEASURED = {Column.SIZE, Column.HEIGHT, Column.WIDTH, Column.DEPTH, Column.DIAMETER}
_LINES = frozenset(
    {
        Column.TITLE,
        Column.MAKER,
        Column.PERIOD,
        Column.MEDIUM,
        Column.FLOOR,
        Column.ROOM,
        Column.WALL,
        Column.DAMAGE,
        Column.OWNER,
        Column.CLAIM,
    }
)
_MEASURES = {
    Column.HEIGHT: "height_m",
    Column.WIDTH: "width_m",
    Column.DEPTH: "depth_m",
    Column.DIAMETER: "diameter_m",
}
_UNITS = {
    "in": LengthUnit.INCH,
    "inch": LengthUnit.INCH,
    "inches": LengthUnit.INCH,
    "ft": LengthUnit.FOOT,
    "feet": LengthUnit.FOOT,
    "cm": LengthUnit.CENTIMETRE,
    "mm": LengthUnit.MILLIMETRE,
    "m": LengthUnit.METRE,
}


@dataclass(frozen=True, slots=True)
class ColumnUse:
    """What is made of one column. Without a ``column`` its cells are kept in the notes.

    ``unit`` and ``currency`` are those of the heading; a currency is a code or a sign.
    """

    heading: str
    column: Column | None
    unit: LengthUnit | None = None
    currency: str | None = None
    note: str = ""


def _read_heading(heading: str) -> tuple[ColumnUse, int]:
    """Know a heading by its name, with a unit or a currency after it: "Height (cm)".

    The second value ranks it: a smaller one is the likelier name for that column.
    """
    decomposed = unicodedata.normalize("NFKD", heading.casefold().replace("×", "x"))
    plain = "".join(c for c in decomposed if not unicodedata.combining(c))
    words = re.findall(r"[a-z]{0,2}[$]|[^\W_]+|[€£]", plain)
    name = " ".join(words)
    if name in _COLUMN_OF:
        return ColumnUse(heading, _COLUMN_OF[name]), _RANKS[name]
    before, last = words[:-1], "".join(words[-1:])
    name = " ".join(before[:-1] if before[-1:] == ["in"] else before)
    column = _COLUMN_OF.get(name)
    if column in _MEASURED and last in _UNITS:
        return ColumnUse(heading, column, unit=_UNITS[last]), _RANKS[name]
    if column is Column.VALUE and (last.upper() in _SIGNS or last.upper() in CURRENCIES):
        return ColumnUse(heading, column, currency=last.upper()), _RANKS[name]
    near = process.extractOne(" ".join(words), list(_COLUMN_OF), score_cutoff=80)
    hint = f"; if it is the {_COLUMN_OF[near[0]]}, head it '{_COLUMN_OF[near[0]]}'" if near else ""
    return ColumnUse(heading, None, note=f"not a known heading: kept in the notes{hint}"), 0


def _map_columns(headings: list[str]) -> tuple[ColumnUse, ...]:
    """Give each heading its use; of two for one column the likelier name is taken."""
    named = [h.strip()[:80] or f"column {place}" for place, h in enumerate(headings, start=1)]
    read = [_read_heading(heading) for heading in named]
    best: dict[Column, int] = {}
    for place, (use, rank) in enumerate(read):
        if use.column and (use.column not in best or rank < read[best[use.column]][1]):
            best[use.column] = place
    uses = []
    for place, (use, _) in enumerate(read):
        if use.column is None or best[use.column] == place:
            uses.append(use)
        else:
            note = f"'{named[best[use.column]]}' gives the {use.column}: kept in the notes"
            uses.append(ColumnUse(use.heading, None, note=note))
    return tuple(uses)


# --- money ------------------------------------------------------------------------------------

# The active alphabetic codes of ISO 4217 list one, from memory.
_ISO_4217 = (
    "AED AFN ALL AMD AOA ARS AUD AWG AZN BAM BBD BDT BHD BIF BMD BND BOB BRL BSD BTN BWP BYN BZD "
    "CAD CDF CHF CLP CNY COP CRC CUP CVE CZK DJF DKK DOP DZD EGP ERN ETB EUR FJD FKP GBP GEL GHS "
    "GIP GMD GNF GTQ GYD HKD HNL HTG HUF IDR ILS INR IQD IRR ISK JMD JOD JPY KES KGS KHR KMF KPW "
    "KRW KWD KYD KZT LAK LBP LKR LRD LSL LYD MAD MDL MGA MKD MMK MNT MOP MRU MUR MVR MWK MXN MYR "
    "MZN NAD NGN NIO NOK NPR NZD OMR PAB PEN PGK PHP PKR PLN PYG QAR RON RSD RUB RWF SAR SBD SCR "
    "SDG SEK SGD SHP SLE SOS SRD SSP STN SVC SYP SZL THB TJS TMT TND TOP TRY TTD TWD TZS UAH UGX "
    "USD UYU UZS VES VND VUV WST XAF XCD XOF XPF YER ZAR ZMW"
)
CURRENCIES = frozenset(_ISO_4217.split())
"""Codes that a value may carry."""

_DOLLARS = frozenset({"USD", "AUD", "CAD", "HKD", "NZD", "SGD", "TWD", "JMD", "BSD", "TTD"})
_SIGNS = {
    "$": "USD",
    "US$": "USD",
    "C$": "CAD",
    "CA$": "CAD",
    "A$": "AUD",
    "AU$": "AUD",
    "NZ$": "NZD",
    "HK$": "HKD",
    "S$": "SGD",
    "€": "EUR",
    "£": "GBP",
}
# Three digits may follow the decimal sign in these, so "1,200" is not surely a thousand.
_THREE_PLACES = frozenset({"BHD", "IQD", "JOD", "KWD", "LYD", "OMR", "TND"})
_DECIMAL_COMMA = frozenset({"EUR", "CHF", "DKK", "NOK", "SEK", "PLN", "CZK", "HUF", "RON", "BRL"})
_MOST_MONEY = Decimal(10) ** 12
_AMOUNT = re.compile(r"[0-9](?:[0-9.,'’ ]*[0-9])?")


def read_money(text: str, currency: str | None = None) -> Money:
    """Read an amount such as "$1,200.00", "1.200,00 €" or "GBP 1200".

    ``currency`` holds where the text names none. "$" is the US dollar unless ``currency`` is
    another dollar. Raises MoneyError where the amount or its currency can be read two ways.
    """
    plain = re.sub(r"[\s ]+", " ", unicodedata.normalize("NFKC", text)).strip()
    match = _AMOUNT.search(plain)
    if not match:
        raise MoneyError("no amount in it; write it as 'USD 1200.00'")
    around = f"{plain[: match.start()]} {plain[match.end() :]}".split()
    code = _currency("".join(around).upper(), currency)
    amount = _amount(match.group(), code)
    if amount >= _MOST_MONEY:
        raise MoneyError("the amount is too large; check its digits")
    return Money(amount=f"{amount:f}", currency=code)


def _currency(words: str, default: str | None) -> str:
    named = words.removesuffix(".-").removesuffix(",-")
    if named == "$" and default in _DOLLARS:
        return default
    if named in _SIGNS:
        return _SIGNS[named]
    if named in CURRENCIES:
        return named
    if named:
        raise MoneyError(f"'{named[:20]}' is no currency; write it as 'USD 1200.00'")
    if default is None:
        raise MoneyError("no currency; write it as 'USD 1200.00' or head the column 'Value (USD)'")
    return default


def _amount(digits: str, code: str) -> Decimal:
    """Tell thousands marks from the decimal sign, or refuse."""
    if re.fullmatch(r"[0-9]+", digits):
        return Decimal(digits)
    if re.fullmatch(r"[0-9]+[.,][0-9]{1,2}", digits):
        return Decimal(digits.replace(",", "."))
    grouped = re.fullmatch(
        r"[0-9]{1,3}(?:(?P<mark>[.,'’ ])[0-9]{3})(?:(?P=mark)[0-9]{3})*(?P<cents>[.,][0-9]{1,2})?",
        digits,
    )
    if not grouped or (grouped["cents"] or "")[:1] == grouped["mark"]:
        raise MoneyError(f"'{digits[:30]}' is no amount; write it as 1200.00")
    mark, cents = grouped["mark"], grouped["cents"] or ""
    whole = digits.removesuffix(cents).replace(mark, "")
    alone = not cents and digits.count(mark) == 1 and mark in ".,"
    if alone and (mark == "." or code in _DECIMAL_COMMA | _THREE_PLACES):
        other = digits.replace(",", ".")
        raise MoneyError(f"'{digits}' can be {whole} or {other}; write {whole}.00 or {other}0")
    return Decimal(whole + cents.replace(",", "."))


# --- rows -------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Problem:
    """What could not be read, where, and what to write instead."""

    row: int
    column: str
    value: str
    mend: str

    def __str__(self) -> str:
        """One line for a person."""
        shown = f" '{self.value}'" if self.value else ""
        return f"row {self.row}, {self.column}{shown}: {self.mend}"


@dataclass(frozen=True, slots=True)
class ImportedRow:
    """One piece as the spreadsheet gives it. Blank cells are "" or None; lengths are in m.

    What was recognised stands beside the words it was recognised from. ``notes`` also holds the
    cells of columns without a known meaning, each after its heading.
    """

    row_number: int
    tag: str = ""
    object_type: ObjectType | None = None
    title: str = ""
    maker: str = ""
    period: str = ""
    medium_text: str = ""
    materials: tuple[Material, ...] = ()
    size_text: str = ""
    size: PartSize | None = None
    inscription: str = ""
    floor: str = ""
    room: str = ""
    wall: str = ""
    damage_text: str = ""
    damages: tuple[Damage, ...] = ()
    value: Money | None = None
    quantity: int = 1
    owner: str = ""
    claim: str = ""
    notes: str = ""
    problems: tuple[Problem, ...] = ()


@dataclass(frozen=True, slots=True)
class ImportOptions:
    """What the person who imports knows about the file; None is found out or must be written."""

    encoding: str | None = None
    delimiter: str | None = None
    length_unit: LengthUnit | None = None
    currency: str | None = None


@dataclass(frozen=True, slots=True)
class ImportReport:
    """What a file holds before anything is made of it. ``problems`` lists the first 200."""

    encoding: str
    delimiter: str
    columns: tuple[ColumnUse, ...]
    rows: int
    empty_rows: int
    rows_with_problems: int
    problem_count: int
    problems: tuple[Problem, ...]
    assumptions: tuple[str, ...]

    @property
    def unmapped(self) -> tuple[ColumnUse, ...]:
        """Columns whose cells are kept in the notes."""
        return tuple(use for use in self.columns if use.column is None)


@dataclass(slots=True)
class _Cells:
    """One row's cells by column, and the problems met so far."""

    row_number: int
    texts: dict[Column, str] = field(default_factory=dict)
    uses: dict[Column, ColumnUse] = field(default_factory=dict)
    notes: list[str] = field(default_factory=list)
    problems: list[Problem] = field(default_factory=list)

    def text(self, column: Column) -> str:
        return self.texts.get(column, "")

    def problem(self, heading: str, value: str, mend: str) -> None:
        self.problems.append(Problem(self.row_number, heading, value[:80], mend))

    def refuse(self, column: Column, mend: str) -> None:
        self.problem(self.uses[column].heading, self.text(column), mend)


class SpreadsheetReader:
    """The rows of one CSV file, read as they are asked for; may be read more than once.

    Memory stays flat but for the tags already met, which are held to find duplicates.
    Raises SpreadsheetError where the file cannot be opened or has no known heading.
    """

    def __init__(self, path: Path, options: ImportOptions | None = None) -> None:
        self.path = path
        self.options = options or ImportOptions()
        self.empty_rows = 0
        self._assumed: dict[str, None] = {}
        currency, delimiter = self.options.currency, self.options.delimiter
        if currency is not None and currency not in CURRENCIES:
            raise SpreadsheetError(f"currency '{currency}' is no ISO 4217 code; give one like USD")
        if delimiter is not None and delimiter not in _DELIMITERS:
            raise SpreadsheetError(f"delimiter '{delimiter}' is not one of comma, semicolon, tab")
        self.encoding = self.options.encoding or self._find_encoding()
        self.delimiter, self.columns = self._find_columns()

    @property
    def assumptions(self) -> tuple[str, ...]:
        """What was taken for granted so far, in words for the person who imports."""
        return tuple(self._assumed)

    def __iter__(self) -> Iterator[ImportedRow]:
        """Yield a row for every one that is not empty."""
        self.empty_rows = 0
        tags: dict[str, int] = {}
        header_met = False
        with self._open() as stream:
            for number, record in _records(stream, self.delimiter):
                if isinstance(record, str):
                    problem = Problem(number, _WHOLE_ROW, "", record)
                    yield ImportedRow(number, problems=(problem,))
                elif not any(cell.strip() for cell in record):
                    self.empty_rows += header_met
                elif not header_met:
                    header_met = True
                else:
                    yield self._row(number, record, tags)

    # the file

    def _open(self) -> IO[str]:
        try:
            stream = self.path.open(encoding=self.encoding, errors="replace", newline="")
        except LookupError:
            raise SpreadsheetError(f"encoding '{self.encoding}' is not known; try utf-8") from None
        except OSError as error:
            raise SpreadsheetError(f"{self.path.name}: {error.strerror}") from error
        first = stream.readline(_SAMPLE_BYTES)
        if not _SEPARATOR_LINE.fullmatch(first.strip()):
            stream.seek(0)
        return stream

    def _find_encoding(self) -> str:
        """A byte order mark decides; else UTF-16 by its zero bytes, UTF-8 if valid, else cp1252."""
        try:
            with self.path.open("rb") as stream:
                sample = stream.read(_SAMPLE_BYTES)
                if sample.startswith(b"PK\x03\x04"):
                    raise SpreadsheetError(
                        f"{self.path.name} is a workbook; save the sheet as 'CSV UTF-8' first"
                    )
                for mark, encoding in _BYTE_ORDER_MARKS:
                    if sample.startswith(mark):
                        return encoding
                zeros = Counter(place % 2 for place, byte in enumerate(sample) if byte == 0)
                for parity, encoding in ((1, "utf-16-le"), (0, "utf-16-be")):
                    if zeros[parity] > len(sample) // 5 and not zeros[1 - parity]:
                        return encoding
                stream.seek(0)
                if _is_utf8(stream):
                    return "utf-8"
        except OSError as error:
            raise SpreadsheetError(f"{self.path.name}: {error.strerror}") from error
        self._assumed["The file is not UTF-8; it was read as Windows-1252. Check the accents."] = (
            None
        )
        return "cp1252"

    def _find_columns(self) -> tuple[str, tuple[ColumnUse, ...]]:
        """The delimiter under which most headings are known, and what the columns hold."""
        found: list[tuple[int, int, str, tuple[ColumnUse, ...]]] = []
        for delimiter in [self.options.delimiter] if self.options.delimiter else _DELIMITERS:
            headings = self._headings(delimiter)
            columns = _map_columns(headings)
            known = sum(use.column is not None for use in columns)
            found.append((known, len(columns), delimiter, columns))
        known, _, delimiter, columns = max(found, key=lambda option: option[:2])
        if not known:
            raise SpreadsheetError(
                f"{self.path.name}: the first row has no known heading; "
                "head the columns 'Tag', 'Title', 'Medium', 'Size', 'Room', 'Damage' and so on"
            )
        return delimiter, columns

    def _headings(self, delimiter: str) -> list[str]:
        with self._open() as stream:
            for _, record in _records(stream, delimiter):
                if isinstance(record, str):
                    return []
                if any(cell.strip() for cell in record):
                    while not record[-1].strip():
                        record.pop()
                    return record
        return []

    # one row

    def _row(self, number: int, record: list[str], tags: dict[str, int]) -> ImportedRow:
        cells = self._cells(number, record)
        medium = self._medium(cells)
        row = ImportedRow(
            row_number=number,
            tag=self._tag(cells, tags),
            object_type=self._object_type(cells) or medium[1],
            title=cells.text(Column.TITLE),
            maker=cells.text(Column.MAKER),
            period=cells.text(Column.PERIOD),
            medium_text=cells.text(Column.MEDIUM),
            materials=medium[0],
            size_text=cells.text(Column.SIZE),
            size=self._size(cells),
            inscription=cells.text(Column.INSCRIPTION),
            floor=cells.text(Column.FLOOR),
            room=cells.text(Column.ROOM),
            wall=cells.text(Column.WALL),
            damage_text=cells.text(Column.DAMAGE),
            damages=self._damages(cells),
            value=self._value(cells),
            quantity=self._quantity(cells),
            owner=cells.text(Column.OWNER),
            claim=cells.text(Column.CLAIM),
            notes="\n".join(filter(None, [cells.text(Column.NOTES), *cells.notes])),
        )
        return replace(row, problems=tuple(cells.problems))

    def _cells(self, number: int, record: list[str]) -> _Cells:
        cells = _Cells(number)
        if len(record) < len(self.columns):
            mend = f"{len(record)} cells under {len(self.columns)} headings; fill the row up"
            cells.problem(_WHOLE_ROW, "", mend)
        for place, cell in enumerate(record):
            text = cell.strip()
            if not text:
                continue
            if place < len(self.columns):
                use = self.columns[place]
            else:
                use = ColumnUse(f"column {place + 1}", None)
                cells.problem(use.heading, text, "a cell without a heading; head it or empty it")
            self._check_text(cells, use, text)
            if use.column is None:
                cells.notes.append(f"{use.heading}: {text}")
            else:
                cells.texts[use.column] = text
                cells.uses[use.column] = use
        return cells

    def _check_text(self, cells: _Cells, use: ColumnUse, text: str) -> None:
        if "\0" in text:
            cells.problem(use.heading, text.replace("\0", ""), "it holds a NUL byte; retype it")
        if _UNREADABLE in text:
            mend = "a letter could not be read; retype it, and save the file as 'CSV UTF-8'"
            cells.problem(use.heading, text, mend)
        most = LONGEST_CELL
        if use.column in _LINES:
            most = LONGEST_LINE
        elif use.column is Column.INSCRIPTION:
            most = LONGEST_INSCRIPTION
        if len(text) > most:
            cells.problem(use.heading, text, f"{len(text)} characters; shorten it to {most}")

    def _tag(self, cells: _Cells, tags: dict[str, int]) -> str:
        tag = cells.text(Column.TAG)
        if not tag:
            return ""
        if re.fullmatch(r"[0-9][.,][0-9]+E\+[0-9]+", tag, re.IGNORECASE):
            cells.refuse(
                Column.TAG, "the program turned the tag into a number; type it again as text"
            )
        first = tags.setdefault(re.sub(r"[\s-]", "", tag).upper(), cells.row_number)
        if first != cells.row_number:
            cells.refuse(Column.TAG, f"row {first} has the same tag; give each piece its own")
        return tag

    def _object_type(self, cells: _Cells) -> ObjectType | None:
        text = cells.text(Column.OBJECT_TYPE)
        if not text:
            return None
        known = _TYPE_OF.get(text.casefold()) or recognise_medium(text[:LONGEST_LINE]).object_type
        if known is None:
            labels = ", ".join(f"'{member.label}'" for member in ObjectType)
            cells.refuse(Column.OBJECT_TYPE, f"not a known type of object; write one of {labels}")
        return known

    def _medium(self, cells: _Cells) -> tuple[tuple[Material, ...], ObjectType | None]:
        text = cells.text(Column.MEDIUM)
        if not text or len(text) > LONGEST_LINE:
            return (), None
        finding = recognise_medium(text)
        if not finding.complete:
            cells.refuse(Column.MEDIUM, finding.mend)
        return finding.materials, finding.object_type

    def _damages(self, cells: _Cells) -> tuple[Damage, ...]:
        text = cells.text(Column.DAMAGE)
        if not text or len(text) > LONGEST_LINE:
            return ()
        finding = recognise_damage(text)
        if not finding.complete:
            cells.refuse(Column.DAMAGE, finding.mend)
        return finding.damages

    def _size(self, cells: _Cells) -> PartSize | None:
        """The outer size of the size column, filled up from the columns for single measures."""
        part, measures = SizePart.WHOLE, dict[str, Decimal]()
        if text := cells.text(Column.SIZE):
            unit = cells.uses[Column.SIZE].unit or self.options.length_unit
            try:
                outer = recognise_size(text, unit).outer
                part, measures = outer.part, outer.measures
            except SizeError as error:
                cells.refuse(Column.SIZE, f"{error.why}; {error.mend}")
        for column, name in _MEASURES.items():
            if not (text := cells.text(column)):
                continue
            unit = cells.uses[column].unit or self.options.length_unit
            try:
                length_m = recognise_length(text, unit)
            except SizeError as error:
                cells.refuse(column, f"{error.why}; {error.mend}")
                continue
            other_m = measures.get(name, length_m)
            if abs(other_m - length_m) > _SAME_MEASURE_M:
                mend = f"the size column gives {other_m:f} m; correct one of the two"
                cells.refuse(column, mend)
            measures[name] = length_m
        return PartSize(part, **measures) if measures else None

    def _value(self, cells: _Cells) -> Money | None:
        text = cells.text(Column.VALUE)
        if not text:
            return None
        currency = self.options.currency
        sign = cells.uses[Column.VALUE].currency
        try:
            if sign:
                currency = _currency(sign, currency)
            money = read_money(text[:LONGEST_LINE], currency)
        except MoneyError as error:
            cells.refuse(Column.VALUE, error.mend)
            return None
        bare_dollar = sign == "$" or re.search(r"(?<![A-Za-z])[$]", text)
        if money.currency == "USD" and self.options.currency != "USD" and bare_dollar:
            self._assumed["'$' was read as the US dollar (USD)."] = None
        return money

    def _quantity(self, cells: _Cells) -> int:
        text = cells.text(Column.QUANTITY)
        if not text:
            return 1
        match = _COUNT.fullmatch(text.casefold())
        count = 2 if text.casefold() in {"pair", "a pair"} else int(match[1]) if match else 0
        if not 1 <= count <= _MOST_IN_A_SET:
            cells.refuse(
                Column.QUANTITY, f"not a count; write a whole number from 1 to {_MOST_IN_A_SET}"
            )
            return 1
        return count


def _is_utf8(stream: IO[bytes]) -> bool:
    decoder = codecs.getincrementaldecoder("utf-8")()
    try:
        while chunk := stream.read(1 << 20):
            decoder.decode(chunk)
        decoder.decode(b"", final=True)
    except UnicodeDecodeError:
        return False
    return True


class _FileLines:
    """The lines of a file, each cut at a bound so that one endless line cannot fill the memory."""

    def __init__(self, stream: IO[str]) -> None:
        self._stream = stream
        self.read = 0
        self.was_cut = False

    def __iter__(self) -> Iterator[str]:
        while line := self._stream.readline(_LONGEST_FILE_LINE):
            self.read += 1
            rest = line
            while len(rest) == _LONGEST_FILE_LINE and not rest.endswith(("\n", "\r")):
                self.was_cut = True
                rest = self._stream.readline(_LONGEST_FILE_LINE)
            yield line


def _records(stream: IO[str], delimiter: str) -> Iterator[tuple[int, list[str] | str]]:
    """Yield each record with the number that spreadsheet programs show for its row.

    A record that cannot be split yields the mend as text instead of its cells.
    """
    lines = _FileLines(stream)
    reader = csv.reader(lines, delimiter=delimiter, strict=True)
    number = 0
    while True:
        number += 1
        first_line = lines.read + 1
        lines.was_cut = False
        try:
            record = next(reader)
        except StopIteration:
            return
        except csv.Error:
            swallowed = lines.read - first_line
            until = f" down to row {number + swallowed}" if swallowed else ""
            yield number, f"not read{until}: a quote is not closed, or a cell is far too long"
            number += swallowed
        else:
            if lines.was_cut:
                yield number, f"not read: it has more than {_LONGEST_FILE_LINE} characters"
            else:
                yield number, record


def read_rows(path: Path, options: ImportOptions | None = None) -> Iterator[ImportedRow]:
    """Stream the rows of a CSV file. Raises SpreadsheetError if it cannot be read at all."""
    return iter(SpreadsheetReader(path, options))


def check_file(path: Path, options: ImportOptions | None = None) -> ImportReport:
    """Read a whole file and report what it holds. Raises SpreadsheetError as ``read_rows``."""
    reader = SpreadsheetReader(path, options)
    return report_of(reader, (row.problems for row in reader))


def report_of(
    reader: SpreadsheetReader, problems_by_row: Iterable[Sequence[Problem]]
) -> ImportReport:
    """Count the problems of each row that ``reader`` gave, in the order it gave them."""
    shown: list[Problem] = []
    rows = rows_with_problems = problem_count = 0
    for problems in problems_by_row:
        rows += 1
        rows_with_problems += bool(problems)
        problem_count += len(problems)
        shown += problems[: PROBLEMS_SHOWN - len(shown)]
    return ImportReport(
        encoding=reader.encoding,
        delimiter=reader.delimiter,
        columns=reader.columns,
        rows=rows,
        empty_rows=reader.empty_rows,
        rows_with_problems=rows_with_problems,
        problem_count=problem_count,
        problems=tuple(shown),
        assumptions=reader.assumptions,
    )
