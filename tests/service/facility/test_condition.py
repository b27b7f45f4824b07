"""The weighing round, what a meter says, and when a piece may be called dry."""

import io
from datetime import timedelta
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image
from starlette.testclient import TestClient

from service.facility.condition import done_when, doubts
from service.facility.plots.drying import drying_of
from service.installation import Installation
from service.log import reading
from service.log.reading import EVERYTHING
from shared import events as ev
from shared.drying import judge_dryness
from shared.facts import facts
from shared.records import FacilityBook, Item
from shared.vocabulary import Damage, Material, MoistureScale, PhotoKind, StepKind
from tests.service.conftest import Clock
from tests.service.facility import plotted
from tests.service.facility.house import BOWL, CANVAS, LEAD, PANE, bring, finish, furnish, say

KNOWN = facts()
BOOK = plotted.book()
NOW = plotted.WETTED + timedelta(hours=100)
HUNG = plotted.WETTED + timedelta(hours=20)


def read_at(
    hour: float, percent: str, *, spot: str = "", scale: MoistureScale | None = None
) -> dict[str, object]:
    at = HUNG + timedelta(hours=hour)
    return {"percent": percent, "method": "pins", "spot": spot, "taken_at": at, "scale": scale}


def felt_at(hour: float, rh: str, *, spot: str = "") -> dict[str, object]:
    said = {"temperature": "19", "unit": "degC", "rh_percent": rh, "spot": spot, "instrument": ""}
    return said | {"taken_at": HUNG + timedelta(hours=hour)}


def piece(
    *weighed: tuple[float, str],
    moisture: tuple[dict[str, object], ...] = (),
    surface: tuple[dict[str, object], ...] = (),
) -> Item:
    """A wet print in the drying room with what was read of it, by hours since it was hung."""
    made = plotted.wet_piece(weighed, in_room=True)
    said = made.model_dump() | {"moisture": list(moisture), "surface": list(surface)}
    return Item.model_validate(said)


def room_emc() -> float:
    drying = drying_of(piece(), BOOK, NOW, KNOWN)
    assert drying is not None
    return drying.body.emc


NEAR = f"{100 * room_emc() + 0.5:.1f}"
STEADY = ((0.0, "0.300"), (24.0, "0.299"))


def dry(item: Item) -> bool:
    return done_when(item, BOOK, NOW, KNOWN).is_dry


# --- the rule -----------------------------------------------------------------------------------


def test_a_piece_is_dry_when_its_readings_meet_every_sign_and_not_before() -> None:
    moist, felt = (read_at(24, NEAR),), (felt_at(24, "55"),)
    assert dry(piece(*STEADY, moisture=moist, surface=felt))
    assert not dry(piece(*STEADY, moisture=moist))
    assert not dry(piece(*STEADY, surface=felt))
    assert not dry(piece(STEADY[1], moisture=moist, surface=felt))
    bare = done_when(piece(), BOOK, NOW, KNOWN)
    assert not bare.is_dry
    assert "Weigh it, and again a day later." in bare.missing


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"weighed": ((24.0, "0.3"),)}, "Weigh it again on"),
        ({"weighed": ((0.1, "0.3"), (24.0, "0.3"))}, "Weigh it again on"),
        ({"weighed": ((0.0, "0.3"), (24.0, "0.29"))}, "It changed by -3.3 % in 24 h."),
        ({"weighed": ((0.0, "0.3"), (24.0, "0.31"))}, "It changed by +3.3 % in 24 h."),
        ({"moisture": ()}, "Read its moisture in per cent of the dry mass"),
        (
            {"moisture": (read_at(24, "40"),)},
            "Wettest spot 40.0\N{NO-BREAK SPACE}%; the room's own is",
        ),
        (
            {"moisture": (read_at(24, NEAR, spot="edge"), read_at(23, "40", spot="spine"))},
            "Wettest spot 40.0\N{NO-BREAK SPACE}%",
        ),
        ({"moisture": (read_at(24, NEAR, scale=MoistureScale.RELATIVE),)}, "can't be compared"),
        (
            {"moisture": (read_at(24, NEAR, scale=MoistureScale.WOOD_EQUIVALENT),)},
            "can't be compared",
        ),
        ({"moisture": (read_at(-1, NEAR),)}, "Read its moisture"),
        ({"moisture": (read_at(24, "-3"),)}, "Read its moisture"),
        ({"moisture": (read_at(900, NEAR),)}, "Read its moisture"),
        ({"surface": (felt_at(24, "65"),)}, "Dampest spot 65\N{NO-BREAK SPACE}% RH."),
        (
            {"surface": (felt_at(24, "40"), felt_at(22, "80", spot="back"))},
            "Dampest spot 80\N{NO-BREAK SPACE}%",
        ),
        ({"surface": (felt_at(24, "400"),)}, "Read the RH at its surface"),
    ],
)
def test_what_is_missing_is_said_in_words(changes: dict[str, object], words: str) -> None:
    said = {
        "weighed": STEADY,
        "moisture": (read_at(24, NEAR),),
        "surface": (felt_at(24, "55"),),
    } | changes
    weighed = said.pop("weighed")
    done = done_when(piece(*weighed, **said), BOOK, NOW, KNOWN)  # type: ignore[misc, arg-type]
    assert not done.is_dry
    assert len(done.missing) == 1
    assert words in done.missing[0]


