"""Queries that stand written out answer as the framework's own would."""

from datetime import UTC, datetime, timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.apps import apps
from django.contrib.sessions.backends import db
from django.contrib.sessions.models import Session
from django.db import connection
from django.db.models import Model, signals
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from cases.models import Case
from chain_of_custody.models import Log
from crematory.backends import StaffBackend
from crematory.models import Facility, StaffMember
from crematory.sessions import SessionStore
from crematory.written import Part, Written, moment
from retort_log.models import Reading
from tests import cast

pytestmark = pytest.mark.django_db
READINGS = Written(
    "SELECT {r}, {p}, r.id + 1 FROM retort_log_reading r"
    " LEFT JOIN retort_log_readingcorrection p ON p.reading_id = r.id AND p.id < 0"
    " WHERE r.retort_id = %s AND r.at <= %s ORDER BY r.at",
    r=Part("retort_log.Reading"),
    p=Part("retort_log.ReadingCorrection"),
)
NAMES = Written(
    "SELECT {c} FROM cases_case c WHERE c.id = %s",
    c=Part("cases.Case", "decedent_name", "born_on"),
)


def values(row: Model) -> dict[str, Any]:
    return {f.attname: getattr(row, f.attname) for f in row._meta.concrete_fields}


def test_rows_are_those_of_the_framework() -> None:
    case = cast.bring(cast.make_case(cast.make_facility()), "contained")
    rows = Reading.objects.filter(retort=case.run.retort_id).order_by("at")
    assert len(rows) > 3
    found = READINGS(case.run.retort_id, rows[2].at)
    assert [values(reading) for reading, _none, _more in found] == [values(r) for r in rows[:3]]
    assert [more for _reading, _none, more in found] == [r.pk + 1 for r in rows[:3]]
    for reading, none, _more in found:
        assert none is None
        assert reading.at.tzinfo is UTC
        assert isinstance(reading.primary_c, Decimal)
        assert str(reading.primary_c) == str(Reading.objects.get(pk=reading.pk).primary_c)
        assert not reading._state.adding


def test_columns_that_are_not_named_are_read_when_asked_for() -> None:
    case = cast.make_case(cast.make_facility())
    [(found,)] = NAMES(case.pk)
    with CaptureQueriesContext(connection) as queries:
        assert (found.decedent_name, found.born_on) == (case.decedent_name, case.born_on)
    assert not queries.captured_queries
    assert found.sender == Case.objects.get(pk=case.pk).sender


def test_a_time_without_zone_is_of_utc() -> None:
    at = datetime(2026, 3, 1, 12, 30, tzinfo=UTC)
    later = timezone.get_fixed_timezone(timedelta(hours=2))
    for told in (at, at.replace(tzinfo=None), at.astimezone(later), "2026-03-01 12:30:00"):
        assert moment(told) == at
        assert moment(told).tzinfo is UTC


def test_who_is_signed_in_is_read_with_facility_and_log() -> None:
    facility = cast.make_facility(added_rules={"wait.hours": 48})
    cast.make_case(facility)
    pk = cast.member(facility, "M1").pk
    with CaptureQueriesContext(connection) as queries:
        member = StaffBackend().get_user(pk)
        assert member is not None
        facility = member.facility
        log = facility.log
    assert len(queries) == 1
    assert values(member) == values(StaffMember.objects.get(pk=pk))
    assert values(facility) == values(Facility.objects.get(pk=facility.pk))
    assert values(log) == values(Log.objects.get(facility=facility))


def test_a_house_without_an_entry_has_no_log() -> None:
    member = cast.member(cast.make_facility(), "M1")
    found = StaffBackend().get_user(member.pk)
    assert found is not None
    assert getattr(found.facility, "log", None) is None


def test_who_is_not_active_or_not_there_is_nobody() -> None:
    member = cast.member(cast.make_facility(), "M1")
    StaffMember.objects.filter(pk=member.pk).update(is_active=False)
    assert StaffBackend().get_user(member.pk) is None
    assert StaffBackend().get_user(-1) is None


def test_a_session_is_read_as_the_framework_reads_it() -> None:
    kept = SessionStore()
    kept["typed"] = {"name": "Ada"}
    kept.save()
    assert SessionStore(kept.session_key).load() == db.SessionStore(kept.session_key).load()
    assert SessionStore(kept.session_key)["typed"] == {"name": "Ada"}


def test_a_session_that_expired_or_is_unknown_holds_nothing() -> None:
    kept = SessionStore()
    kept["typed"] = {"name": "Ada"}
    kept.save()
    Session.objects.update(expire_date=timezone.now() - timedelta(seconds=1))
    for key in (kept.session_key, "unknown", None):
        store = SessionStore(key)
        assert store.load() == {}
        assert store.session_key is None


def test_signing_in_gives_the_session_another_key() -> None:
    member, client = cast.member(cast.make_facility(), "C1"), Client()
    before = client.session
    before["typed"] = "kept"
    before.save()
    client.cookies["sessionid"] = str(before.session_key)
    client.post("/sign-in/", {"username": member.staff_code, "password": cast.PASSWORD})
    assert client.get("/").status_code == 200
    assert client.session.session_key != before.session_key
    assert not Session.objects.filter(session_key=before.session_key).exists()


@pytest.mark.parametrize("kept", ["password", "backend", "hash", "data", "active"])
def test_a_session_holds_only_as_it_was_signed_in(kept: str) -> None:
    """Another password, another backend, a forged hash, spoiled data, a member put out of use."""
    member, client = cast.member(cast.make_facility(), "M1"), Client()
    client.force_login(member)
    assert client.get("/").status_code == 200
    session = client.session
    if kept == "password":
        member.set_password("another long password")
        member.save()
    elif kept == "data":
        Session.objects.update(session_data="spoiled")
    elif kept == "active":
        StaffMember.objects.filter(pk=member.pk).update(is_active=False)
    else:
        named = {"backend": "django.contrib.auth.backends.ModelBackend", "hash": "forged"}
        session[f"_auth_user_{kept}"] = named[kept]
        session.save()
    assert client.get("/").status_code == 302


def test_a_cookie_that_no_store_gave_is_no_session() -> None:
    """A quoted cookie may hold any character, a NUL among them."""
    for cookie in ('sessionid="aaaaaaaaaa\\000a"', "sessionid=' OR 1=1 --", "sessionid=ßßßßßßßßß"):
        answer = Client().get("/", headers={"cookie": cookie})
        assert (answer.status_code, answer.headers["Location"]) == (302, "/sign-in/?next=/")


def test_signing_out_ends_the_session() -> None:
    client = Client()
    client.force_login(cast.member(cast.make_facility(), "M1"))
    assert client.get("/").status_code == 200
    client.post("/sign-out/")
    assert client.get("/").status_code == 302


def test_rows_are_made_without_what_no_model_of_ours_has() -> None:
    """`Part.made` leaves out signals and a model's own ways to be made: there are none."""
    ours = ("cases", "retort_log", "chain_of_custody", "crematory")
    for model in apps.get_models():
        if model._meta.app_label in ours:
            assert model.__init__ is Model.__init__
            assert model.from_db.__func__ is Model.from_db.__func__  # type: ignore[attr-defined]
            assert not signals.pre_init.has_listeners(model)
            assert not signals.post_init.has_listeners(model)
