"""What all tests of seasons start from."""

import pytest

from matchvision.season import holding, keys, running, unchanged


@pytest.fixture(autouse=True)
def _same_program(monkeypatch: pytest.MonkeyPatch) -> None:
    """The program is the same throughout a test, though somebody may edit it meanwhile; others test that it is seen."""
    for module in (keys, running):
        monkeypatch.setattr(module, "name_analysis", lambda: "")
    for module in (holding, unchanged):
        monkeypatch.setattr(module, "fingerprint_program", lambda: "")
