"""Who may open what: one table of every address, checked against the addresses of the site."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

import pytest
from django.test import Client
from django.urls import URLPattern, URLResolver, get_resolver, reverse

from cases import hold_acts
from cases.models import Case
from chain_of_custody import uploads_in
from crematory import clock
from crematory.models import Facility, StaffMember
from retort_log.logger_acts import take_from
from retort_log.models import LoggerFile, PermitToOperate, Retort
from tests import cast
from tests.papers_in import picture
from tests.retort_log.test_logger_acts import HOT, lines, sent

pytestmark = pytest.mark.django_db

Args = Callable[[Case], list[Any]]
ROLES = {"clerk": cast.CLERK, "operator": cast.OPERATOR, "manager": cast.MANAGER}


@dataclass(frozen=True)
class Row:
    """One address: its arguments, and what each role is answered; `other` is another house's."""

    args: Args
    clerk: int
    operator: int
    manager: int
    other: int
    logged_out: int = 302
    method: str = "get"


def nothing(case: Case) -> list[Any]:
    return []


def number(case: Case) -> list[Any]:
    return [case.number]


def retort(case: Case) -> list[Any]:
    return ["retort-1"]


def permit(case: Case) -> list[Any]:
    return [PermitToOperate.objects.get(facility=case.facility).pk]


def a_file(case: Case) -> list[Any]:
    """A file that came in; addresses are made for each member anew."""
    found = case.uploads.first() or uploads_in.keep(
        case, cast.member(case.facility, cast.CLERK), picture("PNG"), "scan.png", "paper"
    )
    return [case.number, found.token]


def holder(case: Case) -> list[Any]:
    """Somebody with a say who is named in the case."""
    clerk = cast.member(case.facility, cast.CLERK)
    found = case.right_holders.first() or cast.says(case, clerk, "Ben Example", "")
    return [case.number, found.pk]


def a_page(case: Case) -> list[Any]:
    return [*a_file(case), 1]


def a_reading(case: Case) -> list[Any]:
    """One that may be there already: addresses are made for each member anew."""
    found = Retort.objects.filter(facility=case.facility)[0].readings.first()
    if found is None:
        with clock.pinned(cast.START):
            found = cast.read(Retort.objects.filter(facility=case.facility)[0], cast.HOT)
    return ["retort-1", found.pk]


def a_log(case: Case) -> list[Any]:
    """A logger's file that was taken in."""
    found = LoggerFile.objects.filter(logger__retort__facility=case.facility).first()
    if found is None:
        retort = Retort.objects.filter(facility=case.facility)[0]
        member = cast.member(case.facility, cast.OPERATOR)
        found = take_from(retort, "panel", member, sent(lines(cast.START, HOT)))
    return ["retort-1", found.pk]


def colleague(case: Case) -> list[Any]:
    return [case.facility.case_prefix + cast.SECOND_CLERK]


def everybody(args: Args = nothing, status: int = 200, other: int | None = None) -> Row:
    """A page that every member may open; of a thing of this house, another house's may not."""
    stranger = (status if args is nothing else 404) if other is None else other
    return Row(args, status, status, status, stranger)


def manager_only(args: Args, status: int, other: int, method: str = "get") -> Row:
    return Row(args, 403, 403, status, other, method=method)


def step_of(verb: str) -> Args:
    return lambda case: [case.number, verb]


def open_hold(case: Case) -> list[Any]:
    return [case.number, case.holds.get().pk]


