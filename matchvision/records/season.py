"""A season: its rules, its list of runs, and what stands in its tables and on its page."""

from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import Annotated, Final, Literal

from pydantic import BaseModel, ConfigDict, Field

#: Events that say that a machine let its team down; a season's sheet may say otherwise.
SPOILING: Final = ("drive-loss", "rope-off", "dislodged", "turned", "tipped", "off-table", "stall")


class SeasonModel(BaseModel):
    """Common manners: frozen, and unknown keys are refused."""

    model_config = ConfigDict(frozen=True, extra="forbid")


class SeasonInfo(SeasonModel):
    """``[season]``: name, and where things lie, counted from the season's folder.

    ``shared``: what all matches share (rope, clock, table, camera, colours, rules), where a row names a clip and no run
    folder; ``tables``: the same for each table by its name, laid over ``shared``'s place. ``teams``: the folder of the
    teams' own sheets. ``handed_in``: where received forecasts are kept, and their log. ``deadline``: until when they
    count.
    """

    name: Annotated[str, Field(min_length=1)] | None = None
    runs: Path = Path("runs.csv")
    overrides: Path = Path("overrides.csv")
    shared: Path | None = None
    tables: dict[str, Path] = {}
    teams: Path = Path("teams")
    handed_in: Path = Path("handed-in")
    deadline: datetime | None = None
    rubric: Path | None = None


class DrawRules(SeasonModel):
    """``[draw]``: who meets whom. ``teams``: left out, those whose sheets are there."""

    kind: Literal["knock-out", "all-play-all"] = "all-play-all"
    seed: Annotated[int, Field(ge=0)] | None = None
    teams: tuple[str, ...] = ()


class GoodRules(SeasonModel):
    """``[good]``: which events of a machine make a run of it no good one."""

    spoiled_by: tuple[str, ...] = SPOILING


class SeasonSheet(SeasonModel):
    """A whole ``season.toml``; what is left out keeps its default."""

    season: SeasonInfo = SeasonInfo()
    draw: DrawRules = DrawRules()
    good: GoodRules = GoodRules()


@dataclass(frozen=True)
class Entry:
    """One line of the list of runs.

    ``run`` is a run folder or sheet; without one ``clip`` is joined with the teams' own sheets. ``teams`` are those at
    −x and at +x. ``replays`` names the entry that this one stands for after a protest, ``reason`` says why.
    """

    id: str
    line: int
    round: str
    table: str
    teams: tuple[str, ...]
    run: Path | None
    clip: Path | None
    start_s: float | None
    from_s: float | None
    until_s: float | None
    forecast: Path | None
    replays: str
    reason: str


@dataclass(frozen=True)
class Override:
    """What an instructor decided otherwise: an entry's winner, or a part's mark of a team; never without a reason."""

    entry: str
    what: str
    team: str
    value: str
    reason: str
    by: str


@dataclass(frozen=True)
class Season:
    """A season as it is written down."""

    folder: Path
    name: str
    sheet: SeasonSheet
    entries: tuple[Entry, ...]
    overrides: tuple[Override, ...]
    texts: dict[str, str] = field(default_factory=dict)
