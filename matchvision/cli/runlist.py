"""The runs of one clip as lines for run sheets."""

from math import hypot
from typing import TYPE_CHECKING, Any

from matchvision.footage.choosing import FARTHEST_M, TRAVEL_S_PER_M

if TYPE_CHECKING:
    from matchvision.footage.runs import FoundRun, RunList


def tell_runs(found: "RunList") -> str:
    """Each run as lines that can stand in a run sheet, headed by how it was found.

    Motion without a start signal, in a clip where other motion has one, is taken for setting up: its lines are switched
    off.
    """
    signalled = any(run.is_signalled for run in found.runs)
    blocks, number = [], 0
    for run in found.runs:
        likely = run.is_signalled or not signalled
        number += likely
        blocks.append("\n".join(_tell_run(run, number) if likely else _tell_setting_up(run)))
    if found.lone_sounds:
        times = ", ".join(f"{s.clip_s:.3f} s" for s in found.lone_sounds)
        blocks.append(f"# as loud as a start signal, but nothing moves after it: {times}")
    return "\n\n".join(blocks)


def _tell_run(run: "FoundRun", number: int) -> list[str]:
    signs, said = [], []
    if run.moves is not None:
        signs.append("motion")
        said.append(f"something moves from {run.moves.from_s:.1f} s to {run.moves.until_s:.1f} s")
    if run.sound is not None:
        signs.append("start sound")
        said.append(f"a sound sets in at {run.sound.clip_s:.3f} s")
    if run.lamp is not None:
        signs.append("start lamp")
        said.append(f"the lamp lights at {run.lamp.clip_s:.3f} s")
    lines = [f"# run {number}, found by {' and '.join(signs)}: {', '.join(said)}", "[clock]"]
    lines += [f"from_s = {run.from_s:.2f}", f"until_s = {run.until_s:.2f}", *_tell_start(run)]
    lines.append(f"duration_s = {run.duration_s:.1f}    # how long the event's rules say")
    return lines


def _tell_start(run: "FoundRun") -> list[str]:
    if run.lamp is not None:
        lines = [f'start = "lamp"    # at {run.lamp.clip_s:.3f} s; lamp_at_px as in the sheet']
        if run.sound is not None:
            late_s = run.sound.clip_s - run.lamp.clip_s
            u_s = hypot(run.sound.u_s, run.lamp.u_s, FARTHEST_M * TRAVEL_S_PER_M / 12**0.5)
            lines.append(
                f"# sound_delay_s = {{ value = {late_s:.3f}, u = {u_s:.3f} }}    # of this phone: sound less lamp"
            )
        return lines
    if run.sound is None:
        return ['start = "first-motion"    # or start_s = …, the clip time of the start signal']
    if run.sound not in run.sounds:
        return [f"start_s = {run.sound.clip_s:.3f}    # the sound; louder ones follow in this part of the clip"]
    lines = [f'start = "sound"    # at {run.sound.clip_s:.3f} s']
    if run.sound_number is not None:
        times = ", ".join(f"{s.clip_s:.3f} s" for s in run.sounds)
        lines.append(f"sound_number = {run.sound_number}    # of {len(run.sounds)} about as loud: {times}")
    return lines


def _tell_setting_up(run: "FoundRun") -> list[str]:
    moves = run.moves
    span = f" from {moves.from_s:.1f} s to {moves.until_s:.1f} s" if moves is not None else ""
    return [
        f"# motion{span} without a start signal, setting up perhaps; if it is a run:",
        "# [clock]",
        f"# from_s = {run.from_s:.2f}",
        f"# until_s = {run.until_s:.2f}",
        '# start = "first-motion"',
        f"# duration_s = {run.duration_s:.1f}",
    ]


def brief_runs(found: "RunList") -> dict[str, Any]:
    """The same as plain numbers; what was not found is null."""
    return {
        "runs": [
            {
                "from_s": round(run.from_s, 3),
                "until_s": round(run.until_s, 3),
                "duration_s": round(run.duration_s, 3),
                "moves_s": None if run.moves is None else [round(run.moves.from_s, 3), round(run.moves.until_s, 3)],
                "sound_s": None if run.sound is None else round(run.sound.clip_s, 4),
                "u_sound_s": None if run.sound is None else round(run.sound.u_s, 4),
                "sound_number": run.sound_number,
                "sounds_s": [round(s.clip_s, 4) for s in run.sounds],
                "lamp_s": None if run.lamp is None else round(run.lamp.clip_s, 4),
                "u_lamp_s": None if run.lamp is None else round(run.lamp.u_s, 4),
            }
            for run in found.runs
        ],
        "lone_sounds_s": [round(s.clip_s, 4) for s in found.lone_sounds],
    }
