"""What is planned over match time, compiled: tables joined by straight lines, the drive's law, an arm going out."""

from matchvision.arrays import FloatArray
from matchvision.mechanics.compiling import compiled_lean
from matchvision.mechanics.layout import ARM_FROM_S, ARM_LASTS_S, ARM_STROKE


@compiled_lean
def read_table(at: float, table: FloatArray) -> float:
    """Value of a table (k, 2) by straight lines; the first and the last go on for ever."""
    if at <= table[0, 0]:
        return float(table[0, 1])
    for i in range(1, len(table)):
        if at <= table[i, 0]:
            part = (at - table[i - 1, 0]) / (table[i, 0] - table[i - 1, 0])
            return float(table[i - 1, 1] + part * (table[i, 1] - table[i - 1, 1]))
    return float(table[-1, 1])


@compiled_lean
def read_rise(at: float, table: FloatArray) -> float:
    """Slope of a table (k, 2) by straight lines, at a corner that of the line behind it; 0 outside."""
    for i in range(1, len(table)):
        if table[i - 1, 0] <= at < table[i, 0]:
            return float((table[i, 1] - table[i - 1, 1]) / (table[i, 0] - table[i - 1, 0]))
    return 0.0


@compiled_lean
def drive_share(time_s: float, throttle: FloatArray) -> float:
    """Share of full drive; nothing before the plan's time 0."""
    return 0.0 if time_s < 0.0 else read_table(time_s, throttle)


@compiled_lean
def drive_torque_Nm(  # noqa: N802 - SI capitals
    rate: float, share: float, stall: float, free: float, on_voltage: float, sag: float
) -> float:
    """The law of mechanics.motor.drive_torque_Nm, held equal to it by a test."""
    ratio = share - rate / free if on_voltage > 0.5 else share - abs(share) * rate / free
    return stall * ratio / (1.0 + sag * abs(share))


@compiled_lean
def arm_motion(time_s: float, body: FloatArray) -> tuple[float, float, float]:
    """How far an arm is out [m], its speed and its acceleration: gathering speed, steady, stopping, a third each."""
    lasts, stroke = body[ARM_LASTS_S], body[ARM_STROKE]
    since = time_s - body[ARM_FROM_S]
    if stroke == 0.0 or since <= 0.0:
        return 0.0, 0.0, 0.0
    if since >= lasts:
        return stroke, 0.0, 0.0
    gain = 4.5 * stroke / (lasts * lasts)
    if since < lasts / 3.0:
        return 0.5 * gain * since * since, gain * since, gain
    if since < lasts * (2.0 / 3.0):
        speed = 1.5 * stroke / lasts
        return 0.25 * stroke + speed * (since - lasts / 3.0), speed, 0.0
    left = lasts - since
    return stroke - 0.5 * gain * left * left, gain * left, -gain
