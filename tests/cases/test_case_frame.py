"""The head, the run and the form for files on the page of a case: nothing left out, all escaped."""

from typing import Any

import pytest
from django.template import Context
from django.test import Client

from cases import case_rows
from cases.models import Case
from cases.roles import Power
from cases.run_facts import run_facts
from cases.templatetags.case_frame import case_head, drop_zone, run_rows, settled_rows
from cases.views.scans import sending
from crematory import clock
from crematory.models import Facility
from crematory.templatetags.crematory import address, when
from tests import cast

pytestmark = pytest.mark.django_db
TYPED, SHOWN = "<b>\"Ada\" & 'Bo'</b>", "&lt;b&gt;&quot;Ada&quot; &amp; &#x27;Bo&#x27;&lt;/b&gt;"
MAY, MAY_NOT = Power(True, "manager"), Power(False, TYPED)


def _case(facility: Facility, stage: str, **stated: Any) -> Case:
    made = cast.make_case(facility, decedent_name=TYPED, sender=TYPED, **stated)
    return case_rows.case_of(facility, cast.bring(made, stage).number)


def test_the_head_names_the_person_and_offers_what_may_be_done(facility: Facility) -> None:
    case = _case(facility, "tagged")
    head = case_head(case, case_rows.placement_now(case), MAY)
    for words in (SHOWN, case.number, f"disc {case.disc.number}", "since ", "In ", "Tagged"):
        assert words in head
    for name in ("trail", "move", "correct", "hold"):
        assert f'href="{address(f"cases:{name}", case.number)}"' in head
    assert "<b>" not in head
    nowhere = case_head(case, None, MAY_NOT)
    assert "In no place of the house." in nowhere
    assert f"Who may correct this: {SHOWN}" in nowhere
    for name in ("move", "correct"):
        assert f'href="{address(f"cases:{name}", case.number)}"' not in nowhere


def test_nobody_is_moved_out_of_a_retort_and_a_closed_case_is_not_held(facility: Facility) -> None:
    case = _case(facility, "in_retort")
    head = case_head(case, case_rows.placement_now(case), MAY)
    assert address("cases:move", case.number) not in head
    case.stage = "released"
    closed = case_head(case, None, MAY)
    assert "state-done" in closed
    assert address("cases:hold", case.number) not in closed


def test_a_case_without_a_disc_says_none(facility: Facility) -> None:
    case = _case(facility, "expected")
    assert "disc" not in case_head(case, None, MAY)


def test_the_run_and_what_is_settled(facility: Facility) -> None:
    case = _case(facility, "contained")
    told = run_facts(case, clock.now())
    assert told is not None
    rows = run_rows(Context({"facility": facility}), told)
    run = told.run
    assert run.burner_off_at
    assert run.ended_at
    for words in (run.retort.name, *map(when, (run.charged_at, run.burner_off_at, run.ended_at))):
        assert words in rows
    for name in ("Secondary at the charge", "Mass with container", "Burner off", "Recovered"):
        assert f"<dt>{name}</dt>" in rows
    settled = settled_rows(case)
    assert f"<bdi>{SHOWN}</bdi>" in settled
    assert "<dt>Reportable death</dt><dd>no</dd>" in settled
    assert "<dt>Found</dt>" not in settled
    blank = Case(facility=facility, discovered_at=clock.now())
    blank.died_at = blank.died_at_latest = clock.now()
    assert "<dt>Found</dt>" in settled_rows(blank)
    assert settled_rows(blank).count("not stated") == 2
    assert "not named" in settled_rows(blank)


def test_the_form_for_files_is_each_cases_own(facility: Facility) -> None:
    one, two = _case(facility, "in_care"), _case(facility, "in_care")
    member = cast.member(facility, cast.MANAGER)
    forms = [
        drop_zone(Context({**sending(case, member), "csrf_token": csrf}), case.number, once)
        for case, csrf, once in ((one, "c1", "t1"), (two, "c2", 't"2'))
    ]
    assert f'action="{address("cases:take-in", one.number)}"' in forms[0]
    assert 'name="csrfmiddlewaretoken" value="c1"' in forms[0]
    assert 'name="token" value="t1"' in forms[0]
    assert one.number not in forms[1]
    assert "t&quot;2" in forms[1]
    assert "\ufdd0" not in "".join(forms)


def test_the_titles_are_kept_and_escaped(facility: Facility, client: Client) -> None:
    case = _case(facility, "in_retort")
    retort = case.run.retort
    type(retort).objects.filter(pk=retort.pk).update(name=TYPED)
    client.force_login(cast.member(facility, cast.MANAGER))
    for _ in range(2):
        page = client.get(address("cases:case", case.number)).content.decode()
        assert f"<title>{SHOWN} · {case.number} · " in page
        page = client.get(address("machine", retort.place.code)).content.decode()
        assert f"<title>{SHOWN} · " in page
        assert "<b>" not in page
