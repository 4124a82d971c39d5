"""The commands: what they say, where they put things, and their exit codes."""

import dataclasses
import errno
import io
import json
import re
import subprocess
import sys
import time
from pathlib import Path

import click
import pytest

import matchvision
from matchvision.cli import main
from matchvision.cli.plain import was_interrupted
from matchvision.cli.showing import shown_progress
from matchvision.errors import CannotMeasure, FootageError, OutputError, TableError
from matchvision.filming import Scene
from matchvision.records.naming import name_folder
from matchvision.records.results import CauseRow, Contradiction, StageNote
from matchvision.sheets import describe_keys
from matchvision.sheets.lens import read_lens
from matchvision.writing import describe_tables
from tests.cli.conftest import SHEET, StandIn, Type

LINK = """\
[colour.red]
srgb = "#d7231e"
[rope]
length_m = 1
ends = ["heron", "plover"]
[rope.link]
from_m = 0.3
markers = [{ name = "link_1", colour = "red" }, { name = "link_2", colour = "red" }]
hang_test = "hang.csv"
[machine.heron]
home = "-x"
[machine.plover]
home = "+x"
"""
CAUSE = CauseRow("less-grip", "heron", 0.91, 0.2, 0.02, "1", 2.0, "heron had less grip, 91 %.")
SAMPLES = Path(__file__).parents[2] / "sample_clips"


def test_help_is_a_map(type_in: Type) -> None:
    result = type_in("--help")
    assert result.exit_code == 0
    for command in main.commands:
        assert f"\n  {command} " in result.output
        assert "…" not in result.output.split("Commands:")[1]
        assert "..." not in result.output.split("Commands:")[1]
        own = type_in(command, "--help")
        assert own.exit_code == 0
        assert f"matchvision {command}" in own.output


def test_help_is_there_at_once() -> None:
    """Nothing that takes long to load is loaded for it; the clock is generous, as other work may be going on."""
    heavy = "{'numpy', 'cv2', 'pandas', 'rich'}"
    code = f"import sys; from matchvision.cli import main; sys.exit(bool({heavy} & set(sys.modules)))"
    start = time.perf_counter()
    done = subprocess.run([sys.executable, "-c", code], check=False)
    assert done.returncode == 0
    assert time.perf_counter() - start < 2.0


@pytest.mark.skipif(sys.platform == "win32", reason="pipes there do not say that nobody reads")
@pytest.mark.parametrize(
    ("words", "leaves", "exit_code", "said"),
    [
        ("--help", "output", 141, ""),
        ("analyze --help", "output", 141, ""),
        ("schema tables", "output", 141, ""),
        ("analyze nowhere", "output", 2, "no such file"),  # nothing was to be said there
        ("analyze nowhere", "both", 141, ""),
    ],
)
def test_a_reader_who_leaves_ends_it_quietly(
    in_folder: Path, words: str, leaves: str, exit_code: int, said: str
) -> None:
    """As of `matchvision … | head -1`; the status is what a shell tells of a program that SIGPIPE ended."""
    errors = subprocess.STDOUT if leaves == "both" else subprocess.PIPE
    command = [sys.executable, "-m", "matchvision", *words.split()]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=errors, cwd=in_folder) as running:
        assert running.stdout is not None
        running.stdout.close()
        told = b"" if running.stderr is None else running.stderr.read()
    assert running.returncode == exit_code
    assert said in told.decode()
    assert bool(told) == bool(said)


def test_version(type_in: Type) -> None:
    assert type_in("--version").output == f"matchvision {matchvision.__version__}\n"


def test_module_can_be_run() -> None:
    done = subprocess.run(
        [sys.executable, "-m", "matchvision", "--version"], capture_output=True, text=True, check=True
    )
    assert done.stdout == f"matchvision {matchvision.__version__}\n"


def test_unknown_words_are_refused(type_in: Type) -> None:
    assert type_in("analyse").exit_code == 2
    assert type_in("analyze").exit_code == 2
    assert type_in("analyze", "practice", "--tables", "xlsx").exit_code == 2
    assert type_in("--quiet", "--verbose", "new", "practice").exit_code == 2
    assert not Path("practice").exists()


