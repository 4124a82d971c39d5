"""Files beside a sheet: written whole, and read back as they were."""

import tomllib
from pathlib import Path
from typing import Any

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from matchvision.errors import OutputError
from matchvision.sheets.beside import desk_file, format_toml, mends_file, write_whole

KEYS = st.text(min_size=1, max_size=6)
PLAIN = st.one_of(
    st.booleans(),
    st.integers(-(2**62), 2**62),
    st.floats(allow_nan=False),
    st.text(st.characters(exclude_categories=["Cs"]), max_size=12),
)
VALUES = st.one_of(PLAIN, st.lists(PLAIN, max_size=3))
TABLES = st.recursive(
    st.dictionaries(KEYS, VALUES, max_size=3),
    lambda inner: st.dictionaries(KEYS, st.one_of(VALUES, inner, st.lists(inner, min_size=1, max_size=2)), max_size=3),
    max_leaves=8,
)


@given(TABLES)
@example({"ends with a line\n": 1, "0\n": {"a": [{}]}})
def test_what_is_written_is_read_back(data: dict[str, Any]) -> None:
    assert tomllib.loads(format_toml(data)) == data


def test_files_are_named_after_their_sheet() -> None:
    assert desk_file(Path("a/run.toml")) == Path("a/desk.toml")
    assert mends_file(Path("a/run.toml")) == Path("a/mends.toml")
    assert desk_file(Path("a/third.toml")) == Path("a/third.desk.toml")


def test_a_file_is_replaced_whole_and_leaves_nothing_beside(tmp_path: Path) -> None:
    target = tmp_path / "desk.toml"
    write_whole(target, "a = 1\n")
    write_whole(target, "a = 2\n")
    assert target.read_text() == "a = 2\n"
    assert list(tmp_path.iterdir()) == [target]


def test_a_folder_that_is_not_there_is_said(tmp_path: Path) -> None:
    with pytest.raises(OutputError, match="cannot be written"):
        write_whole(tmp_path / "none" / "desk.toml", "")
