"""The same work on a cluster."""

import json
import subprocess
import sys
from pathlib import Path

import pytest

from matchvision.errors import SetupError
from matchvision.season.cluster import work_on_cluster
from tests.season.made import hold, lay_out, tables_of

pytest.importorskip("distributed")


@pytest.mark.slow
def test_a_cluster_gives_the_same_tables_though_a_worker_dies(tmp_path: Path) -> None:
    folder = lay_out(tmp_path / "s", 10, bad=[4])
    hold(folder, tmp_path / "here")
    command = [sys.executable, "-m", "tests.season.cluster_season", str(folder), str(tmp_path / "cluster")]
    done = subprocess.run(
        command, cwd=Path(__file__).parents[2], capture_output=True, text=True, timeout=120, check=False
    )
    assert done.returncode == 0, done.stderr
    said = json.loads(done.stdout.splitlines()[-1])
    assert len(said["killed"]) == 1
    assert len(said["left"]) == 1
    assert sorted(said["did"]) == sorted(
        [f"answer r{n}" for n in range(10)]
        + [f"{step} r{n}" for step in ("causes", "remedies") for n in range(10) if n != 4]
    )
    assert tables_of(tmp_path / "cluster") == tables_of(tmp_path / "here")


@pytest.mark.filterwarnings("ignore")
def test_an_address_without_a_scheduler_is_told() -> None:
    with pytest.raises(SetupError, match="no scheduler answers"):
        work_on_cluster("no such address", [], lambda finished: ())
