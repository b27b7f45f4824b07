"""The crew's main path in WebKitGTK, the nearest engine here to that of an iPhone: ``make webkit``.

The engine, its driver and its bindings come from the system's packages, and the driver's client
from a lock of its own, so this is a script and no part of the tests. It prints a line for each step
and ends with 1 when one fails, 2 when something is not installed.
"""

import io
import os
import shutil
import subprocess
import sys
from base64 import b64encode
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from hashlib import sha256
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any, Final

import structlog
from PIL import Image
from selenium.common.exceptions import WebDriverException
from selenium.webdriver import WebKitGTK, WebKitGTKOptions
from selenium.webdriver.common.action_chains import ActionBuilder
from selenium.webdriver.common.actions.pointer_input import PointerInput
from selenium.webdriver.common.by import By
from selenium.webdriver.remote.webelement import WebElement
from selenium.webdriver.support.wait import WebDriverWait
from selenium.webdriver.webkitgtk.service import Service

from demo_data.scenario import build
from labels.codes import new_tag, show_tag, tag_url
from service.crew.phones import invite
from service.installation import Installation
from service.log import reading
from service.log.reading import EVERYTHING
from service.settings import Settings
from shared.vocabulary import Damage, Extent, Material, ObjectType
from tests.browser import webkit_window
from tests.browser.seeding import write
from tests.browser.serving import Clock, served
from tests.browser.test_crew import NAME, a_photo, sent
from tests.browser.test_moving import CONTAINER, DRIVER
from tests.browser.test_offline import HEADING, KEPT
from tests.browser.test_scanning import printed

SYSTEM_PYTHON: Final = "/usr/bin/python3"
WEBDRIVER: Final = "WebKitWebDriver"
XVFB: Final = "xvfb-run"
INSTALL: Final = "apt-get install webkit2gtk-driver gir1.2-webkit2-4.1 python3-gi xvfb"
FAILED: Final = Path("data") / "webkit-failed.png"
WAIT_S: Final = 20.0
SENT_S: Final = 45.0
"""A phone tries every 30 s."""
DARK: Final = 100
TO_MIDDLE: Final = "arguments[0].scrollIntoView({ block: 'center' })"

MAKE_KEY: Final = """
const keep = (key) => new Promise((done, failed) => {
  const asked = indexedDB.open("trial", 1);
  asked.onupgradeneeded = () => asked.result.createObjectStore("keys");
  asked.onerror = () => failed(asked.error);
  asked.onsuccess = () => {
    const change = asked.result.transaction("keys", "readwrite");
    change.objectStore("keys").put(key, "own");
    change.oncomplete = () => { asked.result.close(); done(); };
    change.onabort = () => failed(change.error);
  };
});
const pair = await crypto.subtle.generateKey(
  { name: "ECDSA", namedCurve: "P-256" }, false, ["sign", "verify"]);
await keep(pair);
return "made";
"""
USE_KEY: Final = """
const pair = await new Promise((done, failed) => {
  const asked = indexedDB.open("trial", 1);
  asked.onerror = () => failed(asked.error);
  asked.onsuccess = () => {
    const found = asked.result.transaction("keys").objectStore("keys").get("own");
    found.onsuccess = () => { asked.result.close(); done(found.result); };
    found.onerror = () => failed(found.error);
  };
});
const words = new TextEncoder().encode("a line to sign");
const how = { name: "ECDSA", hash: "SHA-256" };
const signature = await crypto.subtle.sign(how, pair.privateKey, words);
const fits = await crypto.subtle.verify(how, pair.publicKey, signature, words);
const exported = await crypto.subtle.exportKey("pkcs8", pair.privateKey).catch(() => null);
return `${signature.byteLength} bytes, verifies: ${fits}, exported: ${exported !== null}`;
"""
SIGNED: Final = "64 bytes, verifies: true, exported: false"

HOLD_BEFORE_CAMERA: Final = """
const picture = new Image();
picture.src = arguments[0];
const canvas = document.createElement("canvas");
canvas.width = 640;
canvas.height = 480;
const pen = canvas.getContext("2d");
setInterval(() => {
  pen.fillStyle = "#bebebe";
  pen.fillRect(0, 0, canvas.width, canvas.height);
  if (picture.complete) pen.drawImage(picture, 120, 40);
}, 50);
navigator.mediaDevices.getUserMedia = async () => canvas.captureStream(15);
"""


