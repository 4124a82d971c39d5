"""Which state of the program computes."""

from pathlib import Path

from matchvision.season.program import OUTER, fingerprint_program


def lay_out(folder: Path) -> Path:
    for name in ("pull/fusing.py", "report/page.html", "cli/season.py"):
        (folder / name).parent.mkdir(parents=True)
        (folder / name).write_text(f"# {name}\n")
    return folder


def test_any_changed_file_is_another_program(tmp_path: Path) -> None:
    folder = lay_out(tmp_path / "p")
    seen = [fingerprint_program(folder)]
    (folder / "pull" / "fusing.py").write_text("# pull/fusinG.py\n")
    seen.append(fingerprint_program(folder))
    (folder / "pull" / "fusing.py").rename(folder / "pull" / "joining.py")
    seen.append(fingerprint_program(folder))
    (folder / "report" / "page.html").unlink()
    seen.append(fingerprint_program(folder))
    assert len(set(seen)) == len(seen)


def test_a_copy_and_what_is_left_behind_are_the_same_program(tmp_path: Path) -> None:
    one, other = lay_out(tmp_path / "p"), lay_out(tmp_path / "q")
    (other / "pull" / "__pycache__").mkdir()
    (other / "pull" / "__pycache__" / "fusing.cpython-311.pyc").write_bytes(b"x")
    (other / "pull" / "fusing.py~").write_text("old")
    assert fingerprint_program(one) == fingerprint_program(other)


def test_who_asks_for_results_does_not_change_them(tmp_path: Path) -> None:
    folder = lay_out(tmp_path / "p")
    before = fingerprint_program(folder, OUTER)
    (folder / "cli" / "season.py").write_text("# something else\n")
    assert fingerprint_program(folder, OUTER) == before
    (folder / "report" / "page.html").write_text("other")
    assert fingerprint_program(folder, OUTER) != before


def test_the_packages_that_are_left_out_are_there() -> None:
    import matchvision

    assert {path.name for path in Path(matchvision.__file__).parent.iterdir() if path.is_dir()} >= OUTER
