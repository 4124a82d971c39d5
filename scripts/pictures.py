"""Renew the pictures of the docs from the program as it is now, each looked at as its readers look at it.

Usage: python -m scripts.pictures [NAME ...] [--material FOLDER]

Without a NAME all are renewed; `report.png` or `report` names one. What they are taken of is made in FOLDER and kept
there for the next time; without it, in a scratch folder that goes.
"""

import argparse
import tempfile
from collections.abc import Callable
from pathlib import Path

import av
from PIL import Image
from selenium import webdriver
from selenium.webdriver.common.by import By
from selenium.webdriver.support.ui import WebDriverWait

from matchvision.desk import OpenDesk, open_desk
from matchvision.desk.asking import SetPoint, SetPoints, ShowColour
from scripts import material
from scripts.browsing import (
    PATIENCE_S,
    View,
    look_at,
    opened_browser,
    set_side_by_side,
    take_part,
    take_prints,
    take_screen,
)
from tests.desk.clicking import example_of, marker_pixel, pixel_of
from tests.desk.filmed import small_scene

PICTURES = Path(__file__).parent.parent / "docs" / "pictures"
MOST_BYTES = 500_000
#: Four fifths of a screen's pixels: as wide as the docs show them.
LESS = 0.8
#: The picture of the desk at which its tracks are looked at.
DESK_FRAME = 18
#: Of the marked clip: the moment [s] at which it is shown, and how wide [px].
MARKED_AT_S, MARKED_WIDTH_PX = 7.0, 780


def screen(made: Callable[[Path], Path], page: str, view: View) -> Callable[[webdriver.Chrome, Path], Image.Image]:
    """The first screen of a page."""

    def take(browser: webdriver.Chrome, place: Path) -> Image.Image:
        look_at(browser, (made(place) / page).as_uri(), view)
        return take_screen(browser)

    return take


def class_page(browser: webdriver.Chrome, place: Path) -> Image.Image:
    """The class's page down to its pictures."""
    look_at(browser, material.invented_class(place).as_uri(), View(height=1720, scale=0.7))
    return take_screen(browser)


def phone(browser: webdriver.Chrome, place: Path) -> Image.Image:
    """The report on a phone, two and a half screens of it, cut in two."""
    look_at(browser, (material.usual_match(place) / "report.html").as_uri(), View(390, 844))
    browser.execute_cdp_cmd(
        "Emulation.setDeviceMetricsOverride", {"width": 390, "height": 2480, "deviceScaleFactor": 1, "mobile": True}
    )
    whole = take_screen(browser)
    return set_side_by_side([whole.crop((0, 0, 390, 1240)), whole.crop((0, 1240, 390, 2480))])


def explained(browser: webdriver.Chrome, place: Path) -> Image.Image:
    """The likeliest cause and what it makes of the run."""
    look_at(browser, (material.usual_match(place) / "report.html").as_uri(), View(1100))
    return take_part(browser, ".causes > li:first-child")


def printed(browser: webdriver.Chrome, place: Path) -> Image.Image:
    """The report's first two printed pages."""
    return set_side_by_side(take_prints(browser, (material.usual_match(place) / "report.html").as_uri(), 2, 72))


def ruling(browser: webdriver.Chrome, place: Path) -> Image.Image:
    """The ruling sheet as it is printed, with its room to sign."""
    return set_side_by_side(take_prints(browser, (material.usual_match(place) / "ruling.html").as_uri(), 1, 96))


def marked(browser: webdriver.Chrome, place: Path) -> Image.Image:
    """A picture of the marked clip."""
    del browser
    with av.open(str(material.usual_match(place) / "marked.mp4")) as clip:
        frame = next(frame for frame in clip.decode(video=0) if frame.time is not None and frame.time >= MARKED_AT_S)
        picture = Image.fromarray(frame.to_ndarray(format="rgb24"))
    size = (MARKED_WIDTH_PX, round(picture.height * MARKED_WIDTH_PX / picture.width))
    return picture.resize(size, Image.Resampling.LANCZOS)


