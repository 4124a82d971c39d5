"""What really happened, as a table with a row a picture and a file of facts."""

import json
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from matchvision.filming.arrays import Array, Flags
from matchvision.filming.camera import Poses, lens_of, rotation_vector
from matchvision.filming.course import STEP_S, Course, MachineCourse
from matchvision.filming.ground import GRAVITY_M_S2, axes
from matchvision.filming.lamp import lamp_place_px
from matchvision.filming.places import Places
from matchvision.filming.scene import Machine, Scene
from matchvision.filming.views import Views

# What counts as what, by the event's definitions; written down here by itself, as all of filming is.
SLIP_M_S = 0.03
SLIP_LASTS_S = 0.15
FIRST_MOTION_M_S = 0.010
CREEP_M_S, CREEPS_M = 0.004, 0.003
BREAKS_M_S = 0.030  # a base that moves faster than this has let go
REACHED_M = 0.005  # an arm that has moved by so much is going out


def frame_times(scene: Scene) -> Array:
    """Clip time of each picture: the middle of its exposure, zero for a clip's first [s]."""
    return scene.clock.from_s + np.arange(scene.frames) / scene.camera.frames_per_s


def truth_table(scene: Scene, course: Course, places: Places, views: Views) -> pd.DataFrame:
    """A row a picture: markers, machines, rope and camera pose.

    Pitch is positive with the nose up, roll with the left side up. Units are metres, seconds, newtons and radians
    unless a column ends in ``_deg``; ``_u`` and ``_v`` are pixels.
    """
    now = course.at(places.clip_s)
    columns: dict[str, Any] = {"pts_s": places.clip_s}
    for name, points in places.markers.items():
        stem = name.replace(".", "_")
        for axis, letter in enumerate("xyz"):
            columns[f"{stem}_{letter}"] = points[:, axis]
        columns[f"{stem}_u"], columns[f"{stem}_v"] = views.pixels[name].T
        columns[f"{stem}_vis"] = views.visible[name].astype(int)
    for name, machine in scene.machine.items():
        columns.update(_machine_columns(name, machine, now.machines[name], course.machines[name], course, places))
    for end, hitch in zip(scene.rope.ends if scene.roped else (), places.hitches, strict=False):
        for axis, letter in enumerate("xyz"):
            columns[f"{end}_hitch_{letter}"] = hitch[:, axis]
    for name, machine in scene.machine.items():
        if machine.arm is not None:
            columns[f"{name}_reach"] = machine.arm.out_m(places.clip_s - scene.clock.start_s)
    columns["tension_N"] = now.tension_N
    columns["tension_mean_N"] = course.tension_over(places.clip_s, 1 / scene.camera.frames_per_s)
    columns["rope_taut"] = (~places.slack).astype(int)
    release_s = np.inf if scene.release_s is None else scene.release_s
    columns["rope_attached"] = (places.clip_s < release_s).astype(int)
    columns["rope_plus_x_m"] = places.rope_plus_x_m
    columns["rope_total_m"] = places.rope_total_m
    columns["rope_mid_x"] = places.rope_mid_x_m
    if scene.rope.link is not None:
        columns["link_length_m"] = np.where(places.slack, scene.rope.link.rest_m, now.link_m)
    columns.update(_pose_columns(views.poses))
    return pd.DataFrame({name: column + 0 for name, column in columns.items()})  # + 0: no minus before a zero


