"""The inventory document: what goes in, what stays out, and sums that add up.

Object ID categories: R. Thornes, P. Dorrell and H. Lie, "Introduction to Object ID", Getty
Information Institute, 1999. Currency decimals: ISO 4217.
"""

import json
from collections import defaultdict
from dataclasses import replace
from datetime import datetime
from decimal import Decimal

import jsonschema
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.reports.inventory import (
    CashValue,
    ItemAssessment,
    Range,
    Restorable,
    StepStatus,
    compare,
    inventory_schema,
)
from service.reports.inventory_document import (
    Amount,
    AmountRange,
    Costs,
    CurrencyTotal,
    GroupTotal,
    InventoryDocument,
    Term,
    ValueEntry,
)
from shared import events as ev
from shared.records import Charge, Item, Valuation
from shared.valuation import Money, ValuationError
from shared.vocabulary import StepKind, ValueBasis
from tests.service.reports import factories

TAGS = factories.tags(12)


# --- content ----------------------------------------------------------------------------------


def test_an_item_carries_every_category_of_object_id() -> None:
    item = factories.item(
        TAGS[0],
        1,
        photos=["ab" * 32],
        subject="A hedge",
        inscriptions="signed",
        description="A sheet",
    )
    found = factories.document([item]).items[0]
    known = found.identification

    assert found.photos[0].sha256 == "ab" * 32
    assert known.object_type.label == "Work on paper"
    assert known.measurements is not None
    assert (known.measurements.height.value, known.measurements.height.unit) == (
        Decimal("61"),
        "cm",
    )
    assert [term.code for term in known.materials] == ["watercolour"]
    assert known.medium == "watercolour"
    assert known.inscriptions == "signed"
    assert known.period == "about 1881"
    assert known.maker == "Ines Varga (invented)"
    assert known.subject == "A hedge"
    assert known.title == "Study of a hawthorn hedge, no. 1"
    assert known.features.startswith("old repair")
    assert known.description == "A sheet"
    assert known.not_recorded == ()


def test_what_nobody_recorded_is_named_and_not_filled_in() -> None:
    bare = factories.document([Item(tag=TAGS[0], loss="L-2026-004")], assessments={}).items[0]

    assert set(bare.identification.not_recorded) == {
        "title",
        "maker",
        "date or period",
        "subject",
        "technique",
        "inscriptions and marks",
        "distinguishing features",
        "description",
        "measurements",
        "photographs",
    }
    assert bare.identification.maker == ""
    assert bare.value is None
    assert bare.advice.restorable.code == Restorable.UNKNOWN


def test_a_part_follows_its_piece_and_takes_its_claim_and_place() -> None:
    first, second = factories.item(TAGS[0], 1), factories.item(TAGS[1], 1)
    frame = factories.part_of(first, TAGS[2])
    found = factories.document([frame, second, first]).items
    by_tag = {item.tag: item for item in found}

    assert by_tag[frame.tag].claim == first.claim
    assert by_tag[frame.tag].found == by_tag[first.tag].found
    assert by_tag[first.tag].parts == (frame.tag,)
    order = [item.tag for item in found]
    assert order.index(frame.tag) == order.index(first.tag) + 1
    assert [item.number for item in found] == [1, 2, 3]


def test_one_claim_shows_nothing_of_the_others() -> None:
    items = [factories.item(tag, number) for number, tag in enumerate(TAGS)]
    whole = factories.document(items)
    claimed = factories.document(items, claim="C-102")
    others = [item for item in whole.items if item.claim != "C-102"]
    text = claimed.model_dump_json()

    assert others
    assert {item.claim for item in claimed.items} == {"C-102"}
    assert [claim.claim for claim in claimed.claims] == ["C-102"]
    assert claimed.currencies == ("EUR",)
    for hidden in ("C-101", "Invented Mutual", *(item.tag for item in others)):
        assert hidden not in text


def test_a_part_of_another_claim_does_not_name_its_piece() -> None:
    piece = factories.item(TAGS[0], 1)
    frame = factories.part_of(piece, TAGS[1]).model_copy(update={"claim": "C-102"})
    claimed = factories.document([piece, frame], claim="C-102")

    assert [item.tag for item in claimed.items] == [frame.tag]
    assert claimed.items[0].parent is None


def test_wrong_claim_and_wrong_loss_are_refused_by_name() -> None:
    with pytest.raises(ValueError, match=r"claim 'C-9' is not one of this loss; it has C-101, C"):
        factories.document([], claim="C-9")
    stray = factories.item(TAGS[0], loss="L-other")
    with pytest.raises(ValueError, match=f"{TAGS[0]} belongs to loss L-other"):
        factories.document([stray])


