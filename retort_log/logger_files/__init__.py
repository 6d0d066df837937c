"""Files of data loggers: `look` at one, settle its `Mapping`, `read` it. Pure, no Django.

    seen = look(raw, zone="America/New_York")
    mapping = seen.mapping({question.code: answer, ...})   # remember mapping.to_json()
    parsed = read(raw, mapping)

A mapping that was remembered for a logger is used again if `seen.knows(mapping)`.
"""

from retort_log.logger_files.looking import Unanswered, Understanding, look
from retort_log.logger_files.mapping import Column, Mapping, MappingError, TimeColumns
from retort_log.logger_files.order import Gap, Note
from retort_log.logger_files.questions import Question
from retort_log.logger_files.reading import Parsed, read, read_source
from retort_log.logger_files.refusals import FileRefused, Refusal

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
    "TimeColumns",
    "Unanswered",
    "Understanding",
    "look",
    "read",
    "read_source",
]
