"""Two teams' own sheets and a shared one, joined into one match by the draw."""

from collections.abc import Mapping, Sequence
from itertools import pairwise
from pathlib import Path
from typing import Any, Final

from matchvision.errors import Fault, SheetError
from matchvision.records.sheet import Run
from matchvision.sheets.loading import assemble_run
from matchvision.sheets.plain import block_of
from matchvision.sheets.reading import SheetSource, merge_sheets, read_sheets
from matchvision.sheets.sense import colour_uses

#: What both sides share; the sheets must not differ in it.
_SHARED: Final = ("clock", "table", "rope", "rules")
#: Stands for what a forecast alone does not take.
_CLIP: Final = Path("not-filmed-yet.mp4")
_DO: Final = "a team's sheet holds its own [machine.X] and [forecast.X]; rope, clock, table and rules stand in --table"


def load_team(path: Path, shared: Path | None = None) -> Run:
    """A team's own sheet, which may lack all that is not the team's: run, clock, table, rope, home, colours.

    ``shared``: a sheet that says how the colours look which the team's markers have; nothing else is taken from it.
    Without it, colours that the sheet names and does not define are left to whoever films: any look stands for them.

    Raises
    ------
    SheetError
        With every fault of what it does hold.

    Notes
    -----
    Checked by: tests/sheets/test_joining.py::test_a_team_need_not_say_how_shared_colours_look
    """
    sources = read_sheets(path)
    machines = _machines(sources)
    filler: dict[str, Any] = {
        "run": {"name": path.stem, "clip": _CLIP},
        "clock": {"start_s": 0.0, "duration_s": 1.0},
        "table": {"length_m": 10.0, "width_m": 10.0},
        "machine": {name: {"home": "-x"} for name, block in machines.items() if "home" not in block},
    }
    data = merge_sheets([source.data for source in sources])
    filler = {key: value for key, value in filler.items() if key == "machine" or key not in data}
    if shared is None:
        filler["colour"] = _stand_ins(data)
    else:
        filler["colour"] = merge_sheets([source.data for source in read_sheets(shared)]).get("colour", {})
    return assemble_run([_source("what is not the team's", filler), *sources], str(path))


def join_sheets(teams: Sequence[Path], shared: Path | None, plus_x: str | None = None) -> Run:
    """One match from two teams' sheets, each with one machine, before it is filmed: see `join_sources`.

    Raises
    ------
    SheetError
        For every fault of any sheet, and of their joining.

    Notes
    -----
    Checked by: tests/sheets/test_joining.py::test_draw_turns_the_match_about
    """
    return assemble_run(join_sources(teams, shared, plus_x), ", ".join(str(path) for path in teams))


def join_sources(teams: Sequence[Path], shared: Path | None, plus_x: str | None = None) -> list[SheetSource]:
    """The sheets of one match in the order of laying over each other, from two teams' sheets and a shared one.

    Parameters
    ----------
    teams : two run sheets, each with its [machine.X] and [forecast.X].
    shared : a sheet with rope, clock, table and rules, where the teams' do not hold them.
    plus_x : the machine whose home the draw puts on +x. Without it the sheets' own homes count; where none is stated,
        the first team's is on −x. A start pose is turned about the table's middle with its machine's home.

    Raises
    ------
    SheetError
        Where the teams have a machine in common, both have their home on one side, or differ in what they share.
    """
    named = ", ".join(str(path) for path in teams)
    if len(teams) != 2:
        found = f"{len(teams)} sheet{'s' if len(teams) != 1 else ''} given"
        raise SheetError(named, [Fault("the match", found, "a match is joined from two teams' sheets")], do=_DO)
    read = [read_sheets(path) for path in teams]
    below = () if shared is None else read_sheets(shared)
    faults = _contradictions(teams, read, below)
    names = [next(iter(_machines(sources)), "") for sources in read]
    if plus_x is not None and plus_x not in names and not faults:
        wanted = f"{names[0]} or {names[1]} is wanted"
        faults.append(Fault("the draw", f"{plus_x} is none of the machines", wanted))
    homes = {} if faults else _homes(teams, read, names, plus_x, faults)
    if faults:
        raise SheetError(named, faults, do=_DO)
    minus, plus = sorted(names, key=lambda name: homes[name] == "+x")
    filler: dict[str, Any] = {"run": {"name": f"{minus}-{plus}", "clip": _CLIP}}
    clock = merge_sheets([source.data for source in (*below, *read[0], *read[1])]).get("clock")
    if isinstance(clock, Mapping) and not {"start", "start_s"} & clock.keys():
        filler["clock"] = {"start_s": 0.0}
    drawn: dict[str, Any] = {
        "rope": {"ends": [minus, plus]},
        "machine": {name: _turned(sources, name, homes[name]) for sources, name in zip(read, names, strict=True)},
    }
    if "rope" not in merge_sheets([source.data for source in (*below, *read[0], *read[1])]):
        fault = Fault("rope", "no sheet holds it", "[rope] length_m is wanted; ends follow from the draw")
        raise SheetError(named, [fault], do=_DO)
    return [_source("a match that is not filmed", filler), *below, *read[0], *read[1], _source("the draw", drawn)]


