"""The page of runs side by side."""

import re
from pathlib import Path
from xml.etree import ElementTree

import pytest

from matchvision.records.repeats import Reading
from matchvision.repeats import compare_readings
from matchvision.report.repeatspage import render_repeats, write_repeats
from matchvision.report.repeatswords import change_words, group_words, power_words, scatter_words

BEFORE = [10.0, 10.4, 9.8]
AFTER = [12.1, 11.8, 12.4]


def readings(values: list[float], name: str, better: int = 1) -> list[Reading]:
    return [Reading(f"{name} {k} <&>", "heron", "mean pull", "N", v, 0.1, better) for k, v in enumerate(values)]


def test_every_run_is_a_dot_in_the_picture(tmp_path: Path) -> None:
    rows = compare_readings([readings(BEFORE, "mon"), readings(AFTER, "tue")])
    page = write_repeats(rows, [["mon 0", "mon 1", "mon 2"], ["tue 0", "tue 1", "tue 2"]], ["first slip"], tmp_path)
    picture = ElementTree.parse(tmp_path / "compare.svg")
    dots = [e for e in picture.iter() if e.tag.endswith("circle")]
    places = [float(dot.attrib["cx"]) for dot in dots]
    assert len(dots) == 6
    assert max(places[:3]) < min(places[3:])
    text = page.read_text(encoding="utf-8")
    assert text.count('class="run"') == 6
    assert "<&>" not in text
    assert not re.search(r"https?://(?!www\.w3\.org/2000/svg)", text)


def test_words_say_what_was_reckoned() -> None:
    (row,) = compare_readings([readings(BEFORE, "mon"), readings(AFTER, "tue")])
    assert row.change is not None
    assert "It has improved" in change_words(row)
    assert f"Change {row.change.difference:+.2f} N" in change_words(row)
    assert "a standard deviation of 0.30 N" in scatter_words(row)
    assert "With 3 runs each you would see a change of" in power_words(row)


@pytest.mark.parametrize(("better", "said"), [(-1, "It has become worse"), (0, "Chance that it truly rose")])
def test_more_is_not_always_better(better: int, said: str) -> None:
    (row,) = compare_readings([readings(BEFORE, "mon", better), readings(AFTER, "tue", better)])
    assert said in change_words(row)


def test_one_group_needs_no_before_and_after() -> None:
    rows = compare_readings([readings(BEFORE, "mon")])
    text = render_repeats(rows, [["mon 0", "mon 1", "mon 2"]], [])
    assert "3 runs (mon 0, mon 1, mon 2)." in text
    assert "before" not in text.split("</h2>")[1].split("How this")[0].split("With 3 runs")[0]


def test_a_single_run_is_told_with_the_measurements_own_uncertainty() -> None:
    before, after = (
        [Reading(name, "heron", "mean pull", "N", value, 0.5, 1)] for name, value in (("a", 10.0), ("b", 12.0))
    )
    (row,) = compare_readings([before, after])
    assert group_words(row)[0] == ("before", "10.00 ± 0.98 N, 1 run (the measurement's own ±)")
    assert "cannot be said" in change_words(row)
