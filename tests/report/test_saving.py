"""Pages as files: whole or not at all."""

from pathlib import Path

import pytest

from matchvision.errors import OutputError
from matchvision.report.saving import save_page


def test_a_page_that_cannot_be_written_leaves_the_former_one(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    page = save_page("former", tmp_path / "new" / "page.html")

    def refuse(self: Path, target: Path) -> Path:
        raise PermissionError(13, "Permission denied", str(target))

    monkeypatch.setattr(Path, "replace", refuse)
    with pytest.raises(OutputError, match="the page cannot be written: Permission denied"):
        save_page("later", page)
    assert page.read_text(encoding="utf-8") == "former"
    assert [entry.name for entry in page.parent.iterdir()] == ["page.html"]


def test_a_file_in_the_place_of_the_folder_is_told(tmp_path: Path) -> None:
    (tmp_path / "taken").write_text("", encoding="utf-8")
    with pytest.raises(OutputError, match="cannot be written"):
        save_page("text", tmp_path / "taken" / "page.html")
