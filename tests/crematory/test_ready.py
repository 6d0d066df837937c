"""Ready queries: the SQL is written once, the rows are read each time."""

import threading
from datetime import timedelta
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from crematory import clock
from crematory.models import Facility, StaffMember
from crematory.ready import Ready, attach, first, share_out
from tests import cast

pytestmark = pytest.mark.django_db
MEMBERS = Ready(
    lambda facility: (
        StaffMember.objects.filter(facility=facility)
        .select_related("facility")
        .order_by("staff_code")
    )
)


@pytest.fixture
def facility() -> Facility:
    return cast.make_facility()


def test_it_reads_what_the_plain_query_reads_each_time_anew(facility: Facility) -> None:
    plain = StaffMember.objects.filter(facility=facility).order_by("staff_code")
    assert list(MEMBERS(facility.pk)) == list(plain)
    assert not list(MEMBERS(facility.pk + 1))
    plain.filter(staff_code=plain[0].staff_code).update(printed_name="Somebody Else")
    assert MEMBERS(facility.pk)[0].printed_name == "Somebody Else"


def test_it_joins_and_asks_once_and_only_when_read(facility: Facility) -> None:
    list(MEMBERS(facility.pk))
    with CaptureQueriesContext(connection) as captured:
        rows = MEMBERS(facility.pk)
    assert not len(captured)
    with CaptureQueriesContext(connection) as captured:
        assert {member.facility.name for member in rows} == {facility.name}
        assert len(rows) == len(list(rows))
    assert len(captured) == 1


def test_a_further_filter_keeps_the_condition(facility: Facility) -> None:
    other = cast.make_facility("QW")
    code = StaffMember.objects.filter(facility=other).values_list("staff_code", flat=True)[0]
    found = MEMBERS(other.pk).filter(staff_code=code)
    assert {member.facility_id for member in found} == {other.pk}
    assert MEMBERS(other.pk).count() == StaffMember.objects.filter(facility=other).count()
    assert not MEMBERS(other.pk).exclude(facility=other).exists()


def test_texts_times_and_lists_are_values_too(facility: Facility) -> None:
    member = StaffMember.objects.filter(facility=facility).earliest("pk")
    now = clock.now()
    StaffMember.objects.filter(pk=member.pk).update(last_login=now)
    ready: Ready[Any] = Ready(
        lambda code, start, end: StaffMember.objects.filter(
            staff_code=code, last_login__range=(start, end)
        ).values_list("pk", flat=True)
    )
    minute = timedelta(minutes=1)
    assert list(ready(member.staff_code, now - minute, now)) == [member.pk]
    assert not list(ready(member.staff_code, now + minute, now + 2 * minute))
    assert not list(ready("' OR 1=1 --", now - minute, now))
    by_key = Ready(lambda *pks: StaffMember.objects.filter(pk__in=pks))
    assert list(by_key(member.pk)) == [member]
    assert set(by_key(member.pk, member.pk, 0)) == {member}


def test_a_value_that_is_no_parameter_is_refused(facility: Facility) -> None:
    with pytest.raises(ValueError, match="parameter"):
        Ready(lambda pk: StaffMember.objects.all())(facility.pk)


def test_the_first_row_or_none(facility: Facility) -> None:
    member = first(MEMBERS(facility.pk))
    assert member is not None
    assert member.facility_id == facility.pk
    assert first(MEMBERS(facility.pk + 1)) is None


def test_attached_rows_answer_for_the_relation_and_know_their_owner(facility: Facility) -> None:
    ready = Ready(lambda pk: StaffMember.objects.filter(facility=pk))
    attach(facility, {"staff": ready(facility.pk)})
    with CaptureQueriesContext(connection) as captured:
        assert all(member.facility is facility for member in facility.staff.all())
        assert len(facility.staff.all()) == len(facility.staff.all())
    assert len(captured) == 1


@pytest.mark.django_db(transaction=True)
def test_each_thread_asks_by_its_own_connection(facility: Facility) -> None:
    list(MEMBERS(facility.pk))
    used = []

    def ask() -> None:
        rows = MEMBERS(facility.pk)
        used.append(rows.query.get_compiler().connection)
        connection.close()

    thread = threading.Thread(target=ask)
    thread.start()
    thread.join()
    assert used[0] is not MEMBERS(facility.pk).query.get_compiler().connection


def test_rows_read_at_once_are_shared_out(facility: Facility) -> None:
    other, empty = cast.make_facility("QW"), cast.make_facility("QX")
    StaffMember.objects.filter(facility=empty).delete()
    ready = Ready(lambda *pks: StaffMember.objects.filter(facility__in=pks))
    everybody = [facility, other, empty]
    with CaptureQueriesContext(connection) as captured:
        share_out(everybody, "staff", ready, ready(*(one.pk for one in everybody)))
        found = [list(one.staff.all()) for one in everybody]
    assert len(captured) == 1
    assert found == [list(StaffMember.objects.filter(facility=one)) for one in everybody]
    assert facility.staff.filter(facility=other).count() == 0
