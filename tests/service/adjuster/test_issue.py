"""What the inventory says of a piece is drawn from the log and the rules, within the reach."""

from decimal import Decimal

import pytest

from service.installation import Installation
from service.log.reading import EVERYTHING, Scope
from service.reports.inventory_document import InventoryDocument, ItemEntry
from service.reports.issue import (
    ESTIMATE_METHOD,
    NotFoundError,
    SealedPhotos,
    inventory_from,
)
from shared import events as ev
from shared import ledger
from shared.vocabulary import Damage, Decision, Role, StepKind
from tests.service.conftest import Clock
from tests.service.office.seeding import ADA, BEN, Seeded, photo, seed
from tests.writers import LOSS, START


@pytest.fixture
def pieces(here: Installation) -> Seeded:
    return seed(here)


def issued(here: Installation, scope: Scope = EVERYTHING) -> InventoryDocument:
    return inventory_from(here, scope, LOSS, prepared_by="Test")


def entry(document: InventoryDocument, tag: str) -> ItemEntry:
    return next(item for item in document.items if item.tag == tag)


def say(here: Installation, *bodies: ev.Fixed, role: Role = Role.LEAD) -> None:
    here.log.say_all(bodies, actor="Lee", role=role, loss=LOSS)


def charged(tag: str, step: StepKind, amount: str, currency: str = "GBP") -> ev.ChargeAdded:
    return ev.ChargeAdded(
        tag=tag,
        charge=f"x-{tag}-{step}",
        what=step.label,
        step=step,
        quantity="1",
        unit="piece",
        rate=ev.Money(amount=amount, currency=currency),
    )


def test_steps_stand_where_the_record_says(here: Installation, pieces: Seeded) -> None:
    def states() -> dict[str, str]:
        item = entry(issued(here), pieces.painting)
        return {one.step.code: one.status.code for one in item.treatment}

    assert states() == {"stabilise": "done", "dry": "planned", "return": "planned"}
    say(
        here,
        ev.Weighed(tag=pieces.painting, mass=ev.Mass(value="3.2", unit="kg"), taken_at=here.now()),
    )
    assert states()["dry"] == "in_progress"
    say(
        here,
        ev.DecisionMade(tag=pieces.painting, decision=Decision.HOLD, decided_by="Uma"),
        role=Role.ADJUSTER,
    )
    assert states() == {"stabilise": "done", "dry": "in_progress", "return": "held"}
    say(here, ev.ItemReturned(tag=pieces.painting, received_by="Ada", condition="good"))
    assert states()["return"] == "done"


def test_advice_names_its_reason_and_never_writes_a_piece_off(
    here: Installation, pieces: Seeded
) -> None:
    document = issued(here)
    advice = {item.tag: item.advice for item in document.items}
    assert advice[pieces.painting].restorable.code == "yes"
    assert advice[pieces.painting].reason == "Usual treatment for this damage: stabilise, dry."
    assert advice[pieces.vase].restorable.code == "yes"
    assert advice[pieces.frame].restorable.code == "unknown"
    assert advice[pieces.painting].never
    assert "left" in advice[pieces.painting].time_left

    say(here, ev.DamageNoted(tag=pieces.vase, damage=Damage.CHARRED))
    burnt = entry(issued(here), pieces.vase).advice
    assert burnt.restorable.code == "conservator"
    assert "conservator" in burnt.reason


def test_a_chamber_run_that_no_programme_may_do_is_for_a_conservator(
    here: Installation, pieces: Seeded
) -> None:
    say(here, ev.DamageNoted(tag=pieces.vase, damage=Damage.SMOKE_ODOUR))
    advice = entry(issued(here), pieces.vase).advice
    assert advice.restorable.code == "conservator"
    assert "no programme on file" in advice.reason


def test_an_estimate_is_drawn_from_what_others_were_charged(
    here: Installation, pieces: Seeded
) -> None:
    assert entry(issued(here), pieces.painting).costs.estimate is None
    say(here, charged(pieces.vase, StepKind.DRY, "40"), charged(pieces.frame, StepKind.DRY, "70"))
    estimate = entry(issued(here), pieces.painting).costs.estimate
    assert estimate is not None
    # 90 charged so far, and drying at the least and the most that it cost for another piece.
    assert (estimate.low, estimate.high, estimate.currency) == (Decimal(130), Decimal(160), "GBP")
    assert ESTIMATE_METHOD in issued(here).method


def test_an_estimate_never_mixes_currencies_or_claims(here: Installation, pieces: Seeded) -> None:
    say(here, charged(pieces.print, StepKind.STABILISE, "55", "GBP"))
    several = entry(issued(here), pieces.print)
    assert several.costs.estimate is None
    assert {amount.currency for amount in several.costs.charged} == {"EUR", "GBP"}

    say(here, charged(pieces.print, StepKind.DRY, "999", "GBP"))
    of_all = entry(issued(here), pieces.painting).costs.estimate
    of_ada = issued(here, Scope(losses=frozenset({LOSS}), claims=frozenset({ADA})))
    assert of_all is not None
    assert of_all.high == Decimal(1089)
    assert entry(of_ada, pieces.painting).costs.estimate is None


def test_a_scope_of_one_claim(here: Installation, pieces: Seeded) -> None:
    scope = Scope(losses=frozenset({LOSS}), claims=frozenset({ADA}))
    document = issued(here, scope)
    assert {item.tag for item in document.items} == {pieces.painting, pieces.frame, pieces.vase}
    assert document.claim == ADA
    assert [one.claim for one in document.claims] == [ADA]
    assert {item.claim for item in document.items} == {ADA}
    assert BEN not in document.model_dump_json()
    with pytest.raises(NotFoundError):
        issued(here, Scope(claims=frozenset({"C-0"})))
    with pytest.raises(NotFoundError):
        issued(here, Scope(losses=frozenset({"OTHER"})))


def test_only_one_piece_with_what_belongs_to_it(here: Installation, pieces: Seeded) -> None:
    for tag in (pieces.painting, pieces.frame):
        document = inventory_from(here, EVERYTHING, LOSS, prepared_by="Test", only=tag)
        assert {item.tag for item in document.items} == {pieces.painting, pieces.frame}
        assert entry(document, tag) == entry(issued(here), tag).model_copy(
            update={"number": entry(document, tag).number}
        )
    with pytest.raises(NotFoundError):
        inventory_from(here, EVERYTHING, LOSS, prepared_by="Test", only="0000000000018")


def test_it_names_the_newest_checkpoint(here: Installation, pieces: Seeded, clock: Clock) -> None:
    before = issued(here).custody
    clock.forward(hours=1)
    say(here, ev.HazardNoted(hazard="mould"))
    after = issued(here).custody
    assert after.tree_size == before.tree_size + 1
    sealed = ledger.open_checkpoint(
        after.checkpoint, [here.log.signer.verifier], here.log.origin(LOSS)
    )
    assert (sealed.size, sealed.root.hex()) == (after.tree_size, after.root)
    assert issued(here).prepared_at == START.replace(hour=START.hour + 2)


def test_photos_come_sealed_or_not_at_all(here: Installation, pieces: Seeded) -> None:
    source = SealedPhotos(here.photos)
    assert source.read(pieces.photo) == photo()
    assert source.read("ab" * 32) is None
