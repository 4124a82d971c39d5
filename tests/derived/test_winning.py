"""How surely each side has won, held against how often rulings of drawn measurements come out so."""

from collections import Counter
from dataclasses import replace

import numpy as np
import pytest

from matchvision.arrays import FloatArray
from matchvision.marking.parts import mark_win_chance
from matchvision.marking.scoring import stated_chance, win_probability
from matchvision.records.motion import MatchClock
from matchvision.records.results import Ruling
from matchvision.records.rubric import Rubric
from matchvision.uncertainty import Chances, chances_by_line, chances_by_share
from matchvision.verdict.comparing import compare_run
from matchvision.verdict.judging import rule
from matchvision.writing.summary import sum_up
from tests.made_motion import make_motion, make_rope, make_run, seconds
from tests.report.invented import invent_analysis

CLOCK = MatchClock(0.0, 1.0)
T_S = seconds(1.2, 0.1)
#: What shifts the middle lengthens one side of the rope and shortens the other; what is uncertain of the whole
#: lengthens both.
U_SHIFT_M, U_WHOLE_M = 0.02, 0.02
U_SIDE_M = float(np.hypot(U_SHIFT_M, U_WHOLE_M / 2))
DRAWS = 20_000


def ruling_of(plus_m: float, minus_m: float, to_win: float) -> Ruling:
    rope = make_rope(
        len(T_S), on_plus_x_m=plus_m, on_minus_x_m=minus_m, total_m=plus_m + minus_m, u_on_plus_x_m=U_SIDE_M,
        u_on_minus_x_m=U_SIDE_M, u_total_m=U_WHOLE_M,
    )  # fmt: skip
    return rule(make_run(rules={"share_to_win": to_win}), make_motion(T_S, rope=rope), CLOCK)


def draw_sides(plus_m: float, count: int) -> tuple[FloatArray, FloatArray]:
    generator = np.random.default_rng(7)
    shift_m, longer_m = generator.normal(0, U_SHIFT_M, count), generator.normal(0, U_WHOLE_M, count)
    return plus_m + shift_m + longer_m / 2, 1 - plus_m - shift_m + longer_m / 2


@pytest.mark.parametrize("to_win", [0.4, 0.5, 0.6])
@pytest.mark.parametrize("plus_m", [0.39, 0.5, 0.51, 0.585, 0.62])
def test_rulings_of_drawn_measurements_come_as_often_as_told(to_win: float, plus_m: float) -> None:
    """Drawn 20,000 times, decided by the words of the rule: the larger share wins, if it exceeds the share to win."""
    winning = ruling_of(plus_m, 1 - plus_m, to_win).winning
    assert winning is not None
    plus, minus = draw_sides(plus_m, DRAWS)
    share = plus / (plus + minus)
    larger = np.maximum(share, 1 - share)
    came = {
        "plover": np.mean((share > 0.5) & (larger > to_win)),
        "heron": np.mean((share < 0.5) & (larger > to_win)),
    }
    # 3.9 standard deviations of a share among so many draws are exceeded once in ten thousand.
    near = 3.9 * 0.5 / np.sqrt(DRAWS)
    assert winning.by_machine == pytest.approx(came, abs=near)
    assert winning.nobody == pytest.approx(1 - came["plover"] - came["heron"], abs=2 * near)
    assert winning.nobody + sum(winning.by_machine.values()) == pytest.approx(1)
    assert to_win > 0.5 or winning.nobody == pytest.approx(0)


@pytest.mark.parametrize("to_win", [0.4, 0.5, 0.6])
def test_the_ruling_itself_comes_as_often_as_told(to_win: float) -> None:
    """As before, by the ruling of each drawn rope; near the line where it turns, so that all results come."""
    plus_m = max(to_win, 0.5) - 0.005
    told = ruling_of(plus_m, 1 - plus_m, to_win).winning
    assert told is not None
    count = 400
    drawn = Counter(
        ruling_of(float(p), float(m), to_win).winner for p, m in zip(*draw_sides(plus_m, count), strict=True)
    )
    near = 3.9 * 0.5 / np.sqrt(count)
    assert drawn[None] / count == pytest.approx(told.nobody, abs=near)
    assert {name: drawn[name] / count for name in told.by_machine} == pytest.approx(told.by_machine, abs=near)


