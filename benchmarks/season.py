"""A class of 24 filmed runs: what two workers gain, what a kill costs, memory, and the time that a larger class takes.

Ratios are taken within one run of the benchmark, in turns, because the machine's load changes. Clips are filmed once
and kept in the system's scratch folder (``matchvision-season-clips``), which may be thrown away.
"""

import os
import random
import re
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    import pandas as pd

    from matchvision.season.tasks import Step

CLIPS = 24
KILLS = 10
RESULTS = 300
#: A class's evening: so many runs of half a minute, on two cores.
CLASS_RUNS, HALF_MINUTE_S, WORKERS = 150, 30.0, 2
KEPT = Path(tempfile.gettempdir()) / "matchvision-season-clips"
ROOT = Path(__file__).parents[1]


def measure() -> "pd.DataFrame":
    """One row a figure, its limit beside it."""
    import pandas as pd

    film_class(KEPT)
    rows: list[dict[str, Any]] = []
    with tempfile.TemporaryDirectory() as scratch:
        here = Path(scratch)
        for part in (_two_against_one, _killed, _large_class, _evening):
            fresh = part(here)
            print(pd.DataFrame(fresh).to_string(index=False), flush=True)  # the whole takes long: see it as it comes
            rows += fresh
    return pd.DataFrame(rows)


def _row(figure: str, value: float, limit: float | None = None, *, least: bool = False) -> dict[str, Any]:
    met = "" if limit is None else "yes" if (value >= limit if least else value <= limit) else "no"
    return {"figure": figure, "value": value, "limit": np.nan if limit is None else limit, "met": met}


def film_class(folder: Path, clips: int = CLIPS) -> None:
    """Film the invented season's matches again and again, each time with other light and noise; what is there stays."""
    from matchvision.filming import film
    from matchvision.filming.papers import shared_sheet, team_sheet
    from matchvision.filming.season import season_scenes

    scenes = season_scenes()
    for part in ("clips", "teams"):
        (folder / part).mkdir(parents=True, exist_ok=True)
    lines = ["id,round,table,minus_x,plus_x,clip,start_s"]
    for number in range(clips):
        scene = scenes[number % len(scenes)]
        scene = replace(scene, seed=100 + number, light=replace(scene.light, azimuth_deg=-150.0 + 5 * number))
        name = f"run-{number:02d}"
        clip = folder / "clips" / f"{name}.mp4"
        if not clip.exists():
            with tempfile.TemporaryDirectory(dir=folder) as scratch:
                film(scene, Path(scratch))
                shutil.move(Path(scratch) / "clip.mp4", clip)
        lines.append(f"{name},{number // 3 + 1},A,{','.join(scene.machine)},clips/{name}.mp4,{scene.clock.start_s}")
    (folder / "table.toml").write_text(shared_sheet(scenes), encoding="utf-8")
    for one in scenes:
        for team, machine in one.machine.items():
            (folder / "teams" / f"{team}.toml").write_text(team_sheet(team, machine), encoding="utf-8")
    (folder / "season.toml").write_text('[season]\nname = "class"\nshared = "table.toml"\n', encoding="utf-8")
    (folder / "runs.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")


def _half(folder: Path, here: Path, which: int) -> Path:
    """Every other run of the class as a season of its own."""
    half = here / f"half-{which}"
    shutil.copytree(folder, half, ignore=shutil.ignore_patterns("clips"))
    (half / "clips").symlink_to(folder / "clips")
    head, *lines = (folder / "runs.csv").read_text().splitlines()
    (half / "runs.csv").write_text("\n".join([head, *lines[which::2]]) + "\n")
    return half


