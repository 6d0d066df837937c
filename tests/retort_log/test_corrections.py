"""A reading typed wrongly is put right or withdrawn; the record keeps all that was said."""

from collections.abc import Callable
from datetime import datetime, timedelta
from decimal import Decimal
from typing import Any

import pytest

from cases.models import Case
from chain_of_custody import trail
from chain_of_custody.models import CustodyEntry
from chain_of_custody.verify import verify
from crematory import clock
from crematory.models import Facility, StaffMember
from retort_log import corrections, recorded, selectors
from retort_log.acts import ReadingDoubted, ReadingRefused, record_reading
from retort_log.corrections import RightValues, correct_reading
from retort_log.models import Reading, ReadingCorrection, Retort
from tests import cast, raw

pytestmark = pytest.mark.django_db
AT = cast.START
WRONG, RIGHT = (Decimal("880"), Decimal("650")), (Decimal("650"), Decimal("880"))


@pytest.fixture
def reading(retort: Retort) -> Reading:
    with clock.pinned(AT):
        return cast.read(retort, WRONG)


def longest_gap(retort: Retort, start: datetime, end: datetime) -> timedelta:
    return max(b - a for a, b in recorded.gaps(retort, start, end, timedelta(0)))


def put_right(
    reading: Reading, member: StaffMember, values: Any = RIGHT, why: str = "chambers swapped"
) -> ReadingCorrection:
    right = RightValues(*values) if values else None
    with clock.pinned(reading.at + timedelta(minutes=1)):
        return correct_reading(reading, cast.signature(member), why, right)


def test_gates_read_the_corrected_values(reading: Reading, operator: StaffMember) -> None:
    put_right(reading, operator)
    stands = selectors.newest_reading(reading.retort, AT)
    assert stands is not None
    assert (stands.primary_c, stands.secondary_c) == RIGHT
    reading.refresh_from_db()
    assert (reading.primary_c, reading.secondary_c) == WRONG


def test_the_trail_holds_both_values_who_and_why(reading: Reading, manager: StaffMember) -> None:
    put_right(reading, manager)
    entry = CustodyEntry.objects.get(act="correct_reading")
    facts = trail.facts_of(entry)
    assert entry.signed_by == manager
    assert (facts["old_primary_c"], facts["new_primary_c"]) == ("880", "650")
    assert (facts["old_secondary_c"], facts["new_secondary_c"]) == ("650", "880")
    assert facts["why"] == "chambers swapped"
    assert facts["is_withdrawn"] is False
    assert verify(reading.retort.facility).holds


def test_a_withdrawn_reading_counts_as_not_there(
    retort: Retort, reading: Reading, operator: StaffMember
) -> None:
    for minutes in (-15, 15):
        with clock.pinned(AT + timedelta(minutes=20)):
            cast.read(retort, RIGHT, AT + timedelta(minutes=minutes))
    ends = AT - timedelta(minutes=15), AT + timedelta(minutes=15)
    assert longest_gap(retort, *ends) == timedelta(minutes=15)
    put_right(reading, operator, None, "entered for the wrong retort")
    assert longest_gap(retort, *ends) == timedelta(minutes=30)
    newest = selectors.newest_reading(retort, AT)
    assert newest is not None
    assert newest.at == ends[0]


def test_withdrawn_by_mistake_it_is_corrected_back(reading: Reading, operator: StaffMember) -> None:
    put_right(reading, operator, None, "wrong retort")
    assert selectors.newest_reading(reading.retort, AT) is None
    put_right(reading, operator, WRONG, "it was the right retort")
    stands = selectors.newest_reading(reading.retort, AT)
    assert stands is not None
    assert [c.ordinal for c in stands.corrections] == [1, 2]