def _machine_columns(
    name: str, machine: Machine, state: MachineCourse, fine: MachineCourse, course: Course, places: Places
) -> dict[str, Array]:
    turn = axes(state.heading_rad, state.tilt_rad)
    ahead = state.speed_m_s * np.cos(state.heading_rad) / np.hypot(1, state.climb)
    # The heading seen from above; on level ground the one within the machine's plane.
    yaw = np.arctan2(turn[:, 1, 0], turn[:, 0, 0])
    heading = state.heading_rad + (yaw - state.heading_rad + np.pi) % (2 * np.pi) - np.pi
    columns = {
        f"{name}_pos_x": state.x_m,
        f"{name}_pos_y": state.y_m,
        f"{name}_pos_z": state.z_m,
        f"{name}_heading_deg": np.rad2deg(heading),
        f"{name}_pitch_deg": np.rad2deg(np.arcsin(turn[:, 2, 0])),
        f"{name}_roll_deg": np.rad2deg(np.arcsin(turn[:, 2, 1])),
        f"{name}_vx": ahead,
        f"{name}_vy": state.speed_m_s * np.sin(state.heading_rad),
        f"{name}_vz": ahead * state.climb,
        f"{name}_v_drive": state.speed_m_s,
        f"{name}_ground_force_N": state.traction_N,
        f"{name}_normal_N": state.normal_N,
    }
    if machine.drive is None:
        return columns | {f"{name}_mu_effective": state.grip_ratio}
    surface = state.wheel_rate_rad_s * machine.drive.wheel_radius_m
    turned = np.interp([places.clip_s - STEP_S, places.clip_s + STEP_S], course.clip_s, fine.wheel_angle_rad)
    return columns | {
        f"{name}_wheel_w": state.wheel_rate_rad_s,
        f"{name}_wheel_angle": state.wheel_angle_rad,
        f"{name}_wheel_w_mean": (turned[1] - turned[0]) / (2 * STEP_S),
        f"{name}_surface_speed": surface,
        f"{name}_slip": surface - state.speed_m_s,
        f"{name}_voltage": state.share,
    }


def _pose_columns(poses: Poses) -> dict[str, Array]:
    vectors = np.array([rotation_vector(r) for r in poses.rotation])
    columns = {f"cam_r{letter}": vectors[:, k] for k, letter in enumerate("xyz")}
    return columns | {f"cam_t{letter}": poses.translation[:, k] for k, letter in enumerate("xyz")}