@pytest.mark.parametrize("to_win", [0.4, 0.5, 0.6, 0.75])
def test_sure_is_97_and_a_half_per_cent_of_the_result_as_ruled(to_win: float) -> None:
    for plus_m in np.arange(0.2, 0.8, 0.007):
        ruling = ruling_of(float(plus_m), float(1 - plus_m), to_win)
        assert ruling.winning is not None
        said = ruling.winning.nobody if ruling.winner is None else ruling.winning.by_machine[ruling.winner]
        assert ruling.sure is (said >= 0.975)
        assert ruling.sentence.startswith(
            f"{ruling.winner or 'Nobody'} has won: " if ruling.sure else "Too close to call"
        )


def test_half_the_rope_is_the_normal_law_of_the_margin() -> None:
    """One half to win, wholly opposed errors of 2 mm: 3 mm beyond is 1.5 of them, Φ(1.5) = 0.933193."""
    chances = chances_by_share((0.497, 0.002), (0.503, 0.002), 0.5)
    assert (chances.minus, chances.plus) == pytest.approx((0.066807, 0.933193), abs=1e-6)
    assert chances_by_share((0.497, 0.0), (0.503, 0.0), 0.6) == Chances(0.0, 0.0, 1.0)


def first_line(x_m: FloatArray, line_m: float) -> int:
    """Past which line a path comes first: -1, +1, or 0 for none."""
    for x in x_m:
        if abs(x) > line_m:
            return 1 if x > 0 else -1
    return 0


@pytest.mark.parametrize(
    "corners_m",
    [
        (0.0, 0.29, 0.1),  # stays just short of a line
        (0.0, 0.305, -0.1, -0.4, 0.5),  # passes it by a little, then surely the other one
        (0.0, -0.295, 0.298, -0.31),  # near both in turn
        (-0.31, 0.31),
    ],
)
def test_first_passings_of_shifted_paths_come_as_often_as_told(corners_m: tuple[float, ...]) -> None:
    """Drawn shifts of the whole path, each decided step by step by the words of the rule."""
    x_m = np.interp(np.linspace(0, 1, 60), np.linspace(0, 1, len(corners_m)), corners_m)
    u_m = np.linspace(0.01, 0.02, 60)
    z = np.random.default_rng(3).normal(size=4000)
    came = Counter(first_line(x_m + one * u_m, 0.3) for one in z)
    chances = chances_by_line(x_m, u_m, 0.3)
    near = 3.9 * 0.5 / np.sqrt(len(z))
    assert (chances.minus, chances.nobody, chances.plus) == pytest.approx(
        [came[k] / len(z) for k in (-1, 0, 1)], abs=near
    )


def pulled(corners_m: tuple[float, ...], hidden_s: tuple[float, float] = (9.0, 9.0)) -> Ruling:
    """A ruling by a mark's path over two seconds, its places known to 4 mm, hidden for a while."""
    t_s = seconds(2.2, 0.02)
    x_m = np.interp(t_s, np.linspace(0, 2.2, len(corners_m)), corners_m)
    x_m[(t_s > hidden_s[0]) & (t_s < hidden_s[1])] = np.nan
    motion = make_motion(t_s, beads={"middle": (0.0, 0.0)})
    places = replace(motion.places, x_m=x_m[:, None], u_x_m=np.full((len(t_s), 1), 0.004))
    rules = {"decide": "mark-past-line", "mark": "middle", "line_m": 0.3}
    return rule(make_run(rules=rules), replace(motion, places=places), MatchClock(0.0, 2.0))


def test_no_chance_is_above_one_by_rounding() -> None:
    """Sums over many frames: a path that wanders past its line for certain, two hundred times."""
    generator = np.random.default_rng(3)
    for _ in range(200):
        path_m = np.cumsum(generator.normal(0.0, 0.01, 600))
        told = chances_by_line(path_m, np.full(600, 0.004), 0.05)
        for_minus, for_plus, nobody = told.minus, told.plus, told.nobody
        assert max(for_minus, for_plus, nobody) <= 1.0
        assert min(for_minus, for_plus, nobody) >= 0.0
        assert for_minus + for_plus + nobody == pytest.approx(1.0)


