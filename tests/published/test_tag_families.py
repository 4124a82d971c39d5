"""Sizes of the tag families.

Source: E. Olson, "AprilTag: a robust and flexible visual fiducial system", ICRA 2011, and the families published with
it: 36h11 has 587 codes, 25h9 35, 16h5 30.
Checks: `count_tags`, and through it which ids a sheet may name.
Tolerance: none, they are counts.
How obtained: from memory; confirmed by the dictionaries in use.
"""

import pytest

from matchvision.errors import TableError
from matchvision.records.sheet import TableSheet, Tag
from matchvision.table.tags import count_tags, lay_out_tags


@pytest.mark.parametrize(("family", "count"), [("36h11", 587), ("25h9", 35), ("16h5", 30)])
def test_sizes_of_families(family: str, count: int) -> None:
    assert count_tags(family) == count


def test_last_tag_of_a_family_may_be_named_and_none_beyond() -> None:
    def table(number: int) -> TableSheet:
        return TableSheet(length_m=2, width_m=1, tag=(Tag(family="25h9", id=number, side_m=0.1, centre_m=(0, 0)),))

    assert lay_out_tags(table(34)).names == (("25h9", 34),)
    with pytest.raises(TableError, match="ends at 34"):
        lay_out_tags(table(35))
