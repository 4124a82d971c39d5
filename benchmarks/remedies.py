"""What would have won, tried out: the proposed change is made in a physics engine, and one that is said to do nothing.

Runs with honest forecasts, seen through noisy markers; some with a known change, whose cause is given as found. A good
answer turns the verdict with the change, and does not with the largest one that never won in the fitted matches. One
row a run and lever; rows with a lever but no chance hold a given setting's effect alone:

- ``turned``: the engine's verdict turned with the proposed change; ``hopeless_did_not``: it did not with the other;
- ``engine_m``: by how much the loser's lead at the end changed in the engine; ``fitted_m``, ``u_fitted_m``: the same in
  the fitted matches, mean and standard deviation over the draws.

Rows are kept as they come, for as long as the program stays the same, so that a study may be stopped and taken up.
"""

import json
import time
from collections.abc import Iterator
from functools import partial
from typing import Any, Final

import numpy as np
import pandas as pd

from benchmarks.causes import KEPT, state_of_program
from matchvision.errors import CannotMeasure
from matchvision.mechanics.machine import MachineModel
from matchvision.remedies.levers import Lever, levers_of
from matchvision.remedies.seeking import SEED, who_lost
from matchvision.remedies.winning import rerun
from tests.remedies.tried_out import Sought, engine_lead_m, engine_winner, hopeless_setting, seek, with_change

#: Kinds of known changes, some of which are refitted parts of the losing machine itself.
REFITTED: Final = ("drive-loss", "less-grip", "late-start", "wrong-mass")
RUNS: Final = tuple(
    run for seed in range(1, 11) for run in [("as-predicted", seed), *((kind, seed) for kind in REFITTED if seed < 5)]
)
#: What the engine itself leaves open of a place [m].
ENGINE_M: Final = 2e-4
#: Settings whose effect on the lead is compared, whatever was proposed.
SETTINGS: Final = (("gear", 0.8), ("gear", 1.25), ("grip", 0.87), ("grip", 1.15))


def measure() -> pd.DataFrame:
    """One row a run and lever; prints how often a proposed change turned the verdict, and what the model gets wrong."""
    kept = KEPT.with_name("matchvision-remedies") / f"{state_of_program()}.jsonl"
    kept.parent.mkdir(parents=True, exist_ok=True)
    rows = [json.loads(line) for line in kept.read_text().splitlines()] if kept.exists() else []
    done = {(row["kind"], row["seed"]) for row in rows}
    for kind, seed in RUNS:
        if (kind, seed) in done:
            continue
        own = list(try_out(kind, seed))
        rows += own
        with kept.open("a") as file:
            file.writelines(json.dumps(row) + "\n" for row in own)
    table = pd.DataFrame(rows)
    print(summarise(table))
    return table


def try_out(kind: str, seed: int) -> Iterator[dict[str, Any]]:
    """Rows of one run."""
    began = time.process_time()
    try:
        sought = seek(kind, seed)
    except CannotMeasure as refused:
        yield {"kind": kind, "seed": seed, "lever": "", "told": refused.what}
        return
    row = {"kind": kind, "seed": seed, "whose": sought.changed.machine, "loser": sought.remedies.machine}
    row |= {"cpu_s": time.process_time() - began, "told": ""}
    for remedy in sought.remedies.remedies:
        own = row | {"lever": remedy.lever, "setting": remedy.setting, "win_chance": remedy.win_chance}
        if remedy.lever in ("gear", "grip") and np.isfinite(remedy.setting):
            proposed = with_change(sought, remedy.lever, remedy.setting)
            own["turned"] = engine_winner(proposed, sought.changed) == sought.remedies.machine
            less = hopeless_setting(sought, remedy)
            if less != 1.0:
                hopeless = with_change(sought, remedy.lever, less)
                own["hopeless"] = less
                own["hopeless_did_not"] = engine_winner(hopeless, sought.changed) == sought.ruling.winner
        yield own
    yield from (row | effect for effect in effects(sought))


def effects(sought: Sought) -> Iterator[dict[str, Any]]:
    """What given settings change of the loser's lead, in the engine and in the fitted matches."""
    k, measured, end_s = who_lost(sought.run, sought.ruling, sought.fitted)
    played = rerun(sought.fitted, k, measured, end_s, SEED)
    before_m = engine_lead_m(sought.changed.scene, sought.changed, sought.remedies.machine)
    levers = {lever.name: lever for lever in levers_of(sought.fitted.best.machines[k])}
    for name, setting in SETTINGS:
        after_m = engine_lead_m(with_change(sought, name, setting), sought.changed, sought.remedies.machine)
        models = played.changed(partial(_turned, levers[name], setting), len(sought.fitted.samples))
        changes_m = played.leads_m(played.play(models)) - played.as_it_was_m
        yield {
            "lever": name, "setting": setting, "engine_m": after_m - before_m, "fitted_m": float(np.mean(changes_m)),
            "u_fitted_m": float(np.std(changes_m, ddof=1)),
        }  # fmt: skip


def _turned(lever: Lever, setting: float, machine: MachineModel) -> MachineModel:
    return lever.turn(machine, setting)


def summarise(table: pd.DataFrame) -> str:
    """Verdicts turned by lever, and the model's error of a change as a share of it, by whether a cause was refitted."""
    turned = table.groupby("lever")[["turned", "hopeless_did_not"]].agg(["sum", "count"])
    effect = table[table["engine_m"].notna()].copy()
    effect["refitted"] = (effect["kind"] != "as-predicted") & (effect["whose"] == effect["loser"])
    effect["other"] = (effect["kind"] != "as-predicted") & ~effect["refitted"]
    said = [turned.to_string()]
    for word, own in (
        ("as predicted", effect[effect["kind"] == "as-predicted"]),
        ("a cause of the winner refitted", effect[effect["other"]]),
        ("a cause of the loser refitted", effect[effect["refitted"]]),
    ):
        if len(own):
            said.append(f"{word}: {model_error(own):.3f} of a change ({len(own)} changes)")
    return "\n".join(said)


def model_error(effect: pd.DataFrame) -> float:
    """Standard share of a change that the model gets wrong beyond what the fit leaves open, by maximum likelihood."""
    engine, fitted, u = (effect[name].to_numpy() for name in ("engine_m", "fitted_m", "u_fitted_m"))
    shares = np.linspace(0.0, 1.0, 1001)
    variance = u**2 + ENGINE_M**2 + (shares[:, None] * fitted) ** 2
    logs = -0.5 * np.sum(np.log(variance) + (engine - fitted) ** 2 / variance, axis=1)
    return float(shares[int(np.argmax(logs))])
