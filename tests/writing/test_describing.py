"""The pages about the tables and the schemas are the code."""

from pathlib import Path

from matchvision.records.columns import TABLES
from matchvision.records.results import Analysis
from matchvision.writing import ResultFile, describe_result_file, describe_tables, open_result, write_results

PAGE = Path(__file__).parents[2] / "docs" / "tables.md"


def test_page_in_docs_is_the_code() -> None:
    """Run `python -m matchvision schema tables > docs/tables.md` after a change to the column lists."""
    assert PAGE.read_text(encoding="utf-8") == describe_tables()


def test_page_names_every_column() -> None:
    page = describe_tables()
    for name, columns in TABLES.items():
        part = page.split(f"\n## {name}\n")[1].split("\n## ")[0]
        for column in columns:
            assert f"| `{column.name}` |" in part


def test_schema_covers_what_is_written(analysis: Analysis, tmp_path: Path) -> None:
    write_results(analysis, tmp_path / "out")
    brief = open_result(tmp_path / "out").brief
    schema = describe_result_file()
    assert set(schema["properties"]) == set(brief.model_dump())
    assert set(schema["required"]) == set(ResultFile.model_fields)
    assert {"type": "null"} in schema["$defs"]["VerdictBrief"]["properties"]["margin_m"]["anyOf"]
