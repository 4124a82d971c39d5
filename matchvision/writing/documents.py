"""What is told of several runs as JSON: the records as they are, headed by what computed them, and their schemas."""

import json
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final, Literal

from pydantic import TypeAdapter
from pydantic.json_schema import GenerateJsonSchema, JsonSchemaValue

from matchvision import __version__
from matchvision.records.classbook import (
    ChanceBin,
    ClassBook,
    Coverage,
    Doubt,
    DrawRound,
    HandedIn,
    MarkLine,
    Pair,
    Reliability,
    RunLine,
    Spread,
    Standing,
    Upset,
)
from matchvision.records.marks import Mark, Marks, Scores
from matchvision.records.repeats import Repeats
from matchvision.records.rubric import Rubric
from matchvision.writing.resultfile import Software


@dataclass(frozen=True)
class SideBySide:
    """Runs side by side. Numbers that are not known are null; each row says its unit.

    ``runs``: the runs' names, a list for each group, in the order of the rows' ``groups``. ``lacking``: what some of
    the runs measured and others did not.
    """

    format_version: Literal[1]
    software: Software
    runs: Sequence[Sequence[str]]
    rows: Sequence[Repeats]
    lacking: Sequence[str]


@dataclass(frozen=True)
class RunMarks:
    """All marks of one run; ``total_ratio`` by machine of what could be judged, null where nothing could."""

    run: str
    total_ratio: Mapping[str, float]
    marks: Sequence[Mark]
    scores: Sequence[Scores]


@dataclass(frozen=True)
class MarkedRuns:
    """Marks of forecasts, run by run, and the rubric that they follow. Numbers that are not known are null."""

    format_version: Literal[1]
    software: Software
    rubric: Rubric
    runs: Sequence[RunMarks]


@dataclass(frozen=True)
class ClassResults:
    """A class's tables under their names, and its draw. Numbers that are not known are null."""

    format_version: Literal[1]
    software: Software
    name: str
    teams: Sequence[str]
    results: Sequence[RunLine]
    look_first: Sequence[Doubt]
    predicted: Sequence[Pair]
    coverage: Sequence[Coverage]
    chances: Sequence[ChanceBin]
    honesty: Sequence[Spread]
    upsets: Sequence[Upset]
    reliability: Sequence[Reliability]
    standings: Sequence[Standing]
    draw: Sequence[DrawRound]
    marks: Sequence[MarkLine]
    handed_in: Sequence[HandedIn]


#: The documents by the words of the commands that print them.
DOCUMENTS: Final[Mapping[str, tuple[type, str]]] = {
    "compare": (SideBySide, "matchvision comparison of runs"),
    "mark": (MarkedRuns, "matchvision marks"),
    "season": (ClassResults, "matchvision class"),
}


def format_repeats_document(names: Sequence[Sequence[str]], rows: Sequence[Repeats], lacking: Sequence[str]) -> str:
    """Runs side by side, as `season.sidebyside.compare_runs` gives them, as JSON."""
    return _format(SideBySide(1, _software(), names, rows, lacking))


def format_marks_document(marks: Sequence[Marks], rubric: Rubric) -> str:
    """Marks of several runs as JSON, with the rubric that they follow."""
    runs = [RunMarks(m.run, {name: per_cent / 100 for name, per_cent in m.totals}, m.marks, m.scores) for m in marks]
    return _format(MarkedRuns(1, _software(), rubric, runs))


def format_class_document(book: ClassBook) -> str:
    """A class's book as JSON: the same book gives the same bytes."""
    document = ClassResults(
        1, _software(), book.name, book.teams, book.lines, book.doubts, book.pairs, book.coverage, book.chances,
        book.spreads, book.upsets, book.reliability, book.standings, book.rounds, book.marks, book.handed_in,
    )  # fmt: skip
    return _format(document)


def format_plain(content: object) -> str:
    """Lists, mappings, words and numbers as JSON; numbers with six digits, as in the tables, null if not known."""
    return json.dumps(_plain(content), indent=1, ensure_ascii=False, allow_nan=False)


def describe_document(word: str) -> dict[str, Any]:
    """JSON Schema (draft 2020-12) of what the command ``word`` of `DOCUMENTS` prints.

    Notes
    -----
    A number of a record that is not known is NaN there and null in JSON, so the schema allows null for every one.
    """
    kind, title = DOCUMENTS[word]
    schema = TypeAdapter(kind).json_schema(mode="serialization", schema_generator=_AsPrinted)
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", **schema, "title": title}


class _AsPrinted(GenerateJsonSchema):
    """Every field is there, and every number may be null."""

    def float_schema(self, schema: Any) -> JsonSchemaValue:  # noqa: ANN401 - the library's own inner form
        return {"anyOf": [super().float_schema(schema), {"type": "null"}]}

    def field_is_required(self, field: Any, total: bool) -> bool:  # noqa: ANN401 - the library's own form
        del field, total
        return True


def _software() -> Software:
    return Software(version=__version__)


def _format(document: object) -> str:
    return format_plain(TypeAdapter(type(document)).dump_python(document, mode="json"))


def _plain(value: Any) -> Any:  # noqa: ANN401 - whatever JSON can hold
    if isinstance(value, float):
        return float(f"{value:.6g}") if math.isfinite(value) else None
    if isinstance(value, dict):
        return {key: _plain(one) for key, one in value.items()}
    return [_plain(one) for one in value] if isinstance(value, list) else value
