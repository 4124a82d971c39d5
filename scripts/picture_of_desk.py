"""Take the picture of the desk for its page in docs: a filmed match, taught by clicks on what is truly there.

Usage: python -m scripts.picture_of_desk docs/pictures/desk.png
"""

import sys
import tempfile
import time
from pathlib import Path

from PIL import Image
from selenium.webdriver.common.by import By

from matchvision.desk import OpenDesk, open_desk
from matchvision.desk.asking import SetPoint, SetPoints, ShowColour
from scripts.picture_of_report import open_browser, save_small
from tests.desk.clicking import example_of, marker_pixel, pixel_of
from tests.desk.filmed import film_small, small_scene

WIDTH, HEIGHT = 1366, 800
FRAME = 18


def teach(desk: OpenDesk, folder: Path) -> None:
    """Points and colours, as a person would show them."""
    scene, state = small_scene(), desk.bench.state()
    points = tuple(
        SetPoint(name=p["name"], at_m=tuple(p["at_m"]), pixel=pixel_of(scene, (*p["at_m"][:2], 0.0)))
        for p in state["table"]["known"][:8]
    )
    desk.bench.set_points(SetPoints(points=points, keep=True))
    for colour in state["colours"]:
        pixel = marker_pixel(folder, example_of(scene, colour["name"]), FRAME)
        desk.bench.show_colour(ShowColour(name=colour["name"], number=FRAME, pixel=pixel))


def take_picture(folder: Path, path: Path) -> None:
    """The step of mending, with a track chosen."""
    desk = open_desk(folder, folder / "results")
    desk.serve_aside()
    teach(desk, folder)
    browser = open_browser(f"{folder}/b")
    try:
        size = {"width": WIDTH, "height": HEIGHT, "deviceScaleFactor": 1, "mobile": False}
        browser.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", size)
        browser.get(desk.address)
        time.sleep(2)
        for query, wait_s in (('[data-step="mends"]', 6), ('[data-track="plover.front"]', 1)):
            browser.find_element(By.CSS_SELECTOR, query).click()
            time.sleep(wait_s)
        browser.execute_script("scrollTo(0, 0)")
        browser.save_screenshot(str(path))
    finally:
        browser.quit()
        desk.stop()
    save_small(Image.open(path).convert("RGB"), path)


if __name__ == "__main__":
    with tempfile.TemporaryDirectory() as scratch:
        run = film_small(Path(scratch) / "run", small_scene())
        take_picture(run, Path(sys.argv[1]))
