"""Faults of form: keys that do not exist, keys that are missing, values of the wrong kind or out of bounds."""

import types
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from difflib import get_close_matches
from pathlib import Path
from typing import Annotated, Any, Final, Union, get_args, get_origin

from pydantic import BaseModel, ValidationError
from pydantic_core import ErrorDetails

from matchvision.records.sheet import Quantity, RunSheet
from matchvision.sheets.lines import Key, holds

#: What is wanted, by the kind of error that the sheet types report.
_WANTED: Final = {
    "float_type": "a number is wanted, without quotes, with a decimal point",
    "int_type": "a whole number is wanted",
    "int_from_float": "a whole number is wanted",
    "finite_number": "a finite number is wanted",
    "string_type": 'a text in "quotes" is wanted',
    "bool_type": "true or false is wanted",
    "tuple_type": "an array in [ ] is wanted",
    "dict_type": "a block of keys is wanted",
    "path_type": "the name of a file is wanted",
    "is_instance_of": "the name of a file is wanted",
    "string_pattern_mismatch": "it does not have the form that is wanted",
    "string_too_short": "a text that is not empty is wanted",
}


@dataclass(frozen=True)
class KeyFault:
    """One fault: the key, what was found there, what is wanted, and what the key was perhaps meant to be."""

    key: Key
    found: str
    wanted: str
    meant: str = ""


def check_form(data: Mapping[str, Any]) -> tuple[RunSheet | None, list[KeyFault]]:
    """Turn the data of a run sheet into the frozen sheet, or say everything that is wrong with its form.

    Parameters
    ----------
    data : mapping
        As read from TOML, file names already as paths. Nothing is converted silently: a number in quotes is no number.

    Returns
    -------
    RunSheet or None
        None where there are faults.
    list of KeyFault
    """
    try:
        return RunSheet.model_validate(_freeze(data), strict=True), []
    except ValidationError as error:
        faults = [_describe(details, data) for details in error.errors(include_url=False)]
    return None, _without_repeats(faults)


def mend_names(data: Mapping[str, Any], faults: Iterable[KeyFault]) -> dict[str, Any]:
    """The data with misspelled keys read as what they were probably meant to be.

    So the checks of sense can go on and list their own faults without blaming what only follows from the spelling.
    """
    mended: dict[str, Any] = _copy(data)
    for fault in faults:
        if not fault.meant or not isinstance(fault.key[-1], str):
            continue
        holder: Any = mended
        for part in fault.key[:-1]:
            holder = holder[part]
        meant, spelled = holder.get(fault.meant), holder.pop(fault.key[-1])
        both = isinstance(meant, Mapping) and isinstance(spelled, Mapping)
        if both or meant is None:
            holder[fault.meant] = {**spelled, **meant} if both else spelled
    return mended


def suggest(word: str, known: Iterable[str]) -> str:
    """The known word that looks most like ``word``, or an empty text."""
    by_lower = {name.lower(): name for name in known}
    close = get_close_matches(word.lower(), by_lower, n=1, cutoff=0.6)
    return by_lower[close[0]] if close else ""


def ask_meant(word: str, known: Iterable[str], kind: str) -> str:
    """What is wanted in place of an unknown word: "did you mean …?", or the list of what there is."""
    names = sorted(known)
    meant = suggest(word, names)
    if meant:
        return f'did you mean "{meant}"?'
    if not names:
        return f"there is no {kind} in this sheet yet"
    plural = kind if len(names) == 1 else f"{kind}s"
    return f"the {plural} here: {', '.join(names)}"


def show_value(value: Any) -> str:  # noqa: ANN401 - whatever stands in the sheet
    """A value as people wrote it, cut short."""
    if isinstance(value, bool):
        text = str(value).lower()
    elif isinstance(value, Path):
        text = f'"{value.name}"'
    elif isinstance(value, str):
        text = f'the text "{value}"'
    elif isinstance(value, Mapping):
        text = "a block with " + (", ".join(value) or "nothing in it")
    elif isinstance(value, list | tuple):
        text = "[" + ", ".join(show_value(entry) for entry in value) + "]"
    else:
        text = str(value)
    return text if len(text) <= 60 else text[:57] + "…"


def _describe(details: ErrorDetails, data: Mapping[str, Any]) -> KeyFault:
    kind = details["type"]
    key, value = _walk(details["loc"], data, keep_last=kind in ("missing", "extra_forbidden"))
    context = details.get("ctx", {})
    if kind == "missing":
        if isinstance(key[-1], int):
            return KeyFault(key, "this entry is missing", "one more number is wanted")
        block = _model_at(key)
        if block is not None and len(key) == 1:
            return KeyFault(key, "this block is missing", f"it must be given — {_first_sentence(block)}")
        model = _model_at(key[:-1])
        doc = _first_sentence(model) if model else ""
        if model is not None and str(key[-1]) in model.model_fields:
            doc = model.model_fields[str(key[-1])].description or doc
        return KeyFault(key, "this key is missing", f"it must be given{f' — {doc}' if doc else ''}")
    if kind == "extra_forbidden":
        model = _model_at(key[:-1])
        allowed = tuple(model.model_fields) if model else ()
        meant = suggest(str(key[-1]), allowed)
        wanted = f'did you mean "{meant}"?' if meant else "keys allowed here: " + ", ".join(allowed)
        return KeyFault(key, "there is no such key", wanted, meant)
    if details["loc"] and details["loc"][-1] == "[key]":
        return KeyFault(key, f'found the name "{key[-1]}"', "names have no spaces and no full stops")
    found = f"found {show_value(value)}"
    return KeyFault(key, found, _wanted(kind, context, key, value, details["msg"]))