def test_analyze_says_verdict_and_place(type_in: Type, stand_in: StandIn, practice: Path) -> None:
    result = type_in("analyze", str(practice))
    assert result.exit_code == 0
    assert result.output.splitlines() == [
        "heron has won.",
        f"Report: {Path('outputs/Tuesday- practice 3/report.html')}",
    ]
    assert stand_in.published == {
        "folder": Path("outputs/Tuesday- practice 3"), "tables": "csv", "marked_clip": True,
    }  # fmt: skip
    assert stand_in.added == [("pictures", Path("outputs/Tuesday- practice 3"), True, False)]


def test_the_first_answer_is_told_before_causes_are_sought(type_in: Type, stand_in: StandIn, practice: Path) -> None:
    stand_in.causes = (CAUSE,)
    result = type_in("analyze", str(practice), "--out", "there")
    assert result.output.splitlines() == ["heron has won.", "Report: there/report.html", "heron had less grip, 91 %."]
    assert [what for what, *_ in stand_in.added] == ["causes", "marks", "remedies", "pictures"]
    stand_in.added.clear()
    type_in("analyze", str(practice), "--no-remedies")
    assert [what for what, *_ in stand_in.added] == ["causes", "marks", "pictures"]
    stand_in.added.clear()
    assert "less grip" not in type_in("analyze", str(practice), "--out", "again", "--no-causes").output
    assert [what for what, *_ in stand_in.added] == ["pictures"]


