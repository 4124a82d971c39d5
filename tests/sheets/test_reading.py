"""Sheets laid over each other, and the lines on which their keys stand."""

import tomllib
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from matchvision.errors import SheetError
from matchvision.sheets import load_run
from matchvision.sheets.lines import Key, list_lines
from matchvision.sheets.reading import merge_sheets

_LEAVES = st.dictionaries(
    st.sampled_from(["length_m", "colour", "beads"]), st.integers(0, 9) | st.lists(st.integers(0, 9), max_size=2)
)
_BLOCKS = st.tuples(_LEAVES, st.dictionaries(st.sampled_from(["heron", "plover"]), _LEAVES)).map(lambda p: p[0] | p[1])
#: Blocks in blocks; a name is always a block or never.
SHEETS: st.SearchStrategy[dict[str, Any]] = st.dictionaries(st.sampled_from(["rope", "machine"]), _BLOCKS)
patient = settings(deadline=None, suppress_health_check=[HealthCheck.too_slow])


@patient
@given(SHEETS, SHEETS, SHEETS)
def test_merging_is_associative(first: dict[str, Any], second: dict[str, Any], third: dict[str, Any]) -> None:
    """So an include inside an include gives what the same files give side by side."""
    side_by_side = merge_sheets([first, second, third])
    assert merge_sheets([merge_sheets([first, second]), third]) == side_by_side
    assert merge_sheets([first, merge_sheets([second, third])]) == side_by_side


@patient
@given(SHEETS, SHEETS)
def test_the_last_sheet_wins(below: dict[str, Any], above: dict[str, Any]) -> None:
    def check(low: dict[str, Any], high: dict[str, Any], merged: dict[str, Any]) -> None:
        assert set(merged) == set(low) | set(high)
        for key, value in merged.items():
            if isinstance(value, dict):
                check(low.get(key, {}), high.get(key, {}), value)
            else:
                assert value == high.get(key, low.get(key))  # arrays too are replaced whole

    check(below, above, merge_sheets([below, above]))


def _write(folder: Path, files: dict[str, str]) -> Path:
    for name, text in files.items():
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text, encoding="utf-8")
    return folder / "tuesday" / "run.toml"


RUN = '[run]\nname = "practice"\nclip = "clip.mp4"\n[clock]\nstart_s = 1\nduration_s = 8\n'
TAG = "[[table.tag]]\nid = {}\nside_m = 0.1\ncentre_m = [0, 0]\n"


def test_later_includes_win_and_the_own_sheet_last(tmp_path: Path) -> None:
    own = _write(
        tmp_path,
        {
            "table.toml": "[table]\nlength_m = 2.0\nwidth_m = 1.0\n" + TAG.format(7),
            "wide.toml": "[table]\nwidth_m = 1.2\n" + TAG.format(8),
            "tuesday/run.toml": 'include = ["../table.toml", "../wide.toml"]\n' + RUN + "[table]\nlength_m = 2.4\n",
        },
    )  # fmt: skip
    run = load_run(own)
    assert (run.sheet.table.length_m, run.sheet.table.width_m) == (2.4, 1.2)
    assert [tag.id for tag in run.sheet.table.tag] == [8]
    assert list(run.sheet_texts) == ["../table.toml", "../wide.toml", "run.toml"]


def test_files_count_from_the_sheet_that_names_them(tmp_path: Path) -> None:
    own = _write(
        tmp_path,
        {
            "team/heron.toml": '[machine.heron]\nhome = "-x"\ncommands = "log.csv"\n',
            "team/log.csv": "t_s,left_share,right_share\n0,0,0\n1,0.5,1\n",
            "tuesday/run.toml": 'include = ["../team/all.toml"]\n' + RUN + "[table]\nlength_m = 2\nwidth_m = 1\n",
            "team/all.toml": 'include = ["heron.toml"]\n',
        },
    )
    run = load_run(own)
    assert run.clip == tmp_path / "tuesday" / "clip.mp4"
    assert run.commands["heron"].tolist() == [[0, 0, 0], [1, 0.5, 1]]


def test_a_fault_names_the_file_in_which_it_stands(tmp_path: Path) -> None:
    own = _write(
        tmp_path,
        {
            "heron.toml": '[machine.heron]\nhome = "-x"\nmass_kg = -1\n',
            "tuesday/run.toml": 'include = ["../heron.toml"]\n' + RUN + "[table]\nlength_m = 2\nwidth_m = -1\n",
        },
    )
    with pytest.raises(SheetError) as caught:
        load_run(own)
    assert [fault.where for fault in caught.value.faults] == [
        "../heron.toml, line 3, machine.heron.mass_kg",
        "run.toml, line 10, table.width_m",
    ]