def test_a_later_reading_of_the_same_spot_counts_and_not_the_earlier() -> None:
    moist = (read_at(20, "40", spot="Edge"), read_at(24, NEAR, spot="edge"))
    assert dry(piece(*STEADY, moisture=moist, surface=(felt_at(24, "55"),)))


def test_wood_equivalent_counts_for_wood_and_for_nothing_else() -> None:
    item = piece(
        *STEADY,
        moisture=(read_at(24, "9", scale=MoistureScale.WOOD_EQUIVALENT),),
        surface=(felt_at(24, "55"),),
    ).model_copy(update={"materials": [Material.WOOD]})
    assert "Wettest spot 9.0\N{NO-BREAK SPACE}%" in done_when(item, BOOK, NOW, KNOWN).signs[0].words


@given(
    percent=st.integers(0, 40),
    kg=st.integers(280, 320),
    rh=st.integers(30, 100),
)
def test_the_page_says_dry_exactly_when_the_rule_does(percent: int, kg: int, rh: int) -> None:
    item = piece(
        (0.0, "0.300"),
        (24.0, f"0.{kg}"),
        moisture=(read_at(24, str(percent)),),
        surface=(felt_at(24, str(rh)),),
    )
    rule = judge_dryness(percent / 100, room_emc(), kg / 1000, 0.300, rh / 100)
    assert dry(item) is rule.is_dry


# --- unlikely weighings -------------------------------------------------------------------------


def mass(value: str, unit: str = "kg") -> ev.Mass:
    return ev.Mass.model_validate({"value": value, "unit": unit})


@pytest.mark.parametrize(
    ("weighed", "now", "asked"),
    [
        (((0.0, "2.40"), (24.0, "2.31")), mass("2.30"), None),
        (((0.0, "2.40"), (24.0, "2.31")), mass("2300", "g"), None),
        (((0.0, "2.40"), (24.0, "2.31")), mass("2300"), "Did you mean 2300 g?"),
        (((0.0, "2.40"), (24.0, "2.31")), mass("2.3", "g"), "Did you mean 2.3 kg?"),
        (((0.0, "2.40"), (24.0, "2.31")), mass("23.1"), "Are unit and digits right?"),
        (((0.0, "2.40"), (24.0, "2.31")), mass("2.38"), "heavier than last time, 2.31 kg"),
        (((0.0, "2.40"), (24.0, "2.31")), mass("2.50"), "heavier than at first, 2.40 kg"),
        ((), mass("900"), "such a piece soaked is about"),
        ((), mass("0.4"), None),
    ],
)
def test_an_unlikely_weighing_is_asked_about(
    weighed: tuple[tuple[float, str], ...], now: ev.Mass, asked: str | None
) -> None:
    found = doubts(piece(*weighed), now, BOOK, NOW, KNOWN)
    assert len(found) == (0 if asked is None else 1)
    assert asked is None or asked in found[0]
    assert all(len(one.split()) <= 25 for one in found)


