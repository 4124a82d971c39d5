"""Tables and results on disk, whole or not at all, and reading them back.

``publishing`` is not loaded here: who only reads results back needs none of what draws them.
"""

from matchvision.writing.describing import describe_tables
from matchvision.writing.resultfile import ResultFile, describe_result_file
from matchvision.writing.results import Results, check_target, open_result, read_brief, read_table, write_results

__all__ = [
    "ResultFile",
    "Results",
    "check_target",
    "describe_result_file",
    "describe_tables",
    "open_result",
    "read_brief",
    "read_table",
    "write_results",
]