def test_a_step_done_is_not_listed_as_still_to_come() -> None:
    steps = factories.document([factories.item(TAGS[0])]).items[0].treatment
    listed = [(step.step.code, step.status.code) for step in steps]

    assert listed == [
        (StepKind.STABILISE, StepStatus.DONE),
        (StepKind.DRY, StepStatus.IN_PROGRESS),
        (StepKind.STUDIO, StepStatus.PLANNED),
    ]


def test_a_conflict_is_shown_with_both_values_in_words() -> None:
    found = factories.document([factories.conflicted(TAGS[0])]).items[0].conflicts

    assert [said.value for said in found[0].statements] == ["Oil on canvas", "Acrylic painting"]
    assert [said.by for said in found[0].statements] == ["Bo Lund", "Mo Adair"]


def test_the_cautions_that_always_stand_come_first() -> None:
    applies = [
        caution.applies for caution in factories.document([factories.item(TAGS[0])]).cautions
    ]

    assert applies[0] == "Always"
    assert "Category 3: grossly contaminated" in applies


def test_a_time_without_zone_is_refused() -> None:
    with pytest.raises(ValueError, match="prepared_at"):
        factories.document([], prepared_at=datetime(2026, 3, 20, 9))  # noqa: DTZ001


# --- money ------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("currency", "amount"),
    [("EUR", "3.32"), ("JPY", "3"), ("KWD", "3.315")],
)
def test_a_line_is_rounded_to_the_decimals_of_its_currency(currency: str, amount: str) -> None:
    charge = Charge(
        charge="c",
        what="Drying",
        step=None,
        quantity="1.5",
        unit="h",
        rate=ev.Money(amount="2.21", currency=currency),
    )
    line = factories.document([factories.item(TAGS[0], charges=[charge])]).items[0].costs.lines[0]

    assert line.amount.amount == Decimal(amount)
    assert line.rate.amount == Decimal("2.21")


def test_stated_digits_are_filled_up_and_never_cut() -> None:
    def shown(stated: str) -> str:
        valuation = Valuation(
            basis=ValueBasis.AGREED,
            value=ev.Money(amount=stated, currency="EUR"),
            loss_in_value=None,
            stated_by="A",
        )
        found = factories.document([factories.item(TAGS[0], valuation=valuation)]).items[0]
        assert found.value is not None
        return f"{found.value.value.amount:f}"

    assert shown("900") == "900.00"
    assert shown("900.125") == "900.125"


def test_actual_cash_value_is_shown_only_when_given_with_its_ground() -> None:
    item = factories.item(TAGS[0])
    assert factories.document([item]).items[0].cash_value is None
    # Worked example of trade practice: 1,500 new, 500 off, leaves 1,000 (common practice, no
    # source).
    cash = CashValue(
        Money(amount=Decimal(1500), currency="EUR"),
        Money(amount=Decimal(500), currency="EUR"),
        "ordinary goods, 4 of 12 years",
    )
    found = (
        factories.document([item], assessments={item.tag: ItemAssessment(cash_value=cash)})
        .items[0]
        .cash_value
    )
    assert found is not None
    assert found.actual_cash_value == Amount(amount=Decimal("1000.00"), currency="EUR")
    assert found.ground == "ordinary goods, 4 of 12 years"

    too_much = replace(cash, depreciation=Money(amount=Decimal(1501), currency="EUR"))
    with pytest.raises(ValuationError, match="depreciation is more than replacement_cost"):
        factories.document([item], assessments={item.tag: ItemAssessment(cash_value=too_much)})


def test_an_estimate_upside_down_is_refused() -> None:
    with pytest.raises(ValueError, match="low 5 is above high 4"):
        Range(Decimal(5), Decimal(4), "EUR")


def _value(amount: str, loss: str | None = None, currency: str = "EUR") -> ValueEntry:
    return ValueEntry(
        basis=Term(code="agreed", label="Agreed value"),
        value=Amount(amount=Decimal(amount), currency=currency),
        stated_by="A",
        loss_in_value=Amount(amount=Decimal(loss), currency=currency) if loss else None,
    )


def _costs(charged: str | None = None, low: str | None = None, high: str | None = None) -> Costs:
    return Costs(
        lines=(),
        charged=(Amount(amount=Decimal(charged), currency="EUR"),) if charged else (),
        estimate=AmountRange(low=Decimal(low), high=Decimal(high), currency="EUR")
        if low and high
        else None,
    )


