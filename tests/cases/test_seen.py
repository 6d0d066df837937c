"""What was written beside something that no longer stands is refused, kept, and shown beside it."""

from collections.abc import Callable
from typing import Any

import pytest

from cases import acts, right, right_acts, seen, thing_acts, things
from cases.corrections import correct
from cases.models import Case, HolderFacts, RightHolder
from cases.thing_acts import Listed
from crematory.models import Facility, StaffMember
from tests import cast
from tests.cases import families as f
from tests.cases.pages import browser, seen_on, signed, url
from tests.cases.test_pages_case import device_form

pytestmark = pytest.mark.django_db
MEANWHILE = "Something was recorded meanwhile that this page had not shown."


@pytest.fixture
def case(facility: Facility) -> Case:
    return f.case_in(facility)


@pytest.fixture
def son(case: Case, clerk: StaffMember) -> RightHolder:
    """A son who is said to live and to be of age."""
    named = f.name(case, "Ben Example")
    cast.knows(named, clerk, is_living=True, is_minor=False)
    return named


def values(response: Any) -> dict[str, Any]:
    """What the fields of the page's form hold."""
    return {bound.name: bound.value() for bound in response.context["form"]}


def test_a_mark_tells_every_row_and_nothing_has_none(son: RightHolder, clerk: StaffMember) -> None:
    rows = seen.of_known(son)
    assert seen.mark([]) == ""
    assert len({seen.mark(rows), seen.mark([*rows, "a text"]), seen.mark([son])}) == 3
    before = seen.mark(rows)
    cast.knows(son, clerk, is_living=True)
    after = seen.of_known(son)
    assert seen.as_shown(after, before) == rows
    assert seen.as_shown(after, "") == []
    assert seen.as_shown(after, "forged") == after


# What is known of a person


def known_form(son: RightHolder, opened: Any, **typed: Any) -> dict[str, Any]:
    """What a browser sends of the page that was opened, with what was typed."""
    held = {name: value for name, value in values(opened).items() if value not in (None, [], False)}
    return {**held, "token": cast.token(), "informant": "his aunt", **typed}


def test_an_old_page_does_not_overwrite_what_is_known_now(
    son: RightHolder, clerk: StaffMember, second_clerk: StaffMember
) -> None:
    client, page = browser(clerk), url("agent-known", son.case, son.pk)
    opened = client.get(page)
    cast.knows(
        son,
        second_clerk,
        is_living=False,
        is_minor=False,
        excluded=frozenset({"separated_by_order"}),
    )
    refused = client.post(page, known_form(son, opened, is_of_sound_mind="True"))
    text = refused.content.decode()
    assert refused.status_code == 409
    assert MEANWHILE in text
    assert "Has died" in text  # beside the form, as it stands
    newest = right.newest_facts(RightHolder.objects.get(pk=son.pk))
    assert newest is not None
    assert newest.is_living is False
    shown = values(refused)
    assert shown["is_living"] == "False"
    assert shown["is_of_sound_mind"] == "True"
    assert shown["informant"] == "his aunt"
    assert shown["excluded"] == ["separated_by_order"]
    assert client.post(page, known_form(son, refused)).status_code == 302
    newest = HolderFacts.objects.latest("pk")
    assert (newest.is_living, newest.is_of_sound_mind, newest.excluded) == (
        False, True, ["separated_by_order"],
    )  # fmt: skip
    codes = [e.payload for e in son.case.entries.filter(act="state_known", outcome="refused")]
    assert len(codes) == 1
    assert '"stated_meanwhile"' in codes[0]


def test_efforts_recorded_meanwhile_are_not_lost(
    son: RightHolder, clerk: StaffMember, second_clerk: StaffMember
) -> None:
    client, page = browser(clerk), url("agent-known", son.case, son.pk)
    opened = client.get(page)
    cast.knows(son, second_clerk, is_living=True, is_reachable=False, efforts=f.efforts())
    effort = {"effort1_on": "2026-01-02", "effort1_how": "telephone"}
    refused = client.post(page, known_form(son, opened, **effort))
    assert "forget_efforts" in values(refused)
    client.post(page, known_form(son, refused))
    told = [row["how"] for row in HolderFacts.objects.latest("pk").efforts]
    assert told == ["letter 0", "telephone"]


