"""Where each number of a match stands in the arrays that the compiled part computes with.

A state holds for each of two bodies: x, y [m] and heading [rad] of the centre of mass, their rates [m/s, rad/s], the
rates of its left and right driven wheels [rad/s], and how far the friction of each side's drive is strained, −1 to 1.
Wheels of one side are geared together. A body of mass 0 is absent. On a table with a profile x counts along the surface
(0 where the table's x is 0) and the heading within the machine's tilted plane.
"""

from typing import Final, NamedTuple

from matchvision.arrays import FloatArray

#: Creep speed [m/s] that stands for sticking; MuJoCo and real tyres creep more.
CREEP_M_S: Final = 2e-4

STATES: Final = 10
# Places in a body's numbers; contact points follow from CONTACT_0 on, three numbers each: x, y, kind.
MASS, YAW_INERTIA, COM_X, COM_Y, COM_Z, HITCH_X, HITCH_Y, HITCH_Z, WHEEL_RADIUS = range(9)
GRIP_STATIC, GRIP_SLIDING, ROLLING, HOLDING, BRAKE, ON_VOLTAGE, SAG, DELAY = range(9, 17)
STALL_LEFT, STALL_RIGHT, FREE_LEFT, FREE_RIGHT, FRICTION_LEFT, FRICTION_RIGHT, INERTIA_LEFT, INERTIA_RIGHT = range(
    17, 25
)
LOSS_S, LOST_LEFT, LOST_RIGHT, GRIP_SINCE_S, GRIP_SINCE_RATIO, STRETCH_FROM, STRETCH_TO, STRETCH_RATIO = range(25, 33)
WALL_X, WALL_SIDE = range(33, 35)
ARM_FROM_S, ARM_LASTS_S, ARM_STROKE, ARM_MASS, ARM_WAY, ARM_HITCHED = range(35, 41)
HALF_LENGTH, HALF_WIDTH, DIAGONAL = 41, 42, 43
CONTACT_0: Final = 44
BODY_NUMBERS: Final = CONTACT_0 + 12
#: Kinds of contact point.
DRAGGED, DRIVEN, ROLLING_FREE = 0.0, 1.0, 2.0

# Places in the rope's numbers.
ROPE_LENGTH, ROPE_STIFFNESS, ROPE_DAMPING, GRAVITY, RELEASE_S, FAR_Z = range(6)
ROPE_NUMBERS: Final = 6

# Columns of a body's standing table: its origin's x and z and its tilt, and their rates with its place.
STAND_X, STAND_Z, STAND_TILT, STAND_DX, STAND_DZ, STAND_DTILT = range(6)

# A body as it stands: its hitch's place, velocity, and rates with the body's x and its heading (three numbers each);
# cosine and sine of its tilt; rates of its centre of mass's height with its x and heading; of its tilt with x; height.
HITCH_AT, HITCH_VELOCITY, HITCH_BY_X, HITCH_BY_HEADING = 0, 3, 6, 9
TILT_COS, TILT_SIN, RISE_BY_X, RISE_BY_HEADING, BEND, HEIGHT, ORIGIN_X, CLIMB = range(12, 20)
PLACED: Final = 20

# Places in the results for one instant: the rope's, then each body's.
TENSION, STRETCH, ROPE_LOSS, PLUS_SHARE = range(4)
RESULTS_0: Final = 4
TRACTION, LOAD, SLIP, SPEED, DRIVE_POWER, LOSS_POWER, LEAST_LOAD, GRIP_USED = range(8)
AT_X, AT_Y, VELOCITY_X, VELOCITY_Y, SEEN_HEADING, HITCH_SEEN_X, HITCH_SEEN_Y, ENERGY = range(8, 16)
RESULTS: Final = 16
ALL_RESULTS: Final = RESULTS_0 + 2 * RESULTS


class MatchNumbers(NamedTuple):
    """A whole match as arrays.

    Attributes
    ----------
    bodies : (2, BODY_NUMBERS)
    throttle : (2, 2, k, 2), by body, side and row: time [s] and share of full drive.
    winding : (2, k, 2), rope wound in: time [s] and length [m].
    holding, by_angle : (2, k, 2), share of the base's hold over time [s] and over the pull's angle [rad].
    rope : (ROPE_NUMBERS,)
    stand : (2, k, 6), standing tables on an even grid; no rows on a level table.
    grid : (2,), the grid's first place and its step [m].
    crests : (c, 2), x and z of the edges that the rope may lie on, in the order of x.
    far : (k, 3), measured course of the rope's other end where no body holds it: time [s], x and y [m]; else no rows.
    """

    bodies: FloatArray
    throttle: FloatArray
    winding: FloatArray
    holding: FloatArray
    by_angle: FloatArray
    rope: FloatArray
    stand: FloatArray
    grid: FloatArray
    crests: FloatArray
    far: FloatArray


class Room(NamedTuple):
    """Arrays that the compiled part writes into on its way, so that it need not ask for memory at every turn.

    Attributes
    ----------
    placed : (2, PLACED), how each body stands.
    pull : (2, 3), the force on each body's hitch [N].
    work : (6, 4), what each contact point does per load, the loads, and the wheels' torques.
    ends, way : (2, 2) and (crests + 2, 2), the rope's ends and its corners in x and z.
    stood, other : as ``placed`` and ``pull``, with something moved.
    state, base, moved : (20,), a state with something moved, and rates.
    by_pull : (3, 20), what a pull on its hitch changes of a body's rates.
    results : (ALL_RESULTS,)
    """

    placed: FloatArray
    pull: FloatArray
    work: FloatArray
    ends: FloatArray
    way: FloatArray
    stood: FloatArray
    other: FloatArray
    state: FloatArray
    base: FloatArray
    moved: FloatArray
    by_pull: FloatArray
    results: FloatArray