def test_verdict_and_motion_are_told_before_anything_is_written(
    type_in: Type, stand_in: StandIn, practice: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    stand_in.moved = ("heron: 0.312 ± 0.002 m towards its home.",)

    def refuse(*given: object, **asked: object) -> Path:
        del given, asked
        raise OutputError("the results cannot be written (disk full)")

    monkeypatch.setattr("matchvision.writing.publishing.publish_first", refuse)
    result = type_in("analyze", str(practice))
    assert (result.exit_code, "disk full" in result.stderr) == (2, True)
    assert result.stdout.splitlines() == ["heron has won.", "  - heron: 0.312 ± 0.002 m towards its home."]
    assert "heron" not in type_in("analyze", str(practice), "--json").stdout


def test_what_is_written_stays_when_the_rest_is_interrupted(type_in: Type, stand_in: StandIn, practice: Path) -> None:
    stand_in.causes, stand_in.causes_error = (CAUSE,), KeyboardInterrupt()
    result = type_in("analyze", str(practice), "--out", "there")
    assert result.exit_code == 130
    assert "heron has won." in result.output
    assert "what is written in there stays" in result.output


def test_verbose_tells_stages_and_times(type_in: Type, stand_in: StandIn, practice: Path) -> None:
    stand_in.notes = (StageNote("motion", "done", "Measured with noise 0.2 px."),)
    stand_in.causes = (CAUSE,)
    result = type_in("--verbose", "analyze", str(practice), "--no-clip")
    told = result.stderr.splitlines()
    assert [re.sub(r"^ *\d+\.\d s  ", "", line) for line in told] == [
        "motion: Measured with noise 0.2 px.", "report: The first answer is written.", "causes: Weighed.",
        "pictures: Figures are written.",
    ]  # fmt: skip
    assert "noise" not in type_in("analyze", str(practice), "--out", "again").output


def test_analyze_hands_on_what_was_asked(type_in: Type, stand_in: StandIn, practice: Path) -> None:
    result = type_in("analyze", str(practice / "run.toml"), "--out", "here", "--no-clip", "--json")
    assert json.loads(result.output)["verdict"]["winner"] == "heron"
    assert stand_in.published["folder"] == Path("here")
    assert stand_in.published["marked_clip"] is False


def test_clip_in_the_report_on_demand(type_in: Type, stand_in: StandIn, practice: Path) -> None:
    assert type_in("analyze", str(practice), "--out", "one", "--embed-clip").exit_code == 0
    assert stand_in.added == [("pictures", Path("one"), True, True)]
    assert type_in("analyze", str(practice), "--embed-clip", "--no-clip").exit_code == 2


def test_quiet_is_quiet(type_in: Type, stand_in: StandIn, practice: Path) -> None:
    result = type_in("--quiet", "analyze", str(practice))
    assert (result.exit_code, result.output) == (0, "")
    assert stand_in.published


def test_what_matters_early_is_said_beside_the_answer(type_in: Type, stand_in: StandIn, practice: Path) -> None:
    stand_in.early = ("red and cherry can hardly be told apart",)
    result = type_in("analyze", str(practice))
    assert "Note: red and cherry can hardly be told apart." in result.stderr
    assert "told apart" not in result.stdout
    assert "told apart" not in type_in("--quiet", "analyze", str(practice)).output


def test_something_asked_for_is_lacking(type_in: Type, stand_in: StandIn, practice: Path) -> None:
    stand_in.notes = (
        StageNote("pull", "skipped", "Skipped, because the sheet describes no source."),  # nobody asked for it
        StageNote("verdict", "partly", "The clip ends 2 s before the match does.", ("the last 2 s are not seen",)),
    )
    result = type_in("analyze", str(practice))
    assert result.exit_code == 1
    assert result.output.count("verdict: the last 2 s are not seen") == 1  # as what is lacking, not as a warning too
    assert "no source" not in result.output
    assert "Report:" in result.output


def test_a_full_disk_is_told_as_that(type_in: Type, stand_in: StandIn, practice: Path) -> None:
    stand_in.error = OSError(errno.ENOSPC, "No space left on device")
    result = type_in("analyze", str(practice))
    assert result.exit_code == 2
    assert "Error: the disk is full; nothing is left half-written" in result.stderr


@pytest.mark.skipif(not Path("/proc/self").exists(), reason="a place where nobody can write is wanted")
def test_a_place_that_cannot_be_written_is_refused_before_the_work(
    type_in: Type, stand_in: StandIn, practice: Path, in_folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("matchvision.footage.read_facts", lambda clip: clip)
    stand_in.error = AssertionError("the work has begun")
    for place in ("/proc/results", "/proc/deeper/results"):
        result = type_in("analyze", str(practice), "--out", place)
        assert result.exit_code == 2
        assert f"{place}: the results cannot be written" in result.stderr
    type_in("analyze", str(practice), "--out", "new/results")
    assert not (in_folder / "new").exists()  # trying leaves nothing behind


@pytest.mark.parametrize(("covered", "exit_code"), [(False, 1), (True, 0)])
def test_footage_that_contradicts_the_sheet_is_told_with_the_verdict(
    type_in: Type, stand_in: StandIn, practice: Path, *, covered: bool, exit_code: int
) -> None:
    """With the key and what to do, once; the exit code tells it where no uncertainty holds it."""
    shown, do = "The tags lie up to 4.0 px off", "set moves = true under [camera]"
    against = Contradiction("[camera] moves", shown, do, off_px=4.0, covered=covered)
    stand_in.ruling = dataclasses.replace(stand_in.ruling or pytest.fail("no ruling"), doubts=(against,), shift_m=0.01)
    stand_in.notes = (StageNote("table", "done", "Fitted.", (f"{shown}: {do}.",), (), (against,)),)
    result = type_in("analyze", str(practice))
    assert result.exit_code == exit_code
    head = result.output.split("Report:")[0]
    assert f"[camera] moves: {shown}.\n    What to do: {do}, and analyze again." in head
    assert result.output.count(shown) == 1
    assert type_in("--quiet", "analyze", str(practice), "--out", "other").exit_code == exit_code


def test_a_described_link_asks_for_the_pull(type_in: Type, stand_in: StandIn, practice: Path) -> None:
    (practice / "run.toml").write_text(SHEET + LINK)
    (practice / "hang.csv").write_text("mass_kg,length_m\n0,0.06\n1,0.08\n2,0.1\n")
    skipped = StageNote("pull", "skipped", "Skipped, because the link is hidden.", advice=("film from the other side",))
    stand_in.notes = (skipped,)
    result = type_in("analyze", str(practice))
    assert result.exit_code == 1
    assert "pull: Skipped, because the link is hidden. What would help: film from the other side" in result.output


def test_many_warnings_are_cut_short(type_in: Type, stand_in: StandIn, practice: Path) -> None:
    stand_in.notes = (StageNote("motion", "done", "Measured.", tuple(f"warning {i}" for i in range(8))),)
    result = type_in("analyze", str(practice))
    assert result.exit_code == 0
    assert "warning 4" in result.output
    assert "warning 5" not in result.output
    assert "and 3 more in the report" in result.output


@pytest.mark.parametrize(
    ("error", "code", "said"),
    [
        (FootageError("there is no such clip", where="clip.mp4", do="copy it"), 2, "clip.mp4: there is no such clip"),
        (TableError("no tag is in view"), 2, "no tag is in view"),
        (CannotMeasure("nothing can be said"), 1, "nothing can be said"),
        (KeyboardInterrupt(), 130, "Interrupted; earlier results"),
        (PermissionError(13, "Permission denied", "outputs"), 2, "outputs: the system refuses: Permission denied"),
        (ZeroDivisionError("division by zero"), 70, "matchvision --debug"),
        (ModuleNotFoundError("No module named 'scipy'", name="scipy.stats"), 2, "package scipy is not installed"),
        (
            ImportError("libGL.so.1: cannot open shared object file: No such file or directory"),
            2,
            "lacks the system library libGL.so.1, which reading pictures needs\n"
            "  What to do: on Debian or Ubuntu: sudo apt-get install libgl1",
        ),
    ],
)
def test_what_goes_wrong_is_told_plainly(
    type_in: Type, stand_in: StandIn, practice: Path, error: BaseException, code: int, said: str
) -> None:
    stand_in.error = error
    result = type_in("analyze", str(practice))
    assert result.exit_code == code
    assert said in result.output
    assert not Path("outputs").exists()


def test_debug_shows_where(practice: Path, stand_in: StandIn) -> None:
    from click.testing import CliRunner

    stand_in.error = ZeroDivisionError("division by zero")
    result = CliRunner().invoke(main, ["--debug", "analyze", str(practice)])
    assert isinstance(result.exception, ZeroDivisionError)


def test_sheets_that_cannot_be_used(type_in: Type, in_folder: Path, practice: Path) -> None:
    (in_folder / "diary.toml").write_text("dear diary, today we won\n")
    broken = SHEET.replace("start_s", "strat_s").replace("2.2", "-2.2").replace("width_m = 1.1", "width_m = 'x'")
    (practice / "run.toml").write_text(broken)
    cases = {
        "nowhere": ("nowhere", "no such file or folder", "matchvision new"),
        str(in_folder): ("no run.toml", "matchvision new"),
        "diary.toml": ("not valid TOML", "diary.toml, line 1, column 6"),
        str(practice): ("3 faults", 'did you mean "start_s"?', "table.length_m", "table.width_m"),
    }
    for path, said in cases.items():
        for command in ("analyze", "forecast"):
            result = type_in(command, path)
            assert result.exit_code == 2
            for words in said:
                assert words in result.output


def test_a_precious_folder_is_refused_before_the_work(type_in: Type, stand_in: StandIn, practice: Path) -> None:
    (practice / "clip.mp4").symlink_to(SAMPLES / "flat-match" / "clip.mp4")
    result = type_in("analyze", str(practice), "--out", str(practice))
    assert result.exit_code == 2
    assert "the run sheet or the clip lies in this folder" in result.output
    assert stand_in.published == {}


def test_new_sheet_and_then_forecast(type_in: Type) -> None:
    result = type_in("new", "practice")
    assert result.exit_code == 0
    assert "Wrote" in result.output
    assert Path("practice/run.toml").is_file()
    assert type_in("new", "practice").exit_code == 2
    result = type_in("forecast", "practice")  # its forecast is still switched off
    assert result.exit_code == 2
    assert "no forecast is in the sheet" in result.output


def test_forecast_of_a_match(type_in: Type) -> None:
    result = type_in("forecast", str(SAMPLES / "flat-match"), "--samples", "16")
    assert result.exit_code == 0
    lines = result.output.splitlines()
    head = ["t_s", "heron", "speed_m_s", "plover", "speed_m_s", "tension_N", "on_plus_x_m"]
    assert lines[0].split() == [*head, "heron", "limit", "plover", "limit"]
    assert lines[1].split() == ["0.00", "0", "0", "0", "0.545", "off", "off"]
    assert "is expected to win" in result.output
    assert "heron starts at x = -0.690 m with the rope taut" in result.output


def test_footage_of_a_good_clip_and_of_none(type_in: Type, in_folder: Path) -> None:
    result = type_in("footage", str(SAMPLES / "sled-link" / "clip.mp4"))
    assert result.exit_code == (0 if "Nothing speaks against" in result.output else 1)
    assert "1280 x 720 pixels" in result.output
    (in_folder / "notes.mp4").write_text("no clip at all\n" * 100)
    for path in ("nothing.mp4", "notes.mp4"):
        result = type_in("footage", path)
        assert result.exit_code == 2
        assert path in result.output


def test_lens_from_stills(type_in: Type, in_folder: Path) -> None:
    stills = sorted(str(path) for path in (SAMPLES / "lens").glob("*.png"))
    result = type_in("lens", *stills, "--square-mm", "30", "--out", "phone.toml")
    assert result.exit_code == 0
    assert "found in 12 of 12 stills of 1280 x 720 pixels" in result.output
    assert read_lens(in_folder / "phone.toml").camera.parameters[0] == pytest.approx(985, abs=5)
    told = json.loads(type_in("lens", *stills[:6], "--square-mm", "30", "--out", "again.toml", "--json").stdout)
    lens, phone = told["lens"], read_lens(in_folder / "again.toml").camera
    assert (told["stills"], told["views"], told["left_out"]) == (6, 6, [])
    assert lens["fx_px"] == pytest.approx(phone.parameters[0], rel=1e-4)
    assert lens["u_fx_px"] == pytest.approx(phone.covariance[0, 0] ** 0.5, rel=1e-3)
    assert abs(lens["fx_px"] - 985) < 4 * lens["u_fx_px"]
    before = (in_folder / "phone.toml").read_text()
    assert type_in("lens", *stills, "--out", "phone.toml").exit_code == 2
    assert (in_folder / "phone.toml").read_text() == before


def test_lens_from_the_wrong_things(type_in: Type, in_folder: Path) -> None:
    (in_folder / "still.png").write_bytes(b"nothing")
    board = str(SAMPLES / "lens" / "chess_01.png")
    cases = [
        (("still.png",), "this is no picture"), (("none.png",), "cannot be read"), ((board,), "at least 4 are needed"),
        ((board, "--board", "nine by six"), "as in 9x6"), ((), "Missing argument"),
    ]  # fmt: skip
    for words, said in cases:
        result = type_in("lens", *words)
        assert result.exit_code == 2
        assert said in result.output
    assert not (in_folder / "lens.toml").exists()


def test_schemas(type_in: Type) -> None:
    assert json.loads(type_in("schema", "run").output)["title"] == "matchvision run sheet"
    assert json.loads(type_in("schema", "result").output)["title"] == "matchvision result"
    assert type_in("schema", "tables").output == describe_tables()
    assert type_in("schema", "keys").output == describe_keys()
    assert json.loads(type_in("schema", "season").output)["title"] == "matchvision class"
    assert type_in("schema", "clip").exit_code == 2


def test_demo_leaves_a_folder_with_other_things_alone(type_in: Type, in_folder: Path) -> None:
    (in_folder / "d-run").mkdir()
    (in_folder / "d-run" / "run.toml").write_text("mine")
    result = type_in("demo", "--out", "d")
    assert result.exit_code == 2
    assert "holds other things than a filmed run" in result.output
    assert (in_folder / "d-run" / "run.toml").read_text() == "mine"


def test_demo_tells_the_truth_beside_the_verdict(
    type_in: Type, stand_in: StandIn, in_folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The filming itself is held by its own tests; here a sheet and a truth stand in for it."""

    def film(scene: Scene, folder: Path, progress: object) -> None:
        del progress
        folder.mkdir(parents=True)
        (folder / "run.toml").write_text(SHEET)
        (folder / "truth.json").write_text(f'{{"verdict": {{"winner": "heron", "margin_mm": {scene.seed}.25}}}}')

    monkeypatch.setattr("matchvision.filming.film", film)
    result = type_in("demo", "--seed", "7", "--no-clip")
    assert result.exit_code == 0
    lines = result.output.splitlines()
    assert "seed 7" in lines[0]
    assert lines[1] == "heron has won."
    assert lines[-1].startswith("In truth heron won by 7.2 mm")
    assert (in_folder / "outputs" / "demo-run" / "run.toml").is_file()
    assert stand_in.published["folder"] == Path("outputs/demo")
    assert stand_in.published["marked_clip"] is False
    result = type_in("demo", "--seed", "7", "--out", "other", "--json")
    assert json.loads(result.stdout)["verdict"]["winner"] == "heron"


def test_every_command_with_results_gives_them_as_json() -> None:
    """In one wording; the others make something to use, or print nothing else as it is."""
    without = {"desk", "new", "schema", "targets"}
    for name, command in main.commands.items():
        said = [
            option.help for option in command.params if isinstance(option, click.Option) and option.name == "as_json"
        ]
        assert len(said) == (name not in without), name
        assert all(re.fullmatch(r"Print .+ as JSON, and nothing else\.", words or "") for words in said)


def test_causes_as_json(type_in: Type, stand_in: StandIn, practice: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("matchvision.writing.keeping.recall_grounds", lambda run, folder: "grounds")
    stand_in.causes = (CAUSE,)
    type_in("analyze", str(practice), "--out", "there", "--no-causes")
    result = type_in("causes", str(practice), "--out", "there", "--json")
    assert result.exit_code == 0
    assert result.stdout == Path("there/result.json").read_text()
    assert "less grip" in type_in("causes", str(practice), "--out", "there").stdout


def test_progress_is_shown_on_a_terminal_only(monkeypatch: pytest.MonkeyPatch) -> None:
    with shown_progress(quiet=False) as tell:
        assert tell is None  # the tests' own output goes to no terminal
    shown = io.StringIO()
    monkeypatch.setattr(shown, "isatty", lambda: True)
    monkeypatch.setattr(sys, "stderr", shown)
    with shown_progress(quiet=False) as tell:
        assert tell is not None
        tell("watching the clip", 5, 10)
        tell("watching the clip", 10, 10)
    assert "watching the clip" in shown.getvalue()
    with shown_progress(quiet=True) as tell:
        assert tell is None


@pytest.mark.parametrize(
    ("name", "folder"),
    [
        ("Tuesday practice 3", "Tuesday practice 3"),
        ("a/b\\c:d", "a-b-c-d"),
        ("../..", "-"),
        ("...", "run"),
        (" x. ", "x"),
    ],
)
def test_run_names_as_folders(name: str, folder: str) -> None:
    assert name_folder(name) == folder


def test_an_interrupt_of_compiled_code_is_an_interrupt() -> None:
    """Compiled code that is interrupted reports a fault of its own, with the interrupt behind it."""
    fault = SystemError("returned a result with an exception set")
    assert not was_interrupted(fault)
    fault.__cause__ = KeyboardInterrupt()
    assert was_interrupted(fault)
    assert was_interrupted(KeyboardInterrupt())
