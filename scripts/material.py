"""What the docs' pictures are taken of, made by the program as it is: results of sample clips, and invented runs."""

import re
import shutil
import subprocess
import sys
from pathlib import Path

import numpy as np

from benchmarks.bystander import plain_scene, write_clicks
from matchvision.filming import film
from matchvision.records.rubric import Rubric
from matchvision.season.book import fill_book
from matchvision.season.tables import write_book
from tests.desk.filmed import film_small
from tests.season.made import invented_played

SAMPLES = Path(__file__).parent.parent / "sample_clips"
#: Runs of the invented class, and the seeds of the bystander's clip and clicks.
CLASS_RUNS = 60
BYSTANDER_SEED = 3


def analyze(run: Path, out: Path, *options: str) -> Path:
    """Results of a run as anybody gets them, made once: they are taken as they are where they are there already."""
    if not (out / "marked.mp4").exists():
        ask = [sys.executable, "-m", "matchvision", "--quiet", "analyze", str(run), "--out", str(out), *options]
        if subprocess.run(ask).returncode not in (0, 1):  # 1: something of the run cannot be told, as the pictures show
            raise SystemExit(f"{run} could not be analysed")
    return out


def usual_match(place: Path) -> Path:
    """The sample match, with causes and all."""
    return analyze(SAMPLES / "flat-match", place / "flat-match")


def contradicted_match(place: Path) -> Path:
    """A clip from the hand whose sheet says that the camera stood still."""
    run = place / "said-to-be-still"
    if not run.exists():
        shutil.copytree(SAMPLES / "hand-held", run)
        sheet = run / "run.toml"
        text, changed = re.subn(r"moves = true", "moves = false", sheet.read_text(encoding="utf-8"))
        if changed != 1:
            raise SystemExit(f"{sheet} does not say that its camera moves")
        sheet.chmod(0o644)
        sheet.write_text(text, encoding="utf-8")
    return analyze(run, place / "contradicted", "--no-causes")


def bystanders_match(place: Path) -> Path:
    """A clip without tags and stickers: six clicked points, and the rope's ends in three pictures."""
    run = place / "bystander-run"
    if not (run / "mends.toml").exists():
        scene = plain_scene(BYSTANDER_SEED)
        film(scene, run)
        write_clicks(run, scene, 3, heights_known=False, rng=np.random.default_rng(BYSTANDER_SEED))
    return analyze(run, place / "bystander")


def invented_class(place: Path) -> Path:
    """A class whose results are invented; returns its page."""
    out = place / "class"
    if not (out / "season.html").exists():
        shutil.rmtree(place / "spring contest", ignore_errors=True)
        season, played = invented_played(place / "spring contest", out, CLASS_RUNS)
        write_book(fill_book(season, played, Rubric(), ()), out)
    return out / "season.html"


def run_for_the_desk(place: Path) -> Path:
    """A filmed match whose sheet knows neither tags nor colours, as somebody brings it to the desk."""
    run = place / "demo"
    shutil.rmtree(run, ignore_errors=True)
    return film_small(run)
