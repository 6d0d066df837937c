"""The head of the page of a case, its run, what is settled, and the form that files are sent by."""

from datetime import datetime
from html import escape

from django import template
from django.template import Context
from django.utils.safestring import SafeString, mark_safe

from cases.models import Case
from cases.roles import Power
from cases.run_facts import RunFacts
from cases.templatetags.persons import died, person
from chain_of_custody.models import Placement
from crematory.templatetags.crematory import TOKEN, Times, address, mark, unchanging
from crematory.units import UnitSystem, show_quantity

register = template.Library()
HEAD = (
    '<header class="page-head">\n<div><h1 class="person-name">{person}</h1>\n'
    '<p class="case-number">Case {number}{disc}{until}</p>\n'
    '<p class="mt-2 mb-1"><span class="state state-{kind}">{mark}{stage}</span>\n'
    'since {since}</p>\n<p class="mb-0">{place}</p></div>\n'
    '<div class="page-actions">\n{actions}\n</div>\n</header>'
)
BUTTON = '<a class="btn {css}" href="{href}">{words}</a>'
FACT = "<dt>{}</dt><dd>{}</dd>"
FACTS = '<dl class="facts">{}</dl>'
YES_OR_NO = {True: "yes", False: "no", None: "not stated"}
# Stand for what differs from case to case in a form that is otherwise the same for all.
NUMBER, ONCE = "\ufdd0number\ufdd0", "\ufdd0once\ufdd0"
OF_THE_FORM = (
    "accepted", "taken_kinds", "max_bytes", "max_mb", "max_files", "max_pages", "too_large",
)  # fmt: skip


@register.simple_tag
def case_head(case: Case, placement: Placement | None, correcting: Power) -> SafeString:
    """`{% case_head case placement correcting %}`: who this is, at what stage, where; the ways."""
    times, kind = Times(), "next" if case.is_open else "done"
    disc, old = getattr(case, "disc", None), getattr(case, "disc_replaced", None)
    until = ""
    if old:
        found = escape(str(old.get_found_display()))
        until = f" · until the recovery disc {escape(old.old_number)}, {found}"
    place = "In no place of the house."
    if placement:
        place = f"In {escape(str(placement.place))}, since {times.moment(placement.since)}"
    stage = str(case.get_stage_display())
    head = HEAD.format(
        person=person(case),
        number=escape(case.number),
        disc=f" · disc {escape(disc.number)}" if disc else "",
        until=until,
        kind=kind,
        mark=mark(kind),
        stage=escape(stage[:1].upper() + stage[1:]),
        since=times.moment(case.stage_since),
        place=place,
        actions="\n".join(_actions(case, placement, correcting)),
    )
    return mark_safe(head)  # noqa: S308 - every part is escaped


def _actions(case: Case, placement: Placement | None, correcting: Power) -> list[str]:
    ways = [("cases:trail", "Trail", "btn-quiet", True)]
    is_movable = placement is not None and placement.place.kind != "retort"
    ways.append(("cases:move", "Move", "btn-quiet", is_movable))
    ways.append(("cases:correct", "Correct", "btn-quiet", correcting.may))
    ways.append(("cases:hold", "Put on hold", "btn-alarm", case.is_open))
    found = [
        BUTTON.format(css=css, href=escape(address(name, case.number)), words=words)
        for name, words, css, is_offered in ways
        if is_offered
    ]
    if not correcting.may:
        found.append(f'<p class="who-may">Who may correct this: {escape(correcting.who)}</p>')
    return found


def _facts(rows: list[tuple[str, str]]) -> SafeString:
    shown = "".join(FACT.format(escape(name), value) for name, value in rows)
    return mark_safe(FACTS.format(shown))  # noqa: S308 - every part is escaped


@register.simple_tag(takes_context=True)
def run_rows(context: Context, told: RunFacts) -> SafeString:
    """`{% run_rows run_facts %}`: the retort, the times and what was weighed and read.

    Units come from `facility.units` in the context.
    """
    units: UnitSystem = context["facility"].units
    run, times = told.run, Times()
    charge = show_quantity(run.charge_temperature_c, "temperature", units, both=True)
    rows = [
        ("Retort", escape(run.retort.name)),
        ("Charged", _when(times, run.charged_at)),
        (f"{told.chamber[:1].upper()}{told.chamber[1:]} at the charge", escape(charge)),
        (
            "Mass with container",
            escape(show_quantity(run.charge_mass_kg, "mass", units, both=True)),
        ),
    ]
    if run.burner_off_at:
        rows.append(("Burner off", _when(times, run.burner_off_at)))
    if run.ended_at:
        rows.append(("Recovered", _when(times, run.ended_at)))
    return _facts(rows)


def _when(times: Times, at: datetime) -> str:
    return escape(times.when(at))


@register.simple_tag
def settled_rows(case: Case) -> SafeString:
    """`{% settled_rows case %}`: what was stated of the death, the person and the disposition."""
    times = Times()
    rows = [
        ("Reportable death", YES_OR_NO[case.is_death_reportable]),
        ("Disposition", escape(str(case.get_disposition_display() or "not named"))),
        ("Sender", f"<bdi>{escape(case.sender)}</bdi>"),
        ("Sex", escape(str(case.get_sex_display() or "not stated"))),
        ("Died", escape(died(case))),
    ]
    if case.discovered_at:
        rows.append(("Found", _when(times, case.discovered_at)))
    return _facts(rows)


@register.simple_tag(takes_context=True)
def drop_zone(context: Context, number: str, token: str) -> SafeString:
    """`{% drop_zone case.number once %}`: the form that files are dropped on.

    It is rendered once a process; the case and the tokens are put in for each answer. What it
    says of the files that are taken comes from the context (`cases.views.scans.sending`).
    """
    words = {name: context[name] for name in OF_THE_FORM}
    form: str = unchanging(
        "cases/_drop.html", number=NUMBER, sending_token=ONCE, csrf_token=TOKEN, **words
    )
    for gap, value in (
        (NUMBER, number),
        (ONCE, token),
        (TOKEN, str(context.get("csrf_token", ""))),
    ):
        form = form.replace(gap, escape(value))
    return mark_safe(form)  # noqa: S308 - what is put in is escaped
