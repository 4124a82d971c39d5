"""Lead changes and rope ends that leave their hitch."""

from dataclasses import replace

import numpy as np
import pytest

from matchvision.arrays import FloatArray
from matchvision.filming.scene import Release
from matchvision.grip import find_events
from matchvision.grip.rope import describe_longer_cords, find_lead_changes, find_rope_off
from matchvision.motion import measure_motion
from matchvision.records.events import Event
from matchvision.records.motion import MatchClock
from matchvision.records.tracks import MarkerPlan
from tests.engine.playing import play_in_engine
from tests.filmed_points import film_points
from tests.grip.stories import short_match
from tests.made_motion import Values, make_machine, make_motion, make_rope, make_run, seconds

T_S = seconds(4.0)
N = len(T_S)
CLOCK = MatchClock(0.0, 4.0)
RUN = make_run(
    rope={
        "beads": ({"name": "bead_01", "at_m": 0.1, "colour": "red"}, {"name": "bead_02", "at_m": 0.91, "colour": "red"})
    }
)


def changes(lead_m: FloatArray, kind: str = "match") -> list[tuple[str, float]]:
    rope = make_rope(N, on_plus_x_m=0.5 + lead_m, on_minus_x_m=0.5 - lead_m)
    return [(e.machine, e.start_s) for e in find_lead_changes(make_run(kind=kind).sheet, rope, T_S, CLOCK)]


def test_lead_passes_twice() -> None:
    lead = 0.05 * np.sin(2 * np.pi * (T_S - 0.25) / 3) + 0.0005 * np.random.default_rng(6).standard_normal(N)
    found = changes(lead)
    assert [machine for machine, _ in found] == ["plover", "heron", "plover"]
    assert [at for _, at in found] == pytest.approx([0.25, 1.75, 3.25], abs=0.02)


def test_even_rope_and_load_run_change_no_lead() -> None:
    assert not changes(0.002 * np.sin(20 * T_S))
    assert not changes(0.05 * np.sin(2 * T_S), kind="sled")


def test_noise_has_many_looks_and_still_changes_no_lead() -> None:
    """A lead of 1 mm whose errors are as large as stated, over half an hour: single ones pass 5 mm on either side."""
    t_s, generator = seconds(1800.0, 0.1), np.random.default_rng(11)
    clock, sheet = MatchClock(0.0, 1800.0), make_run(kind="match").sheet

    def found(lead_m: FloatArray) -> list[Event]:
        rope = make_rope(
            len(t_s), on_plus_x_m=0.5 + lead_m, on_minus_x_m=0.5 - lead_m, u_on_plus_x_m=0.002, u_on_minus_x_m=0.002
        )
        return find_lead_changes(sheet, rope, t_s, clock)

    noise = 0.002 * generator.standard_normal(len(t_s))
    assert (0.001 + noise).min() < -0.005 < 0.005 < (0.001 + noise).max()
    assert not found(0.001 + noise)
    # The same noise does not hide a lead that was there.
    (event,) = found(np.where(t_s < 900.0, -0.02, 0.02) + noise)
    assert event.start_s == pytest.approx(900.0, abs=0.2)
    assert event.probability > 0.95


def test_no_lead_is_told_while_a_hitch_is_lost() -> None:
    lead = np.where(T_S < 2.0, -0.03, 0.03)
    rope = make_rope(N, on_plus_x_m=0.5 + lead, on_minus_x_m=0.5 - lead)
    sheet = make_run(kind="match").sheet
    assert find_lead_changes(sheet, rope, T_S, CLOCK, T_S < 5.0)
    assert not find_lead_changes(sheet, rope, T_S, CLOCK, T_S < 1.9)


def test_hitch_that_lets_go_is_dated() -> None:
    """The hitch of plover lies 0.145 behind 0.6, the last bead 0.09 further in. It lets go at 2.0 s."""
    gone = np.clip(T_S - 2.0, 0, None) * 0.3
    machines = [make_machine("heron", N, x_m=-0.6, heading_deg=180.0), make_machine("plover", N, x_m=0.6)]
    beads: dict[str, tuple[Values, Values]] = {"bead_01": (-0.355, 0.0), "bead_02": (0.365 - gone, 0.0)}
    motion = make_motion(T_S, machines=machines, rope=make_rope(N), beads=beads)
    (event,) = find_rope_off(RUN.sheet, motion, None, CLOCK)
    assert event.machine == "plover"
    assert event.start_s == pytest.approx(2.0, abs=0.03)
    assert event.probability > 0.99


def test_hitch_that_lets_go_of_a_cord_a_little_longer_is_dated_where_it_does() -> None:
    """From 0.6 s on its bead is 12 mm further out than the sheet's cord allows, as seen from above; it goes at 2 s."""
    gone = np.where(T_S < 0.6, 0.0, 0.012) + np.clip(T_S - 2.0, 0, None) * 0.3
    machines = [make_machine("heron", N, x_m=-0.6, heading_deg=180.0), make_machine("plover", N, x_m=0.6)]
    beads: dict[str, tuple[Values, Values]] = {"bead_01": (-0.355, 0.0), "bead_02": (0.365 - gone, 0.0)}
    motion = make_motion(T_S, machines=machines, rope=make_rope(N), beads=beads)
    (event,) = find_rope_off(RUN.sheet, motion, None, CLOCK)
    assert event.start_s == pytest.approx(2.0, abs=0.04)


