"""What a study has judged is taken up again, until what it rests on changes."""

from pathlib import Path

from benchmarks.keeping import once, state_of_program


def test_outcome_is_judged_once(tmp_path: Path) -> None:
    judged = []

    def judge() -> int:
        judged.append(1)
        return len(judged)

    rests_on = ("benchmarks/keeping.py",)
    assert [once(tmp_path, rests_on, "run", judge) for _ in range(3)] == [1, 1, 1]
    assert once(tmp_path, rests_on, "another", judge) == 2


def test_state_is_that_of_the_files(tmp_path: Path) -> None:
    (tmp_path / "a").mkdir()
    (tmp_path / "a" / "one.py").write_text("1")
    states = [state_of_program(("a",), tmp_path)]
    state_of_program.cache_clear()
    (tmp_path / "a" / "one.py").write_text("2")
    states.append(state_of_program(("a",), tmp_path))
    assert states[0] != states[1]