class Phone:
    """A window of the engine, worked by what its screens say."""

    def __init__(self, kept_in: str) -> None:
        options = WebKitGTKOptions()
        options.binary_location = SYSTEM_PYTHON
        options.add_argument(webkit_window.__file__)
        options.add_argument(kept_in)
        self._driver = WebKitGTK(options=options, service=Service(shutil.which(WEBDRIVER)))
        self.version = str(self._driver.capabilities["browserVersion"])
        self._driver.set_window_size(*webkit_window.SIZE_PX)

    def close(self) -> None:
        """End the browser; what it kept stays in its folder."""
        self._driver.quit()

    def open(self, address: str) -> None:
        """Go to ``address``, or reload the page there."""
        self._driver.get(address)

    def reload(self) -> None:
        """Load the page anew."""
        self._driver.refresh()

    def find(self, path: str, wait_s: float = WAIT_S) -> WebElement:
        """The first shown element at the XPath ``path``. ``AssertionError`` when none comes."""

        def shown(driver: Any) -> Any:
            found = driver.find_elements(By.XPATH, path)
            return next((one for one in found if one.is_displayed()), None)

        waiting = WebDriverWait(self._driver, wait_s, ignored_exceptions=(WebDriverException,))
        try:
            return waiting.until(shown)
        except WebDriverException as error:
            page = self._driver.find_element(By.TAG_NAME, "body").text
            raise AssertionError(f"{path} is not on the page, which says: {page}") from error

    def see(self, words: str, wait_s: float = WAIT_S) -> None:
        """Wait until the page says ``words``."""
        self.find(f"//*[text()[contains(normalize-space(), {quoted(words)})]]", wait_s)

    def heading(self, words: str) -> None:
        """Wait for the screen called so."""
        self.find(f"//h1[normalize-space() = {quoted(words)}]")

    def press(self, words: str) -> None:
        """Press the first button or link that says just ``words``."""
        self.touch(
            f"//*[self::a or self::button][normalize-space() = {quoted(words)}"
            f" or .//*[normalize-space() = {quoted(words)}]]"
        )

    def touch(self, path: str) -> None:
        """Press the element at ``path``, which the driver would leave behind the bar below."""
        element = self.find(path)
        self.run(TO_MIDDLE, element)
        element.click()

    def enter(self, label: str, value: str) -> None:
        """Type ``value`` into the field called ``label``, in place of what is there."""
        field = self.find(f"//*[@id = //label[starts-with(., {quoted(label)})]/@for]")
        field.clear()
        field.send_keys(value)

    def give_file(self, file: Path) -> None:
        """Choose ``file`` as the camera's photo."""
        self._driver.find_element(By.CSS_SELECTOR, "input[type=file]").send_keys(str(file))

    def drawn_width(self, path: str) -> int:
        """Width in pixels of the picture at ``path``, once it is drawn."""
        picture = self.find(path)
        script = "return arguments[0].complete ? arguments[0].naturalWidth : 0"
        waiting = WebDriverWait(self._driver, WAIT_S)
        return int(waiting.until(lambda driver: driver.execute_script(script, picture)))

    def run(self, script: str, *values: str | WebElement) -> None:
        """Run ``script`` in the page."""
        self._driver.execute_script(script, *values)

    def answer(self, script: str) -> str:
        """What ``script``, the body of an asynchronous function, returns or fails with."""
        whole = (
            "const say = arguments[0];"
            f"(async () => {{{script}}})().then(say, (error) => say(`failed: ${{error}}`))"
        )
        return str(self._driver.execute_async_script(whole))

    def stroke(self, path: str) -> None:
        """Draw a zigzag with a finger on the element at ``path``."""
        pad = self.find(path)
        self.run(TO_MIDDLE, pad)
        finger = PointerInput("touch", "finger")
        actions = ActionBuilder(self._driver, mouse=finger)
        pointer = actions.pointer_action
        pointer.move_to(pad, -110, 0).pointer_down()
        for step in range(1, 9):
            pointer.move_to(pad, -110 + 25 * step, 25 if step % 2 else -25)
        pointer.pointer_up()
        actions.perform()

    def picture(self, file: Path) -> None:
        """Save what the window shows."""
        self._driver.save_screenshot(str(file))


