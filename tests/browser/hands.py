"""Somebody at the desk, with a mouse alone or with the keyboard alone; every action is counted with its seconds.

Seconds of a person's actions: S. K. Card, T. P. Moran, A. Newell, Communications of the ACM 23 (1980) 396 (from
memory): pointing 1.1, a button down or up 0.1, getting ready 1.35, a key 0.28; all of it doubled for somebody who is
new to the page. Looking at what was found or followed is counted as 5 s each time.
"""

import re
from abc import ABC, abstractmethod
from typing import Final

import pytest
from selenium import webdriver
from selenium.webdriver.common.action_chains import ActionChains
from selenium.webdriver.common.by import By
from selenium.webdriver.common.keys import Keys
from selenium.webdriver.remote.webelement import WebElement
from selenium.webdriver.support.ui import Select

CLICK_S, DRAG_S, KEY_S, WATCH_S = 2 * 2.65, 2 * 3.75, 2 * 0.28, 5.0
MAGNIFIED: Final = 8
#: Widths of clip and patch canvas [px].
CLIP_PX, PATCH_PX = 960, 264
#: Tab presses after which a thing counts as out of reach.
MOST_TABS: Final = 140
#: Whoever pressed Tab so often as it seemed needed looks again and presses on; not more often than this.
MOST_LOOKS: Final = 8
#: Whether a thing has the focus, and how many stops on (or back) it lies as far as the page's order tells.
LOOK_FOR: Final = """
const there = document.querySelector(arguments[0]);
const stops = [...document.querySelectorAll('a[href], button, input, select, summary, [tabindex]')].filter(one =>
  one === there
  || (one.tabIndex >= 0 && !one.matches(':disabled') && one.checkVisibility({ visibilityProperty: true })));
return [document.activeElement === there, stops.indexOf(there) - stops.indexOf(document.activeElement)];
"""

Pixel = tuple[float, float]


#: Waits within the page until something holds; asking from outside, over and over, would keep both sides busy.
WAIT: Final = """
const [most_ms, done] = arguments, until_ms = performance.now() + most_ms;
const look = () => {
  try {
    if (%s) done(true);
    else if (performance.now() > until_ms) done(false);
    else setTimeout(look, 25);
  } catch (error) {
    done(String(error));
  }
};
look();
"""


class Person(ABC):
    """What mouse and keyboard share: looking, waiting, counting."""

    def __init__(self, browser: webdriver.Chrome) -> None:
        self.browser = browser
        self.seconds: list[tuple[str, float]] = []

    def find(self, query: str) -> WebElement:
        return self.browser.find_element(By.CSS_SELECTOR, query)

    def wait(self, script: str, seconds: float = 60) -> None:
        self.browser.set_script_timeout(seconds + 10)
        found = self.browser.execute_async_script(WAIT % script, 1000 * seconds)
        assert found is True, f"waited in vain: {script}: {found}"

    def watch(self) -> None:
        self.seconds.append(("watching", WATCH_S))

    def cursor(self) -> Pixel:
        column, row = re.findall(r"-?\d+\.\d", self.find("#status").text)
        return float(column), float(row)

    @abstractmethod
    def press(self, query: str) -> None:
        """Press a button."""

    @abstractmethod
    def set_point(self, pixel: Pixel) -> None:
        """Set a point in the picture."""

    @abstractmethod
    def pull_finely(self, pixel: Pixel) -> None:
        """Move the crosshair to a pixel on the magnified patch."""

    @abstractmethod
    def choose(self, query: str, value: str) -> None:
        """Choose from a list."""

    @abstractmethod
    def write(self, query: str, text: str) -> None:
        """Write into a field, in the place of what stood there."""