def test_its_minute_is_not_filled_again_but_corrected(
    retort: Retort, reading: Reading, operator: StaffMember
) -> None:
    put_right(reading, operator, None, "wrong retort")
    with clock.pinned(AT + timedelta(minutes=2)), pytest.raises(ReadingRefused) as caught:
        record_reading(retort, operator, *RIGHT, at=AT)
    assert caught.value.code == "reading_withdrawn"


def test_sent_twice_it_is_one_correction(reading: Reading, operator: StaffMember) -> None:
    first = put_right(reading, operator)
    assert put_right(reading, operator) == first
    assert CustodyEntry.objects.filter(act="correct_reading").count() == 1


REFUSALS: dict[str, Callable[[Facility], tuple[str, Any, str]]] = {
    "reading_role": lambda facility: (cast.CLERK, RIGHT, "swapped"),
    "reason_missing": lambda facility: (cast.OPERATOR, RIGHT, "  "),
    "unchanged": lambda facility: (cast.OPERATOR, WRONG, "swapped"),
}


@pytest.mark.parametrize("code", REFUSALS)
def test_refused_and_recorded(facility: Facility, reading: Reading, code: str) -> None:
    who, values, why = REFUSALS[code](facility)
    with pytest.raises(ReadingRefused) as caught:
        put_right(reading, cast.member(facility, who), values, why)
    assert caught.value.code == code
    entry = CustodyEntry.objects.latest("sequence")
    assert (entry.act, entry.outcome) == ("correct_reading", "refused")
    assert trail.facts_of(entry)["reasons"] == [code]
    assert not ReadingCorrection.objects.exists()


def test_another_house_corrects_nothing(reading: Reading, other_operator: StaffMember) -> None:
    with pytest.raises(ReadingRefused) as caught:
        put_right(reading, other_operator)
    assert caught.value.code == "reading_role"
    assert CustodyEntry.objects.latest("sequence").signed_by is None


@pytest.mark.parametrize(
    ("minutes", "who", "code"),
    [(5, cast.OPERATOR, "time_future"), (0, cast.OPERATOR, "reading_minute"),
     (-5, cast.CLERK, "reading_role")],
)  # fmt: skip
def test_a_refused_reading_is_recorded(
    facility: Facility, reading: Reading, minutes: int, who: str, code: str
) -> None:
    at = AT + timedelta(minutes=minutes)
    with clock.pinned(AT), pytest.raises(ReadingRefused) as caught:
        record_reading(reading.retort, cast.member(facility, who), *RIGHT, at=at)
    assert caught.value.code == code
    entry = CustodyEntry.objects.latest("sequence")
    assert (entry.act, entry.outcome) == ("record_reading", "refused")
    assert trail.facts_of(entry)["reasons"] == [code]


def test_a_doubtful_reading_is_stored_once_confirmed(
    retort: Retort, reading: Reading, operator: StaffMember
) -> None:
    entries = CustodyEntry.objects.count()
    with clock.pinned(AT + timedelta(minutes=5)):
        with pytest.raises(ReadingDoubted) as caught:
            record_reading(retort, operator, *RIGHT)
        assert caught.value.doubts == ("swapped",)
        assert (Reading.objects.count(), CustodyEntry.objects.count()) == (1, entries)
        record_reading(retort, operator, *RIGHT, is_confirmed=True)
    entry = CustodyEntry.objects.latest("sequence")
    assert trail.facts_of(entry)["confirmed_although"] == ["swapped"]


def test_doubts_compare_with_corrected_values(
    retort: Retort, reading: Reading, operator: StaffMember
) -> None:
    put_right(reading, operator)
    with clock.pinned(AT + timedelta(minutes=5)):
        assert record_reading(retort, operator, *RIGHT)


def test_a_correction_is_doubted_too(
    retort: Retort, reading: Reading, operator: StaffMember
) -> None:
    with clock.pinned(AT + timedelta(minutes=5)):
        cast.read(retort, WRONG)
    with pytest.raises(ReadingDoubted):
        put_right(reading, operator)


