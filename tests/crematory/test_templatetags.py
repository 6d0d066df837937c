"""Quantities and times as pages show them."""

from datetime import UTC, datetime, timedelta
from decimal import Decimal
from types import SimpleNamespace
from zoneinfo import ZoneInfo

import pytest
from django.template import Context, Template
from django.urls import reverse
from django.utils import timezone

from crematory import clock
from crematory.templatetags.crematory import ago, when

NOON = datetime(2026, 3, 3, 12, 0, tzinfo=UTC)


def render(source: str, **context: object) -> str:
    return Template("{% load crematory %}" + source).render(Context(context))


@pytest.mark.parametrize(
    ("units", "shown"), [("us", "182.0 lb (82.6 kg)"), ("metric", "82.6 kg (182.0 lb)")]
)
def test_quantity_follows_the_facility(units: str, shown: str) -> None:
    source = '{% quantity value "mass" both=True %}'
    facility = SimpleNamespace(units=units)
    result = render(source, value=Decimal("82.554"), facility=facility)
    assert result == shown.replace(" ", "\u00a0")


def test_quantity_without_a_facility_is_in_us_units() -> None:
    assert render('{% quantity value "mass" %}', value=Decimal("82.554")) == "182.0\u00a0lb"
    assert render('{% quantity value "mass" %}', value=Decimal("1"), facility=None) == (
        "2.20\u00a0lb"
    )


def test_a_missing_quantity_says_so() -> None:
    assert render('{% quantity value "mass" %}', value=None) == "not recorded"


@pytest.mark.parametrize(
    ("zone", "shown"),
    [
        ("America/Phoenix", "Tue 3 Mar 2026 14:05 MST"),
        ("UTC", "Tue 3 Mar 2026 21:05 UTC"),
        ("America/Sao_Paulo", "Tue 3 Mar 2026 18:05 UTC-03"),
    ],
)
def test_when_names_the_zone(zone: str, shown: str) -> None:
    with timezone.override(ZoneInfo(zone)):
        assert when(datetime(2026, 3, 3, 21, 5, tzinfo=UTC)) == shown


def test_a_missing_time_shows_nothing() -> None:
    assert when(None) == ""
    assert ago(None) == ""


@pytest.mark.parametrize(
    ("difference", "shown"),
    [
        (timedelta(0), "just now"),
        (timedelta(seconds=-59), "just now"),
        (timedelta(minutes=-1), "1 min ago"),
        (timedelta(minutes=-12, seconds=-50), "12 min ago"),
        (timedelta(hours=-3), "3 h ago"),
        (timedelta(hours=-3, minutes=-5), "3 h 5 min ago"),
        (timedelta(days=-2, hours=-3, minutes=-5), "2 d 3 h ago"),
        (timedelta(days=-7), "7 d ago"),
        (timedelta(seconds=1), "in 1 min"),
        (timedelta(hours=6, minutes=12), "in 6 h 12 min"),
        (timedelta(hours=6, minutes=11, seconds=1), "in 6 h 12 min"),
        (timedelta(days=1), "in 1 d"),
    ],
)
def test_ago(difference: timedelta, shown: str) -> None:
    with clock.pinned(NOON):
        assert ago(NOON + difference) == shown


def test_ago_counts_elapsed_hours_over_the_change_of_clocks() -> None:
    denver = ZoneInfo("America/Denver")
    # Clocks there went from 02:00 to 03:00 on 8 March 2026: 04:00 is two hours after 01:00.
    with clock.pinned(datetime(2026, 3, 8, 4, 0, tzinfo=denver)):
        assert ago(datetime(2026, 3, 8, 1, 0, tzinfo=denver)) == "2 h ago"


def test_ago_works_as_a_filter() -> None:
    with clock.pinned(NOON):
        assert render("{{ at|ago }}", at=NOON - timedelta(hours=3)) == "3 h ago"


def test_a_moment_says_when_and_how_far() -> None:
    shown = render("{% moment at %}", at=clock.now() - timedelta(hours=3, seconds=1))
    assert shown.endswith(' <span class="ago">3 h ago</span>')
    assert render("{% moment at %}", at=None) == ""


def test_an_address_is_that_of_the_resolver() -> None:
    rows = ["QV26-00001-4", "QV26-00002-7"]
    source = "{% for row in rows %}{% address 'cases:case' row %} {% endfor %}"
    assert render(source, rows=rows).split() == [reverse("cases:case", args=[row]) for row in rows]


def test_an_unchanging_part_follows_its_words_and_the_language() -> None:
    passed, refused = (render(f"{{% mark '{name}' %}}") for name in ("passed", "refused"))
    assert "#passed" in passed
    assert passed.replace("#passed", "#refused") == refused
    source = "{% unchanging '_nav.html' here=here floor='' %}"
    assert render(source, here="today") != render(source, here="house")
    assert render(source, here="today").count('aria-current="page"') == 1
