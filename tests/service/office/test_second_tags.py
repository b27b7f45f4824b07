"""Second tags of a whole loss in one PDF, most urgent first: from the page and the command line."""

import subprocess
import sys
from pathlib import Path

import pytest
from starlette.testclient import TestClient

from labels.codes import show_tag
from service.facility.second_tags import NothingToPrintError, TagsWanted, second_tags
from service.installation import Installation
from shared import events as ev
from shared.vocabulary import Band, Role
from tests.labels.pdf_reading import text_of
from tests.service.office.seeding import Seeded, seed
from tests.writers import LOSS

PATH = f"/office/losses/{LOSS}/second-tags.pdf"
PAPER = {"layout": "roll-100x150"}
PROJECT = Path(__file__).resolve().parents[3]


@pytest.fixture(autouse=True)
def seeded(here: Installation) -> Seeded:
    return seed(here)


def tags_in(pdf: bytes, seeded: Seeded) -> list[str]:
    """The pieces whose second tag is in the PDF, in its order."""
    text = text_of(pdf)
    found = {
        tag: text.find(show_tag(tag))
        for tag in (seeded.painting, seeded.frame, seeded.vase, seeded.print)
    }
    return sorted((tag for tag, at in found.items() if at >= 0), key=lambda tag: found[tag])


def test_the_page_of_a_loss_leads_to_them_and_offers_its_rooms(client: TestClient) -> None:
    page = client.get(f"/office/losses/{LOSS}").text
    assert f'action="{PATH}"' in page
    for room in ("Every room", "Hall", "Kitchen", "Study"):
        assert f">{room}</option>" in page


def test_all_pieces_come_the_most_urgent_first(
    client: TestClient, here: Installation, seeded: Seeded
) -> None:
    answer = client.get(PATH, params=PAPER)
    assert (answer.status_code, answer.headers["content-type"]) == (200, "application/pdf")
    everything = second_tags(here, TagsWanted(LOSS))
    assert tags_in(answer.content, seeded) == [one.tag for one in everything]
    bands = [[band.label for band in Band].index(one.band) for one in everything]
    assert bands == sorted(bands)
    assert len(everything) == 4
    assert everything[0].tag == seeded.painting
    assert everything[-1].tag in {seeded.vase, seeded.frame}


def test_they_are_narrowed_by_room_container_and_band(
    client: TestClient, here: Installation, seeded: Seeded
) -> None:
    here.log.say(
        ev.ItemPacked(tag=seeded.print, container="BOX-1"), actor="A", role=Role.CREW, loss=LOSS
    )

    def only(**wanted: str) -> set[str]:
        return set(tags_in(client.get(PATH, params=PAPER | wanted).content, seeded))

    assert only(room="hall") == {seeded.painting, seeded.frame}  # a part goes with its piece
    assert only(container="BOX-1") == {seeded.print}
    everything = second_tags(here, TagsWanted(LOSS))
    bands = {band for band in Band for one in everything if one.band == band.label}
    assert len(bands) > 1
    for band in bands:
        assert only(band=band.value) == {one.tag for one in everything if one.band == band.label}
    nobody = client.get(PATH, params=PAPER | {"room": "Kitchen", "container": "BOX-1"})
    assert nobody.status_code == 404
    assert "leave room, container or band empty" in nobody.text


def test_what_was_given_back_needs_no_tag(here: Installation, seeded: Seeded) -> None:
    here.log.say(
        ev.ItemReturned(tag=seeded.vase, received_by="Ada Quill", condition="sound"),
        actor="A",
        role=Role.OFFICE,
        loss=LOSS,
    )
    assert seeded.vase not in {one.tag for one in second_tags(here, TagsWanted(LOSS))}


@pytest.mark.parametrize(
    ("wrong", "mend"),
    [
        ({"layout": "papyrus"}, "no layout"),
        ({"layout": "roll-20x20"}, "too small for a second tag"),
        ({"first_label": "2"}, "labels 1 to 1"),
        ({"band": "tomorrow"}, "band: choose one of now"),
    ],
)
def test_what_is_asked_wrongly_is_said(
    client: TestClient, wrong: dict[str, str], mend: str
) -> None:
    answer = client.get(PATH, params=PAPER | wrong)
    assert answer.status_code == 422
    assert mend in answer.text


def test_a_loss_that_is_not_there(client: TestClient, here: Installation) -> None:
    assert client.get(PATH.replace(LOSS, "NO-1"), params=PAPER).status_code == 404
    with pytest.raises(NothingToPrintError, match="there is no loss NO-1"):
        second_tags(here, TagsWanted("NO-1"))


def test_the_command_line_prints_them_too(
    here: Installation, seeded: Seeded, tmp_path: Path
) -> None:
    def run(*more: str) -> subprocess.CompletedProcess[str]:
        data = str(here.settings.folder)
        return subprocess.run(
            [sys.executable, "-m", "service.cli", "second-tags", LOSS, "--data", data, *more],
            capture_output=True,
            text=True,
            check=False,
            cwd=PROJECT,
        )

    out = tmp_path / "second.pdf"
    done = run("--out", str(out), "--layout", "roll-100x150")
    assert done.returncode == 0, done.stderr
    assert "4 pieces on " in done.stdout
    assert len(tags_in(out.read_bytes(), seeded)) == 4
    wrong = tmp_path / "wrong.pdf"
    failed = run("--out", str(wrong), "--room", "Attic")
    assert failed.returncode == 2
    assert "no piece of loss" in failed.stderr
    assert not wrong.exists()
