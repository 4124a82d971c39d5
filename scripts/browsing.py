"""A browser without a window, and what is taken with it: a page's screen, a part of it, its printed pages."""

import base64
import io
import shutil
import subprocess
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from PIL import Image
from selenium import webdriver
from selenium.webdriver.common.by import By
from selenium.webdriver.support.ui import WebDriverWait

QUIET = (
    "--headless", "--no-sandbox", "--disable-gpu", "--hide-scrollbars", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
)  # fmt: skip
#: As long as the slowest thing on a page may take on a slow machine [s].
PATIENCE_S = 60


@dataclass(frozen=True)
class View:
    """How a page is looked at: its window in CSS pixels, how many pixels of the picture one of them gives, colours."""

    width: int = 1366
    height: int = 768
    scale: float = 1.0
    dark: bool = False


@contextmanager
def opened_browser() -> Iterator[webdriver.Chrome]:
    """A browser that keeps nothing and asks nobody."""
    options = webdriver.ChromeOptions()
    options.binary_location = shutil.which("chromium") or shutil.which("chromium-browser") or ""
    with tempfile.TemporaryDirectory() as profile:
        for argument in (*QUIET, f"--user-data-dir={profile}"):
            options.add_argument(argument)
        browser = webdriver.Chrome(options=options, service=webdriver.ChromeService(shutil.which("chromedriver")))
        try:
            yield browser
        finally:
            browser.quit()


def look_at(browser: webdriver.Chrome, address: str, view: View) -> None:
    """Open a page in a window of this size, and wait until its picture of the camera, if it has one, is there."""
    phone = view.width < 600
    size = {"width": view.width, "height": view.height, "deviceScaleFactor": view.scale, "mobile": phone}
    browser.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", size)
    browser.execute_cdp_cmd("Emulation.setTouchEmulationEnabled", {"enabled": phone})
    scheme = {"name": "prefers-color-scheme", "value": "dark" if view.dark else "light"}
    browser.execute_cdp_cmd("Emulation.setEmulatedMedia", {"features": [scheme]})
    browser.get(address)
    # It stands at the clip's beginning until the page has sought the moment that it tells of.
    sought = "v.readyState > 1 && !v.seeking && v.currentTime > 0"
    shown = f"const v = document.querySelector('video'); return !v || ({sought})"
    WebDriverWait(browser, PATIENCE_S).until(lambda driver: driver.execute_script(shown))
    browser.execute_async_script("const done = arguments[0]; requestAnimationFrame(() => requestAnimationFrame(done))")


def take_screen(browser: webdriver.Chrome) -> Image.Image:
    """The window as it is."""
    shot = browser.execute_cdp_cmd("Page.captureScreenshot", {"format": "png"})
    return Image.open(io.BytesIO(base64.b64decode(shot["data"]))).convert("RGB")


def take_part(browser: webdriver.Chrome, query: str) -> Image.Image:
    """One element of the page, with some room about it."""
    part = browser.find_element(By.CSS_SELECTOR, query)
    browser.execute_script("arguments[0].style.padding = '14px'", part)
    return Image.open(io.BytesIO(part.screenshot_as_png)).convert("RGB")


def take_prints(browser: webdriver.Chrome, address: str, pages: int, dots_per_inch: int) -> list[Image.Image]:
    """The page's first printed pages."""
    browser.execute_cdp_cmd("Emulation.clearDeviceMetricsOverride", {})
    browser.execute_cdp_cmd("Emulation.setEmulatedMedia", {"features": []})
    browser.get(address)
    printed = browser.execute_cdp_cmd("Page.printToPDF", {"preferCSSPageSize": True, "printBackground": True})
    with tempfile.TemporaryDirectory() as scratch:
        pdf = Path(scratch) / "page.pdf"
        pdf.write_bytes(base64.b64decode(printed["data"]))
        ask = ["pdftoppm", "-r", str(dots_per_inch), "-l", str(pages), "-png", str(pdf), f"{scratch}/p"]
        subprocess.run(ask, check=True)
        return [Image.open(path).convert("RGB") for path in sorted(Path(scratch).glob("p-*.png"))]


def set_side_by_side(pictures: list[Image.Image], gap: int = 12) -> Image.Image:
    """Pictures beside each other on grey."""
    wide = sum(one.width + gap for one in pictures) + gap
    whole = Image.new("RGB", (wide, max(one.height for one in pictures) + 2 * gap), (107, 116, 120))
    at = gap
    for one in pictures:
        whole.paste(one, (at, gap))
        at += one.width + gap
    return whole
