"""Holding a JSON document to its schema, as far as our schemas go."""

from typing import Any

_TYPES: dict[str, type | tuple[type, ...]] = {
    "string": str,
    "integer": int,
    "number": (int, float),
    "boolean": bool,
    "array": list,
    "object": dict,
    "null": type(None),
}


def find_strays(document: Any, schema: dict[str, Any], whole: dict[str, Any] | None = None, at: str = "") -> list[str]:
    """Where a document is not as the schema says, or has more or fewer keys than it."""
    whole = schema if whole is None else whole
    if "$ref" in schema:
        return find_strays(document, whole["$defs"][schema["$ref"].rpartition("/")[2]], whole, at)
    if "anyOf" in schema:
        tried = [find_strays(document, one, whole, at) for one in schema["anyOf"]]
        return min(tried, key=len)
    if "const" in schema:
        return [] if document == schema["const"] else [f"{at}: {document!r}"]
    wanted = schema["type"]
    fits = isinstance(document, _TYPES[wanted])  # told apart, for a checker takes what fits for an object only
    if not fits:
        return [f"{at}: {document!r} is no {wanted}"]
    if wanted == "array":
        strays = [find_strays(one, schema["items"], whole, f"{at}[{i}]") for i, one in enumerate(document)]
    elif "properties" in schema:
        known = schema["properties"]
        strays = [
            [f"{at}.{name}"] for name in sorted(set(known) ^ set(document) | set(known) ^ set(schema["required"]))
        ]
        strays += [
            find_strays(document[name], known[name], whole, f"{at}.{name}") for name in known if name in document
        ]
    elif wanted == "object":
        strays = [
            find_strays(one, schema["additionalProperties"], whole, f"{at}.{name}") for name, one in document.items()
        ]
    else:
        strays = []
    return [stray for group in strays for stray in group]