def desk(browser: webdriver.Chrome, place: Path) -> Image.Image:
    """The desk at its step of mending, with a track chosen."""
    folder = material.run_for_the_desk(place)
    opened = open_desk(folder, folder / "results")
    opened.serve_aside()
    try:
        _teach(opened, folder)
        look_at(browser, opened.address, View(height=800, scale=LESS))
        wait = WebDriverWait(browser, PATIENCE_S)
        wait.until(lambda driver: driver.find_elements(By.CSS_SELECTOR, "html[data-ready]"))
        browser.find_element(By.CSS_SELECTOR, '[data-step="mends"]').click()
        track = wait.until(lambda driver: driver.find_elements(By.CSS_SELECTOR, '[data-track="plover.front"]'))[0]
        track.click()
        browser.execute_script("document.activeElement.blur(); scrollTo(0, 0)")
        return take_screen(browser)
    finally:
        opened.stop()


def _teach(opened: OpenDesk, folder: Path) -> None:
    """Points and colours, as a person would show them."""
    scene, state = small_scene(), opened.bench.state()
    points = tuple(
        SetPoint(name=p["name"], at_m=tuple(p["at_m"]), pixel=pixel_of(scene, (*p["at_m"][:2], 0.0)))
        for p in state["table"]["known"][:8]
    )
    opened.bench.set_points(SetPoints(points=points, keep=True))
    for colour in state["colours"]:
        pixel = marker_pixel(folder, example_of(scene, colour["name"]), DESK_FRAME)
        opened.bench.show_colour(ShowColour(name=colour["name"], number=DESK_FRAME, pixel=pixel))


#: Each picture's file, and how it is taken.
TAKEN: dict[str, Callable[[webdriver.Chrome, Path], Image.Image]] = {
    "report.png": screen(material.usual_match, "report.html", View(height=1420, scale=LESS)),
    "report-dark.png": screen(material.usual_match, "report.html", View(height=768, scale=LESS, dark=True)),
    "report-phone.png": phone,
    "report-print.png": printed,
    "report-why.png": explained,
    "report-doubt.png": screen(material.contradicted_match, "report.html", View(height=560, scale=LESS)),
    "ruling.png": ruling,
    "marked.jpg": marked,
    "bystander.png": screen(material.bystanders_match, "report.html", View(height=900, scale=LESS)),
    "class.png": class_page,
    "desk.png": desk,
}


def save_small(picture: Image.Image, path: Path) -> None:
    """Save a picture; as PNG with as many colours as the size allows."""
    path.parent.mkdir(parents=True, exist_ok=True)
    if path.suffix == ".jpg":
        picture.save(path, quality=85, optimize=True)
        return
    picture.save(path, optimize=True)
    if path.stat().st_size <= MOST_BYTES:
        return
    for colours in (256, 128, 64):
        picture.quantize(colours, method=Image.Quantize.MEDIANCUT, dither=Image.Dither.NONE).save(path, optimize=True)
        if path.stat().st_size <= MOST_BYTES:
            return


def renew(names: list[str], place: Path) -> None:
    """Take the pictures of these names, all where there are none."""
    wanted = [file for file in TAKEN if not names or file in names or Path(file).stem in names]
    unknown = [name for name in names if name not in wanted and name not in [Path(file).stem for file in wanted]]
    if unknown:
        raise SystemExit(f"no picture is called {', '.join(unknown)}; there are {', '.join(TAKEN)}")
    with opened_browser() as browser:
        for file in wanted:
            save_small(TAKEN[file](browser, place), PICTURES / file)
            print(f"{file}: {(PICTURES / file).stat().st_size / 1000:.0f} kB", flush=True)


if __name__ == "__main__":
    words = argparse.ArgumentParser(description="Renew the pictures of the docs.")
    words.add_argument("names", nargs="*", metavar="NAME")
    words.add_argument("--material", type=Path, metavar="FOLDER", help="keep there what they are taken of")
    asked = words.parse_args()
    with tempfile.TemporaryDirectory() as scratch:
        folder = asked.material or Path(scratch)
        folder.mkdir(parents=True, exist_ok=True)
        renew(asked.names, folder.resolve())