TABLE: dict[str, list[Row]] = {
    "login": [Row(nothing, 302, 302, 302, 302, logged_out=200)],
    "logout": [Row(nothing, 302, 302, 302, 302, method="post")],
    "today": [everybody()],
    "machines": [everybody()],
    "machine": [everybody(retort, other=404)],
    "places": [everybody()],
    "house": [everybody()],
    "upkeep": [everybody()],
    "upkeep-record": [Row(retort, 403, 200, 200, 404)],
    "upkeep-rule": [manager_only(retort, 200, 403)],
    "permit": [manager_only(permit, 200, 403)],
    "house-rules": [everybody()],
    # One path that may be asked for, and one that nothing was asked of yet.
    "house-rule": [Row(nothing, 403, 403, 404, 403)],
    "house-rule-back": [Row(nothing, 403, 403, 404, 403)],
    "my-pin": [everybody()],
    "my-password": [everybody()],
    "member-add": [manager_only(nothing, 200, 403)],
    "member": [manager_only(colleague, 200, 403)],
    "member-act": [
        manager_only(lambda case: [*colleague(case), "pin"], 422, 403, "post"),
        manager_only(lambda case: [*colleague(case), "pin"], 302, 403),
        manager_only(lambda case: [*colleague(case), "promote"], 404, 403),
    ],
    "cases:list": [everybody(), Row(nothing, 302, 302, 302, 302, method="post")],
    "cases:scan": [everybody(status=302), Row(nothing, 302, 302, 302, 302, method="post")],
    "cases:export": [everybody()],
    "cases:trail": [everybody(number)],
    # Who may do an act is asked by the act itself; its page shows everybody what is missing.
    "cases:announce": [everybody()],
    "cases:case": [everybody(number)],
    "cases:step": [
        everybody(step_of("authorize")),
        everybody(step_of("skip"), status=404),
    ],
    "cases:lost-disc": [everybody(number)],
    # Nobody was charged yet: there is no run.
    "cases:run": [everybody(number, status=404)],
    "cases:run-chart": [everybody(number, status=404)],
    "cases:run-picture": [everybody(number, status=404)],
    "cases:settle-finding": [manager_only(lambda case: [case.number, "0" * 64], 404, 403)],
    "cases:documents": [everybody(number)],
    "cases:take-in": [
        everybody(number, status=302),
        Row(number, 409, 403, 409, 404, method="post"),
    ],
    "cases:file": [everybody(a_file)],
    "cases:file-page": [everybody(a_page)],
    "cases:file-original": [everybody(a_file)],
    "cases:set-aside": [everybody(a_file)],
    "cases:agents": [everybody(number)],
    "cases:agent": [everybody(holder)],
    "cases:agent-known": [everybody(holder)],
    "cases:agent-classes": [everybody(number)],
    "cases:agent-review": [everybody(number)],
    "cases:recipients": [everybody(number)],
    "cases:settle": [everybody(number)],
    "cases:devices": [everybody(number)],
    "cases:things": [everybody(number)],
    "cases:give-back": [everybody(number)],
    "cases:law": [everybody(number, status=404)],  # Montana makes nothing depend on an answer
    "cases:wait": [manager_only(number, 404, 403)],  # Montana knows no ground
    "cases:band": [everybody(number)],
    "cases:hold": [everybody(number)],
    "cases:held": [everybody(open_hold)],
    "cases:relabel": [everybody(number)],
    "cases:lift": [everybody(open_hold)],
    "cases:correct": [everybody(number)],
    "cases:move": [everybody(number)],
    "cases:print": [everybody(lambda case: [case.number, "label"], status=302)],
    "cases:write": [everybody(lambda case: [case.number, "label"], status=302)],
    "cases:paper": [everybody(lambda case: [case.number, "NONE-1"], status=404)],
    "cases:paper-text": [everybody(lambda case: [case.number, "NONE-1"], status=404)],
    "cases:by-hand": [everybody(lambda case: [case.number, "NONE-1"], status=404)],
    "cases:correct-reading": [everybody(a_reading)],
    "cases:log": [
        Row(retort, 200, 200, 200, 404),
        Row(retort, 403, 422, 422, 404, method="post"),
    ],
    "cases:log-look": [Row(lambda case: ["retort-1", "a" * 43], 403, 302, 302, 404)],
    "cases:log-file": [Row(a_log, 200, 200, 200, 404)],
    "cases:controller": [
        Row(retort, 200, 200, 200, 404),
        Row(retort, 403, 403, 422, 404, method="post"),
    ],
    "cases:reading": [
        Row(retort, 403, 422, 422, 404, method="post"),
        everybody(retort, status=302, other=302),
    ],
    "cases:event": [
        Row(retort, 403, 200, 200, 404),
        Row(retort, 403, 422, 422, 404, method="post"),
    ],
    "cases:signed-event": [everybody(lambda case: ["retort-1", "interrupted"], status=404)],
    "cases:clock": [everybody()],
}


def names(patterns: list[Any], namespace: str = "") -> Iterator[str]:
    """Walk the resolver and give the full name of every address."""
    for pattern in patterns:
        if isinstance(pattern, URLResolver):
            inner = f"{namespace}{pattern.namespace}:" if pattern.namespace else namespace
            yield from names(pattern.url_patterns, inner)
        elif isinstance(pattern, URLPattern):
            assert pattern.name, f"{pattern.pattern} has no name"
            yield f"{namespace}{pattern.name}"


def test_every_address_is_in_the_table() -> None:
    assert set(names(get_resolver().url_patterns)) == set(TABLE)


ROWS = [(name, index) for name, rows in TABLE.items() for index in range(len(rows))]


def answer(client: Client, name: str, row: Row, case: Case) -> int:
    address = reverse(name, args=row.args(case))
    return (client.post if row.method == "post" else client.get)(address).status_code


@pytest.fixture
def subject(facility: Facility) -> Case:
    """A person in care and on hold: every page of a case can be opened."""
    case = cast.bring(cast.make_case(facility), "in_care")
    hold_acts.open_hold(
        case, cast.signature(cast.member(facility, cast.CLERK)), cast.token(), "wait"
    )
    return case


@pytest.mark.parametrize(("name", "index"), ROWS)
def test_roles(
    facility: Facility, other_facility: Facility, subject: Case, name: str, index: int
) -> None:
    row = TABLE[name][index]
    for role, key in ROLES.items():
        client = Client()
        client.force_login(cast.member(facility, key))
        assert answer(client, name, row, subject) == getattr(row, role), role


@pytest.mark.parametrize(("name", "index"), ROWS)
def test_other_house(other_facility: Facility, subject: Case, name: str, index: int) -> None:
    """An operator of another house: both have a retort of this code, so it is taken away there."""
    row = TABLE[name][index]
    other_facility.places.filter(code="retort-1").update(code="elsewhere")
    client = Client()
    client.force_login(cast.member(other_facility, cast.OPERATOR))
    assert answer(client, name, row, subject) == row.other


@pytest.mark.parametrize(("name", "index"), ROWS)
def test_logged_out(client: Client, subject: Case, name: str, index: int) -> None:
    row = TABLE[name][index]
    assert answer(client, name, row, subject) == row.logged_out


@pytest.mark.parametrize("act", ["pin", "password", "certificate", "deactivate", "activate"])
def test_manager_of_another_house_changes_nobody_here(
    other_facility: Facility, clerk: StaffMember, client: Client, act: str
) -> None:
    client.force_login(cast.member(other_facility, cast.MANAGER))
    for address in (
        reverse("member", args=[clerk.staff_code]),
        reverse("member-act", args=[clerk.staff_code, act]),
    ):
        assert client.get(address).status_code == 404