def quoted(words: str) -> str:
    """``words`` as XPath writes them; they hold no double quotes."""
    return f'"{words}"'


class Trial:
    """The path, step by step, over one installation that can be served and stopped."""

    def __init__(self, folder: Path) -> None:
        scenario = build(1, pictures=False)
        self._clock = Clock(scenario.now)
        self._kept = folder / "installation"
        self._phone_data = folder / "phone"
        here = self.installation()
        write(here, scenario)
        here.close()
        self._photo = folder / "front.jpg"
        self._photo.write_bytes(a_photo())
        self._loss = scenario.losses[0]
        self._first, self._second = new_tag(), new_tag()
        self._port = 0
        self._address = ""
        self._service = ExitStack()
        self.phone: Phone | None = None

    def installation(self) -> Installation:
        """The installation, opened; serving it closes it."""
        return Installation(Settings(folder=self._kept), now=self._clock)

    def serve(self) -> None:
        """Start the service, on the same port as before."""
        self._address = self._service.enter_context(served(self.installation(), port=self._port))
        self._port = int(self._address.rpartition(":")[2])

    def stop(self) -> None:
        """End the service."""
        self._service.close()

    @property
    def at(self) -> Phone:
        """The phone in hand."""
        if self.phone is None:
            raise AssertionError("no browser is open")
        return self.phone

    def start(self, kept_in: str = "") -> str:
        """Start the browser; gives its version."""
        self.phone = Phone(kept_in or str(self._phone_data))
        return f"WebKitGTK {self.phone.version}"

    def end(self) -> None:
        """End the browser."""
        if self.phone is not None:
            self.phone.close()
            self.phone = None

    def stored(self, tag: str) -> str:
        """Assert that the service has the piece and its photo; gives the photo's size."""
        here = self.installation()
        try:
            item = sent(here, tag)
            [photo] = item.photos
            kept = here.photos.get(photo.photo)
        finally:
            here.close()
        assert sha256(kept).hexdigest() == photo.photo
        width, height = Image.open(io.BytesIO(kept)).size
        return f"photo of {width}x{height} px"

    def type_codes(self) -> None:
        """Leave the camera for the field, once nothing moves any more on the screen."""
        self.at.see("Torch on")  # The engine's mock camera has one, offered once it runs.
        self.at.press("Type the code")

    def _invitation(self) -> str:
        """Where the office's code leads a new phone."""
        here = self.installation()
        try:
            made = invite(here, name="Crew phone", holder="", minutes=15, actor="the office")
        finally:
            here.close()
        return made.address(self._address)

    # The steps. Each gives what to note beside "passed".

    def opens(self) -> str:
        """The page opens on a new phone, the office's code enrols it, and a worker keeps it."""
        self.at.open(self._invitation())
        self.at.heading(HEADING)
        self.at.see(KEPT)
        return ""

    def enters(self, name: str = NAME) -> str:
        """The loss is chosen and the cautions acknowledged."""
        self.at.touch(f"//a[@href = '#/{self._loss}']")
        self.at.heading("Before you go in")
        self.at.enter("Your name", name)
        self.at.press("I have read them")
        self.at.find("//*[normalize-space() = 'Tag a piece']")
        return ""

    def types_tag(self) -> str:
        """A tag is typed."""
        self.at.press("Tag a piece")
        self.type_codes()
        self.at.enter("Code on the tag", show_tag(self._first).lower())
        self.at.press("Use this code")
        self.at.heading("Photograph the piece")
        return ""

    def takes_photo(self) -> str:
        """A photo is given to the file input and shown."""
        self.at.heading("Photograph the piece")
        self.at.give_file(self._photo)
        width = self.at.drawn_width("//img[@alt = 'Photo 1']")
        return f"thumbnail {width} px wide"

    def describes(self) -> str:
        """Object, material, damage and place are said, and the piece is saved."""
        self.at.press("Next")
        self.at.heading("What is it?")
        self.at.press(ObjectType.PAINTING.label)
        self.at.heading("What is it made of?")
        self.at.press(Material.OIL_CANVAS.label)
        self.at.press("Next")
        self.at.heading("What happened to it?")
        self.at.press(Damage.SOAKED.label)
        self.at.press(Extent.WIDE.label)
        self.at.press("Next")
        self.at.heading("Where did it hang or stand?")
        self.at.enter("Room", "music room")
        self.at.press("Save the piece")
        return ""

    def rules(self) -> str:
        """What moves first is shown, with what must never be done."""
        self.at.heading(ObjectType.PAINTING.label)
        self.at.find("//*[contains(@class, 'nevers')]//li[contains(., 'Never')]")
        hours: str = self.at.find("//*[contains(@class, 'hours')]").text
        return hours

    def is_sent(self) -> str:
        """The service has the piece and the very bytes of its photo."""
        self.at.see("All sent", SENT_S)
        return self.stored(self._first)

    def survives_reload(self) -> str:
        """After a reload the piece is there, and its photo is drawn from the store."""
        self.at.reload()
        self.at.heading(ObjectType.PAINTING.label)
        self.at.open(f"{self._address}/crew/#/{self._loss}/pieces")
        self.at.heading("1 piece tagged on this phone")
        width = self.at.drawn_width("//*[contains(@class, 'card')]//img")
        return f"thumbnail {width} px wide"

    def keeps_key(self) -> str:
        """A P-256 key that cannot be exported is stored and signs after a reload."""
        made = self.at.answer(MAKE_KEY)
        assert made == "made", made
        self.at.reload()
        return self.signs()

    def signs(self) -> str:
        """The stored key signs and cannot be exported."""
        used = self.at.answer(USE_KEY)
        assert used == SIGNED, used
        return used

    def opens_without_service(self) -> str:
        """With the service stopped the page opens anew."""
        self.stop()
        self.at.open(f"{self._address}/crew/")
        self.at.heading(HEADING)
        self.at.touch(f"//a[@href = '#/{self._loss}']")
        self.at.press("Go on")
        return ""

    def reads_tag(self) -> str:
        """The decoder, compiled to WebAssembly, reads a tag held before the camera."""
        code = io.BytesIO()
        printed(tag_url(Settings(folder=self._kept).base_url, self._second)).save(code, "PNG")
        self.at.run(
            HOLD_BEFORE_CAMERA, f"data:image/png;base64,{b64encode(code.getvalue()).decode()}"
        )
        self.at.press("Tag a piece")
        self.at.heading("Photograph the piece")
        return "a picture of the camera's, as this machine has none"

    def keeps_unsent(self) -> str:
        """The piece is saved on the phone and counted as not yet sent."""
        self.at.see("Saved on this phone")
        self.at.see("not yet sent")
        return ""

    def starts_again(self) -> str:
        """Browser ended and started, service still stopped: page, pieces and photos are there."""
        self.end()
        self.start()
        self.at.open(f"{self._address}/crew/#/{self._loss}/pieces")
        self.at.heading("2 pieces tagged on this phone")
        self.at.see("not yet sent")
        for number in (1, 2):
            width = self.at.drawn_width(f"(//*[contains(@class, 'card')]//img)[{number}]")
        return f"thumbnails {width} px wide"

    def sends_later(self) -> str:
        """The service is back and the phone sends what it kept."""
        self.serve()
        self.at.see("All sent", SENT_S)
        return self.stored(self._second)

    def packs(self) -> str:
        """Both pieces are packed and the list of the truck is closed."""
        self.at.press("Move pieces")
        self.at.press("Pack a container")
        self.at.enter("Name or number of the container", CONTAINER)
        self.at.press("Start packing")
        self.type_codes()
        for tag in (self._first, self._second):
            self.at.enter("Code on the tag", show_tag(tag))
            self.at.press("Use this code")
            self.at.find(f"//*[@role = 'status'][contains(., {quoted(tag[:4])})]")
        self.at.press("Back")
        self.at.press("Load a truck")
        self.at.enter("Vehicle", "the green van (invented)")
        self.at.press("Close the list: 2 pieces")
        self.at.heading("Hand over")
        return ""

    def takes_signature(self) -> str:
        """A signature is drawn with a finger, and the service has the ink."""
        name = self.at.find("//*[contains(@class, 'list-name--large')]").text
        self.at.enter("Taken by", DRIVER)
        self.at.stroke("//canvas")
        self.at.press("Hand over")
        self.at.see(f"Handed over to {DRIVER}")
        self.at.see("All sent", SENT_S)
        here = self.installation()
        try:
            with here.database.read() as session:
                manifest = reading.manifest(session, EVERYTHING, name)
            assert manifest is not None
            kept = here.photos.get(manifest.handovers[0].signature or "")
        finally:
            here.close()
        ink = sum(Image.open(io.BytesIO(kept)).convert("L").histogram()[:DARK])
        assert ink > 0, "the picture of the signature is blank"
        return f"{ink} dark pixels"

    def starts_privately(self) -> str:
        """In a private window the page opens too, and a person enters who was not there before."""
        self.end()
        self.start("--private")
        self._first = new_tag()
        self.opens()
        return self.enters("Tamsin Orrelby (invented)")