def test_the_correction_stands_in_the_trail_of_the_person_inside(
    case: Case, operator: StaffMember
) -> None:
    cast.bring(case, "in_retort")
    assert case.run.charge_reading is not None
    put_right(case.run.charge_reading, operator, (Decimal("640"), Decimal("875")))
    assert CustodyEntry.objects.get(act="correct_reading").case == case
    case.run.refresh_from_db()
    assert case.run.charge_temperature_c == cast.HOT[1]


class TestDatabase:
    def columns(self, reading: Reading, **changes: Any) -> dict[str, Any]:
        at: datetime = AT
        values = {
            "reading_id": reading.pk,
            "retort_id": reading.retort_id,
            "ordinal": 1,
            "is_withdrawn": False,
            "old_primary_c": 1,
            "old_secondary_c": 1,
            "primary_c": 1,
            "secondary_c": 1,
            "why": "x",
            "corrected_at": at,
            "corrected_by_id": reading.read_by_id,
        }
        return {**values, **changes}

    def insert(self, reading: Reading, **changes: Any) -> None:
        raw.insert("retort_log_readingcorrection", **self.columns(reading, **changes))

    def test_a_correction_names_a_reading_of_the_same_retort(
        self, retorts: list[Retort], reading: Reading
    ) -> None:
        with raw.refuses("same retort"):
            self.insert(reading, retort_id=retorts[1].pk)

    def test_corrections_are_numbered_without_a_gap(self, reading: Reading) -> None:
        self.insert(reading)
        for ordinal in (1, 3):
            with raw.refuses("numbered without a gap"):
                self.insert(reading, ordinal=ordinal)
        self.insert(reading, ordinal=2)

    def test_with_a_reason_and_in_sense(self, reading: Reading) -> None:
        with raw.refuses("reading_correction_has_reason"):
            self.insert(reading, why="")
        with raw.refuses("reading_correction_in_sense"):
            self.insert(reading, primary_c=2001)

    def test_written_once(self, reading: Reading) -> None:
        self.insert(reading)
        for statement in (
            "UPDATE retort_log_readingcorrection SET why = 'other'",
            "DELETE FROM retort_log_readingcorrection",
        ):
            with raw.refuses("written once"):
                raw.run(statement)

    def test_the_reading_that_opened_the_charge_stays(self, case: Case) -> None:
        cast.bring(case, "in_retort")
        with raw.refuses("only goes forward"):
            raw.run("UPDATE retort_log_run SET charge_reading_id = NULL")


def test_a_reading_belongs_to_the_whole_minute(retort: Retort) -> None:
    """A reading at 10:00:30 leaves 10:01 free, and no other second of 10:00."""
    minute = AT.replace(second=0, microsecond=0)
    with clock.pinned(minute + timedelta(minutes=5)):
        cast.read(retort, RIGHT, minute + timedelta(seconds=30))
        for second in (0, 59):
            with pytest.raises(ReadingRefused) as caught:
                cast.read(retort, (Decimal(640), Decimal(870)), minute + timedelta(seconds=second))
            assert caught.value.code == "reading_minute"
        for minutes in (-1, 1):
            assert cast.read(retort, RIGHT, minute + timedelta(minutes=minutes))


def test_the_log_is_locked_before_the_run_is_looked_up(
    reading: Reading, operator: StaffMember, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A charge that is being recorded holds the log: its run is seen, or begins afterwards."""
    asked: list[str] = []
    lock, look = corrections.trail.lock_log, corrections.run_of

    def noted(name: str, call: Any) -> Any:
        def noting(*values: Any) -> Any:
            asked.append(name)
            return call(*values)

        return noting

    monkeypatch.setattr(corrections.trail, "lock_log", noted("lock", lock))
    monkeypatch.setattr(corrections, "run_of", noted("run", look))
    put_right(reading, operator)
    assert asked[:2] == ["lock", "run"]
