"""The pages of those who may authorize, filled in as a person would."""

import json
from typing import Any

import pytest

from cases import right_words
from cases.authority import Outcome
from cases.models import AuthorizingAgent, Case, HolderFacts, RankNamed, RightHolder
from chain_of_custody import trail
from chain_of_custody.models import CustodyEntry, Upload
from crematory.models import Facility, StaffMember
from tests import cast
from tests.cases import families as f
from tests.cases.pages import browser, seen_on, signed, url

STROKES = [[[100 * n, 500 + 40 * n, 20 * n] for n in range(12)], [[2000, 300, 900]]]


@pytest.fixture
def case(facility: Facility) -> Case:
    return f.case_in(facility)


def spouse(**changes: Any) -> dict[str, Any]:
    """What a browser sends when a wife signs at the counter and says that nobody goes before."""
    sent = {
        "token": cast.token(),
        "name": "Wanda Wife",
        "relation": "spouse/wife",
        "position": "signed",
        "way": "paper",
        "nobody_before": "on",
        "how": "in person",
    }
    return sent | changes


def test_a_spouse_at_the_counter_is_one_form(case: Case, clerk: StaffMember) -> None:
    client = browser(clerk)
    response = client.post(url("agents", case), spouse())
    assert response.headers["Location"] == url("agents", case)
    assert f.answer(case).outcome is Outcome.SUFFICIENT
    said = AuthorizingAgent.objects.get()
    assert (said.position, said.form, said.how) == ("signed", "paper", "in person")
    assert said.meaning == right_words.meaning(case)
    assert {row.rank for row in RankNamed.objects.all()} == {"dd93", "designated_agent"}
    assert {row.informant for row in RankNamed.objects.all()} == {"Wanda Wife"}
    entry = CustodyEntry.objects.get(case=case, act="name_holder")
    facts = trail.facts_of(entry)
    assert facts["ranks"] == {"dd93": True, "designated_agent": True}
    assert "Wanda" not in entry.payload
    page = client.get(url("agents", case)).content.decode()
    assert "The authorization is sufficient." in page
    assert "Wanda Wife" in page
    assert "there is nobody" in page.lower()


def test_the_form_twice_names_nobody_twice(case: Case, clerk: StaffMember) -> None:
    client, data = browser(clerk), spouse()
    for _ in range(2):
        assert client.post(url("agents", case), data).status_code == 302
    assert RightHolder.objects.count() == 1
    again = client.post(url("agents", case), data | {"token": cast.token()})
    assert again.status_code == 409
    assert "is named already" in again.content.decode()
    assert 'value="Wanda Wife"' in again.content.decode()


def test_a_name_alone_is_refused_and_kept(case: Case, clerk: StaffMember) -> None:
    response = browser(clerk).post(url("agents", case), spouse(relation=""))
    assert response.status_code == 422
    assert 'value="Wanda Wife"' in response.content.decode()
    assert not RightHolder.objects.exists()


def test_what_is_known_is_stated_with_the_name(case: Case, clerk: StaffMember) -> None:
    data = spouse(position="", is_living="False", informant="her sister")
    browser(clerk).post(url("agents", case), data)
    known = HolderFacts.objects.get()
    assert (known.is_living, known.is_minor, known.informant) == (False, None, "her sister")
    assert not AuthorizingAgent.objects.exists()


def test_a_signature_drawn_on_the_tablet(case: Case, clerk: StaffMember) -> None:
    client = browser(clerk)
    data = spouse(way="tablet", strokes=json.dumps(STROKES))
    assert client.post(url("agents", case), data).status_code == 302
    said, picture = AuthorizingAgent.objects.get(), Upload.objects.get()
    assert (said.form, said.drawing, said.strokes) == ("tablet", picture, STROKES)
    assert (picture.kind, picture.case) == ("PNG", case)
    facts = trail.facts_of(CustodyEntry.objects.get(case=case, act="name_holder"))
    assert facts["drawing_sha256"] == picture.sha256
    assert picture.token in client.get(url("agents", case)).content.decode()