def steps(trial: Trial) -> Iterator[tuple[Callable[[], str], str]]:
    """The steps in order; each stands on those before it."""
    for step in (
        trial.start,
        trial.opens,
        trial.enters,
        trial.types_tag,
        trial.takes_photo,
        trial.describes,
        trial.rules,
        trial.is_sent,
        trial.survives_reload,
        trial.keeps_key,
        trial.opens_without_service,
        trial.reads_tag,
        trial.takes_photo,
        trial.describes,
        trial.keeps_unsent,
        trial.rules,
        trial.starts_again,
        trial.signs,
        trial.sends_later,
        trial.packs,
        trial.takes_signature,
        trial.starts_privately,
        trial.types_tag,
        trial.takes_photo,
        trial.describes,
        trial.rules,
        trial.is_sent,
    ):
        yield step, (step.__doc__ or "").partition("\n")[0]


@contextmanager
def trial_in(folder: Path) -> Iterator[Trial]:
    """A trial with its service running; both end with it."""
    trial = Trial(folder)
    trial.serve()
    try:
        yield trial
    finally:
        trial.end()
        trial.stop()


def missing() -> list[str]:
    """What this needs of the system and does not find."""
    return [
        what
        for what, there in (
            (WEBDRIVER, shutil.which(WEBDRIVER)),
            (XVFB, shutil.which(XVFB)),
            (SYSTEM_PYTHON, shutil.which(SYSTEM_PYTHON)),
            ("the bindings to WebKitGTK", any(Path("/usr/lib").glob("**/WebKit2-4.1.typelib"))),
        )
        if not there
    ]


def main() -> int:
    """Run every step; gives the exit code."""
    lacking = missing()
    if lacking:
        print(f"Not installed: {', '.join(lacking)}. On Debian: {INSTALL}", file=sys.stderr)
        return 2
    if not {"DISPLAY", "WAYLAND_DISPLAY"} & set(os.environ):
        again = (XVFB, "-a", sys.executable, "-m", "tests.browser.webkit")
        return subprocess.run(again, check=False).returncode
    structlog.configure(processors=[drop])
    with TemporaryDirectory() as folder, trial_in(Path(folder)) as trial:
        for step, words in steps(trial):
            try:
                note = step()
            except (AssertionError, WebDriverException) as error:
                print(f"FAILED  {words}\n{error}", file=sys.stderr)
                if trial.phone is not None:
                    FAILED.parent.mkdir(exist_ok=True)
                    trial.phone.picture(FAILED)
                return 1
            print(f"passed  {words}{f' ({note})' if note else ''}", flush=True)
    return 0


def drop(_logger: Any, _name: str, _line: Any) -> Any:
    """Keep the service's log lines off the screen."""
    raise structlog.DropEvent


if __name__ == "__main__":
    sys.exit(main())
