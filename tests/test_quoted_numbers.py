"""Numbers of studies as the pages quote them are those of the last results, rounded to as many digits."""

import csv
import re
from pathlib import Path
from typing import Final

import pytest

ROOT: Final = Path(__file__).resolve().parent.parent
NUMBER: Final = r"(−?\d+(?:\.\d+)?)"
#: What is quoted: the column, and the factor that brings it to the page's unit.
Figures = tuple[tuple[str, float], ...]
#: Page, words in which # stands for each number, result file, its row, and what the numbers are in turn.
Quote = tuple[str, str, str, dict[str, str], Figures]

CAMERAS: Final = ("within_percent", "rms_ratio", "rms_error_mm")
ENGINE: Final[dict[str, str]] = {
    "two-machine pull": "| two-machine pull | # % | # %",
    "grip-limited stall": "| grip-limited stall | # % (0.07 mm) | # %",
    "spinning start": "| spinning start | # % | # %",
    "drag back": "| drag back | # % | # %",
    "ridge": "| over a ridge, 12° | # % | # %",
    "up a slope": "| up a slope of 6° | # % | # %",
    "release": "| release | # % | # %",
    "one side's drive gone": "| one side's drive gone, turns by 28° | # % (1.9 mm) | # %",
    "oblique start": "| oblique start | # % | # %",
    "grip gone in mid-run": "| grip gone in mid-run | # % | # %",
    "base giving way": "| a base whose hold leaks gives way | # % | # %",
    "winch": "| a winch winds 25 cm of rope in | # % | # %",
    "arm going out": "| an arm goes out by 20 cm and stops, wheels slip | # % | # %",
}
BYSTANDER: Final[Figures] = (
    ("runs", 1), ("runs", 1), ("margin_rms_mm", 1), ("margin_U95_mm", 1), ("margin_rms_over_u", 1),
    ("between_rms_over_u", 1),
)  # fmt: skip

#: Rows of places on filmed clips, as the page begins them, and as the study names them.
PLACES: Final[dict[str, tuple[str, str]]] = {
    "| still | filmed, 2 cameras | yes |": ("still", "lens sheet"),
    "| still | filmed, 2 cameras | no |": ("still", "none"),
    "| ridge of 6°, still | filmed, 2 cameras | no |": ("ridge", "none"),
    "| hand-held, sway 25 mm and 1° | filmed, 2 cameras | yes |": ("hand-held", "lens sheet"),
    "| hand-held, sway 25 mm and 1° | filmed, 2 cameras | no |": ("hand-held", "none"),
    "| hand-held over the ridge | filmed, 2 cameras | no |": ("ridge, hand-held", "none"),
}

COVERAGE: Final[dict[str, str]] = {
    "position": "position", "speed": "speed", "rope on one side": "rope share", "the rope's middle": "rope middle",
    "slip speed": "slip speed",
}  # fmt: skip

