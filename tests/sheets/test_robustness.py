"""Whatever stands in a sheet, the checks answer with faults and never break down."""

import tomllib
from pathlib import Path
from typing import Any

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from matchvision.sheets.form import check_form, mend_names
from matchvision.sheets.lines import Key
from matchvision.sheets.reading import SheetSource, locate
from matchvision.sheets.sense import check_sense
from tests.sheets.conftest import SOUND_SHEET


def _places(value: Any, key: Key = ()) -> list[Key]:
    entries = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    return [place for part, inner in entries for place in ((*key, part), *_places(inner, (*key, part)))]


_DATA = tomllib.loads(SOUND_SHEET)
_STRANGE = st.one_of(
    st.none(), st.booleans(), st.integers(-3, 3), st.floats(), st.text(max_size=3), st.just("heron"), st.just(10**400),
    st.lists(st.integers(0, 2) | st.text(max_size=1), max_size=3),
    st.dictionaries(st.sampled_from(["at_m", "x"]), st.integers()),
)  # fmt: skip


def _changed(value: Any, key: Key, new: Any) -> Any:
    """The data with one place replaced; None takes it away."""
    if not key:
        return new
    if isinstance(value, dict):
        inner = {k: _changed(v, key[1:], new) if k == key[0] else v for k, v in value.items()}
        return {k: v for k, v in inner.items() if v is not None}
    return [_changed(v, key[1:], new) if k == key[0] else v for k, v in enumerate(value)]


@settings(deadline=None, max_examples=300, suppress_health_check=[HealthCheck.too_slow])
@given(st.lists(st.tuples(st.sampled_from(_places(_DATA)), _STRANGE), min_size=1, max_size=4), st.booleans())
def test_checks_never_break_down(changes: list[tuple[Key, Any]], misspell: bool) -> None:
    data = _DATA
    for key, new in changes:
        if key in _places(data):
            data = _changed(data, key, new)
    if misspell and "machine" in data:
        data = {("machin" if key == "machine" else key): value for key, value in data.items()}
    sheet, faults = check_form(data)
    assert (sheet is None) == bool(faults)
    sense = check_sense(mend_names(data, faults))
    source = SheetSource(Path("run.toml"), "run.toml", "", data, {})
    for fault in (*faults, *sense):
        assert locate([source], fault.key).startswith("run.toml")
        assert fault.found
        assert fault.wanted
