"""The parts of the page of one retort that are one tag: nothing is left out, all is escaped."""

from datetime import timedelta
from decimal import Decimal

import pytest
from django.template import Context
from django.urls import reverse

from cases import overview
from cases.heat import Temperature
from cases.one_machine import last_readings, one_machine
from cases.templatetags.at_machine import (
    happened_buttons,
    person_inside,
    reading_rows,
    temperature_rows,
)
from crematory import clock
from crematory.models import Facility
from crematory.templatetags.crematory import ago, when
from retort_log.acts import record_reading
from retort_log.corrections import RightValues, correct_reading
from retort_log.events import Stated, record_event
from retort_log.models import Reading, Retort
from tests import cast

pytestmark = pytest.mark.django_db
TYPED, SHOWN = "<b>\"Ada\" & 'Bo'</b>", "&lt;b&gt;&quot;Ada&quot; &amp; &#x27;Bo&#x27;&lt;/b&gt;"


def _rows(retort: Retort, *, may_correct: bool = True) -> str:
    context = Context({"facility": retort.facility})
    return reading_rows(context, last_readings(retort), "retort-1", may_correct)


def _read(retort: Retort, primary: int, secondary: int) -> Reading:
    operator = cast.member(retort.facility, "O1")
    record_reading(retort, operator, Decimal(primary), Decimal(secondary))
    return Reading.objects.filter(retort=retort).latest("at")


def test_readings_stand_with_what_they_were_before(facility: Facility) -> None:
    retort = Retort.objects.filter(facility=facility).earliest("pk")
    manager = cast.signature(cast.member(facility, "M1"))
    assert "None yet." in _rows(retort)
    row = _read(retort, 640, 870)
    plain = _rows(retort)
    href = reverse("cases:correct-reading", args=["retort-1", row.pk])
    for words in (when(row.at), "1,598", "1,184", row.read_by.printed_name, href):
        assert words in plain
    assert "row-link" not in _rows(retort, may_correct=False)
    correct_reading(row, manager, TYPED, RightValues(Decimal(600), Decimal(850)))
    corrected = _rows(retort)
    assert SHOWN in corrected
    assert "<b>" not in corrected
    assert "<del>1,598" in corrected
    assert "1,562" in corrected  # 850 °C
    assert "Corrected: " in corrected
    correct_reading(row, manager, "not read", None)
    withdrawn = _rows(retort)
    assert 'class="is-withdrawn"' in withdrawn
    assert "<del>1,562" in withdrawn
    assert "Withdrawn: " in withdrawn


def test_temperatures_say_how_old_they_are() -> None:
    at = clock.now() - timedelta(minutes=20)
    one = Temperature(TYPED, "1,598", "°F", "870 °C", at, TYPED, True)
    text = temperature_rows([one])
    assert text.count(SHOWN) == 2
    assert "<b>" not in text
    for words in ("1,598", "°F", "870 °C", "Old reading", ago(at)):
        assert words in text


def test_who_is_inside(facility: Facility) -> None:
    case = cast.bring(cast.make_case(facility, decedent_name=TYPED), "in_retort")
    code = case.run.retort.place.code
    at = case.run.charged_at + timedelta(minutes=5)

    def told() -> str:
        return person_inside(one_machine(facility, code, clock.now()))

    with clock.pinned(at):
        text = told()
        for words in (SHOWN, case.number, case.disc.number, when(case.run.charged_at)):
            assert words in text
        assert "<b>" not in text
        assert "Interrupted" not in text
        assert "Burner off" not in text
        stopped = Stated("interrupted", at, note="power lost")
        record_event(case.run.retort, stopped, cast.signature(cast.member(facility, "O1")))
        assert f"Interrupted since {when(at)}" in told()
    other = cast.bring(cast.make_case(facility), "cooling")
    off = other.run.burner_off_at
    code = other.run.retort.place.code
    assert f"Burner off since {when(off)}" in told()


def test_nobody_inside_and_buttons(facility: Facility) -> None:
    assert person_inside(overview.machines(facility, clock.now())[0]) == ""
    text = happened_buttons([("preheat_begun", "Preheat begun"), ("door_opened", TYPED)])
    assert "preheat" not in text
    assert f'form="event-door_opened">{SHOWN}</button>' in text