QUOTES: Final[list[Quote]] = [
    *(
        ("docs/motion.md", f"| {words} | # % | # |", "coverage", {"quantity": quantity},
         (("inside_1.96_u", 100), ("rms_error_over_rms_u", 1)))
        for words, quantity in COVERAGE.items()
    ),
    *(
        ("docs/table.md", f"{begins} {places} | {markers} | [0-9.]+ |", "table_places",
         {"camera": camera, "lens": lens, "clip": f"filmed {700 + k}"},
         (("places_rms_mm", 1), ("places_u_mm", 1), ("markers_rms_mm", 1)))
        for begins, (camera, lens) in PLACES.items()
        for k, (places, markers) in enumerate(
            (("#, [^|]* (#, [^|]*)", "#, [^|]*"), ("[^|]*, # ([^|]*, #)", "[^|]*, #"))
        )
    ),
    *(
        ("docs/table.md", f"| {case} | # | # | # |", "cameras", {"fitted_to": case}, tuple((c, 1) for c in CAMERAS))
        for case in (
            "tags", "tags and lens sheet", "tags and table edges", "six clicks", "four clicks",
            "four clicks and table edges", "tags and six clicks",
        )
    ),
    *(
        ("docs/forecast.md", words, "forecast_agreement", {"case": case},
         (("place_ratio", 100), ("tension_rms_ratio", 100)))
        for case, words in ENGINE.items()
    ),
    ("docs/forecast.md", "1,000 samples of a match of ten seconds take # s of processor time, and took # s by",
     "forecast", {"by": "samples", "samples": "1000"}, (("processor_s", 1), ("wall_s", 1))),
    ("docs/forecast.md", "(250: # s, 2,000:", "forecast", {"by": "samples", "samples": "250"}, (("processor_s", 1),)),
    ("docs/forecast.md", "2,000: # s)", "forecast", {"by": "samples", "samples": "2000"}, (("processor_s", 1),)),
    ("docs/forecast.md", "(250 samples: # s at 5 s", "forecast", {"by": "duration", "duration_s": "5"},
     (("processor_s", 1),)),
    ("docs/forecast.md", "s at 5 s, # s at 40 s)", "forecast", {"by": "duration", "duration_s": "40"},
     (("processor_s", 1),)),
    *(
        ("docs/desk.md", f"| {pictures} pictures | {words} | # of # | # mm | ± # mm | # | [^|]* | # |", "bystander",
         {"pictures": pictures, "heights_known": known}, BYSTANDER)
        for pictures in ("3", "7") for known, words in (("True", "known to 3 mm"), ("False", "unknown"))
    ),
    ("docs/footage.md", "told in # % under one lamp, [^|]* under two; # and", "readout", {"clips": "one lamp"},
     (("told_percent", 1), ("within_1_96_u_percent", 1))),
    ("docs/footage.md", "under one lamp, # % under two; [^|]* and # % of these", "readout", {"clips": "two lamps"},
     (("told_percent", 1), ("within_1_96_u_percent", 1))),
    ("docs/footage.md", "median u # and [^|]* ms; rms error # and", "readout", {"clips": "one lamp"},
     (("median_u_ms", 1), ("rms_error_ms", 1))),
    ("docs/footage.md", "median u [^|]* and # ms; rms error [^|]* and # ms", "readout", {"clips": "two lamps"},
     (("median_u_ms", 1), ("rms_error_ms", 1))),
    ("docs/footage-check.md", "is checked in # of the processor time that decoding it takes", "footage_check", {},
     (("processor_ratio", 1),)),
    ("docs/footage-check.md", "worst of three #), and in # of the time", "footage_check", {},
     (("worst_processor_ratio", 1), ("check_over_decoding", 1))),
]  # fmt: skip


def find_row(name: str, wanted: dict[str, str]) -> dict[str, str]:
    """The only row of a result file that has these values."""
    with (ROOT / "benchmarks" / "results" / f"{name}.csv").open(encoding="utf-8") as file:
        rows = [row for row in csv.DictReader(file) if all(row[key] == value for key, value in wanted.items())]
    assert len(rows) == 1, f"{name}.csv has {len(rows)} rows with {wanted}"
    return rows[0]


@pytest.mark.parametrize("quote", QUOTES, ids=lambda quote: f"{Path(quote[0]).stem}: {quote[1][:40]}")
def test_page_tells_what_was_measured(quote: Quote) -> None:
    page, words, name, wanted, figures = quote
    kept = re.escape(words)
    for plain, pattern in (("[^|]*", "[^|]*?"), ("[0-9.]+", "[0-9.]+"), ("#", NUMBER), (" ", r"\s+")):
        kept = kept.replace(re.escape(plain), pattern)
    found = re.findall(kept, (ROOT / page).read_text(encoding="utf-8"))
    assert len(found) == 1, f"{page} says this {len(found)} times: {words}"
    told = found[0] if isinstance(found[0], tuple) else (found[0],)
    row = find_row(name, wanted)
    for text, (column, factor) in zip(told, figures, strict=True):
        value = factor * float(row[column])
        digits = len(text.partition(".")[2])
        # Half a unit of the last digit, and what the file itself has rounded.
        assert abs(float(text.replace("−", "-")) - value) <= 0.5 * 10.0**-digits + 1e-3 * abs(value), (
            f"{page}: {text}, {name}.csv has {value:.4g}"
        )
