"""An invented season in an invented workshop: three teams, everybody meets everybody, and one match is run again."""

import shutil
import tempfile
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Final, Literal

from matchvision.errors import OutputError
from matchvision.filming.demo import demo_scene
from matchvision.filming.ground import GRAVITY_M_S2
from matchvision.filming.papers import shared_sheet, team_sheet
from matchvision.filming.scene import Clock, Disc, Drive, Forecast, Machine, Scene, Stated
from matchvision.filming.studio import film

#: The evening's draw: its seed and the matches that follow from it, homes at −x and +x.
SEED: Final = 7
MATCHES: Final = (("1", "plover", "dunlin"), ("2", "heron", "plover"), ("3", "heron", "dunlin"))
#: Of each team: mass [kg], grip, top markers' colours, and how far its forecast of the grip is off.
_TEAMS: Final = {
    "heron": (2.9, 0.78, ("green", "magenta"), 0.0),
    "plover": (2.5, 0.74, ("blue", "orange"), 0.14),
    "dunlin": (2.6, 0.76, ("yellow", "magenta"), -0.01),
}
#: A match of this length [s] is filmed and analysed in seconds.
_DURATION_S: Final = 1.2
_MARK: Final = "season-of-the-demo"


def season_scenes(*, frames_per_s: float = 15.0, duration_s: float = _DURATION_S) -> tuple[Scene, ...]:
    """The season's matches, one after the other: the same teams with the same machines in all of them."""
    base = demo_scene(SEED)
    camera = replace(base.camera, frames_per_s=frames_per_s, subframes=1)
    machines = {name: _machine(base, name, duration_s) for name in _TEAMS}
    scenes = []
    for number, minus, plus in MATCHES:
        scenes.append(
            replace(
                base,
                name=f"{number}-A-{minus}-{plus}",
                story=f"{minus} against {plus}, round {number} of an invented season.",
                seed=SEED + int(number),
                clock=Clock(start_s=0.3, duration_s=duration_s, after_s=0.1),
                camera=camera,
                rope=replace(base.rope, ends=(minus, plus), link=None),
                machine={minus: _at(machines[minus], "-x"), plus: _at(machines[plus], "+x")},
            )
        )
    return tuple(scenes)


def _machine(base: Scene, name: str, duration_s: float) -> Machine:
    """A team's machine, as strong as its grip lets it be, and what the team thinks of it."""
    mass_kg, grip, colours, off = _TEAMS[name]
    gear = 250.0
    stall_Nm = 0.045 * grip * mass_kg * GRAVITY_M_S2 * 1.3 + 0.09
    drive = Drive(
        motors=2,
        stall_torque_Nm=round(stall_Nm / (2 * gear * 0.72), 6),
        no_load_rev_min=11000.0,
        gear_ratio=gear,
        throttle=((0.0, 0.0), (0.4, 0.9), (duration_s, 1.0)),
    )
    stated_grip = Stated(value=round(grip + off, 3), u=0.03)
    forecast = Forecast(
        motors=2,
        stall_torque_Nm=Stated(value=drive.stall_torque_Nm, u=0.0001),
        no_load_rev_min=Stated(value=drive.no_load_rev_min, u=200.0),
        gear_ratio=gear,
        drive_efficiency=Stated(value=drive.drive_efficiency, u=0.02),
        drive_friction_Nm=Stated(value=drive.drive_friction_Nm, u=0.02),
        grip_static=stated_grip,
        grip_sliding=stated_grip,
        throttle=drive.throttle,
    )
    model = base.machine["heron"]
    top = tuple(
        Disc(name=place, colour=colour, radius_m=0.014, at_m=(x_m, 0.0, 0.12))
        for place, colour, x_m in zip(("front", "rear"), colours, (0.09, -0.09), strict=True)
    )
    wheel = tuple(replace(one, rim=()) for one in model.wheel)
    return replace(
        model, mass_kg=mass_kg, grip_ratio=grip, heading_offset_deg=0.0, wander_deg=0.0, y_m=0.0, marker=top,
        wheel=wheel, drive=drive, forecast=forecast,
    )  # fmt: skip