@pytest.mark.parametrize(
    ("strokes", "words"),
    [
        ("", "Nothing is drawn"),
        ("[[[1, 1, 1]]]", "but a dot"),
        ("no json", "could not be read"),
        ('{"a": 1}', "could not be read"),
        ("[[[1, 1, -1], [1, 2, 3]]]", "could not be read"),
        ("[[[1, 1, 1.5]]]", "could not be read"),
        ("[" * 50_000, "could not be read"),
        (json.dumps([[[n % 900, 5, n] for n in range(30_000)]]), "too long"),
    ],
)
def test_what_is_no_drawing_is_refused(
    case: Case, clerk: StaffMember, strokes: str, words: str
) -> None:
    response = browser(clerk).post(url("agents", case), spouse(way="tablet", strokes=strokes))
    assert response.status_code == 422
    assert words in response.content.decode()
    assert not Upload.objects.exists()


def test_a_refused_act_leaves_no_drawing_behind(
    case: Case, operator: StaffMember, settings: Any
) -> None:
    data = spouse(way="tablet", strokes=json.dumps(STROKES))
    before = [path for path in settings.UPLOADS_DIR.rglob("*") if path.is_file()]
    assert browser(operator).post(url("agents", case), data).status_code == 403
    assert [path for path in settings.UPLOADS_DIR.rglob("*") if path.is_file()] == before


def test_several_classes_are_said_at_once_and_taken_back(case: Case, clerk: StaffMember) -> None:
    client, page = browser(clerk), url("agent-classes", case)
    data = {"token": cast.token(), "dd93": "on", "spouse": "on", "informant": "his son"}
    assert client.post(page, data).status_code == 302
    assert {r.rank: r.is_complete for r in RankNamed.objects.all()} == {
        "dd93": True,
        "spouse": True,
    }
    opened = client.get(page)
    assert 'name="dd93" ' in (shown := opened.content.decode())
    assert shown.count("checked") == 2
    data = {"token": cast.token(), "dd93": "on", "informant": "his son", "seen": seen_on(opened)}
    client.post(page, data)
    assert RankNamed.objects.count() == 3
    newest = RankNamed.objects.latest("pk")
    assert (newest.rank, newest.is_complete) == ("spouse", False)


def test_what_is_known_is_stated_later_and_efforts_stay(case: Case, clerk: StaffMember) -> None:
    son = f.name(case, "Ben Example")
    client, page = browser(clerk), url("agent-known", case, son.pk)
    data = {"token": cast.token(), "informant": "his sister", "is_reachable": "False"}
    refused = client.post(page, data)
    assert refused.status_code == 409
    assert "only with the efforts" in refused.content.decode()
    effort = {"effort1_on": "2026-01-02", "effort1_how": "registered letter"}
    assert client.post(page, data | effort | {"token": cast.token()}).status_code == 302
    again = data | {"token": cast.token(), "effort1_on": "2026-01-03", "effort1_how": "call"}
    client.post(page, again | {"seen": seen_on(client.get(page))})
    assert [row["how"] for row in son.facts.latest("pk").efforts] == ["registered letter", "call"]
    shown = client.get(url("agents", case)).content.decode()
    assert "effort of 2026-01-02: registered letter" in shown.lower()
    half = client.post(page, data | {"token": cast.token(), "effort2_on": "2026-01-03"})
    assert half.status_code == 422


def test_objecting_and_settling_on_a_persons_own_page(
    case: Case, clerk: StaffMember, manager: StaffMember
) -> None:
    son = f.name(case, "Ben Example")
    page = url("agent", case, son.pk)
    data = {"token": cast.token(), "position": "objects", "how": "by telephone"}
    assert browser(clerk).post(page, data).status_code == 302
    assert f.answer(case).objectors or f.answer(case).noted
    shown = browser(manager).get(page).content.decode()
    assert "On hold for this person" in shown
    assert 'value="settled"' not in shown  # the hold is lifted with its paper instead
    assert 'value="signed"' not in shown


