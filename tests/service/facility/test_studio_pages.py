"""The studio's pages: the bench's list, and a piece's list, test areas and finished work."""

import re
from html import unescape
from typing import Protocol

import pytest
from starlette.testclient import TestClient

from service.installation import Installation
from shared.vocabulary import Damage, Material, StepKind, StudioTask
from tests.service.facility.house import CANVAS, CONSERVATOR, PANE, VASE, bring, finish, furnish
from tests.service.facility.test_studio import canvas, frame, item_of, sign, task
from tests.service.office.seeding import photo


class Answer(Protocol):
    """What a page answered."""

    @property
    def status_code(self) -> int: ...

    @property
    def text(self) -> str: ...


PATH = f"/facility/studio/{CANVAS}"


@pytest.fixture(autouse=True)
def house(here: Installation) -> None:
    furnish(here)


def words(answer: Answer) -> str:
    """The text of a page, blanks as one."""
    return " ".join(unescape(re.sub(r"<[^>]*>", " ", answer.text)).split())


def proposed(client: TestClient, path: str) -> dict[str, list[str]]:
    """The list's form as the page fills it in."""
    page = client.get(path).text
    form = page[page.index('id="list"') :]
    form = form[: form.index("</form>")]
    fields = {"task": re.findall(r'name="task" value="(\w+)" checked', form)}
    fields["after"] = re.findall(r'name="after" value="([^"]*)"', form)
    for name in re.findall(r'name="((?:hours|override)-\w+)"', form):
        fields[name] = re.findall(rf'name="{name}"[^>]*value="([^"]*)"', form)
    for name, options in re.findall(
        r'<select[^>]*name="(method-\w+)"[^>]*>(.*?)</select>', form, re.S
    ):
        chosen = re.findall(r'value="([^"]*)" selected', options)
        fields[name] = chosen or re.findall(r'value="([^"]*)"', options)[:1]
    return fields


def sign_as_proposed(client: TestClient, path: str, **changes: str) -> Answer:
    fields = proposed(client, path) | {"signed_by": [CONSERVATOR]}
    return client.post(f"{path}/list", data=fields | {k: [v] for k, v in changes.items()})


def test_what_is_proposed_is_signed_as_it_stands(client: TestClient, here: Installation) -> None:
    canvas(here)
    assert "No list is signed. A conservator signs one below." in words(client.get(PATH))
    assert sign_as_proposed(client, PATH).status_code == 303
    sheet = item_of(here, CANVAS).studio
    assert sheet.signed_by == CONSERVATOR
    assert sheet.open_tasks == [
        StudioTask.CONSOLIDATE,
        StudioTask.MEND,
        StudioTask.FILL,
        StudioTask.INPAINT,
        StudioTask.VARNISH,
        StudioTask.FIT,
    ]
    shown = words(client.get(PATH))
    assert "Signed by Con Servator" in shown and "Not yet: mend tears and breaks." in shown


def test_what_is_wrong_in_a_list_is_said_and_nothing_is_lost(
    client: TestClient, here: Installation
) -> None:
    canvas(here)
    changes = {"hours-fill": "soon", "note": "mind the signature", "signed_by": ""}
    answer = sign_as_proposed(client, PATH, **changes)
    assert answer.status_code == 422
    shown = words(answer)
    assert "Fill losses: write the hours of work, such as 1.5." in shown
    assert "Name: say who you are, so that the record can." in shown
    assert 'value="soon"' in answer.text and "mind the signature" in answer.text
    for target in re.findall(r'<li><a href="#([^"]+)"', answer.text):
        assert f'id="{target}"' in answer.text
    assert item_of(here, CANVAS).studio.listed is None


def test_an_empty_list_is_not_signed(client: TestClient, here: Installation) -> None:
    canvas(here)
    answer = client.post(f"{PATH}/list", data={"signed_by": CONSERVATOR})
    assert "List: choose one task at the least." in words(answer)


