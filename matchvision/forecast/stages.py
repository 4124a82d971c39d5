"""What listed gear and belt stages come to, for people to check their sheet by."""

from collections.abc import Iterator

from matchvision.mechanics.stated import Findings, drive_facts, side_blocks
from matchvision.records.sheet import Drive, Quantity, Run
from matchvision.records.sheet.machine import FROM_STAGES, multiply_stages
from matchvision.uncertainty import format_interval


def tell_stages(run: Run, name: str) -> Iterator[str]:
    """For each drive of a machine that lists stages: their total, and that their numbers count as independent.

    Notes
    -----
    Checked by: tests/forecast/test_stages.py::test_totals_of_the_stages_are_told
    """
    key, facts = drive_facts(run, name, Findings())
    if facts.stage:
        yield f"{name}: {_total(facts)}"
    for side_key, own, _ in side_blocks(key, facts):
        if own is not None and own.stage:
            yield f"{name}, {side_key.rpartition('.')[2]} wheels: {_total(own)}"


def _total(drive: Drive) -> str:
    spread = [number for one in drive.stage for number in (one.ratio, one.efficiency) if number is not None]
    names = {"gear_ratio": "gear ratio", "drive_efficiency": "efficiency"}
    products: dict[str, Quantity | None] = {
        names[key]: multiply_stages(drive.stage, own) for key, own in FROM_STAGES.items()
    }
    totals = " and ".join(
        f"{word} {format_interval(product.value, product.u)}"
        for word, product in products.items()
        if product is not None
    )
    kinds = ", ".join(one.kind for one in drive.stage)
    apart = ", their numbers independent of each other" if len(drive.stage) > 1 and any(n.u for n in spread) else ""
    return f"{totals} from {len(drive.stage)} stage{'s' * (len(drive.stage) != 1)} ({kinds}){apart}"