def test_a_delegate_signs_in_writing(case: Case, clerk: StaffMember) -> None:
    f.nobody_missing(case)
    wife = f.name(case, "Wanda Wife", **f.SPOUSE)
    friend = f.name(case, "Fiona Friend", rank="delegate", relationship="delegate")
    client = browser(clerk)
    data = {"token": cast.token(), "position": "signed", "how": "in person", "way": "paper"}
    client.post(url("agent", case, wife.pk), data | {"by_delegate": friend.pk})
    assert f.answer(case).outcome is Outcome.INSUFFICIENT
    known = {"token": cast.token(), "informant": "Wanda Wife", "delegated_to": friend.pk}
    assert client.post(url("agent-known", case, wife.pk), known).status_code == 422
    known |= {"delegated_at": "2026-01-02T10:00", "delegated_in_writing": "on"}
    assert client.post(url("agent-known", case, wife.pk), known).status_code == 302
    assert f.answer(case).outcome is Outcome.SUFFICIENT


def test_a_manager_reviews_what_the_rules_leave_open(
    case: Case, clerk: StaffMember, manager: StaffMember
) -> None:
    f.nobody_missing(case)
    f.name(case, "Sam Brother", "signed", rank="sibling", relationship="brother")
    data = {"token": cast.token(), "reason": "The county says that the brother may."}
    page = url("agent-review", case)
    assert browser(clerk).post(page, data | signed(clerk)).status_code == 403
    client = browser(manager)
    assert page in client.get(url("agents", case)).content.decode()
    data["seen"] = seen_on(client.get(page))
    assert client.post(page, data | signed(manager, pin="000000")).status_code == 403
    done = client.post(page, data | {"token": cast.token()} | signed(manager))
    assert done.status_code == 302
    shown = client.get(url("agents", case)).content.decode()
    assert "A manager has settled what the rules leave open." in shown
    assert "The county says that the brother may." in shown


def test_a_review_is_of_what_the_manager_read(
    case: Case, clerk: StaffMember, manager: StaffMember
) -> None:
    f.nobody_missing(case)
    brother = f.name(case, "Sam Brother", "signed", rank="sibling", relationship="brother")
    client, page = browser(manager), url("agent-review", case)
    data = {
        "token": cast.token(),
        "reason": "The county says so.",
        "seen": seen_on(client.get(page)),
    }
    cast.knows(brother, clerk, is_living=True)
    refused = client.post(page, data | signed(manager))
    assert refused.status_code == 409
    assert "Something was recorded meanwhile" in refused.content.decode()
    assert not case.authority_reviews.exists()
    again = data | {"seen": seen_on(refused)}
    assert client.post(page, again | signed(manager)).status_code == 302
    assert case.authority_reviews.exists()


def test_of_a_closed_case_nothing_more_is_said(facility: Facility, clerk: StaffMember) -> None:
    case = cast.bring(cast.make_case(facility), "returned")
    client = browser(clerk)
    assert 'name="relation"' not in client.get(url("agents", case)).content.decode()
    assert client.post(url("agents", case), spouse()).status_code == 409


def test_the_page_keeps_its_number_of_queries(
    case: Case, clerk: StaffMember, django_assert_num_queries: Any
) -> None:
    client = browser(clerk)
    client.get(url("agents", case))
    f.children(case, 2, signed=1, objecting=1)
    with django_assert_num_queries(QUERIES):
        client.get(url("agents", case))
    for n in range(8):
        son = f.name(case, f"Son {n}", "signed", known=f.known(is_living=True))
        cast.knows(son, clerk, is_minor=False)
        cast.speaks(son, clerk, "withdrawn")
    with django_assert_num_queries(QUERIES):
        client.get(url("agents", case))


QUERIES = 15