class Mouse(Person):
    """With the mouse alone; letters are typed."""

    def press(self, query: str) -> None:
        button = self.find(query)
        # The heads of the steps stay where they are: what lies behind them is scrolled into view first.
        self.browser.execute_script("arguments[0].scrollIntoView({block: 'nearest'})", button)
        button.click()
        self.seconds.append((query, CLICK_S))

    def _on_screen(self, pixel: Pixel) -> tuple[WebElement, int, int, float]:
        box = self.find("#picture")
        self.browser.execute_script("arguments[0].scrollIntoView({block: 'nearest'})", box)
        scale = box.rect["width"] / CLIP_PX
        across, down = (pixel[0] + 0.5) * scale, (pixel[1] + 0.5) * scale
        return box, round(across - box.rect["width"] / 2), round(down - box.rect["height"] / 2), scale

    def set_point(self, pixel: Pixel) -> None:
        box, across, down, _ = self._on_screen(pixel)
        ActionChains(self.browser, 20).move_to_element_with_offset(box, across, down).click().perform()
        self.seconds.append(("click in the picture", CLICK_S))

    def drag_point(self, start: Pixel, end: Pixel) -> None:
        """Press in the picture, pull, and let go."""
        box, across, down, scale = self._on_screen(start)
        by = [round((b - a) * scale) for a, b in zip(start, end, strict=True)]
        pull = ActionChains(self.browser, 20).move_to_element_with_offset(box, across, down).click_and_hold()
        for part in range(4):
            pull = pull.move_by_offset(*(round(v * (part + 1) / 4) - round(v * part / 4) for v in by))
        pull.release().perform()
        self.seconds.append(("drag in the picture", DRAG_S))

    def pull_finely(self, pixel: Pixel) -> None:
        patch = self.find("#patch")
        shown = patch.rect["width"] / PATCH_PX * MAGNIFIED
        by = [round((a - b) * shown) for a, b in zip(self.cursor(), pixel, strict=True)]
        pull = ActionChains(self.browser, 20).move_to_element(patch).click_and_hold()
        pull.move_by_offset(by[0], by[1]).release().perform()
        self.seconds.append(("drag on the patch", DRAG_S))

    def choose(self, query: str, value: str) -> None:
        Select(self.find(query)).select_by_value(value)
        self.seconds.append((query, 2 * CLICK_S))

    def write(self, query: str, text: str) -> None:
        field = self.find(query)
        field.clear()
        field.send_keys(text)
        self.seconds.append((query, CLICK_S + KEY_S * len(text)))


class Keyboard(Person):
    """With the keyboard alone: Tab, arrows, Enter, Space, letters."""

    def keys(self, *keys: str) -> None:
        ActionChains(self.browser, 0).send_keys(*keys).perform()
        self.seconds.append(("keys", KEY_S * len(keys)))

    def reach(self, query: str) -> None:
        """Tab to a thing, whichever way is shorter, as who sees the page would: so many times as it lies away."""
        for _ in range(MOST_LOOKS):
            there, away = self.browser.execute_script(LOOK_FOR, query)
            if there:
                return
            if not 0 < abs(away) <= MOST_TABS:
                break
            chain, tabs = ActionChains(self.browser, 0), [Keys.TAB] * abs(away)
            if away < 0:
                chain.key_down(Keys.SHIFT).send_keys(*tabs).key_up(Keys.SHIFT).perform()
            else:
                chain.send_keys(*tabs).perform()
        pytest.fail(f"Tab never reaches {query}")

    def press(self, query: str) -> None:
        self.reach(query)
        self.keys(Keys.SPACE)

    def _aim(self, pixel: Pixel) -> None:
        self.reach("#picture")
        if "column" not in self.find("#status").text:
            self.keys(Keys.ARROW_LEFT, Keys.ARROW_RIGHT)
        for step, held in ((100, Keys.CONTROL), (10, Keys.SHIFT), (1, None)):
            here, keys = self.cursor(), []
            ways = ((Keys.ARROW_LEFT, Keys.ARROW_RIGHT), (Keys.ARROW_UP, Keys.ARROW_DOWN))
            for axis, (less, more) in enumerate(ways):
                by = int((pixel[axis] - here[axis]) / step)
                keys += [more if by > 0 else less] * abs(by)
            chain = ActionChains(self.browser, 0)
            if held and keys:
                chain.key_down(held).send_keys(*keys).key_up(held).perform()
            elif keys:
                chain.send_keys(*keys).perform()

    def set_point(self, pixel: Pixel) -> None:
        self._aim(pixel)
        self.keys(Keys.ENTER)

    def pull_finely(self, pixel: Pixel) -> None:
        self.reach("#patch")
        for axis, (less, more) in enumerate(((Keys.ARROW_LEFT, Keys.ARROW_RIGHT), (Keys.ARROW_UP, Keys.ARROW_DOWN))):
            by = round((pixel[axis] - self.cursor()[axis]) * 10)
            if by:
                self.keys(*[more if by > 0 else less] * abs(by))

    def choose(self, query: str, value: str) -> None:
        self.reach(query)
        text = self.find(f'{query} option[value="{value}"]').text
        self.keys(*text)

    def write(self, query: str, text: str) -> None:
        self.reach(query)
        ActionChains(self.browser, 0).key_down(Keys.CONTROL).send_keys("a").key_up(Keys.CONTROL).perform()
        self.keys(Keys.DELETE, *text)
