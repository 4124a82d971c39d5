"""The page that lists every key of a run sheet, made from the sheet types."""

import re
import types
from collections.abc import Iterator
from typing import Annotated, Any, Final, Literal, Union, get_args, get_origin

from annotated_types import Ge, Gt, Le, Lt
from pydantic import BaseModel
from pydantic.fields import FieldInfo
from pydantic_core import PydanticUndefined

from matchvision.records.sheet import Quantity, RunSheet

_PLAIN: Final = {"float": "number", "int": "whole number", "str": "text", "bool": "true or false", "Path": "file"}
_BOUNDS: Final = ((Gt, "gt", "above"), (Ge, "ge", "at least"), (Lt, "lt", "below"), (Le, "le", "at most"))
#: What stands for a name that people choose.
_ANY_NAME: Final = "NAME"


def describe_keys() -> str:
    """A page in Markdown: every block of a run sheet with its keys: what they are, take, and are if not given.

    Notes
    -----
    Checked by: tests/sheets/test_describing.py::test_page_in_docs_is_the_code
    """
    parts = [
        "# Keys of the run sheet",
        "",
        "Made from the program's sheet types by `matchvision schema keys`; do not edit by hand. `matchvision new`",
        "writes a sheet in which the usual ones are explained where they stand. Names end in their unit. A *quantity*",
        "is a number, or `{ value = …, u = … }` with its standard uncertainty. Files count from the sheet that names",
        "them; `NAME` is any name of your own. At the top of the sheet, `include = [...]` names sheets that are read",
        "first; later ones win.",
    ]
    told: dict[type[BaseModel], str] = {}
    for path, model, many in _blocks(RunSheet, ""):
        heading = f"[[{path}]]" if many else f"[{path}]"
        parts += ["", f"## `{heading}`", ""]
        if model in told:
            parts.append(f"The same keys as `{told[model]}`.")
            continue
        told[model] = heading
        parts += [_paragraph(model), "", "| key | what it is | takes | if not given |", "|---|---|---|---|"]
        parts += [_row(name, field) for name, field in model.model_fields.items() if not _inner(field.annotation)]
    return "\n".join(parts) + "\n"


def _blocks(model: type[BaseModel], path: str) -> Iterator[tuple[str, type[BaseModel], bool]]:
    """Every block under a block, in the order of the types: its path, its type and whether it may stand many times."""
    for name, field in model.model_fields.items():
        inner = _inner(field.annotation)
        if inner is None:
            continue
        kind, form = inner
        here = f"{path}.{name}" if path else name
        here = f"{here}.{_ANY_NAME}" if form is dict else here
        yield here, kind, form is tuple
        yield from _blocks(kind, here)


def _inner(annotation: Any) -> tuple[type[BaseModel], type | None] | None:  # noqa: ANN401 - a type in any form
    """The block type inside an annotation, and whether it stands in an array or under names."""
    for choice in _choices(annotation):
        origin = get_origin(choice)
        kinds = get_args(choice)[-1:] if origin is dict else get_args(choice)[:1] if origin is tuple else (choice,)
        for kind in (plain for raw in kinds for plain in _choices(raw)):
            if isinstance(kind, type) and issubclass(kind, BaseModel) and kind is not Quantity:
                return kind, origin
    return None


def _row(name: str, field: FieldInfo) -> str:
    if field.is_required():
        default = "**must be given**"
    elif field.default in (None, (), PydanticUndefined) or field.default == {}:
        default = "—"
    else:
        default = f"`{str(field.default).lower() if isinstance(field.default, bool) else field.default}`"
    return f"| `{name}` | {field.description or ''} | {_takes(field.annotation, tuple(field.metadata))} | {default} |"


def _takes(annotation: Any, metadata: tuple[Any, ...] = ()) -> str:  # noqa: ANN401 - a type in any form
    """What a key takes, in words."""
    if get_origin(annotation) is Annotated:
        inner, *own = get_args(annotation)
        return _takes(inner, (*metadata, *own))
    if get_origin(annotation) in (Union, types.UnionType):
        given = [choice for choice in get_args(annotation) if choice is not type(None)]
        return " or ".join(_takes(choice, metadata) for choice in given)
    if get_origin(annotation) is Literal:
        return ", ".join(f'`"{value}"`' for value in get_args(annotation))
    if get_origin(annotation) is tuple:
        entries = get_args(annotation)
        if Ellipsis in entries:
            return f"array of: {_takes(entries[0])}"
        return f"[{', '.join(_takes(entry) for entry in entries)}]"
    if annotation is Quantity:
        return "quantity"
    return _PLAIN.get(getattr(annotation, "__name__", ""), str(annotation)) + _bounds(metadata)


def _bounds(metadata: tuple[Any, ...]) -> str:
    flat = [entry for item in metadata for entry in (getattr(item, "metadata", None) or [item])]
    said = [f"{word} {getattr(m, key):g}" for m in flat for kind, key, word in _BOUNDS if isinstance(m, kind)]
    return f" {' and '.join(said)}" if said else ""


def _choices(annotation: Any) -> tuple[Any, ...]:  # noqa: ANN401 - a type in any form
    if get_origin(annotation) is Annotated:
        return _choices(get_args(annotation)[0])
    if get_origin(annotation) in (Union, types.UnionType):
        return tuple(plain for choice in get_args(annotation) for plain in _choices(choice))
    return (annotation,)


def _paragraph(model: type[BaseModel]) -> str:
    text = " ".join((model.__doc__ or "").replace("``", "`").split())
    text = re.sub(r"^`\[[^`]*\]`: ", "", text)  # the heading says it
    return text[:1].upper() + text[1:]
