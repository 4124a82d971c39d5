"""From the teams' sheets to the numbers of the predicted run, with what was assumed and what is missing."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Final

from matchvision.errors import CannotMeasure
from matchvision.records.sheet import Drive, Forecast, Machine, Quantity, Run

#: Numbers without which a drive cannot be computed.
_NEEDED: Final = ("motors", "stall_torque_Nm", "no_load_rev_min", "gear_ratio")
#: Numbers of a drive that may carry an uncertainty, and what they are where not stated.
OPTIONAL: Final[Mapping[str, float]] = {
    "drive_efficiency": 1.0,
    "drive_friction_Nm": 0.0,
    "supply_sag_ratio": 0.0,
    "rolling_resistance": 0.0,
    "start_delay_s": 0.0,
    "brake_N": 0.0,
    "holding_N": 0.0,
}
_UNCERTAIN: Final = (
    "stall_torque_Nm", "no_load_rev_min", "gear_ratio", "wheel_inertia_kg_m2", "grip_static", "grip_sliding", *OPTIONAL,
    "reach_s", "release_s",
)  # fmt: skip


@dataclass(frozen=True)
class Stated:
    """One uncertain number of the sheet: its key, value, standard uncertainty and highest sensible value."""

    key: str
    value: float
    u: float
    highest: float = float("inf")


@dataclass
class Findings:
    """What came up while reading the sheets: keys that are missing, assumptions made, parts that are left out."""

    missing: list[str] = field(default_factory=list)
    assumed: list[str] = field(default_factory=list)
    left_out: list[str] = field(default_factory=list)

    def refuse_gaps(self) -> None:
        """Raise where something is missing without which nothing can be predicted.

        Raises
        ------
        CannotMeasure
            Naming every key to add.
        """
        if self.missing:
            count, verb = len(self.missing), "is" if len(self.missing) == 1 else "are"
            msg = f"the run cannot be predicted: {count} of the numbers that it takes {verb} not in the sheet"
            raise CannotMeasure(msg, do="add " + "; ".join(self.missing))


def is_load(machine: Machine, facts: Drive) -> bool:
    """Whether this is a dragged load: it has a load block, or grip but nothing of a motor."""
    motorless = not states_any_motor(facts)
    return motorless and (machine.load is not None or facts.grip_sliding is not None or facts.grip_static is not None)


def states_any_motor(facts: Drive) -> bool:
    """Whether anything about a motor is stated, for the whole machine or for one side."""
    blocks = [facts, *(side for side in (getattr(facts, "left", None), getattr(facts, "right", None)) if side)]
    return any(getattr(block, key) is not None for block in blocks for key in ("stall_torque_Nm", "no_load_rev_min"))


#: Of a drive's block what says how it is driven, not what it can do.
PLANNED: Final = frozenset({"throttle", "throttle_acts_on"})


def drive_facts(run: Run, name: str, findings: Findings) -> tuple[str, Drive]:
    """The key and block that say what a machine's drive can do: the forecast, else what was measured before."""
    planned = run.sheet.forecast.get(name)
    machine = run.sheet.machine[name]
    if planned is not None and any(
        getattr(planned, key) != field.default for key, field in Drive.model_fields.items() if key not in PLANNED
    ):
        return f"forecast.{name}", planned
    if planned is not None and (planned.left is not None or planned.right is not None):
        return f"forecast.{name}", planned
    if machine.drive is not None:
        findings.assumed.append(f"{name} has no forecast of its own; its measured drive [machine.{name}.drive] is used")
        plan = {key: getattr(planned, key) for key in PLANNED} if planned is not None and planned.throttle else {}
        return f"machine.{name}.drive", machine.drive.model_copy(update=plan)
    return f"forecast.{name}", planned or Forecast()


def side_blocks(key: str, facts: Drive) -> Iterator[tuple[str, Drive | None, bool]]:
    """For left and right: the key and block of the side's own numbers, and whether the side counts its own motors."""
    for side in ("left", "right"):
        own: Drive | None = getattr(facts, side, None)
        yield f"{key}.{side}", own, own is not None and own.motors is not None


