"""Rubrics: how an instructor weighs what a forecast said, as a text file in TOML."""

from collections.abc import Mapping
from importlib.resources import files
from pathlib import Path
from typing import Any, Final

from pydantic import BaseModel, ValidationError
from pydantic_core import ErrorDetails

from matchvision.errors import Fault, OutputError, SheetError
from matchvision.records.rubric import Rubric
from matchvision.sheets.form import show_value, suggest
from matchvision.sheets.lines import find_line
from matchvision.sheets.reading import SheetSource, read_one

_DO: Final = "a rubric holds [weights], [tolerance.…] and [honesty]; what is left out keeps its default"


def read_rubric(path: Path) -> Rubric:
    """The rubric of an instructor.

    Raises
    ------
    SheetError
        With every fault, each with its line.

    Notes
    -----
    Checked by: tests/sheets/test_rubric.py::test_every_fault_is_told_with_its_line
    """
    faults: list[Fault] = []
    source = read_one(path, path.name, faults)
    if source is None:
        raise SheetError(str(path), faults, do=_DO)
    try:
        return Rubric.model_validate(source.data)
    except ValidationError as error:
        faults = [_tell(source, details) for details in error.errors(include_url=False)]
        raise SheetError(str(path), faults, do=_DO) from None


def write_new_rubric(path: Path) -> Path:
    """Write a commented rubric to start from, with the usual weights and tolerances; returns its path.

    Raises
    ------
    OutputError
        Where there is a file already, or it cannot be written.

    Notes
    -----
    Checked by: tests/sheets/test_rubric.py::test_new_rubric_is_the_default_and_leaves_an_old_one_alone
    """
    try:
        text = (files("matchvision.sheets") / "templates" / "rubric.toml").read_text(encoding="utf-8")
        with path.open("x", encoding="utf-8") as file:
            file.write(text)
    except FileExistsError:
        raise OutputError("it exists already and is left as it is", where=str(path), do="choose another name") from None
    except OSError as error:
        what = f"it cannot be written ({error.strerror})"
        raise OutputError(what, where=str(path), do="choose another place") from error
    return path


def describe_rubric() -> dict[str, Any]:
    """JSON Schema (draft 2020-12) of a rubric."""
    schema = Rubric.model_json_schema()
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        **schema,
        "title": "matchvision rubric",
    }


def _tell(source: SheetSource, details: ErrorDetails) -> Fault:
    key = tuple(details["loc"])
    line = find_line(source.lines, key)
    dotted = ".".join(str(part) for part in key) or "the rubric"
    where = f"{source.shown}, line {line}, {dotted}" if line else f"{source.shown}, {dotted}"
    if details["type"] == "extra_forbidden":
        allowed = _keys_at(key[:-1])
        meant = suggest(str(key[-1]), allowed)
        return Fault(
            where, "there is no such key", f'did you mean "{meant}"?' if meant else f"keys: {', '.join(allowed)}"
        )
    wanted = str(details["msg"]).removeprefix("Value error, ")
    if details["type"] == "value_error":
        return Fault(where, "these contradict each other", wanted)
    return Fault(where, f"found {show_value(details['input'])}", wanted[:1].lower() + wanted[1:])


def _keys_at(key: tuple[Any, ...]) -> tuple[str, ...]:
    model: Any = Rubric
    for part in key:
        fields: Mapping[str, Any] = model.model_fields
        model = fields[str(part)].annotation
    return tuple(model.model_fields) if isinstance(model, type) and issubclass(model, BaseModel) else ()