def test_water_is_not_offered_on_gesso_and_refused_when_sent(
    client: TestClient, here: Installation
) -> None:
    frame(here)
    path = f"/facility/studio/{PANE}"
    page = client.get(path)
    assert "No water: gesso, hide glue and water gilding dissolve in water." in words(page)
    assert "Gesso and hide glue: keep the air at 55 % humidity or less." in words(page)
    watery = [key for key, row in here.facts.studio_methods.items() if row.water_based]
    assert not [key for key in watery if f'value="{key}"' in page.text]
    answer = sign_as_proposed(client, path, **{"method-consolidate_frame": "size-frame"})
    assert answer.status_code == 422
    assert "Consolidate the frame: No water here: gesso" in words(answer)


def test_a_conservator_s_word_stands_beside_the_task(
    client: TestClient, here: Installation
) -> None:
    canvas(here)
    fields = {"task": ["clean"], "method-clean": ["water-clean"], "hours-clean": ["3,5"]}
    fields |= {"signed_by": [CONSERVATOR], "after": [""]}
    answer = client.post(f"{PATH}/list", data=fields)
    assert "Only on a conservator's word: write the reason beside it." in words(answer)
    assert re.search(r'value="water-clean" selected', answer.text)
    fields["override-clean"] = ["varnish seals it; tested"]
    assert client.post(f"{PATH}/list", data=fields).status_code == 303
    (clean,) = item_of(here, CANVAS).studio.open
    assert (clean.hours, clean.override) == ("3.5", "varnish seals it; tested")
    assert "Because: varnish seals it; tested" in words(client.get(PATH))


def test_a_test_area_then_the_task_each_with_its_photo(
    client: TestClient, here: Installation
) -> None:
    canvas(here)
    sign(here, CANVAS, task(StudioTask.CLEAN, "solvent-clean"))
    done = {"task": "clean", "hours": "1.25", "used": "white spirit", "done_by": "Bea Bench"}
    picture = {"picture": ("after.jpg", photo(), "image/jpeg")}
    early = client.post(f"{PATH}/done", data=done, files=picture)
    assert early.status_code == 422
    assert "Test a small area with this method first" in words(early)
    kept = re.findall(r'name="kept" value="(\w+)"', early.text)
    assert len(kept) == 1 and here.has_photo(kept[0])
    area = {"way": "clean/solvent-clean", "spot": "lower left", "result": "good"}
    area |= {"tested_by": CONSERVATOR, "note": "swab stays white"}
    small = {"picture": ("area.jpg", photo(30), "image/jpeg")}
    assert client.post(f"{PATH}/tested", data=area, files=small).status_code == 303
    assert client.post(f"{PATH}/done", data=done | {"kept": kept[0]}).status_code == 303
    item = item_of(here, CANVAS)
    assert [(one.spot, one.note) for one in item.studio.tests] == [
        ("lower left", "swab stays white")
    ]
    assert [(one.used, one.photo) for one in item.studio.done] == [("white spirit", kept[0])]
    assert [one.caption for one in item.photos] == ["Test area: lower left", "After: clean"]
    assert "Used: white spirit." in words(client.get(PATH))


def test_a_form_that_lacks_something_says_what(client: TestClient, here: Installation) -> None:
    canvas(here)
    sign(here, CANVAS, task(StudioTask.FILL))
    said = words(client.post(f"{PATH}/done", data={"task": "fill", "hours": "0"}))
    for mend in ("Hours: write the hours", "Materials used: name them", "Name: say who"):
        assert mend in said
    said = words(client.post(f"{PATH}/done", data={"task": "paint"}))
    assert "Task: choose one from the list." in said
    said = words(client.post(f"{PATH}/tested", data={}))
    for mend in ("Method: choose", "Where: say which", "Result: say how"):
        assert mend in said
    wrong = {"way": "clean/dry-clean", "spot": "x", "result": "fine", "tested_by": "B"}
    assert client.post(f"{PATH}/tested", data=wrong).status_code == 422
    broken = {"picture": ("a.jpg", b"not a picture", "image/jpeg")}
    answer = client.post(f"{PATH}/tested", data=wrong | {"result": "good"}, files=broken)
    assert "picture:" in words(answer) and not item_of(here, CANVAS).studio.tests
    said = words(client.post(f"{PATH}/off", data={"task": "fill", "reason": ""}))
    assert "Why: say why it is not to be done." in said


