"""What is told of several runs as JSON: all of it, nothing that JSON does not know, and as its schema says."""

import json
import math

from matchvision.records.marks import Mark, Marks, Scores
from matchvision.records.repeats import Reading
from matchvision.records.rubric import Rubric
from matchvision.repeats import compare_readings
from matchvision.writing.documents import describe_document, format_marks_document, format_repeats_document
from tests.writing.held import find_strays

NAN = math.nan


def test_marks_with_what_is_not_known() -> None:
    marks = (Mark("heron", "win_chance", 17.123456789, 20.0, "20 · 0.856."), Mark("heron", "cause", NAN, 10.0, "None."))
    one = Marks("first", marks, (Scores("heron", 0.1, 0, 0, NAN, NAN, NAN),), (("heron", 85.6), ("plover", NAN)))
    told = json.loads(format_marks_document([one], Rubric()))
    assert find_strays(told, describe_document("mark")) == []
    (run,) = told["runs"]
    assert [mark["points"] for mark in run["marks"]] == [17.1235, None]
    assert run["total_ratio"] == {"heron": 0.856, "plover": None}
    assert run["scores"][0]["rms_zeta"] is None
    assert told["rubric"] == Rubric().model_dump(mode="json")


def test_repeats_before_and_after() -> None:
    def read(run: str, value: float) -> Reading:
        return Reading(run, "heron", "peak pull", "N", value, 0.1, 1)

    before, after = [read("a", 4.0), read("b", 4.3), read("c", 4.1)], [read("d", 5.0), read("e", 5.2)]
    for groups in ([before], [before, after], [before, after[:1]]):
        rows = compare_readings(groups)
        told = json.loads(format_repeats_document([[r.run for r in group] for group in groups], rows, ["slip, heron"]))
        assert find_strays(told, describe_document("compare")) == []
        assert told["runs"] == [[r.run for r in group] for group in groups]
        (row,) = told["rows"]
        assert (row["machine"], row["quantity"], row["unit"]) == ("heron", "peak pull", "N")
        assert [[r["value"] for r in group["readings"]] for group in row["groups"]] == [
            [r.value for r in group] for group in groups
        ]
        assert (row["change"] is None) == (rows[0].change is None)
    assert told["rows"][0]["groups"][1]["s"] is None  # a single run has no scatter


def test_a_stray_is_found() -> None:
    """The check itself sees what it is to see."""
    told = json.loads(format_marks_document([], Rubric()))
    told["rubric"]["weights"]["cause"] = "ten"
    told["runs"] = [{"run": "x", "total_ratio": {}, "marks": []}]
    assert sorted(find_strays(told, describe_document("mark"))) == [
        ".rubric.weights.cause: 'ten' is no number",
        ".runs[0].scores",
    ]
