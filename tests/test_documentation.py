"""What is written about the code must be so: pointers to tests, commands, links, sources of published values."""

import csv
import re
import shlex
from pathlib import Path

import click
import pytest

from matchvision.cli import main
from matchvision.records.columns import TABLES, UNIT_SUFFIXES

ROOT = Path(__file__).resolve().parent.parent
SOURCES = sorted((ROOT / "matchvision").rglob("*.py"))
PAGES = [
    p for p in sorted(ROOT.rglob("*.md")) if not {".venv", ".venv-lowest", "outputs"} & set(p.relative_to(ROOT).parts)
]
POINTER = re.compile(r"tests/[\w/]+\.py(?:::\w+)*")
#: Columns that are pure numbers, not quantities: counts, chances, scores, flags, and the values of a table whose unit
#: stands in a column of its own.
PURE_NUMBERS = {
    "frame", "slack", "grip_used", "u_grip_used", "probability", "predicted", "u_predicted", "measured", "u_measured",
    "error", "u_validation", "en", "scale", "estimate", "u_estimate",
}  # fmt: skip


def list_pointers() -> list[tuple[str, str]]:
    """Each place that names a test, and the test."""
    return [
        (str(source.relative_to(ROOT)), pointer)
        for source in SOURCES
        for pointer in POINTER.findall(source.read_text(encoding="utf-8"))
    ]


def test_every_pointer_to_a_test_names_one() -> None:
    wrong = []
    for where, pointer in list_pointers():
        path, *names = pointer.split("::")
        file = ROOT / path
        text = file.read_text(encoding="utf-8") if file.is_file() else ""
        if not names or not all(re.search(rf"^\s*(?:def|class) {name}\b", text, re.MULTILINE) for name in names):
            wrong.append(f"{where}: {pointer}")
    assert not wrong, "these tests do not exist:\n" + "\n".join(wrong)


def test_checked_by_stands_where_a_test_is_named() -> None:
    """A line that points to tests says so in the agreed words, and says nothing else."""
    wrong = []
    for source in SOURCES:
        lines = source.read_text(encoding="utf-8").splitlines()
        for number, line in enumerate(lines, start=1):
            if "Checked by" in line and not re.search(r"Checked by: *(?:tests/|$)", line):
                wrong.append(f"{source.relative_to(ROOT)}:{number}: {line.strip()}")
    assert not wrong, "\n".join(wrong)


@pytest.mark.parametrize("table", TABLES)
def test_columns_are_words_pure_numbers_or_say_their_unit(table: str) -> None:
    for column in TABLES[table]:
        if column.dtype == "word":
            assert column.unit == "", column.name
        elif column.name not in PURE_NUMBERS:
            assert column.name.endswith(UNIT_SUFFIXES), f"{table}.{column.name} ends in no registered unit"


def list_commands(page: Path) -> list[list[str]]:
    """Every call of the program in a page, in code, as words."""
    text = page.read_text(encoding="utf-8")
    code = re.findall(r"^```.*?^```", text, re.MULTILINE | re.DOTALL) + re.findall(r"`[^`\n]+`", text)
    calls = [
        line for block in code for line in re.findall(r"(?:^|`|\$ )matchvision +([^`#\n|>]*)", block, re.MULTILINE)
    ]
    return [shlex.split(call.replace("…", "").replace("'", "")) for call in calls]


@pytest.mark.parametrize("page", PAGES, ids=lambda p: str(p.relative_to(ROOT)))
def test_commands_of_the_pages_exist(page: Path) -> None:
    context = click.Context(main)
    for words in list_commands(page):
        names = [word for word in words if not word.startswith("-")]
        command = main.get_command(context, names[0]) if names else main
        assert command is not None, f"{page.name}: there is no command {names[0]}"
        known = {o for c in (main, command) for p in c.params for o in (*p.opts, *p.secondary_opts)} | {"--help", "-h"}
        for word in words:
            if word.startswith("-"):
                assert word.split("=")[0] in known, f"{page.name}: {words} has no option {word}"


def test_the_readme_names_commands() -> None:
    """Or the test above would hold nothing."""
    assert {words[0] for words in list_commands(ROOT / "README.md")} >= {"demo", "new", "analyze"}


