"""Lens sheets: written, read back, and refused where they are wrong."""

from pathlib import Path

import numpy as np
import pytest

from matchvision.errors import SheetError
from matchvision.records.camera import Camera
from matchvision.records.sheet import LensSheet
from matchvision.sheets.lens import format_lens, read_lens


def a_lens(seed: int = 0) -> LensSheet:
    rng = np.random.default_rng(seed)
    spread = np.array([0.4, 0.4, 0.5, 0.5, 0.002, 0.01, 1e-4, 1e-4, 0.02])
    mixing = rng.normal(size=(9, 9)) + 2 * np.eye(9)
    correlated = mixing @ mixing.T
    correlated /= np.sqrt(np.outer(np.diag(correlated), np.diag(correlated)))
    covariance = np.zeros((15, 15))
    covariance[:9, :9] = correlated * np.outer(spread, spread)
    parameters = np.zeros(15)
    parameters[:9] = [985.012345, 986.9, 644.8, 355.8, -0.0451, 0.0137, 3.6e-4, -2.7e-4, -0.003]
    return LensSheet(Camera(1280, 720, parameters, covariance), 12, 0.0631)


@pytest.mark.parametrize("seed", range(5))
def test_written_sheet_reads_back(tmp_path: Path, seed: int) -> None:
    lens = a_lens(seed)
    path = tmp_path / "lens.toml"
    path.write_text(format_lens(lens), encoding="utf-8")
    back = read_lens(path)
    np.testing.assert_allclose(back.camera.parameters, lens.camera.parameters, rtol=1e-8)
    u = np.sqrt(np.diag(lens.camera.covariance)[:9])
    apart = (back.camera.covariance - lens.camera.covariance)[:9, :9] / np.outer(u, u)
    assert np.max(np.abs(apart)) < 1e-5
    assert (back.camera.width_px, back.camera.height_px, back.views) == (1280, 720, 12)
    assert back.rms_px == pytest.approx(0.0631)


def test_parameter_held_fixed_stays_fixed(tmp_path: Path) -> None:
    lens = a_lens()
    covariance = lens.camera.covariance.copy()
    covariance[8] = covariance[:, 8] = 0
    path = tmp_path / "lens.toml"
    path.write_text(format_lens(LensSheet(Camera(1280, 720, lens.camera.parameters, covariance), 12, 0.06)))
    assert np.all(read_lens(path).camera.covariance[8] == 0)


def refuse(tmp_path: Path, old: str, new: str) -> str:
    path = tmp_path / "lens.toml"
    text = format_lens(a_lens())
    assert old in text
    path.write_text(text.replace(old, new, 1))
    with pytest.raises(SheetError) as raised:
        read_lens(path)
    return raised.value.message()


def test_faults_are_named_with_their_key(tmp_path: Path) -> None:
    assert "lens.fx_px" in refuse(tmp_path, "fx_px = ", "focal = ")
    assert "lens.focal" in refuse(tmp_path, "fx_px = ", "focal = ")
    assert "focal lengths are above 0" in refuse(tmp_path, "fx_px = { value = 985", "fx_px = { value = -985")
    assert "lens.width_px" in refuse(tmp_path, "width_px = 1280", 'width_px = "wide"')
    assert "lens.cx_px.u" in refuse(tmp_path, "cx_px = { value = 644.8, u = ", "cx_px = { value = 644.8, u = -")
    assert "9 rows of 9 numbers" in refuse(tmp_path, "  [1.0000000, ", "  [")
    assert "ones on its diagonal" in refuse(tmp_path, "  [1.0000000, ", "  [2.0, ")


def test_all_faults_come_at_once(tmp_path: Path) -> None:
    path = tmp_path / "lens.toml"
    path.write_text(format_lens(a_lens()).replace("k1 = ", "kay1 = ").replace("views = 12", "views = -1"))
    with pytest.raises(SheetError) as raised:
        read_lens(path)
    assert len(raised.value.faults) == 3


def test_correlation_that_cannot_be_is_refused(tmp_path: Path) -> None:
    text = format_lens(a_lens())
    rows = ",\n  ".join(str([1.0 if i == j else (0.99 if (i + j) % 2 else -0.99) for j in range(9)]) for i in range(9))
    path = tmp_path / "lens.toml"
    path.write_text(text[: text.index("correlation")] + f"correlation = [\n  {rows}\n]\n")
    with pytest.raises(SheetError, match="negative variance"):
        read_lens(path)


def test_missing_and_broken_files_are_said(tmp_path: Path) -> None:
    with pytest.raises(SheetError, match="not there"):
        read_lens(tmp_path / "none.toml")
    broken = tmp_path / "broken.toml"
    broken.write_text("[lens\n")
    with pytest.raises(SheetError, match=r"broken\.toml"):
        read_lens(broken)