def test_a_task_that_is_gone_from_the_list_is_told(client: TestClient, here: Installation) -> None:
    canvas(here)
    off = {"task": "fill", "reason": "sound after all", "signed_by": CONSERVATOR}
    sign(here, CANVAS, task(StudioTask.FILL))
    assert client.post(f"{PATH}/off", data=off).status_code == 303
    again = client.post(f"{PATH}/off", data=off)
    assert "Fill losses is not open on this piece's studio list." in words(again)
    done = {"task": "fill", "hours": "1", "used": "none", "done_by": "B"}
    answer = client.post(f"{PATH}/done", data=done)
    assert "Fill losses is not open on the list any more. Look again." in words(answer)


def test_a_tag_that_nothing_carries(client: TestClient) -> None:
    assert client.get(PATH).status_code == 404
    done = {"task": "fill", "hours": "1", "used": "none", "done_by": "B"}
    assert client.post(f"{PATH}/done", data=done).status_code == 404


def test_the_last_task_leads_to_the_end_of_the_step(client: TestClient, here: Installation) -> None:
    canvas(here)
    sign(here, CANVAS, task(StudioTask.FILL))
    done = {"task": "fill", "hours": "1.5", "used": "wax", "done_by": "B"}
    assert client.post(f"{PATH}/done", data=done).status_code == 303
    page = client.get(PATH)
    assert "The list is done" in words(page) and 'value="1.5"' in page.text
    over = {"step": "studio", "hours": "1.5", "actor": "Ada Lead"}
    assert client.post(f"/facility/items/{CANVAS}/step", data=over).status_code == 303
    assert StepKind.STUDIO in item_of(here, CANVAS).steps_done
    assert "nothing to do in the studio now" in words(client.get(PATH))


def test_the_bench_sees_what_is_next_and_what_has_no_list(
    client: TestClient, here: Installation
) -> None:
    assert "No piece that may be worked on has a signed list." in words(
        client.get("/facility/studio")
    )
    canvas(here, material=Material.OIL_CANVAS_GLUE_LINED)
    frame(here)
    bring(here, VASE, Damage.BROKEN)
    sign(here, CANVAS, task(StudioTask.FILL, hours="1.5"), task(StudioTask.INPAINT, hours="2"))
    shown = words(client.get("/facility/studio"))
    assert "With a signed list 1" in shown and "Without a list 1" in shown
    assert "Still at an earlier step 1" in shown and "Left on the lists 3.5 h" in shown
    assert "Next: fill losses. 1.5 of 3.5 Bench" in shown
    assert "Hide glue lining: keep the air at 55 % humidity or less." in shown
    waiting = shown[shown.index("Waits for a conservator’s list") :]
    assert f"Piece {PANE[-3:]}" in waiting and f"Piece {CANVAS[-3:]}" not in waiting


def test_a_finished_piece_leaves_the_bench(client: TestClient, here: Installation) -> None:
    canvas(here)
    finish(here, CANVAS, StepKind.STUDIO)
    assert f"Piece {CANVAS[-3:]}" not in words(client.get("/facility/studio"))


def test_today_and_the_piece_lead_to_the_studio(client: TestClient, here: Installation) -> None:
    canvas(here)
    sign(here, CANVAS, task(StudioTask.FILL))
    today = client.get("/facility/")
    assert "Studio. Next: fill losses." in words(today) and f'href="{PATH}"' in today.text
    assert f'href="{PATH}"' in client.get(f"/facility/items/{CANVAS}").text