def check_machine(run: Run, name: str, findings: Findings) -> None:
    """Note what is missing about one machine and which of its parts the predicted run does not cover."""
    machine = run.sheet.machine[name]
    key, facts = drive_facts(run, name, findings)
    for fact in ("mass_kg", "hitch"):
        if getattr(machine, fact) is None and (fact == "mass_kg" or run.sheet.rope is not None):
            findings.missing.append(f"[machine.{name}] {fact}")
    _check_arm(name, key, machine, facts, findings)
    if machine.blocker is not None:
        findings.left_out.append(f"the blocker of {name} is not part of the predicted run: machines never touch in it")
    if machine.unknown and not states_any_motor(facts):
        msg = f"the run cannot be predicted: {name} is an unknown opponent and nothing is stated about its drive"
        raise CannotMeasure(msg, do=f"add [forecast.{name}] with what can be guessed of it, with wide uncertainties")
    if is_load(machine, facts):
        unstated = facts.grip_sliding is None and facts.grip_static is None
        if unstated and (machine.load is None or machine.load.grip_sliding is None):
            findings.missing.append(f"[{key}] grip_sliding")
        elif unstated:
            findings.assumed.append(
                f"{name}: sliding friction as measured, [machine.{name}.load], as no forecast has it"
            )
        return
    held = facts.holding_N is not None or (machine.anchor is not None and machine.anchor.holding_N is not None)
    if held and not states_any_motor(facts):
        if facts.grip_static is None and facts.grip_sliding is None:
            findings.missing.append(f"[{key}] grip_sliding")
        return
    for needed in _NEEDED:
        if getattr(facts, needed) is None:
            sides = list(side_blocks(key, facts))
            if not all(own is not None and getattr(own, needed) is not None for _, own, _ in sides):
                findings.missing.append(f"[{key}] {needed}")
    if facts.grip_static is None and facts.grip_sliding is None:
        findings.missing.append(f"[{key}] grip_static")
    if not machine.wheel:
        findings.missing.append(f"[[machine.{name}.wheel]] radius_m")
    if machine.wheelbase_m is None:
        findings.missing.append(f"[machine.{name}] wheelbase_m")
    if facts.drive_efficiency is None and not all(
        own and own.drive_efficiency for _, own, _ in side_blocks(key, facts)
    ):
        findings.assumed.append(f"{name}: drive efficiency 1, as [{key}] drive_efficiency is not stated")
    if not facts.throttle and not all(own and own.throttle for _, own, _ in side_blocks(key, facts)):
        findings.assumed.append(f"{name}: full drive from the start, as [{key}] throttle is not stated")
    if facts.drive_friction_Nm is None:
        findings.assumed.append(f"{name}: no friction in the drive, as [{key}] drive_friction_Nm is not stated")


def _check_arm(name: str, key: str, machine: Machine, facts: Drive, findings: Findings) -> None:
    """Note what is missing about an arm, and refuse one that weighs as much as its machine."""
    if machine.reach is None:
        if facts.reach_s is not None:
            findings.missing.append(
                f"[machine.{name}.reach] stroke_m and mass_kg, as [{key}] reach_s says it has an arm"
            )
        return
    if facts.reach_s is None or facts.reach_s.value <= 0:
        findings.missing.append(f"[{key}] reach_s, how long the arm of {name} takes to go out")
    if machine.mass_kg is not None and machine.reach.mass_kg >= machine.mass_kg:
        msg = (
            f"the arm of {name} weighs {machine.reach.mass_kg:g} kg, but the whole machine only {machine.mass_kg:g} kg"
        )
        raise CannotMeasure(msg, do=f"in [machine.{name}] mass_kg give the machine with its arm")
    if machine.reach.mass_kg == 0:
        findings.assumed.append(f"{name}: an arm without weight, as [machine.{name}.reach] mass_kg is not stated")


def stated_numbers(run: Run, names: tuple[str, ...]) -> dict[str, Stated]:
    """Every number of the sheets that the predicted run uses and that can carry an uncertainty, by its key."""
    out: dict[str, Stated] = {}

    def add(key: str, number: Quantity | None) -> None:
        if number is not None:
            highest = 1.0 if key.endswith("drive_efficiency") else float("inf")
            out[key] = Stated(key, number.value, number.u, highest)

    for name in names:
        machine = run.sheet.machine[name]
        key, facts = drive_facts(run, name, Findings())
        blocks = [(key, facts), *((side, own) for side, own, _ in side_blocks(key, facts) if own is not None)]
        for block_key, block in blocks:
            for number in _UNCERTAIN:
                add(f"{block_key}.{number}", getattr(block, number))
        if machine.mass_kg is not None:
            out[f"machine.{name}.mass_kg"] = Stated(f"machine.{name}.mass_kg", machine.mass_kg, machine.u_mass_kg)
        if machine.load is not None:
            add(f"machine.{name}.load.grip_sliding", machine.load.grip_sliding)
        if machine.anchor is not None:
            add(f"machine.{name}.anchor.holding_N", machine.anchor.holding_N)
        if machine.brake is not None:
            add(f"machine.{name}.brake.brake_N", machine.brake.brake_N)
    if run.sheet.rope is not None:
        add("rope.stiffness_N_per_m", run.sheet.rope.stiffness_N_per_m)
    return out


def tied_numbers(stated: Mapping[str, Stated]) -> dict[str, str]:
    """Numbers that go with another one, by key: sliding grip of static grip's value and u was measured once."""
    tied = {}
    for key, number in stated.items():
        leader = key.replace("grip_sliding", "grip_static")
        if leader != key and leader in stated and (stated[leader].value, stated[leader].u) == (number.value, number.u):
            tied[key] = leader
    return tied
