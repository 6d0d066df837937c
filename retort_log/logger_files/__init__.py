"""Files of data loggers: `look` at one, settle its `Mapping`, `read` it. Pure, no Django.

    seen = look(raw, zone="America/New_York")
    mapping = seen.mapping({question.code: answer, ...})   # remember mapping.to_json()
    parsed = read(raw, mapping)

A mapping that was kept for a logger is used again by `seen.remembered(mapping)` if
`seen.knows(mapping)`.
"""

from retort_log.logger_files.looking import Unanswered, Understanding, look
from retort_log.logger_files.mapping import Column, Mapping, MappingError, TimeColumns
from retort_log.logger_files.order import Gap, Note
from retort_log.logger_files.questions import Question
from retort_log.logger_files.reading import Parsed, read, read_source
from retort_log.logger_files.refusals import FileRefused, Refusal, Run, in_runs

__all__ = [
    "Column",
    "FileRefused",
    "Gap",
    "Mapping",
    "MappingError",
    "Note",
    "Parsed",
    "Question",
    "Refusal",
    "Run",
    "TimeColumns",
    "Unanswered",
    "Understanding",
    "in_runs",
    "look",
    "read",
    "read_source",
]