def _stand_ins(data: Mapping[str, Any]) -> dict[str, Any]:
    """A look of its own for every colour that a sheet names and does not define."""
    own = block_of(data, "colour")
    taken = {str(block_of(own, name).get("srgb")).lower() for name in own}
    free = (look for look in (f"#{number:06x}" for number in range(1 << 24)) if look not in taken)
    unknown = sorted({name for _, name in colour_uses(data)} - own.keys())
    return {name: {"srgb": look} for name, look in zip(unknown, free, strict=False)}


def _source(shown: str, data: Mapping[str, Any]) -> SheetSource:
    return SheetSource(Path(shown).absolute(), shown, "", data, {})


def _machines(sources: Sequence[SheetSource]) -> Mapping[str, Mapping[str, Any]]:
    machines = merge_sheets([source.data for source in sources]).get("machine")
    tables = machines if isinstance(machines, Mapping) else {}
    return {name: block for name, block in tables.items() if isinstance(block, Mapping)}


def _contradictions(
    teams: Sequence[Path], read: Sequence[Sequence[SheetSource]], below: Sequence[SheetSource]
) -> list[Fault]:
    faults = []
    for path, sources in zip(teams, read, strict=True):
        names = list(_machines(sources))
        if len(names) != 1:
            found = f"it holds {len(names)} machines ({', '.join(names)})" if names else "it holds no machine"
            faults.append(Fault(str(path), found, "a team's sheet holds one [machine.X], its own"))
    both = set(_machines(read[0])) & set(_machines(read[1]))
    faults += [
        Fault(f"machine.{name}", f"{teams[0]} and {teams[1]} both hold it", "each team's machine has a name of its own")
        for name in sorted(both)
    ]
    first, second = (merge_sheets([source.data for source in sources]) for sources in read)
    common = merge_sheets([source.data for source in below])
    for block in _SHARED:
        holders = [
            (str(name), content[block])
            for name, content in ((teams[0], first), (teams[1], second), ("the shared sheet", common))
            if isinstance(content.get(block), Mapping)
        ]
        for (one, mine), (other, theirs) in pairwise(holders):
            for key in sorted(set(mine) & set(theirs)):
                if mine[key] != theirs[key] and (block, key) != ("rope", "ends"):
                    found = f"{one} says {mine[key]!r}, {other} says {theirs[key]!r}"
                    faults.append(Fault(f"{block}.{key}", found, "one value for both teams is wanted"))
    return faults


def _homes(
    teams: Sequence[Path],
    read: Sequence[Sequence[SheetSource]],
    names: Sequence[str],
    plus_x: str | None,
    faults: list[Fault],
) -> dict[str, str]:
    if plus_x is not None:
        return {name: "+x" if name == plus_x else "-x" for name in names}
    stated = [_machines(sources)[name].get("home") for sources, name in zip(read, names, strict=True)]
    other = {"+x": "-x", "-x": "+x"}
    if stated[0] is None:
        stated[0] = other.get(str(stated[1]), "-x")
    if stated[1] is None:
        stated[1] = other.get(str(stated[0]), "+x")
    if stated[0] == stated[1]:
        found = f"{names[0]} ({teams[0]}) and {names[1]} ({teams[1]}) both have their home on {stated[0]}"
        faults.append(Fault("machine", found, f"let the draw decide: --plus {names[0]} or --plus {names[1]}"))
    return dict(zip(names, map(str, stated), strict=True))


def _turned(sources: Sequence[SheetSource], name: str, home: str) -> dict[str, Any]:
    """The machine's home by the draw, and its start pose turned half round with it where the sheet has another home."""
    block = _machines(sources)[name]
    start = block.get("start")
    out: dict[str, Any] = {"home": home}
    if block.get("home", home) != home and isinstance(start, Mapping):
        at, heading = start.get("at_m"), start.get("heading_deg")
        numbers = (*at, heading) if isinstance(at, list) and len(at) == 2 else ()
        if numbers and all(isinstance(number, int | float) for number in numbers):
            x, y, angle = (float(number) for number in numbers)
            out["start"] = {"at_m": [-x, -y], "heading_deg": (angle + 180.0) % 360.0}
    return out