def test_it_is_compared_under_the_lock(
    son: RightHolder, clerk: StaffMember, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Nothing had changed when the form was read; something has when the case is held."""
    client, page = browser(clerk), url("agent-known", son.case, son.pk)
    sent, locked = known_form(son, client.get(page), is_reachable="True"), acts.lock

    def after_another(case: Case) -> Case:
        found = locked(case)
        son.facts.create(is_living=False, informant="a cousin", stated_at=son.named_at)
        return found

    monkeypatch.setattr(acts, "lock", after_another)
    refused = client.post(page, sent)
    assert refused.status_code == 409
    assert MEANWHILE in refused.content.decode()
    assert HolderFacts.objects.count() == 1


# Complete classes


def test_an_old_page_takes_no_class_back(
    case: Case, clerk: StaffMember, second_clerk: StaffMember
) -> None:
    f.nobody_missing(case)
    client, page = browser(clerk), url("agent-classes", case)
    opened = client.get(page)
    told = {"spouse": False}
    right_acts.state_ranks(case, second_clerk, cast.token(), told, "a neighbour knows of a wife")
    held = {name: "on" for name, value in values(opened).items() if value is True}
    assert "spouse" in held
    del held["dd93"]
    data = {**held, "token": cast.token(), "informant": "his aunt", "seen": seen_on(opened)}
    refused = client.post(page, data)
    assert refused.status_code == 409
    assert right.ranks_named(case) >= {"dd93"}
    shown = values(refused)
    assert not shown["spouse"]
    assert not shown["dd93"]
    assert shown["child"]


# Device questions


def test_an_old_page_overwrites_no_newer_answer(case: Case, clerk: StaffMember) -> None:
    client, page = browser(clerk), url("devices", case)
    opened = client.get(page)
    said = {"informant": "physician"}
    acts.answer_device(case, clerk, cast.token(), device="pacemaker", answer="yes", **said)
    typed = device_form(**{"devices-3-answer": "unknown"}) | {"seen": seen_on(opened)}
    refused = client.post(page, typed)
    assert refused.status_code == 409
    assert MEANWHILE in refused.content.decode()
    questions = refused.context["form"].questions.forms
    assert questions[0]["answer"].value() == "yes"
    assert questions[0].non_field_errors() == ["Answered meanwhile: Yes, by physician."]
    assert questions[3]["answer"].value() == "unknown"
    again = typed | {"devices-0-answer": "yes", "seen": seen_on(refused), "token": cast.token()}
    assert client.post(page, again).status_code == 302
    told = [(row.device, row.answer) for row in case.device_answers.all()]
    assert told == [("pacemaker", "yes"), ("loop_recorder", "unknown")]


# Personal things


def close(client: Any, case: Case, opened: Any) -> Any:
    data = {
        "token": cast.token(), "things-TOTAL_FORMS": 0, "things-INITIAL_FORMS": 0,
        "is_complete": "on", "seen": seen_on(opened),
    }  # fmt: skip
    return client.post(url("things", case), data)


def _list(case: Case, clerk: StaffMember) -> None:
    ring = Listed("ring", "jewellery", "open")
    thing_acts.list_things(case, clerk, cast.token(), [ring])


def _correct(case: Case, clerk: StaffMember) -> None:
    manager = cast.signature(cast.member(case.facility, cast.MANAGER))
    correct(case, manager, cast.token(), "belongings", "a ring", "overlooked")


@pytest.mark.parametrize("what", [_list, _correct])
def test_nobody_closes_a_list_that_they_did_not_see(
    case: Case, clerk: StaffMember, what: Callable[[Case, StaffMember], None]
) -> None:
    client = browser(clerk)
    opened = client.get(url("things", case))
    what(case, clerk)
    refused = close(client, case, opened)
    assert refused.status_code in (409, 422)
    assert MEANWHILE in refused.content.decode()
    assert 'value="ring"' in refused.content.decode() or "a ring" in refused.content.decode()
    assert not case.things_looked_for.exists()


def test_a_list_that_counts_no_more_is_not_called_closed(
    case: Case, clerk: StaffMember, manager: StaffMember
) -> None:
    client = browser(clerk)
    assert close(client, case, client.get(url("things", case))).status_code == 302
    closed = client.get(url("things", case)).content.decode()
    assert "The list was closed" in closed
    assert "does not count any more" not in closed
    _correct(case, clerk)
    assert not things.is_looked_for(case)
    assert "does not count any more" in client.get(url("things", case)).content.decode()
    assert "None found." not in client.get(url("case", case)).content.decode()


# The manager's review


@pytest.mark.parametrize("what", ["statement", "instrument", "review"])
def test_a_review_is_of_what_stands(
    case: Case, clerk: StaffMember, manager: StaffMember, what: str
) -> None:
    f.nobody_missing(case)
    f.name(case, "Nora Example", "signed", rank="next_of_kin", relationship="niece")
    guardian = f.name(case, "Vera Example", rank="guardian", relationship="guardian")
    order = f.paper(case, "court_order")
    cast.knows(guardian, clerk, has_instrument=True, instrument=order)
    client, page = browser(manager), url("agent-review", case)
    data = {"reason": "The county says so.", "seen": seen_on(client.get(page))}
    if what == "statement":
        cast.knows(guardian, clerk, is_living=True)
    elif what == "instrument":
        acts.file_document(
            case, clerk, cast.token(), kind="court_order", reference="R-2", issued_by="Court",
            issued_on=order.issued_on, replaces=order,
        )  # fmt: skip
    else:
        other = cast.signature(manager)
        right_acts.review_authority(case, other, cast.token(), "The registrar says no.", None)
    refused = client.post(page, data | {"token": cast.token()} | signed(manager))
    assert refused.status_code == 409
    assert values(refused)["reason"] == "The county says so."
    again = data | {"token": cast.token(), "seen": seen_on(refused)}
    assert client.post(page, again | signed(manager)).status_code == 302
