"""What is wanted and what was measured last, side by side: the table of ``benchmarks/results/README.md``.

It is made from the result files alone, anew after every study, and a test holds it to them. ``python -m
benchmarks.summary`` writes it.
"""

import csv
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final

RESULTS: Final = Path(__file__).parent / "results"

HEAD: Final = """# Wanted and measured

Made from the result files beside it, by every study that writes one and by `python -m benchmarks.summary`. What each
study does stands on [the page of benchmarks](../README.md); in its file are all its figures, with the commit and the
machine that they were taken on.

| what | beside | wanted | measured | file |
|---|---|---|---|---|
"""


@dataclass(frozen=True)
class Line:
    """A figure of a result file: what it is, beside which peer, what is wanted, and where it stands.

    ``row`` holds the values that pick its row out, ``column`` and ``factor`` give the number in ``unit``.
    """

    what: str
    beside: str
    wanted: str
    file: str
    row: Mapping[str, str] = field(default_factory=dict)
    column: str = "value"
    unit: str = ""
    factor: float = 1.0


def _speed(what: str, beside: str, wanted: str, figure: str, file: str = "throughput", unit: str = "") -> Line:
    return Line(what, beside, wanted, file, {"figure": figure}, unit=unit)


#: Peers of the tracker, as the study names them.
PEERS: Final = {
    "whole-frame HSV threshold": "a threshold on whole pictures",
    "normalised correlation": "normalised correlation",
    "pyramidal Lucas–Kanade": "pyramidal Lucas–Kanade",
    "box tracker (MIL)": "a box tracker (MIL)",
}
DECODING, LIBAV = "decoding alone, by as many threads", "decoding by libav's own threads"

