"""What would have won, on the page."""

import math
import re
from dataclasses import replace

from matchvision.records.remedies import LeverPoint, Remedies, Remedy
from matchvision.records.results import StageNote
from matchvision.report.remedying import draw_remedies
from matchvision.report.remedypicture import draw_lever

NOTE = StageNote("remedies", "done", "The match was played again.")


def gear_points() -> tuple[LeverPoint, ...]:
    out = []
    for ratio in (0.5, 0.7, 1.0, 1.4, 2.0):
        limit = "motor" if ratio <= 1 else "grip"
        chance = min(0.96, 0.04 + 0.6 * max(0.0, ratio - 0.9))
        out.append(
            LeverPoint("gear", ratio, 280 * ratio, "1", min(14.0 * ratio, 20.0), 0.4, limit, -0.02, 0.003, chance)
        )
    return tuple(out)


def remedies() -> Remedies:
    good = Remedy("gear", 1.8, math.log(1.8), 0.95, 0.87, 0.98, "With a gear ratio of 504 instead of 280, heron wins.")
    bad = Remedy("grip", math.nan, math.inf, 0.1, math.nan, math.nan, "No grip between 0.5 and 1.1 does.")
    return Remedies(
        "heron", (("motor", 0.8), ("grip", 0.2)), gear_points(), (good, bad), "Said in a sentence.", ("Beware.",), 64
    )


def test_page_tells_changes_limits_and_caveats() -> None:
    text = draw_remedies(remedies(), NOTE)["remedies"]
    for part in (
        "Said in a sentence.",
        "504 instead of 280",
        "No grip between",
        "95 %",
        "Beware.",
        "its motors for 80 %",
    ):
        assert part in text
    assert text.count("<svg") == 1
    assert "nan" not in text


def test_nothing_sought_leaves_the_place_empty_and_a_refusal_its_reason() -> None:
    assert draw_remedies(None, None)["remedies"] == "<!--remedies--><!--/remedies-->"
    refused = StageNote("remedies", "skipped", "Skipped, because nobody has lost.")
    assert "nobody has lost" in draw_remedies(None, refused)["remedies"]


def test_picture_shows_limits_and_the_chosen_setting() -> None:
    points = gear_points()
    svg = draw_lever(points, 1.0, 1.8)
    assert svg.count('class="line drive"') == 3  # limited by the motor up to the third setting
    assert svg.count('class="line minus"') == 1
    was, chosen = (float(re.search(rf'class="{name}" d="M([\d.]+)', svg)[1]) for name in ("was", "chosen"))  # type: ignore[index]
    first, last = 46.0, 292.0
    assert was == round(first + (last - first) * (280 - 140) / 420, 1)
    assert chosen == round(first + (last - first) * (504 - 140) / 420, 1)
    assert 'class="chosen"' not in draw_lever(points, 1.0, None)
    shifts = [replace(p, lever="weight", unit="m", value=0.01 * i) for i, p in enumerate(points)]
    assert "Weight to the front / mm" in draw_lever(shifts, 0.7, None)