@pytest.mark.parametrize("page", PAGES, ids=lambda p: str(p.relative_to(ROOT)))
def test_links_lead_somewhere(page: Path) -> None:
    for link in re.findall(r"\]\(([^)\s]+)\)", page.read_text(encoding="utf-8")):
        target = link.split("#")[0]
        if target and not re.match(r"[a-z]+:", target):
            assert (page.parent / target).exists(), f"{page.relative_to(ROOT)}: {link} leads nowhere"


@pytest.mark.parametrize("path", sorted((ROOT / "tests" / "published").glob("test_*.py")), ids=lambda p: p.stem)
def test_published_checks_name_their_source(path: Path) -> None:
    """The header names source, place, what is checked and the tolerance; the values go through our functions."""
    text = path.read_text(encoding="utf-8")
    header = text.split('"""')[1].lower()
    for word in ("source", "checks:", "toleran"):
        assert word in header, f'{path.name}: the header does not say its "{word}"'
    assert re.search(r"^from matchvision\.", text, re.MULTILINE)


def test_no_page_holds_an_unfilled_place() -> None:
    for page in PAGES:
        assert not re.search(r"^[A-Z]+_[A-Z_]+$", page.read_text(encoding="utf-8"), re.MULTILINE), page.name


#: Tables of accuracy: their page, words that stand before them, and for each row the figures of the last full results
#: that stand in it, with the factor that brings each to the page's unit.
ACCURACY: dict[tuple[str, str], dict[str, tuple[tuple[str, int], ...]]] = {
    ("README.md", "## How good is it?"): {
        "visible markers seen": (("tracks seen [ratio]", 100),),
        "marker places, rms": (("tracks rms [mm]", 1),),
        "machine speed, rms": (("speed rms [mm/s]", 1),),
        "rope on one side at the end": (("rope error at the end [mm]", 1),),
        "margin, error and stated U95": (("margin error [mm]", 1), ("margin U95 [mm]", 1)),
        "wheel rate, rms over its greatest": (
            ("heron wheel rate rms [ratio]", 100),
            ("plover wheel rate rms [ratio]", 100),
        ),
        "pull by the sprung link, rms over peak": (("pull link rms over peak [ratio]", 100),),
        "slip intervals, overlap with the true ones": (("heron slip overlap [ratio]", 1),),
    },
    ("docs/motion.md", "python -m benchmarks accuracy"): {
        f"{name}'s wheel, all (calm)": (
            (f"{name} wheel rate rms [ratio]", 100),
            (f"{name} wheel rate rms away from jumps [ratio]", 100),
        )
        for name in ("heron", "plover")
    },
}


@pytest.mark.parametrize("place", ACCURACY, ids=lambda place: place[0])
def test_pages_tell_the_accuracy_that_was_measured(place: tuple[str, str]) -> None:
    """Each number as it stands there is the measured one, rounded to as many digits."""
    with (ROOT / "benchmarks" / "results" / "accuracy.csv").open(encoding="utf-8") as file:
        measured = {row["figure"]: row for row in csv.DictReader(file)}
    page, before = place
    lines = (ROOT / page).read_text(encoding="utf-8").split(before)[1].splitlines()
    cells = [[cell.strip() for cell in line.strip("|").split("|")] for line in lines if line.startswith("|")]
    clips = [clip.replace(" with ", " ").replace(" ", "-") for clip in cells[0][1:]]
    rows = {name: told for name, *told in cells}
    for row, figures in ACCURACY[place].items():
        for clip, cell in zip(clips, rows[row], strict=True):
            told = re.findall(r"−?\d+(?:\.\d+)?", cell)
            wanted = [factor * float(measured[name][clip]) for name, factor in figures if measured[name][clip]]
            assert len(told) == len(wanted), f"{row}, {clip}: {cell}"
            for text, value in zip(told, wanted, strict=True):
                digits = len(text.partition(".")[2])
                assert f"{value:.{digits}f}".replace("-", "−") == text, f"{row}, {clip}: {text}, measured {value:.4g}"