@pytest.mark.parametrize(
    ("costs", "value", "result", "span"),
    [
        (_costs(low="300", high="900"), _value("1000", "100"), "within", ("400", "1000")),
        (_costs(low="300", high="901"), _value("1000", "100"), "uncertain", ("400", "1001")),
        (_costs(low="901", high="950"), _value("1000", "100"), "above", ("1001", "1050")),
        (_costs(charged="1200", low="300", high="900"), _value("1000"), "above", ("1200", "1200")),
        (_costs(charged="200"), _value("1000"), "within", ("200", "200")),
        (_costs(charged="-5"), _value("1000"), "unknown", None),
        (_costs(charged="200"), _value("1000", currency="GBP"), "unknown", None),
        (_costs(), _value("1000"), "unknown", None),
        (_costs(charged="200"), None, "unknown", None),
    ],
)
def test_cost_plus_loss_in_value_is_set_against_value(
    costs: Costs, value: ValueEntry | None, result: str, span: tuple[str, str] | None
) -> None:
    found = compare(costs, value)

    assert found.result.code == result
    assert found.sentence
    if span is None:
        assert found.cost_and_loss is None
    else:
        assert found.cost_and_loss is not None
        assert (found.cost_and_loss.low, found.cost_and_loss.high) == tuple(map(Decimal, span))


# --- sums -------------------------------------------------------------------------------------

_money = st.tuples(
    st.decimals(min_value=0, max_value=10**6, places=2), st.sampled_from(["EUR", "GBP", "JPY"])
)


@st.composite
def _items(draw: st.DrawFn) -> list[Item]:
    made = []
    for number in range(draw(st.integers(0, 8))):
        charges = [
            Charge(
                charge=f"c{place}",
                what="Work",
                step=None,
                quantity=draw(st.sampled_from(["1", "0.333", "2.5"])),
                unit="h",
                rate=ev.Money(amount=f"{amount:f}", currency=currency),
            )
            for place, (amount, currency) in enumerate(draw(st.lists(_money, max_size=3)))
        ]
        amount, currency = draw(_money)
        valuation = Valuation(
            basis=ValueBasis.DECLARED,
            value=ev.Money(amount=f"{amount:f}", currency=currency),
            loss_in_value=None,
            stated_by="A",
        )
        made.append(
            factories.item(
                TAGS[number],
                number,
                charges=charges,
                valuation=draw(st.sampled_from([valuation, None])),
                claim=draw(st.sampled_from(["C-101", "C-102", None])),
                quantity=draw(st.integers(1, 5)),
            )
        )
    return made


def _added(groups: tuple[GroupTotal, ...]) -> dict[tuple[str, str], Decimal]:
    sums: defaultdict[tuple[str, str], Decimal] = defaultdict(Decimal)
    for group in groups:
        for total in group.amounts:
            for name in set(CurrencyTotal.model_fields) - {"currency"}:
                sums[total.currency, name] += getattr(total, name)
    return dict(sums)


@settings(max_examples=60, deadline=None)
@given(_items())
def test_the_groups_of_every_kind_add_up_to_the_whole(items: list[Item]) -> None:
    totals = factories.document(items).totals
    whole = _added((totals.everything,))

    for groups in (
        totals.by_room,
        totals.by_claim,
        totals.by_owner,
        totals.by_decision,
        totals.by_advice,
    ):
        assert _added(groups) == whole
        assert sum(group.items for group in groups) == len(items)
        assert sum(group.objects for group in groups) == sum(item.quantity for item in items)


@settings(max_examples=60, deadline=None)
@given(_items())
def test_the_whole_is_the_sum_of_the_lines_shown(items: list[Item]) -> None:
    document = factories.document(items)
    lines: defaultdict[str, Decimal] = defaultdict(Decimal)
    for item in document.items:
        for line in item.costs.lines:
            lines[line.amount.currency] += line.amount.amount

    charged = {total.currency: total.charged for total in document.totals.everything.amounts}
    assert {currency: charged[currency] for currency in lines} == dict(lines)


# --- JSON -------------------------------------------------------------------------------------


def test_the_document_fits_its_own_schema_and_comes_back_equal() -> None:
    items = [factories.item(tag, number, photos=["cd" * 32]) for number, tag in enumerate(TAGS[:6])]
    items.append(factories.conflicted(TAGS[7]))
    items.append(factories.part_of(items[0], TAGS[8]))
    document = factories.document(items, replaces="12" * 32, version=2)
    schema = inventory_schema()
    jsonschema.Draft202012Validator.check_schema(schema)
    data = json.loads(document.model_dump_json())

    jsonschema.validate(data, schema, cls=jsonschema.Draft202012Validator)
    assert InventoryDocument.model_validate_json(json.dumps(data)) == document


def test_the_schema_refuses_a_number_for_money() -> None:
    data = json.loads(factories.document([factories.item(TAGS[0])]).model_dump_json())
    data["items"][0]["value"]["value"]["amount"] = 12.5

    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate(data, inventory_schema(), cls=jsonschema.Draft202012Validator)


def test_amounts_are_written_without_exponent() -> None:
    valuation = Valuation(
        basis=ValueBasis.AGREED,
        value=ev.Money(amount="900000000000", currency="JPY"),
        loss_in_value=None,
        stated_by="A",
    )
    data = json.loads(
        factories.document([factories.item(TAGS[0], valuation=valuation)]).model_dump_json()
    )

    assert data["items"][0]["value"]["value"] == {"amount": "900000000000", "currency": "JPY"}
