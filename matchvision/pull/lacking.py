"""What a sheet would have to say for more of the pull to be measured."""

from matchvision.pull.drive import states_motor_line
from matchvision.records.motion import Motion
from matchvision.records.sheet import Drive, Run

#: The motor line's keys.
_LINE_KEYS = ("motors", "stall_torque_Nm", "no_load_rev_min", "gear_ratio")


def say_what_to_add(run: Run, motion: Motion) -> tuple[str, ...]:
    """A sentence for each way to a pull that the sheet leaves closed, naming the keys that would open it."""
    rope = run.sheet.rope
    if rope is None:
        return ("Describe the rope with its beads in [rope].",)
    sentences = []
    if rope.link is None:
        sentences.append(
            "A sprung link in the rope gives the pull directly: describe it in [rope.link] with its two markers and a "
            "hang_test."
        )
    for name in rope.ends:
        machine = run.sheet.machine.get(name)
        if machine is None or machine.load is not None:
            continue
        if not machine.wheel and not machine.driven_wheels:
            if machine.anchor is None:
                sentences.append(
                    f"If {name} is a weight that is dragged, its mass_kg and [machine.{name}.load] grip_sliding give "
                    "the pull while it moves."
                )
            continue
        lacks = lacks_of_drive(run, motion, name)
        if lacks:
            sentences.append(f"The drive of {name} gives the pull with {', '.join(lacks)}.")
        if machine.drive is None or machine.drive.grip_sliding is None:
            sentences.append(f"[machine.{name}.drive] grip_sliding gives the pull while the wheels of {name} slide.")
    return tuple(sentences)


def lacks_of_drive(run: Run, motion: Motion, name: str) -> list[str]:
    """What a machine's drive lacks to give a pull of its own, independent of the forecast."""
    machine = run.sheet.machine[name]
    facts = machine.drive or Drive()
    lacks = [] if machine.mass_kg is not None else [f"[machine.{name}] mass_kg"]
    if not states_motor_line(facts):
        keys = [key for key in _LINE_KEYS if not getattr(facts, key)]
        lacks.append(f"[machine.{name}.drive] {', '.join(keys)} as measured")
    if name not in run.commands and not facts.throttle:
        lacks.append(f"a log of the commands ([machine.{name}] commands) or [machine.{name}.drive] throttle")
    if not any(wheel.machine == name and wheel.driven for wheel in motion.wheels):
        lacks.append(f"two rim marks on one of its driven wheels ([[machine.{name}.wheel]] rim)")
    return lacks