def test_rings_of_includes_are_refused(tmp_path: Path) -> None:
    own = _write(
        tmp_path,
        {
            "a.toml": 'include = ["b.toml"]\n', "b.toml": 'include = ["a.toml"]\n',
            "tuesday/run.toml": 'include = ["../a.toml"]\n',
        },
    )  # fmt: skip
    with pytest.raises(SheetError, match=r"in a ring: run\.toml -> \.\./a\.toml -> \.\./b\.toml -> \.\./a\.toml"):
        load_run(own)


def test_one_file_may_be_included_twice(tmp_path: Path) -> None:
    table = "[table]\nlength_m = 2\nwidth_m = 1\n"
    own = _write(
        tmp_path,
        {
            "t.toml": table, "a.toml": 'include = ["t.toml"]\n', "b.toml": 'include = ["t.toml"]\n',
            "tuesday/run.toml": 'include = ["../a.toml", "../b.toml"]\n' + RUN,
        },
    )  # fmt: skip
    assert load_run(own).sheet.table.length_m == 2


@pytest.mark.parametrize(
    ("include", "found"),
    [('"../heron.toml"', "found '../heron.toml'"), ('["../heron.toml"]', "there is no file ../heron.toml")],
)
def test_wrong_includes_are_named(tmp_path: Path, include: str, found: str) -> None:
    own = _write(tmp_path, {"tuesday/run.toml": f"# what we share\ninclude = {include}\n{RUN}"})
    with pytest.raises(SheetError) as caught:
        load_run(own)
    (fault,) = caught.value.faults
    assert fault.where == "run.toml, line 2, include"
    assert fault.found == found


def test_all_broken_files_are_named_at_once(tmp_path: Path) -> None:
    files = {"a.toml": "x\n", "b.toml": "y =\n", "tuesday/run.toml": 'include = ["../a.toml", "../b.toml"]\n'}
    with pytest.raises(SheetError) as caught:
        load_run(_write(tmp_path, files))
    assert [fault.where.split(",")[0] for fault in caught.value.faults] == ["../a.toml", "../b.toml"]


def test_windows_line_ends_and_byte_order_mark_are_no_fault(tmp_path: Path) -> None:
    text = (RUN + "[table]\nlength_m = 2\nwidth_m = 1\n").replace("\n", "\r\n")
    (tmp_path / "run.toml").write_bytes(b"\xef\xbb\xbf" + text.encode())
    assert load_run(tmp_path).sheet.run.name == "practice"


HARD = '''\
# heading [not.a.table]
title = "a # is no comment \\" = ] here"
[a."b c".d]
e = [ # first
  { f = 1, g = [2, 3] },

  { f = """
long } text ]
""", g.h = 'x' },
]
[[m]]
[[m.n]]
k = 1979-05-27 07:32:00
[[m]]
[[m.n]]
[[m.n]]
k = -inf
'''


def test_lines_of_keys_in_a_hard_text() -> None:
    tomllib.loads(HARD)
    lines = list_lines(HARD)
    expected: dict[Key, int] = {
        ("title",): 2,
        ("a", "b c", "d"): 3,
        ("a", "b c", "d", "e"): 4,
        ("a", "b c", "d", "e", 0, "g", 1): 5,
        ("a", "b c", "d", "e", 1): 7,
        ("a", "b c", "d", "e", 1, "g", "h"): 9,
        ("m", 0, "n", 0, "k"): 13,
        ("m", 1): 14,
        ("m", 1, "n", 1, "k"): 17,
    }
    assert {key: lines.get(key) for key in expected} == expected


@pytest.mark.parametrize("name", ["flat-match", "sled-link", "hand-held", "hitch-slips"])
def test_every_key_of_a_sheet_has_its_line(name: str) -> None:
    text = (Path(__file__).parents[2] / "sample_clips" / name / "run.toml").read_text(encoding="utf-8")
    lines = list_lines(text)
    rows = text.splitlines()

    def walk(value: Any, key: Key) -> None:
        if isinstance(value, dict | list):
            entries = value.items() if isinstance(value, dict) else enumerate(value)
            for part, inner in entries:
                here = (*key, part)
                if isinstance(part, str) and not isinstance(inner, dict):
                    assert part in rows[lines[here] - 1]
                walk(inner, here)

    walk(tomllib.loads(text), ())
