"""Sums over the items of an inventory, in each currency apart."""

from collections.abc import Callable, Iterator, Sequence
from decimal import Decimal

from service.reports.inventory_document import (
    CurrencyTotal,
    GroupTotal,
    ItemEntry,
    Restorable,
    Term,
    Totals,
)
from shared.valuation import Money
from shared.vocabulary import Decision, Labelled


def totals_of(items: Sequence[ItemEntry]) -> Totals:
    """Sums over all items and over each group of them."""

    def grouped(key: Callable[[ItemEntry], tuple[int, str, str]]) -> tuple[GroupTotal, ...]:
        groups: dict[tuple[int, str, str], list[ItemEntry]] = {}
        for item in items:
            groups.setdefault(key(item), []).append(item)
        return tuple(
            _group(name, label, members) for (_, name, label), members in sorted(groups.items())
        )

    def decision(item: ItemEntry) -> tuple[int, str, str]:
        if item.decision is None:
            return (-1, "", "Not decided yet")
        return _ranked(item.decision.decision, Decision)

    return Totals(
        everything=_group("", "All items", items),
        by_room=grouped(lambda item: (0, item.room, item.room or "No room recorded")),
        by_claim=grouped(lambda item: (0, item.claim or "", item.claim or "No claim assigned")),
        by_owner=grouped(lambda item: (0, item.owner, item.owner or "Owner not known")),
        by_decision=grouped(decision),
        by_advice=grouped(lambda item: _ranked(item.advice.restorable, Restorable)),
    )


def _ranked(term: Term, words: type[Labelled]) -> tuple[int, str, str]:
    """A term with its place in the vocabulary, to sort by."""
    return ([word.value for word in words].index(term.code), term.code, term.label)


def _group(key: str, label: str, items: Sequence[ItemEntry]) -> GroupTotal:
    names = ("charged", "estimate_low", "estimate_high", "value", "loss_in_value")
    sums: dict[str, dict[str, Decimal]] = {}
    for item in items:
        for name, amount, currency in _figures(item):
            zero = Money(amount=Decimal(0), currency=currency).rounded().amount
            sums.setdefault(currency, dict.fromkeys(names, zero))[name] += amount
    return GroupTotal(
        key=key,
        label=label,
        items=len(items),
        objects=sum(item.quantity for item in items),
        amounts=tuple(
            CurrencyTotal(currency=currency, **sums[currency]) for currency in sorted(sums)
        ),
    )


def _figures(item: ItemEntry) -> Iterator[tuple[str, Decimal, str]]:
    """Every amount of an item that goes into a sum: its name, amount and currency."""
    for charged in item.costs.charged:
        yield "charged", charged.amount, charged.currency
    if item.costs.estimate:
        estimate = item.costs.estimate
        yield "estimate_low", estimate.low, estimate.currency
        yield "estimate_high", estimate.high, estimate.currency
    if item.value:
        yield "value", item.value.value.amount, item.value.value.currency
        if item.value.loss_in_value:
            yield (
                "loss_in_value",
                item.value.loss_in_value.amount,
                item.value.loss_in_value.currency,
            )
