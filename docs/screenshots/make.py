"""Make the pictures of the pages anew: `python docs/screenshots/make.py [--whole] [FOLDER]`.

Serves the demo on a free port, looks at it with Chromium at phone and desktop width, light and dark, and writes
PNG files of the first screen (with --whole: of the whole page) beside this script or into the folder. Needs
`playwright` and a Chromium (HAYSEL_CHROMIUM, else the usual places).
"""

from __future__ import annotations

import os
import shutil
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from playwright.sync_api import sync_playwright

HERE = Path(__file__).resolve().parent
ROOT = HERE.parents[1]
ARGS = [
    "--no-sandbox",
    "--disable-gpu",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
PAGES = {
    "morning": "/",
    "hours": "/?at=2026-05-08T12:00#hours",
    "ground": "/ground",
    "day": "/day/2026-05-09",
    "job": "/job/foliar_feed",
    "sheet": "/sheet",
    "tank": "/tank?job=foliar_feed&surface=green&litres=20",
    "diary": "/diary",
    "dashboards": "/help",
}
WIDTHS = {"phone": 390, "wide": 1280}


def chromium() -> str | None:
    """The browser to drive; None when there is none."""
    named = os.environ.get("HAYSEL_CHROMIUM")
    return named or shutil.which("chromium") or shutil.which("chromium-browser")


@contextmanager
def demo() -> Iterator[str]:
    """The demo on a free port, while it is needed."""
    with socket.socket() as held:
        held.bind(("127.0.0.1", 0))
        port = held.getsockname()[1]
    command = [sys.executable, "-m", "planner", "serve", "--demo", "--port", str(port)]
    running = subprocess.Popen(
        command,
        cwd=ROOT,
        env={**os.environ, "HAYSEL_TOKEN": "a token for the pictures"},
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )
    address = f"http://127.0.0.1:{port}"
    try:
        for _ in range(150):
            try:
                urllib.request.urlopen(f"{address}/health", timeout=1).close()
                break
            except (urllib.error.URLError, ConnectionError):
                if running.poll() is not None:
                    raise RuntimeError(f"{' '.join(command)} ended with {running.returncode}") from None
                time.sleep(0.1)
        yield address
    finally:
        running.terminate()
        running.wait(10)


def main(folder: Path, *, whole: bool) -> None:
    """The morning at both widths, light and dark; the other pages in light; the week sheet as it prints."""
    folder.mkdir(parents=True, exist_ok=True)
    with demo() as address, sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=chromium(), args=ARGS)
        for width_name, width in WIDTHS.items():
            for scheme in ("light", "dark"):
                context = browser.new_context(
                    viewport={"width": width, "height": 844 if width < 600 else 800},
                    color_scheme=scheme,
                    java_script_enabled=False,
                )
                page = context.new_page()
                for name, path in PAGES.items():
                    if name == "morning" or scheme == "light":
                        page.goto(address + path)
                        page.screenshot(path=folder / f"{name}-{width_name}-{scheme}.png", full_page=whole)
                context.close()
        context = browser.new_context(
            java_script_enabled=False, viewport={"width": 1070, "height": 740}, color_scheme="light"
        )
        page = context.new_page()
        page.goto(f"{address}/sheet")
        page.emulate_media(media="print")
        page.screenshot(path=folder / "sheet-on-paper.png")
        context.close()
        browser.close()


if __name__ == "__main__":
    named = [Path(word) for word in sys.argv[1:] if word != "--whole"]
    main(named[0] if named else HERE, whole="--whole" in sys.argv)
