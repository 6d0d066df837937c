"""A logger's file is taken once, whole, beside what recorders wrote before it."""

import hashlib
from datetime import datetime, timedelta

import pytest

from chain_of_custody import trail
from chain_of_custody.models import CustodyEntry
from chain_of_custody.verify import verify
from crematory import clock
from crematory.models import StaffMember
from retort_log import logger_acts, recorded
from retort_log.logger_acts import LoggerRefused, Sent, take_file
from retort_log.logger_files import look
from retort_log.models import Logger, LoggerFile, ReadingBlock, Retort
from tests import cast

pytestmark = pytest.mark.django_db
AT = cast.START
HEAD = "Time,Primary (°F),Secondary (°F)"


@pytest.fixture
def logger(retort: Retort) -> Logger:
    return Logger.objects.create(retort=retort, name="panel logger")


def lines(start: datetime, values: list[tuple[str, str]], step_s: int = 60) -> bytes:
    rows = [
        f"{(start + timedelta(seconds=n * step_s)):%Y-%m-%dT%H:%M:%SZ},{a},{b}"
        for n, (a, b) in enumerate(values)
    ]
    return "\n".join([HEAD, *rows, ""]).encode()


def sent(raw: bytes, name: str = "log.csv") -> Sent:
    return Sent(name, raw, look(raw).mapping())


HOT = [("1200.0", "1650.5"), ("1210.0", "1640.0"), ("1220.0", "1655.0")]


def take(logger: Logger, member: StaffMember, raw: bytes) -> LoggerFile:
    with clock.pinned(AT + timedelta(days=1)):
        return take_file(logger, member, sent(raw))


def test_a_file_is_kept_whole_and_its_readings_count(logger: Logger, operator: StaffMember) -> None:
    raw = lines(AT, HOT)
    file = take(logger, operator, raw)
    assert (file.taken, file.refused, file.already_there) == (3, 0, 0)
    assert logger_acts.path_of(file.stored_name).read_bytes() == raw
    newest = recorded.newest(logger.retort, "secondary", AT + timedelta(minutes=9))
    assert newest is not None
    assert newest.at == AT + timedelta(minutes=2)
    facts = trail.facts_of(CustodyEntry.objects.get(act="take_log"))
    assert facts["file_sha256"] == hashlib.sha256(raw).hexdigest()
    assert facts["taken"] == 3
    assert verify(logger.retort.facility).holds
    logger.refresh_from_db()
    assert look(raw).knows(sent(raw).mapping.from_json(logger.mapping))


def test_the_same_file_is_taken_once(logger: Logger, operator: StaffMember) -> None:
    raw = lines(AT, HOT)
    assert take(logger, operator, raw) == take(logger, operator, raw)
    assert ReadingBlock.objects.count() == 1


def test_a_longer_export_adds_only_what_is_new(logger: Logger, operator: StaffMember) -> None:
    take(logger, operator, lines(AT, HOT))
    file = take(logger, operator, lines(AT, [*HOT, ("1230", "1660")]))
    assert (file.taken, file.already_there) == (1, 3)
    with pytest.raises(LoggerRefused) as refused:
        take(logger, operator, lines(AT, HOT) + b"\n")
    assert refused.value.code == "log_known"


def test_another_value_of_a_stored_time_is_refused_line_by_line(
    logger: Logger, operator: StaffMember
) -> None:
    take(logger, operator, lines(AT, HOT))
    changed = [HOT[0], ("1210.0", "1700.0"), HOT[2], ("1230", "1660")]
    file = take(logger, operator, lines(AT, changed))
    assert (file.taken, file.already_there, file.refused) == (1, 2, 1)
    assert file.refusals == [[3, "Another value of this very time is stored already. It stays."]]


def test_two_recorders_of_one_time_are_not_mixed(logger: Logger, operator: StaffMember) -> None:
    take(logger, operator, lines(AT, HOT))
    second = Logger.objects.create(retort=logger.retort, name="another")
    raw = lines(AT + timedelta(seconds=30), [("1000", "1500")] * 4)
    file = take(second, operator, raw)
    assert (file.taken, file.refused) == (2, 2)
    assert "Another recorder" in file.refusals[0][1]


def test_a_bad_cell_is_said_and_the_rest_of_the_line_stands(
    logger: Logger, operator: StaffMember
) -> None:
    file = take(logger, operator, lines(AT, [HOT[0], ("OPEN", "1651"), HOT[2]]))
    assert (file.taken, file.refused) == (3, 1)
    assert recorded.times(logger.retort, AT, AT + timedelta(hours=1))[1] == AT + timedelta(
        minutes=1
    )


def test_nobody_else_enters_readings(logger: Logger, clerk: StaffMember) -> None:
    with pytest.raises(LoggerRefused) as refused:
        take(logger, clerk, lines(AT, HOT))
    assert refused.value.code == "reading_role"
    assert not LoggerFile.objects.exists()
    assert CustodyEntry.objects.get(act="take_log").outcome == "refused"


def test_a_file_of_nothing_but_refusals_is_not_taken(logger: Logger, operator: StaffMember) -> None:
    raw = lines(AT + timedelta(days=400), HOT)
    with pytest.raises(LoggerRefused) as refused:
        take(logger, operator, raw)
    assert refused.value.code == "log_empty"
    assert "future" in refused.value.text