def start(folder: Path, out: Path, workers: int, *more: str, core: int | None = None) -> "subprocess.Popen[bytes]":
    """`matchvision season` as a process of its own, held to one core if asked."""
    command = [sys.executable, "-m", "matchvision", "--quiet", "season", str(folder), "--out", str(out)]
    command += ["--workers", str(workers), *more]
    if core is not None:
        command = ["taskset", "-c", str(core), *command]
    limits = dict.fromkeys(("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "NUMBA_NUM_THREADS"), "1")
    return subprocess.Popen(command, cwd=ROOT, env={**os.environ, **limits})


def _timed(*processes: "subprocess.Popen[bytes]") -> float:
    began = time.perf_counter()
    for process in processes:
        process.wait()
    return time.perf_counter() - began


def _two_against_one(here: Path) -> list[dict[str, Any]]:
    """One worker held to one core, two workers, and two processes on a core each that know nothing of each other."""
    one_s = _timed(start(KEPT, here / "one", 1, core=0))
    with _watched_memory() as peaks:
        two_s = _timed(start(KEPT, here / "two", 2))
    halves = [_half(KEPT, here, which) for which in (0, 1)]
    apart_s = _timed(*(start(half, here / f"apart-{k}", 1, core=k) for k, half in enumerate(halves)))
    # The first of these still compares what was written just before by its content.
    again_s = max(_timed(start(KEPT, here / "two", 2)) for _ in range(3))
    same = all((here / "one" / path.name).read_bytes() == path.read_bytes() for path in (here / "two").glob("*.csv"))
    return [
        _row(f"{CLIPS} clips, one worker held to one core [s]", one_s),
        _row(f"{CLIPS} clips, two workers [s]", two_s),
        _row(f"{CLIPS} clips, two independent processes held to a core each [s]", apart_s),
        _row("two workers over one", one_s / two_s, 1.8, least=True),
        _row("two workers over two independent processes", apart_s / two_s, 0.9, least=True),
        _row("tables of one and of two workers are the same bytes", float(same), 1.0, least=True),
        _row("unchanged rerun, worst of three [s]", again_s, 2.0),
        _row("peak memory of a worker [MB]", max(peaks.values(), default=float("nan")), 500.0),
        _row("load of the machine, mean of a minute", os.getloadavg()[0]),
    ]


@contextmanager
def _watched_memory() -> Iterator[dict[int, float]]:
    """Peak memory [MB] of every worker process that runs meanwhile, by its own account."""
    import threading

    peaks: dict[int, float] = {}
    stop = threading.Event()

    def look() -> None:
        # Rarely, and only at processes that are new or known as workers: looking shall not slow what is timed.
        others: set[str] = set()
        while not stop.wait(1.0):
            for folder in Path("/proc").glob("[0-9]*"):
                pid, status = folder.name, folder / "status"
                if pid in others:
                    continue
                try:
                    worker = int(pid) in peaks or b"multiprocessing.spawn" in (folder / "cmdline").read_bytes()
                    found = re.search(r"VmHWM:\s+(\d+)", status.read_text()) if worker else None
                except OSError:
                    continue
                if found:
                    peaks[int(pid)] = int(found[1]) / 1024
                elif not worker:
                    others.add(pid)

    watcher = threading.Thread(target=look, daemon=True)
    watcher.start()
    try:
        yield peaks
    finally:
        stop.set()
        watcher.join()


def _killed(here: Path) -> list[dict[str, Any]]:
    """Killed at random moments, again and again, then left to end: whether the tables are the undisturbed ones."""
    chance, out = random.Random(3), here / "killed"
    kills = 0
    while kills < KILLS:
        process = start(KEPT, out, 2)
        try:
            process.wait(chance.uniform(2.0, 14.0))
        except subprocess.TimeoutExpired:
            process.send_signal(signal.SIGKILL)
            process.wait()
            kills += 1
        else:
            break
    start(KEPT, out, 2).wait()
    calm = {path.name: path.read_bytes() for path in (here / "two").glob("*.csv")}
    same = sum((out / name).read_bytes() == content for name, content in calm.items())
    return [
        _row("kills by signal 9 at random moments", float(kills), float(KILLS), least=True),
        _row(
            f"tables of {len(calm)} that are the same bytes as undisturbed", float(same), float(len(calm)), least=True
        ),
    ]


def _large_class(here: Path) -> list[dict[str, Any]]:
    """The page of 300 invented results."""
    from matchvision.records.rubric import Rubric
    from matchvision.season.book import fill_book
    from matchvision.season.tables import write_book
    from tests.season.made import invented_played

    season, played = invented_played(here / "large", here / "large-out", RESULTS)
    began = time.perf_counter()
    page = write_book(fill_book(season, played, Rubric(), ()), here / "large-out")
    return [
        _row(f"tables and pages of {RESULTS} results [s]", time.perf_counter() - began, 20.0),
        _row(f"class page of {RESULTS} results [MB]", page.stat().st_size / 1e6, 10.0),
    ]


def _evening(here: Path) -> list[dict[str, Any]]:
    """Half-minute runs by two workers, step by step, and what 150 of them take by the time that each was at work."""
    steps: list[tuple[Step, tuple[str, ...]]]
    steps = [("answer", ("--no-causes",)), ("causes", ("--no-remedies",)), ("remedies", ())]
    # The rope of the first comes off, so that there is little to explain.
    return [*_half_minutes(here, "hitch-slips", steps[:1]), *_half_minutes(here, "flat-match", steps)]


def _half_minutes(
    here: Path, sample: str, steps: Sequence[tuple["Step", tuple[str, ...]]], count: int = 4
) -> list[dict[str, Any]]:
    """A sample run played forwards and backwards for half a minute, with matches of 28 s and a little less."""
    from unittest.mock import patch

    from benchmarks import throughput
    from matchvision.season.index import open_index
    from matchvision.season.pacing import estimate

    folder, out = here / sample, here / f"{sample}-out"
    folder.mkdir()
    lines = ["round,minus_x,plus_x,run"]
    with patch.object(throughput, "SAMPLE", ROOT / "sample_clips" / sample):
        segment, length = throughput.encode_segment(), 1
        while throughput.seconds(length) < HALF_MINUTE_S:
            length += 1
        for number in range(count):
            throughput.lay_out_run(folder / f"r{number}", segment, length)
            sheet = folder / f"r{number}" / "run.toml"
            text = sheet.read_text()
            clock = f"duration_s = {HALF_MINUTE_S - 2.0 - 0.5 * number}\nuntil_s = {HALF_MINUTE_S}"
            sheet.write_text(re.sub(r"duration_s = [\d.]+", clock, text))
            minus, plus = re.findall(r"\[machine\.(\w+)\]", text)[:2]
            lines.append(f"{number},{minus},{plus},r{number}")
    (folder / "runs.csv").write_text("\n".join(lines) + "\n")
    rows = []
    for step, more in steps:
        with _watched_memory() as peaks:
            took_s = _timed(start(folder, out, WORKERS, *more))
        with open_index(out) as index:
            paces = index.paces(step)
        pictures = float(np.mean([pictures for pictures, _ in paces])) if paces else float("nan")
        told = estimate(step, [pictures] * CLASS_RUNS, paces, WORKERS)
        each, minutes = f"{sample}, half a minute, {step}", f"{CLASS_RUNS} such runs, {WORKERS} workers"
        rows += [
            _row(f"{each}: {count} runs of {pictures:.0f} pictures, {WORKERS} workers [s]", took_s),
            _row(f"{each}: peak memory of a worker [MB]", max(peaks.values(), default=float("nan")), 500.0),
            _row(f"{each}: a worker's time for one [s]", float(np.mean([t for _, t in paces]))),
            _row(f"{each}: {minutes} [min]", told.takes_s / 60),
            _row(f"{each}: {minutes}, low end of 95 % [min]", told.low_s / 60),
            _row(f"{each}: {minutes}, high end of 95 % [min]", told.high_s / 60),
        ]
    return [*rows, _row(f"{sample}: load of the machine, mean of a minute", os.getloadavg()[0])]
