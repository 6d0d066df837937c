"""How pages name a person, and lead to the case."""

from django.template import Context, Template
from django.urls import reverse

from cases.models import Case


def render(source: str, case: Case) -> str:
    return Template("{% load persons %}" + source).render(Context({"case": case}))


def test_a_name_is_escaped_and_keeps_its_direction(case: Case) -> None:
    case.decedent_name = "<b>Ada & Co</b>"
    assert render("{% person case %}", case) == (
        f'<bdi>&lt;b&gt;Ada &amp; Co&lt;/b&gt;</bdi>, <span class="years">{case.years}</span>'
    )


def test_a_link_leads_to_the_case(case: Case) -> None:
    link = render("{% person_link case 'name' %}", case)
    assert link.startswith(f'<a class="name" href="{reverse("cases:case", args=[case.number])}">')
    assert render("{% person case %}", case) in link