def test_nothing_is_asked_where_nothing_is_known() -> None:
    bare = Item(tag=PANE)
    assert not doubts(bare, mass("900"), FacilityBook(), NOW, KNOWN)
    missing = done_when(bare, FacilityBook(), NOW, KNOWN).missing
    assert missing[0].startswith("Say what it is made of")


@given(value=st.decimals("0.001", 10_000, places=3))
def test_no_mass_is_refused_only_asked_about(value: Decimal) -> None:
    for unit in ("kg", "g", "lb", "oz"):
        doubts(piece(*STEADY), mass(f"{value:f}", unit), BOOK, NOW, KNOWN)


# --- pages --------------------------------------------------------------------------------------


def hang(here: Installation, *tags: str) -> None:
    furnish(here)
    for tag in tags:
        bring(
            here, tag, Damage.SOAKED, materials=(Material.PRINT_PAPER,), title=f"Print {tag[-2:]}"
        )
        say(here, ev.ItemMoved(tag=tag, station="dry"))


def weighings(here: Installation, tag: str) -> list[tuple[str, str]]:
    with here.database.read() as session:
        item = reading.item(session, EVERYTHING, tag)
    assert item is not None
    return [(one.mass.value, one.mass.unit) for one in item.weighings]


def weigh(client: TestClient, tag: str, value: str = "", **more: str) -> tuple[int, str]:
    said = {"scanned": tag, "mass": value, "unit": "kg", "instrument": "Bench", "actor": LEAD}
    answer = client.post("/facility/weigh", data=said | more)
    return answer.status_code, answer.headers.get("location", answer.text)


def test_a_round_keeps_name_unit_and_scale_from_piece_to_piece(
    here: Installation, client: TestClient
) -> None:
    hang(here, BOWL, PANE)
    assert "Still to weigh (2)" in client.get("/facility/weigh").text
    status, page = weigh(client, BOWL)
    assert status == 200
    assert "Print 2Y" in page and "Not weighed yet." in page
    status, where = weigh(client, BOWL, "0.080")
    assert status == 303
    page = client.get(where).text
    assert "Print 2Y: 0.080 kg" in page
    assert f'value="{LEAD}"' in page and 'value="Bench"' in page and "Still to weigh (1)" in page
    assert '<option value="kg" selected' in page
    assert weighings(here, BOWL) == [("0.080", "kg")]


def test_an_unlikely_mass_is_kept_in_the_form_until_it_is_answered(
    here: Installation, client: TestClient
) -> None:
    hang(here, BOWL)
    weigh(client, BOWL, "0.080")
    status, page = weigh(client, BOWL, "80")
    assert status == 422
    assert "Did you mean 80 g?" in page and 'name="mass" required' in page and 'value="80"' in page
    assert weighings(here, BOWL) == [("0.080", "kg")]
    status, page = weigh(client, BOWL, "81", sure=f"{BOWL} 80 kg")
    assert status == 422, "a yes counts for the mass it was said of"
    assert weigh(client, BOWL, "80", sure=f"{BOWL} 80 kg")[0] == 303
    assert weighings(here, BOWL) == [("0.080", "kg"), ("80", "kg")]


@pytest.mark.parametrize(
    ("typed", "sentence"),
    [
        ({"scanned": ""}, "Scan the piece"),
        ({"scanned": CANVAS}, "No piece carries the tag"),
        ({"scanned": "nonsense"}, "field__error"),
        ({"unit": "stone"}, "Unit: choose what the scale shows"),
        ({"mass": "heavy"}, "Mass: “heavy” is no number"),
        ({"mass": "-1"}, "Mass: -1 kg can&#39;t be"),
        ({"mass": "1e20"}, "Mass: “1e20” is no number"),
        ({"actor": ""}, "Your name"),
    ],
)
def test_a_round_says_what_is_wrong_and_keeps_what_was_typed(
    here: Installation, client: TestClient, typed: dict[str, str], sentence: str
) -> None:
    hang(here, BOWL)
    status, page = weigh(client, typed.pop("scanned", BOWL), typed.pop("mass", "0.08"), **typed)
    assert status == 422
    assert sentence in page and "Bench" in page
    assert not weighings(here, BOWL)


