"""A match with something else about one of its machines."""

from dataclasses import replace

from matchvision.mechanics.machine import MatchModel, SideDrive


def with_machine(model: MatchModel, k: int, **told: object) -> MatchModel:
    """The match with something else about its machine number ``k``."""
    machines = list(model.machines)
    machines[k] = replace(machines[k], **told)  # type: ignore[arg-type]
    return replace(model, machines=tuple(machines))


def scale_inertia(model: MatchModel, k: int, ratio: float) -> MatchModel:
    """The match with another inertia of the wheels and gear of its machine number ``k``."""

    def scaled(side: SideDrive | None) -> SideDrive | None:
        return None if side is None else replace(side, inertia_kg_m2=side.inertia_kg_m2 * ratio)

    machine = model.machines[k]
    return with_machine(model, k, left=scaled(machine.left), right=scaled(machine.right))


def scale_drive(model: MatchModel, k: int, *, torque: float, rate: float) -> MatchModel:
    """The match with other stall torques and no-load rates of both sides of its machine number ``k``."""

    def scaled(side: SideDrive | None) -> SideDrive | None:
        if side is None:
            return None
        stall, free = side.stall_torque_Nm * torque, side.free_rate_rad_s * rate
        return replace(side, stall_torque_Nm=stall, free_rate_rad_s=free)

    machine = model.machines[k]
    return with_machine(model, k, left=scaled(machine.left), right=scaled(machine.right))