def _at(machine: Machine, home: Literal["-x", "+x"]) -> Machine:
    side = -1.0 if home == "-x" else 1.0
    return replace(machine, home=home, hitch_x_m=side * 0.46)


def film_season(folder: Path, progress: Callable[[int, int], None] | None = None, *, matches: int = 3) -> None:
    """Film the season into a folder that ``matchvision season`` takes as it is.

    Parameters
    ----------
    folder : Path
        Gets ``season.toml``, ``runs.csv``, ``table.toml``, the teams' sheets, clips with their truth, one of which
        breaks off and was run again. A season of this demo that stands there already is replaced; anything else is not.
    progress : callable, optional
        Told the number of pictures done and of all pictures.
    matches : how many of the three matches to film.

    Raises
    ------
    OutputError
        Where the folder holds anything else, or cannot be written.

    Notes
    -----
    Checked by: tests/season/test_demo.py::test_the_demo_season_is_right_about_who_won
    """
    if folder.exists() and any(folder.iterdir()) and not (folder / _MARK).is_file():
        what = "the folder for the filmed season holds other things"
        raise OutputError(what, where=str(folder), do="choose an empty folder")
    scenes = season_scenes()[:matches]
    total, before = sum(scene.frames for scene in scenes), 0
    try:
        for part in ("clips", "truth", "teams"):
            (folder / part).mkdir(parents=True, exist_ok=True)
        (folder / _MARK).write_text("Made by matchvision season --demo; may be made anew.\n", encoding="utf-8")
        for scene in scenes:
            with tempfile.TemporaryDirectory(dir=folder) as scratch:
                film(scene, Path(scratch), _from(progress, before, total))
                shutil.move(Path(scratch) / "clip.mp4", folder / "clips" / f"{scene.name}.mp4")
                shutil.move(Path(scratch) / "truth.json", folder / "truth" / f"{scene.name}.json")
            before += scene.frames
        whole = (folder / "clips" / f"{scenes[-1].name}.mp4").read_bytes()
        (folder / "clips" / "spoiled.mp4").write_bytes(whole[: len(whole) // 3])
        (folder / "table.toml").write_text(shared_sheet(season_scenes()), encoding="utf-8")
        for scene in season_scenes():
            for name, machine in scene.machine.items():
                (folder / "teams" / f"{name}.toml").write_text(team_sheet(name, machine), encoding="utf-8")
        (folder / "season.toml").write_text(_SEASON, encoding="utf-8")
        (folder / "runs.csv").write_text(_list_runs(scenes), encoding="utf-8")
    except OSError as error:
        what = f"the season cannot be written ({error.strerror})"
        raise OutputError(what, where=str(folder), do="check free space and your rights there") from error


_SEASON: Final = f"""# An invented season: three teams, everybody meets everybody.
[season]
name = "Evening of the waders"
shared = "table.toml"

[draw]
kind = "all-play-all"
seed = {SEED}
"""


def _list_runs(scenes: tuple[Scene, ...]) -> str:
    lines = ["id,round,table,minus_x,plus_x,clip,start_s,replays,reason"]
    for scene, (number, minus, plus) in zip(scenes, MATCHES, strict=False):
        lines.append(f"{scene.name},{number},A,{minus},{plus},clips/{scene.name}.mp4,{scene.clock.start_s},,")
    # The last match was run twice: the clip of the first time breaks off.
    number, minus, plus = MATCHES[len(scenes) - 1]
    first, start_s = f"{number}-A-{minus}-{plus}-first", scenes[-1].clock.start_s
    lines.insert(-1, f"{first},{number},A,{minus},{plus},clips/spoiled.mp4,{start_s},,")
    lines[-1] = f"{lines[-1].removesuffix(',,')},{first},the clip of the first run breaks off"
    return "\n".join(lines) + "\n"


def _from(progress: Callable[[int, int], None] | None, before: int, total: int) -> Callable[[int, int], None] | None:
    if progress is None:
        return None
    return lambda done, _: progress(before + done, total)