def test_attached_rope_is_left_alone() -> None:
    """A turning machine carries its hitch with it; slack brings the bead nearer, never further."""
    heading = 20 * np.sin(T_S)
    hitch_x = 0.6 - 0.145 * np.cos(np.deg2rad(heading))
    hitch_y = -0.145 * np.sin(np.deg2rad(heading))
    slack = 0.05 * (np.sin(3 * T_S) > 0)
    beads: dict[str, tuple[Values, Values]] = {"bead_01": (-0.365, 0.0), "bead_02": (hitch_x - 0.09 + slack, hitch_y)}
    machines = [
        make_machine("heron", N, x_m=-0.61, heading_deg=180.0),
        make_machine("plover", N, x_m=0.6, heading_deg=heading),
    ]
    motion = make_motion(T_S, machines=machines, rope=make_rope(N), beads=beads)
    assert not find_rope_off(RUN.sheet, motion, None, CLOCK)


@pytest.mark.parametrize(("drawn_m", "off"), [(0.0, 1), (0.02, 0)])
def test_rope_whose_link_stays_drawn_out_has_not_come_off(drawn_m: float, off: int) -> None:
    """The last bead runs 60 mm further from the hitch of plover than the sheet's cord allows; the link tells why."""
    gone = np.clip(T_S - 2.0, 0, 0.2) * 0.3
    machines = [make_machine("heron", N, x_m=-0.6, heading_deg=180.0), make_machine("plover", N, x_m=0.6)]
    beads: dict[str, tuple[Values, Values]] = {"bead_01": (-0.355, 0.0), "bead_02": (0.365 - gone, 0.0)}
    rope = make_rope(N, link_length_m=0.05 + np.where(T_S < 2.0, 0.02, drawn_m), u_link_length_m=0.0005)
    motion = make_motion(T_S, machines=machines, rope=rope, beads=beads)
    link = tuple(MarkerPlan(f"link_{k}", "link", "orange", 0.009, arc_m=at) for k, at in enumerate((0.3, 0.35)))
    motion = replace(motion, tracks=replace(motion.tracks, plans=(*motion.tracks.plans, *link)))
    assert len(find_rope_off(RUN.sheet, motion, None, CLOCK)) == off


def test_longer_cord_is_said_with_its_length() -> None:
    """The last bead hangs 0.15 from the hitch of plover, where the sheet says 0.09."""
    machines = [make_machine("heron", N, x_m=-0.6, heading_deg=180.0), make_machine("plover", N, x_m=0.6)]
    beads: dict[str, tuple[Values, Values]] = {"bead_01": (-0.355, 0.0), "bead_02": (0.305, 0.0)}
    motion = make_motion(T_S, machines=machines, rope=replace(make_rope(N), longer_m=(0.0, 0.06)), beads=beads)
    assert not find_rope_off(RUN.sheet, motion, None, CLOCK)
    (said,) = describe_longer_cords(RUN.sheet, motion)
    assert "from bead bead_02 to the hitch of plover" in said
    length, u95 = said.split("measures ")[1].split(" mm")[0].split(" ± ")
    assert float(length) == pytest.approx(150.0, abs=float(u95))
    assert "not the sheet's 90 mm" in said


@pytest.mark.slow
@pytest.mark.parametrize(("seed", "release_s"), [(1, None), (2, 1.8)])
def test_engine_rope_that_is_longer_than_stated_is_off_only_where_it_is_let_go(
    seed: int, release_s: float | None
) -> None:
    """The sheet says 60 mm too little; in one run the hitch of plover lets go at 1.8 s."""
    scene = short_match(seed, 3.0)
    told_m = scene.rope.length_m
    rope = replace(
        scene.rope, length_m=told_m + 0.06, link=None, bead_colours=("red", "cyan"),
        bead_spacing_m=0.105,
        release=None if release_s is None else Release(hitch="plover", after_start_s=release_s),
    )  # fmt: skip
    scene = replace(scene, rope=rope)
    last_mm = 1000 * (told_m + 0.06 - scene.beads()[-1][1])
    filmed = film_points(scene, np.random.default_rng(seed), course=play_in_engine(scene).course)
    assert filmed.run.sheet.rope is not None
    stated = filmed.run.sheet.rope.model_copy(update={"length_m": told_m})
    run = replace(filmed.run, sheet=filmed.run.sheet.model_copy(update={"rope": stated}))
    motion, motion_note = measure_motion(run, filmed.tracks, filmed.cameras)
    grip, note = find_events(run, motion, None, MatchClock(scene.clock.start_s, scene.clock.duration_s))
    assert motion.rope is not None
    (against,) = motion_note.contradictions  # told with the verdict, which counts the cord as it is
    assert (against.key, against.covered) == ("[rope] length_m", True)
    more, more_u95 = against.shown.split("at plover by ")[1].split(" mm")[0].split(" ± ")
    assert float(more) == pytest.approx(60.0, abs=float(more_u95))
    first_m, second_m = motion.rope.longer_m
    assert first_m == 0.0
    assert second_m == pytest.approx(0.06, abs=0.004)
    (said,) = (w for w in note.warnings if "longer than stated" in w)
    length, u95 = said.split("measures ")[1].split(" mm")[0].split(" ± ")
    assert float(length) == pytest.approx(last_mm, abs=float(u95))
    off = [e for e in grip.events if e.kind == "rope-off"]
    assert len(off) == (release_s is not None)
    if release_s is not None:
        assert off[0].machine == "plover"
        assert off[0].start_s == pytest.approx(release_s, abs=0.05)