def test_readings_of_a_piece_lead_to_dry_in_words(
    here: Installation, client: TestClient, clock: Clock
) -> None:
    hang(here, BOWL)
    path = f"/facility/items/{BOWL}"
    weigh(client, BOWL, "0.080")
    clock.forward(hours=24)
    weigh(client, BOWL, "0.080")
    page = client.get(f"{path}/condition").text
    assert "Not shown to be dry" in page and "Read its moisture" in page and "<svg" in page
    moist = {"percent": NEAR, "scale": "dry_mass", "method": "Pins P-1", "actor": LEAD}
    assert client.post(f"{path}/moisture", data=moist).status_code == 303
    felt = {"rh": "52", "temperature": "68", "temperature_unit": "degF", "actor": LEAD}
    assert client.post(f"{path}/surface", data=felt).status_code == 303
    page = client.get(f"{path}/condition").text
    assert "Dry by its readings" in page
    assert f"{NEAR} per cent of the dry mass" in page and "Pins P-1" in page
    assert "Dry by its readings" in client.get("/facility/condition").text
    weigh(client, BOWL, "0.085", sure=f"{BOWL} 0.085 kg")
    assert "Not shown to be dry" in client.get(f"{path}/condition").text


@pytest.mark.parametrize(
    ("form", "typed", "sentence"),
    [
        ("moisture", {"percent": "12", "method": "m"}, "Scale: choose"),
        ("moisture", {"percent": "12", "scale": "relative"}, "Meter: name it"),
        ("moisture", {"percent": "1e9", "scale": "relative", "method": "m"}, "can&#39;t be"),
        ("moisture", {"scale": "relative", "method": "m"}, "Moisture: fill this in"),
        ("surface", {"rh": "120", "temperature": "20"}, "it lies from 0 to 100"),
        ("surface", {"rh": "50", "temperature": "20"}, "Unit: choose"),
        ("photo", {"kind": "during"}, "Photo: choose a picture"),
    ],
)
def test_a_reading_that_does_not_fit_comes_back_with_the_mend(
    here: Installation, client: TestClient, form: str, typed: dict[str, str], sentence: str
) -> None:
    hang(here, BOWL)
    page = client.post(f"/facility/items/{BOWL}/{form}", data=typed | {"actor": LEAD})
    assert page.status_code == 422
    assert sentence in page.text


def test_a_photo_is_kept_with_its_stage(here: Installation, client: TestClient) -> None:
    hang(here, BOWL)
    out = io.BytesIO()
    Image.new("RGB", (32, 24), "teal").save(out, "JPEG")
    path = f"/facility/items/{BOWL}"
    said = {"kind": "during", "caption": "after a day", "actor": LEAD}

    def send(data: bytes) -> int:
        files = {"picture": ("a.jpg", data, "image/jpeg")}
        return client.post(f"{path}/photo", data=said, files=files).status_code

    assert send(b"not a picture") == 422
    assert send(out.getvalue()) == 303
    with here.database.read() as session:
        item = reading.item(session, EVERYTHING, BOWL)
    assert item is not None
    assert [(one.kind, one.caption) for one in item.photos] == [(PhotoKind.DURING, "after a day")]
    assert "During treatment: after a day" in client.get(f"{path}/condition").text
    assert client.get(f"/facility/items/{CANVAS}/condition").status_code == 404


def test_what_was_weighed_is_listed_wherever_it_stands_until_drying_is_finished(
    here: Installation, client: TestClient
) -> None:
    hang(here, BOWL)
    bring(here, PANE, Damage.SOAKED, materials=(Material.PRINT_PAPER,), title="At the bench")
    assert "At the bench" not in client.get("/facility/condition").text
    weigh(client, PANE, "0.080")
    assert "At the bench" in client.get("/facility/condition").text
    finish(here, PANE, StepKind.DRY)
    assert "At the bench" not in client.get("/facility/condition").text
