"""The machines: permits, retorts, runs, readings, upkeep, and what was processed."""

from retort_log.models.machines import PermitToOperate, Retort, UpkeepDone, UpkeepRule
from retort_log.models.readings import ABSOLUTE_ZERO_C, HIGHEST_C, Reading, ReadingCorrection
from retort_log.models.remains import Processing
from retort_log.models.runs import FindingSettled, Run, RunEvent
from retort_log.models.series import (
    Controller,
    ControllerState,
    LiveSample,
    Logger,
    LoggerFile,
    ReadingBlock,
)

__all__ = [
    "ABSOLUTE_ZERO_C",
    "HIGHEST_C",
    "Controller",
    "ControllerState",
    "FindingSettled",
    "LiveSample",
    "Logger",
    "LoggerFile",
    "PermitToOperate",
    "Processing",
    "Reading",
    "ReadingBlock",
    "ReadingCorrection",
    "Retort",
    "Run",
    "RunEvent",
    "UpkeepDone",
    "UpkeepRule",
]
