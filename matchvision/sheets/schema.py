"""JSON Schema of the run sheet, for editors and other tools."""

from typing import Any

from matchvision.records.sheet import RunSheet


def describe_run_sheet() -> dict[str, Any]:
    """JSON Schema (draft 2020-12) of a run sheet as it stands in a file, ``include`` with it.

    A sheet that is included by another may leave keys out; the schema is that of the whole.
    """
    schema = RunSheet.model_json_schema(mode="validation")
    include = {
        "type": "array",
        "items": {"type": "string"},
        "description": "Sheets that are read first, counted from this file; later ones win, this one wins over all.",
    }
    schema["properties"] = {"include": include, **schema["properties"]}
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        **schema,
        "title": "matchvision run sheet",
    }
