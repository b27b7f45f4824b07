"""How figures, times and sizes read in every report."""

from collections.abc import Iterable
from datetime import datetime
from decimal import Decimal
from zoneinfo import ZoneInfo

from labels.codes import TagError, show_tag
from labels.paper import show_time
from service.reports.inventory_document import Amount, AmountRange, Measurements


def money(amount: Amount | None) -> str:
    """``1,234.50 EUR``; empty for none."""
    return "" if amount is None else f"{amount.amount:,f} {amount.currency}"


def money_range(amounts: AmountRange | None) -> str:
    """``1,200.00 to 1,500.00 EUR``, or one figure where both ends are the same."""
    if amounts is None:
        return ""
    if amounts.low == amounts.high:
        return f"{amounts.low:,f} {amounts.currency}"
    return f"{amounts.low:,f} to {amounts.high:,f} {amounts.currency}"


def number(value: Decimal | None) -> str:
    """The digits as they were entered, grouped by thousands; empty for none."""
    return "" if value is None else f"{value:,f}"


def local_time(moment: datetime | None, zone: str) -> str:
    """The time on the clocks of ``zone``, named; empty for none."""
    return "" if moment is None else show_time(moment.astimezone(ZoneInfo(zone)))


def local_date(moment: datetime | None, zone: str) -> str:
    """The date on the calendar of ``zone``; empty for none."""
    return "" if moment is None else f"{moment.astimezone(ZoneInfo(zone)):%d %b %Y}"


def measurements(size: Measurements | None) -> str:
    """``61 × 91.4 cm``, height first, as entered; empty for none."""
    if size is None:
        return ""
    lengths = [each for each in (size.height, size.width, size.depth) if each is not None]
    if len({each.unit for each in lengths}) == 1:
        return f"{' × '.join(f'{each.value:f}' for each in lengths)} {lengths[0].unit}"
    return " × ".join(f"{each.value:f} {each.unit}" for each in lengths)


def joined(*parts: str, by: str = " · ") -> str:
    """The parts that are not empty, in one line."""
    return by.join(part for part in parts if part)


def sentences(texts: Iterable[str]) -> str:
    """The texts in one line, each with a full stop where it ends without a stop."""
    return " ".join(
        text if text.endswith((".", "!", "?")) else f"{text}."
        for text in (each.strip() for each in texts)
        if text
    )


def date_span(start: datetime | None, end: datetime | None, zone: str) -> str:
    """``05 May 2031``, or ``05 May 2031 to 07 May 2031``; empty for neither."""
    days = (local_date(moment, zone) for moment in (start, end))
    return joined(*dict.fromkeys(days), by=" to ")


def in_groups(digest: str, size: int = 8) -> str:
    """A digest in groups of ``size`` characters, to read aloud or compare by eye."""
    return " ".join(digest[start : start + size] for start in range(0, len(digest), size))


def shown_tag(tag: str) -> str:
    """The tag in groups; as it is where its check does not fit, for nothing may be left out."""
    try:
        return show_tag(tag)
    except TagError:
        return tag