LINES: Final[tuple[Line, ...]] = (
    _speed("time of the pass, 14 markers", DECODING, "at most 1.15", "pass alone, 14 markers / decoding alone"),
    _speed("the same in processor time", DECODING, "at most 1.15",
           "pass alone, 14 markers, processor / decoding alone"),
    _speed("the same with 22 markers", DECODING, "at most 1.15", "pass alone, 22 markers / decoding alone"),
    _speed("the same with 22 markers and the first look", DECODING, "at most 1.15",
           "with first look, 22 markers / decoding alone"),
    _speed("time of the pass, 14 markers", LIBAV, "—", "pass alone, 14 markers / decoding by libav's own threads"),
    _speed("pictures a second, 22 markers and first look", "a script that thresholds whole pictures", "at least 2",
           "speed with first look, 22 markers / threshold script's"),
    _speed("growth of the pass with length, exponent", "—", "at most 1.05", "exponent, pass, wall, 8 to 61 s"),
    _speed("peak memory, four minutes", "—", "at most 400 MB", "peak memory, 242 s [MB]", unit=" MB"),
    _speed("peak memory, second clip of a process", "—", "at most 400 MB",
           "peak memory, second clip of a process, 22 markers [MB]", unit=" MB"),
    _speed("time to the first answer", DECODING, "at most 1.3", "first answer / decoding alone", "showing"),
    _speed("the same in processor time", DECODING, "at most 1.3",
           "first answer / decoding alone, processor", "showing"),
    _speed("time to the first answer", LIBAV, "at most 1.3",
           "first answer / decoding alone by libav's own choice of threads", "showing"),
    _speed("time to the first answer", "reading the clip with OpenCV", "at most 1.3",
           "first answer / reading with OpenCV", "showing"),
    _speed("time of the marked clip", "the clip's own length", "at most 2", "marking / length of the clip", "showing"),
    _speed("size of a report", "—", "at most 6 MB", "report [MB]", "showing", " MB"),
    Line("processor time of a footage check", "decoding the clip once", "—", "footage_check", column="processor_ratio"),
    Line("forecast of ten seconds, 1000 samples", "—", "at most 20 s", "forecast",
         {"by": "samples", "samples": "1000"}, "wall_s", " s"),
    Line("causes of half a minute that went as predicted", "—", "at most 30 s", "causes_time",
         {"duration_s": "30", "fits": "True"}, "wall_s", " s"),
    Line("causes of half a minute that nothing fits", "—", "at most 30 s", "causes_time",
         {"duration_s": "30", "fits": "False"}, "wall_s", " s"),
    _speed("a class by two workers", "one worker on one core", "at least 1.8", "two workers over one", "season"),
    _speed("a class by two workers", "two independent processes", "at least 0.9",
           "two workers over two independent processes", "season"),
    _speed("unchanged rerun of 24 runs", "—", "at most 2 s", "unchanged rerun, worst of three [s]", "season", " s"),
    _speed("tables after ten kills that are the same bytes", "12 tables undisturbed", "all",
           "tables of 12 that are the same bytes as undisturbed", "season"),
    *(
        Line("rms error of a marker's place", f"{words}, over ours", "above 1", "trackers", {"tracker": name},
             "error_over_ours")
        for name, words in PEERS.items()
    ),
    Line("rms error of a drawn disc, radius 6 px", "the bound that noise sets", "near 1", "centres",
         {"pictures": "drawn", "radius_px": "6", "noise": "3"}, "rms_over_bound"),
    *(
        Line(f"rms error of places, {camera}, {words}", "exact truth", f"at most {limit} mm", "table_places",
             {"camera": camera, "lens": lens, "clip": "all filmed"}, "places_rms_mm", " mm")
        for camera, lens, words, limit in (
            ("still", "lens sheet", "with a lens sheet", "0.7"), ("still", "none", "without one", "2"),
            ("hand-held", "none", "without one", "1.5"), ("ridge", "none", "without one", "1.5"),
        )
    ),
    *(
        Line(f"places within 1.96 u, camera fitted to {case}", "exact truth", "93 to 97 %", "cameras",
             {"fitted_to": case}, "within_percent", " %")
        for case in ("tags", "six clicks", "four clicks", "tags and six clicks")
    ),
    *(
        Line(f"{quantity} within 1.96 u", "exact truth", "92 to 98 %", "coverage", {"quantity": quantity},
             "inside_1.96_u", " %", 100.0)
        for quantity in ("position", "speed", "rope share", "rope middle", "slip speed")
    ),
    Line("a predicted match: end places, two machines that pull", "a physics engine", "at most 2 %",
         "forecast_agreement", {"case": "two-machine pull"}, "place_ratio", " %", 100.0),
    Line("the same, one side's drive gone", "a physics engine", "at most 2 %", "forecast_agreement",
         {"case": "one side's drive gone"}, "place_ratio", " %", 100.0),
    Line("pull by a sprung link, pixels, rms over peak", "a physics engine", "—", "pull",
         {"through": "pixels", "kind": "all", "source": "link"}, "rms_over_peak", " %", 100.0),
    Line("the same within 1.96 u", "a physics engine", "92 to 98 %", "pull",
         {"through": "pixels", "kind": "all", "source": "link"}, "inside_1.96_u", " %", 100.0),
    Line("winner of bystanders' clips, 3 pictures clicked", "exact truth", "all", "bystander",
         {"pictures": "3", "heights_known": "True"}, "winner_right", " %", 100.0),
)  # fmt: skip


def render(folder: Path = RESULTS) -> str:
    """The page, from the result files in a folder."""
    tables: dict[str, list[dict[str, str]]] = {}
    rows = []
    for line in LINES:
        if line.file not in tables:
            with (folder / f"{line.file}.csv").open(encoding="utf-8") as file:
                tables[line.file] = list(csv.DictReader(file))
        found = [row for row in tables[line.file] if all(row[key] == value for key, value in line.row.items())]
        if len(found) != 1:
            msg = f"{line.file}.csv has {len(found)} rows with {dict(line.row)}"
            raise LookupError(msg)
        value = line.factor * float(found[0][line.column])
        told = f"{value:.3g}{line.unit}"
        rows.append(f"| {line.what} | {line.beside} | {line.wanted} | {told} | `{line.file}.csv` |\n")
    return HEAD + "".join(rows)


def write_summary(folder: Path = RESULTS) -> None:
    """Write the page beside the result files."""
    (folder / "README.md").write_text(render(folder), encoding="utf-8")


if __name__ == "__main__":
    write_summary()