def _intervals(clip_s: Array, holds: Flags, *, lasts_s: float, bridge_s: float = 0.0) -> list[list[float]]:
    """Stretches of time in which something holds, gaps below ``bridge_s`` closed, short ones dropped."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], holds, [False]]).astype(int)))
    found: list[list[float]] = []
    for start, stop in zip(edges[::2], edges[1::2], strict=True):
        begin, end = float(clip_s[start]), float(clip_s[stop - 1])
        if found and begin - found[-1][1] <= bridge_s:
            found[-1][1] = end
        else:
            found.append([begin, end])
    return [[round(a, 4), round(b, 4)] for a, b in found if b - a >= lasts_s]


def events(scene: Scene, course: Course) -> dict[str, Any]:
    """Dated events in clip seconds."""
    slips: dict[str, list[list[float]]] = {}
    first: dict[str, float | None] = {}
    losses: dict[str, float] = {}
    seen = course.clip_s <= scene.last_s
    clip_s = course.clip_s[seen]
    for name, machine in scene.machine.items():
        state = course.machines[name]
        moving = np.flatnonzero(np.abs(state.speed_m_s[seen]) > FIRST_MOTION_M_S)
        first[name] = round(float(clip_s[moving[0]]), 4) if len(moving) else None
        if machine.drive is not None:
            slip = state.wheel_rate_rad_s * machine.drive.wheel_radius_m - state.speed_m_s
            slips[name] = _intervals(clip_s, np.abs(slip[seen]) > SLIP_M_S, lasts_s=SLIP_LASTS_S)
            if machine.drive.loss_s is not None:
                losses[name] = scene.clock.start_s + machine.drive.loss_s
    return {
        "first_motion_s": {name: at for name, at in first.items() if at is not None},
        "slip_threshold_m_s": SLIP_M_S,
        "slip_intervals_s": slips,
        "rope_taut_intervals_s": _intervals(clip_s, course.tension_N[seen] > 0, lasts_s=0.0, bridge_s=0.02),
        "rope_release_s": scene.release_s,
        "rope_latch_s": None,
        "power_loss": losses,
        "hand_crossings_s": [[hand.from_s, hand.until_s] for hand in scene.hand],
        **_events_of_parts(scene, course, seen),
    }


def _events_of_parts(scene: Scene, course: Course, seen: Flags) -> dict[str, Any]:
    """Anchors that creep or break away, arms that go out, machines against walls; clip seconds."""
    clip_s = course.clip_s[seen]
    creeps: dict[str, list[list[float]]] = {}
    breaks: dict[str, float] = {}
    reaches: dict[str, float] = {}
    contacts: dict[str, list[list[float]]] = {}
    for name, machine in scene.machine.items():
        state = course.machines[name]
        speed = np.abs(state.speed_m_s[seen])
        if machine.anchor is not None:
            moves = _intervals(clip_s, speed > CREEP_M_S, lasts_s=0.0, bridge_s=0.05)
            far = [np.interp(b, clip_s, np.cumsum(speed) * STEP_S) - np.interp(a, clip_s, np.cumsum(speed) * STEP_S)
                   for a, b in moves]  # fmt: skip
            creeps[name] = [span for span, way in zip(moves, far, strict=True) if way >= CREEPS_M]
            let_go = np.flatnonzero(np.abs(state.traction_N[seen]) > machine.anchor.holding_N * (1 - 1e-9))
            loose = np.flatnonzero(speed > BREAKS_M_S)
            if len(loose):
                breaks[name] = round(float(clip_s[loose[0]]), 4)
            elif len(let_go):
                breaks[name] = round(float(clip_s[let_go[0]]), 4)
        if machine.arm is not None:
            out = machine.arm.out_m(clip_s - scene.clock.start_s)
            if out[-1] > REACHED_M:
                reaches[name] = round(float(clip_s[int(np.argmax(out > REACHED_M))]), 4)
        for wall in scene.wall:
            cos = np.cos(state.heading_rad[seen])
            reach = machine.size_m[0] / 2 * np.abs(cos) + wall.size_m[0] / 2
            beside = np.abs(state.y_m[seen] - wall.at_m[1]) < machine.size_m[1] / 2 + wall.size_m[1] / 2
            touching = (np.abs(state.x_m[seen] - wall.at_m[0]) < reach) & beside
            contacts.setdefault(name, []).extend(_intervals(clip_s, touching, lasts_s=0.0, bridge_s=0.1))
    return {"anchor_creep_s": creeps, "break_away_s": breaks, "reach_out_s": reaches, "contact_s": contacts}


def verdict(scene: Scene, at_end: Places) -> dict[str, Any]:
    """Who has won when the clock stops; ``at_end`` holds that one moment."""
    plus, total = float(at_end.rope_plus_x_m[0]), float(at_end.rope_total_m[0])
    on_side = {"+x": plus, "-x": total - plus}
    winner = max(scene.machine, key=lambda name: on_side[scene.machine[name].home])
    return {
        "at_clip_s": scene.end_s,
        "rope_plus_x_m": round(plus, 6),
        "rope_total_m": round(total, 6),
        "winner": winner,
        "margin_mm": round(1000 * (on_side[scene.machine[winner].home] - scene.share_to_win * total), 3),
        "rope_mid_x_mm": round(1000 * float(at_end.rope_mid_x_m[0]), 3),
        "rule": "the larger part of the rope on the own side of x = 0; margin = length beyond the share to win",
    }


def _machine_facts(name: str, machine: Machine) -> dict[str, Any]:
    facts: dict[str, Any] = {
        "name": name,
        "kind": "wheeled" if machine.drive is not None else "sled" if machine.anchor is None else "anchored",
        "side": machine.home,
        "mass_kg": machine.mass_kg,
        "friction_mu": machine.grip_ratio,
        "hitch_height_m": machine.hitch_m[2],
        "hitch_x0": machine.hitch_x_m,
        "yaw0_deg": machine.heading_offset_deg,
        "y0": machine.y_m,
    }
    drive = machine.drive
    if drive is None:
        return facts | {"kinetic_friction_force_N": machine.grip_ratio * machine.mass_kg * GRAVITY_M_S2}
    stall = drive.motors * drive.stall_torque_Nm * drive.gear_ratio * drive.drive_efficiency
    no_load = drive.no_load_rev_min * 2 * np.pi / 60 / drive.gear_ratio
    return facts | {
        "wheel_radius_m": drive.wheel_radius_m,
        "wheel_inertia_kg_m2": drive.wheel_inertia_kg_m2,
        "n_motors": drive.motors,
        "motor_stall_Nm": drive.stall_torque_Nm,
        "motor_no_load_rpm": drive.no_load_rev_min,
        "gear_ratio": drive.gear_ratio,
        "gear_efficiency": drive.drive_efficiency,
        "gear_friction_Nm": drive.drive_friction_Nm,
        "stall_torque_all_wheels_Nm": stall,
        "no_load_wheel_rad_s": no_load,
        "stall_pull_N": stall / drive.wheel_radius_m,
        "no_load_speed_m_s": no_load * drive.wheel_radius_m,
        "throttle_acts_on": drive.throttle_acts_on,
        "throttle_match_s": [[t + drive.start_delay_s, share] for t, share in drive.throttle],
    }


def truth_facts(scene: Scene, course: Course, views: Views, at_end: Places) -> dict[str, Any]:
    """Everything about the clip that is not a time series."""
    lens = lens_of(scene.camera)
    rope, link = scene.rope, scene.rope.link
    whole = rope.stiffness_N_per_m
    if link is not None:
        whole = 1 / (1 / rope.stiffness_N_per_m + 1 / link.stiffness_N_per_m)
    return {
        "slug": scene.name,
        "story": scene.story,
        "seed": scene.seed,
        "time": {
            "pts_is": "middle of the exposure of the middle row, seconds after the first frame",
            "frames": scene.frames,
            "first_frame": round(scene.clock.from_s * scene.camera.frames_per_s),
            "match_start_clip_s": scene.clock.start_s,
            "match_end_clip_s": scene.end_s,
            "start_sound_clip_s": scene.start_sound_s,
            "lamp_on_clip_s": scene.lamp_on_s,
        },
        "camera": {
            "width": scene.camera.size_px[0],
            "height": scene.camera.size_px[1],
            "K": lens.matrix.tolist(),
            "dist_k1_k2_p1_p2_k3": list(lens.distortion),
            "convention": "pixel centres at integers, x right, y down, z forward",
            "R_table_to_camera": views.poses.rotation[0].tolist(),
            "t_table_to_camera": views.poses.translation[0].tolist(),
            "rvec": rotation_vector(views.poses.rotation[0]).tolist(),
            "position_m": views.poses.position[0].tolist(),
            "moves": scene.camera.sway is not None,
            "per_frame_pose": "truth.csv cam_rx..cam_tz (Rodrigues vector, translation)",
            "exposure_s": scene.camera.exposure_s,
            "subframes": scene.camera.subframes,
            "rolling_shutter_s": scene.camera.readout_s,
            "rolling_note": "u, v are where the marker is drawn; row v is exposed at "
            "pts + (v/(height-1) - 0.5) * rolling_shutter_s, x, y, z are at pts",
            "noise_levels": scene.camera.noise_levels,
            "flicker_hz": scene.light.flicker_Hz if scene.light.flicker_ratio else None,
            "sway_mm": 1000 * scene.camera.sway.move_m if scene.camera.sway else 0.0,
            "sway_deg": scene.camera.sway.turn_deg if scene.camera.sway else 0.0,
            "bitrate": scene.camera.bitrate,
        },
        "lamp": None
        if scene.lamp is None
        else {"at_m": list(scene.lamp.at_m), "first_picture_px": lamp_place_px(scene, scene.clock.from_s).tolist()},
        "machines": {name: _machine_facts(name, machine) for name, machine in scene.machine.items()},
        "rope": None
        if not scene.roped
        else {
            "length_m": rope.length_m,
            "bead_spacing_m": rope.bead_spacing_m,
            "first_bead_m": rope.first_bead_m,
            "ends": list(rope.ends),
            "link": None
            if link is None
            else {
                "s0_m": link.from_m,
                "rest_m": link.rest_m,
                "stiffness_N_m": link.stiffness_N_per_m,
                "hang_sd_m": link.u_reading_m,
                "colour": link.colour,
                "hang_masses_kg": list(link.hang_masses_kg),
            },
            "stiffness_N_m": rope.stiffness_N_per_m,
            "damping_Ns_m": rope.damping_N_s_per_m,
            "bead_colours": list(rope.bead_colours),
            "stiffness_total_N_m": whole,
        },
        "profile_m": [list(point) for point in scene.table.profile_m],
        "gravity_m_s2": GRAVITY_M_S2,
        "physics": {"timestep_s": STEP_S},
        "events": events(scene, course),
        "verdict": verdict(scene, at_end) if scene.roped else None,
    }


def write_truth(folder: Path, table: pd.DataFrame, facts: dict[str, Any]) -> None:
    """Write ``truth.csv`` and ``truth.json``."""
    table.to_csv(folder / "truth.csv", index=False, float_format="%.7g")
    (folder / "truth.json").write_text(json.dumps(facts, indent=1) + "\n", encoding="utf-8")
