"""The desk from the command line: it says where it is, serves, and closes at Ctrl+C."""

import signal
import subprocess
import sys
import urllib.request
from pathlib import Path

import pytest

from tests.cli.conftest import Type

SAMPLE = Path(__file__).parents[2] / "sample_clips" / "flat-match"


@pytest.mark.skipif(sys.platform == "win32", reason="Ctrl+C is sent as a signal")
def test_it_opens_serves_and_closes(tmp_path: Path) -> None:
    command = [sys.executable, "-m", "matchvision", "desk", str(SAMPLE), "--no-browser", "--out", str(tmp_path / "out")]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True) as process:
        try:
            assert process.stdout is not None
            line = process.stdout.readline()
            assert line.startswith("The desk is open at http://127.0.0.1:"), line
            with urllib.request.urlopen(line.split()[-1], timeout=20) as answer:
                assert b"matchvision desk" in answer.read()
            process.send_signal(signal.SIGINT)
            rest, errors = process.communicate(timeout=20)
        finally:
            process.kill()
    assert process.returncode == 0
    assert "The desk is closed" in rest
    assert errors == ""
    assert not (SAMPLE / "desk.toml").exists()


def test_what_cannot_be_opened_is_said_plainly(type_in: Type, in_folder: Path) -> None:
    done = type_in("desk", str(in_folder), "--no-browser")
    assert done.exit_code == 2
    assert "there is no run.toml in this folder" in done.stderr
