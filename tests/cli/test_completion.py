"""Completion in a shell, by click's own means."""

import os
import shutil
import subprocess
import sys

import pytest
from click.shell_completion import ShellComplete

from matchvision.cli import main


def complete(words: list[str], incomplete: str) -> list[str]:
    shell = ShellComplete(main, {}, "matchvision", "_MATCHVISION_COMPLETE")
    return [item.value for item in shell.get_completions(words, incomplete)]


def test_commands_options_and_choices_are_completed() -> None:
    assert complete([], "an") == ["analyze"]
    assert complete([], "fo") == ["footage", "forecast"]
    assert "--no-causes" in complete(["analyze"], "--no")
    assert complete(["analyze", "run", "--tables"], "p") == ["parquet"]
    assert complete(["schema"], "re") == ["result"]


@pytest.mark.parametrize("shell", ["bash", "zsh", "fish"])
def test_shells_get_their_script_as_documented(shell: str) -> None:
    if shell == "bash" and shutil.which("bash") is None:
        pytest.skip("bash is asked for its version, and there is none")
    done = subprocess.run(
        [sys.executable, "-c", "from matchvision.__main__ import run; run()"],
        env={**os.environ, "_MATCHVISION_COMPLETE": f"{shell}_source"},
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert "_matchvision_completion" in done.stdout
    assert f"_MATCHVISION_COMPLETE={shell}_complete" in done.stdout