def _wanted(kind: str, context: Mapping[str, Any], key: Key, value: object, message: str) -> str:
    if kind == "literal_error":
        allowed = [choice.strip("'") for choice in str(context.get("expected", "")).replace(" or ", ", ").split(", ")]
        meant = suggest(value, allowed) if isinstance(value, str) else ""
        hint = f' (did you mean "{meant}"?)' if meant else ""
        return "allowed: " + ", ".join(f'"{choice}"' for choice in allowed) + hint
    if kind in ("greater_than", "greater_than_equal", "less_than", "less_than_equal"):
        words = {"gt": "more than", "ge": "at least", "lt": "less than", "le": "at most"}
        limits = " and ".join(f"{words[k]} {context[k]:g}" for k in words if k in context)
        return f"{limits} is wanted"
    if kind in ("too_short", "too_long"):
        least, most = context.get("min_length"), context.get("max_length")
        return f"{least or most} entries are wanted"
    if kind in ("model_type", "model_attributes_type", "dataclass_type"):
        if _model_at(key) is Quantity:
            return "a number, or { value = …, u = … }, is wanted"
        return f"a block [{'.'.join(str(part) for part in key)}] with its own keys is wanted"
    if kind == "string_pattern_mismatch":
        if key[-1] == "srgb":
            return 'a colour as "#rrggbb" is wanted, as in "#d0208a"'
        return "a name without spaces and full stops is wanted"
    if kind == "missing" or kind == "value_error":
        return message.removeprefix("Value error, ")
    return _WANTED.get(kind, message[:1].lower() + message[1:])


def _walk(loc: tuple[int | str, ...], data: Any, *, keep_last: bool) -> tuple[Key, Any]:  # noqa: ANN401
    """The key in the data that an error's location means, and the value there.

    Locations also name members of unions and the parts of numbers that were written bare; those are no keys.
    """
    key: Key = ()
    value = data
    for number, part in enumerate(loc):
        at_end = number == len(loc) - 1
        if holds(value, part):
            key, value = (*key, part), value[part]
        elif at_end and (keep_last or (isinstance(value, list | tuple) and isinstance(part, int))):
            key = (*key, part)
    return key, value


def _model_at(key: Key) -> type[BaseModel] | None:
    """The sheet type that describes the block at ``key``."""
    kinds: list[Any] = [RunSheet]
    for part in key:
        nearer: list[Any] = []
        for kind in kinds:
            if isinstance(kind, type) and issubclass(kind, BaseModel):
                if part in kind.model_fields:
                    nearer += _members(kind.model_fields[str(part)].annotation)
            elif get_origin(kind) is tuple and isinstance(part, int):
                entries = get_args(kind)
                nearer += _members(entries[0] if Ellipsis in entries else entries[min(part, len(entries) - 1)])
            elif get_origin(kind) is dict:
                nearer += _members(get_args(kind)[1])
        kinds = nearer
    return next((kind for kind in kinds if isinstance(kind, type) and issubclass(kind, BaseModel)), None)


def _members(annotation: Any) -> list[Any]:  # noqa: ANN401 - a type, in any of the forms that annotations take
    """The plain types inside optional, united and annotated ones."""
    if get_origin(annotation) is Annotated:
        return _members(get_args(annotation)[0])
    if get_origin(annotation) in (Union, types.UnionType):
        return [member for choice in get_args(annotation) for member in _members(choice)]
    return [annotation]


def _first_sentence(model: type[BaseModel]) -> str:
    text = " ".join((model.__doc__ or "").split("\n\n")[0].split()).replace("``", "")
    return text.rstrip(".")


def _without_repeats(faults: list[KeyFault]) -> list[KeyFault]:
    """One fault a key, and no key both misspelled and missing.

    A value that fits no member of a union is reported once for each member.
    """
    misspelled = {(*fault.key[:-1], fault.meant) for fault in faults if fault.meant}
    seen: dict[Key, KeyFault] = {}
    for fault in faults:
        if fault.key not in misspelled:
            seen.setdefault(fault.key, fault)
    return list(seen.values())


def _freeze(value: Any) -> Any:  # noqa: ANN401 - whatever stands in the sheet
    """Arrays as tuples, as the strict sheet types want them."""
    if isinstance(value, Mapping):
        return {key: _freeze(entry) for key, entry in value.items()}
    if isinstance(value, list | tuple):
        return tuple(_freeze(entry) for entry in value)
    return value


def _copy(value: Any) -> Any:  # noqa: ANN401 - whatever stands in the sheet
    if isinstance(value, Mapping):
        return {key: _copy(entry) for key, entry in value.items()}
    if isinstance(value, list | tuple):
        return [_copy(entry) for entry in value]
    return value