def test_a_line_that_may_not_have_been_passed_first_is_not_sure_by_what_came_later() -> None:
    """Just past plover's line, then far past heron's, then far past plover's: the end makes the beginning no surer."""
    ruling = pulled((0.0, 0.1, 0.302, 0.302, 0.0, -0.5, -0.5, 0.0, 0.6, 0.6))
    assert (ruling.winner, ruling.sure) == ("plover", False)
    assert ruling.winning is not None
    # 2 mm beyond, known to 4 mm: Φ(0.5) = 0.691, and where it was not, it is heron that came first.
    assert ruling.winning.by_machine["plover"] == pytest.approx(0.691, abs=0.005)
    assert ruling.winning.by_machine["heron"] == pytest.approx(1 - ruling.winning.by_machine["plover"])
    assert "plover is ahead with a probability of 69 %, else it is heron" in ruling.sentence


@pytest.mark.parametrize(
    ("corners_m", "hidden_s", "winner", "sure"),
    [
        ((0.0, 0.4, 0.4), (9.0, 9.0), "plover", True),
        ((0.0, 0.4, 0.4), (1.3, 2.1), "plover", True),  # past its line at 0.8 s
        ((0.0, 0.4, 0.4), (0.1, 0.7), "plover", False),
        ((0.0, 0.302, 0.302, 0.4), (0.9, 1.5), "plover", False),  # 2 mm past it before
        ((0.1, 0.1), (9.0, 9.0), None, True),
        ((0.1, 0.1), (0.4, 1.0), None, False),
    ],
)
def test_hidden_before_anybody_had_surely_won_leaves_no_probability(
    corners_m: tuple[float, ...], hidden_s: tuple[float, float], winner: str | None, *, sure: bool
) -> None:
    ruling = pulled(corners_m, hidden_s)
    assert (ruling.winner, ruling.sure, ruling.winning is not None) == (winner, sure, sure)
    assert ("It was hidden for 0." in ruling.sentence) is not sure


def test_the_comparison_holds_stated_chances_against_the_same_probabilities() -> None:
    """Six tenths to win and a share of 58.5 %: most likely nobody has won, against which a stated 0.9 is compared."""
    sheet = {"plover": {"win_chance": 0.9}, "heron": {"win_chance": 0.1}}
    ruling = ruling_of(0.585, 0.415, 0.6)
    assert ruling.winning is not None
    run = make_run(rules={"share_to_win": 0.6}, forecast=sheet)
    compared = compare_run(run, make_motion(T_S), None, None, CLOCK, None, ruling)
    rows = {c.machine: c.row for c in compared if c.group == "chance"}
    assert {name: row.measured for name, row in rows.items()} == pytest.approx(dict(ruling.winning.by_machine))
    assert 0.1 < rows["plover"].measured < 0.5
    assert rows["heron"].measured < 0.01
    assert all(row.within == "inconclusive" for row in rows.values())


@pytest.mark.parametrize("to_win", [0.4, 0.5, 0.6])
def test_marks_are_given_by_the_same_probabilities(to_win: float) -> None:
    """From the ruling through the result file to the mark, near where the rule turns."""
    ruling = ruling_of(max(to_win, 0.5) + 0.01, 0.99 - max(to_win, 0.5), to_win)
    assert ruling.winning is not None
    whole = invent_analysis()
    brief = sum_up(replace(whole, verdict=replace(whole.verdict, ruling=ruling)), ())
    for name, won in ruling.winning.by_machine.items():
        assert win_probability(brief, name) == won
        chance, _ = stated_chance(brief, name)
        points = mark_win_chance(brief, name, Rubric()).points
        assert points == pytest.approx(20 * (1 - won * (1 - chance) ** 2 - (1 - won) * chance**2))
    assert 0.6 < win_probability(brief, "plover") < 0.8
    assert (win_probability(brief, "heron") > 0.2) is (to_win <= 0.5)  # beyond one half it is nobody instead
