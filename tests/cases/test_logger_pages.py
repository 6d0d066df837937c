"""A logger's file through the pages: shown before anything is stored, asked, taken in once."""

import os
import re
import time
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.core.management import call_command
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from cases.trail_lines import line
from chain_of_custody import uploads, waiting_files
from chain_of_custody.models import CustodyEntry
from crematory import clock
from crematory.models import Facility, StaffMember
from retort_log.models import Logger, LoggerFile, ReadingBlock, Retort
from tests import cast
from tests.cases.pages import browser, text_of
from tests.retort_log.logger_logs import ANSWERS, NOW, raw
from tests.retort_log.test_logger_acts import HOT, lines

pytestmark = pytest.mark.django_db
LOG = "/machine/retort-1/log/"
AT = cast.START
OTHERS = {"time_column": "0", "elapsed_unit": "s", "decimal": ","}


@pytest.fixture(autouse=True)
def _in_a_folder_of_its_own(settings: Any, tmp_path: Path) -> None:
    settings.UPLOADS_DIR = tmp_path / "uploads"


def bring(client: Client, content: bytes, called: str = "log.csv", **more: str) -> Any:
    """Send a file by the first form."""
    stated = {"logger": "", "name": "panel recorder", **more}
    with clock.pinned(NOW):
        return client.post(LOG, {**stated, "file": SimpleUploadedFile(called, content)})


def look_at(client: Client, content: bytes, **more: str) -> tuple[str, Any]:
    """Bring a file; return the address and the page of what was understood."""
    sent = bring(client, content, **more)
    assert sent.status_code == 302, sent.content.decode()
    with clock.pinned(NOW):
        return sent.headers["Location"], client.get(sent.headers["Location"])


def answers(page: Any, **given: str) -> dict[str, str]:
    """What the form holds, and the usual answers to what is asked; `given` has the last word."""
    form = page.context["form"]
    data = {name: str(form[name].value() or "") for name in form.fields}
    for code in form.asked:
        data[code] = ANSWERS.get(code, OTHERS.get(code, ""))
        if code.startswith("channel:"):
            data[code] = data[code] or "-"
    if data.get("start"):
        data["start"] = "2026-03-03T08:00"
    return {**data, **given}


def settle(client: Client, address: str, page: Any, **given: str) -> tuple[Any, dict[str, str]]:
    """Answer what is asked and look again; return the page and what to send to take it in."""
    data = answers(page, **given)
    with clock.pinned(NOW):
        page = client.post(address, {**data, "do": "look"})
    shown = (page.context["preview"] or {}).get("shown", "")
    return page, {**data, "shown": shown}


def take(client: Client, address: str, data: dict[str, str]) -> Any:
    with clock.pinned(NOW):
        return client.post(address, {**data, "do": "take"})


def bring_in(client: Client, content: bytes, **more: str) -> LoggerFile:
    address, page = look_at(client, content, **more)
    page, data = settle(client, address, page)
    assert page.status_code == 200, page.context["form"].errors
    assert take(client, address, data).status_code == 302
    file = LoggerFile.objects.order_by("-pk").first()
    assert file is not None
    return file


class TestTwoPosts:
    def test_nothing_is_stored_before_it_is_taken_in(
        self, as_operator: Client, operator: StaffMember
    ) -> None:
        address, page = look_at(as_operator, lines(AT, HOT), name="panel")
        told = page.content.decode()
        assert "What would be stored" in told
        assert not LoggerFile.objects.exists()
        assert not ReadingBlock.objects.exists()
        assert not Logger.objects.exists()
        for words in ("UTF-8", "comma", "point", "line 1", "1,200 to 1,220 °F", "1 min"):
            assert words in told.replace("\xa0", " "), words
        page, data = settle(as_operator, address, page)
        assert page.context["preview"]["new"] == 3
        done = take(as_operator, address, data)
        assert done.headers["Location"] == LOG
        file = LoggerFile.objects.get()
        assert (file.taken, file.kept_by, file.logger.name) == (3, operator, "panel")
        page_of_files = text_of(as_operator, LOG)
        assert "3 readings taken in" in page_of_files
        assert "log.csv" in page_of_files
        assert operator.printed_name in page_of_files
        assert CustodyEntry.objects.filter(act="take_log", outcome="done").count() == 1

    def test_sent_twice_it_is_one_file(self, as_operator: Client) -> None:
        address, page = look_at(as_operator, lines(AT, HOT))
        _, data = settle(as_operator, address, page)
        for _ in range(2):
            assert take(as_operator, address, data).status_code == 302
        assert LoggerFile.objects.count() == 1
        assert "does not wait here any more" in text_of(as_operator, LOG)
        again, page = look_at(as_operator, lines(AT, HOT), logger="panel recorder", name="")
        assert page.context["preview"]["new"] == 0
        assert 'value="take"' not in page.content.decode()
        _, data = settle(as_operator, again, page)
        take(as_operator, again, data)
        assert LoggerFile.objects.count() == 1
        assert "taken in before" in text_of(as_operator, LOG)

    def test_what_is_taken_is_what_was_shown(self, as_operator: Client) -> None:
        address, page = look_at(as_operator, lines(AT, HOT))
        _, data = settle(as_operator, address, page)
        changed = {**data, "unit:1": "degC"}
        refused = take(as_operator, address, changed)
        assert refused.status_code == 422
        assert "You changed how the file is read" in refused.content.decode()
        assert not LoggerFile.objects.exists()
        shown = refused.context["preview"]["shown"]
        assert take(as_operator, address, {**changed, "shown": shown}).status_code == 302
        assert LoggerFile.objects.get().mapping.count("degC") == 1

    def test_the_trail_says_it_in_words(self, as_operator: Client) -> None:
        bring_in(as_operator, lines(AT, HOT))
        said = line(CustodyEntry.objects.get(act="take_log"), "us")
        facts = {fact.label: fact.value for fact in said.facts}
        assert said.act == "Logger's file taken in"
        assert (facts["taken"], facts["retort"]) == ("3", "retort 1")
        assert facts["until"].startswith("Mon 4 Mar 2024 ")

    def test_it_is_left_out(self, as_operator: Client) -> None:
        address, _ = look_at(as_operator, lines(AT, HOT))
        assert as_operator.post(address, {"do": "leave"}).status_code == 302
        assert "left out" in text_of(as_operator, LOG)
        assert as_operator.get(address).status_code == 302
        assert not LoggerFile.objects.exists()

    @pytest.mark.parametrize(
        "name",
        [
            "clock_set_back.csv",
            "clocks_forward.csv",
            "elapsed.csv",
            "epoch.csv",
            "faults.csv",
            "iso.csv",
            "late_lines.csv",
            "mark_semicolon.csv",
            "newest_first.csv",
            "numbered.csv",
            "offsets.csv",
            "power_loss.csv",
            "two_columns.csv",
            "which_day.csv",
            "wide_tab.txt",
        ],
    )
    def test_files_of_every_kind(self, as_operator: Client, name: str) -> None:
        file = bring_in(as_operator, raw(name), called=name)
        assert file.taken > 0
        assert file.taken == sum(ReadingBlock.objects.values_list("count", flat=True))

    def test_a_clock_set_back_is_said_first(self, as_operator: Client) -> None:
        address, page = look_at(as_operator, raw("clock_set_back.csv"))
        page, _ = settle(as_operator, address, page)
        told = page.content.decode()
        assert told.index("The clock was set back at line") < told.index("Columns")


class TestAsked:
    def test_the_repeated_hour_is_asked(self, as_operator: Client) -> None:
        address, page = look_at(as_operator, raw("clocks_back_once.csv"))
        page, data = settle(as_operator, address, page)
        assert "an hour came twice" in page.content.decode()
        assert 'value="take"' not in page.content.decode()
        refused = take(as_operator, address, data)
        assert refused.status_code == 422
        assert "repeated_hour" in refused.context["form"].errors
        assert not LoggerFile.objects.exists()
        page, data = settle(as_operator, address, page, repeated_hour="second")
        assert page.context["preview"]["refused"] == 0
        assert 'value="take"' in page.content.decode()
        assert "an hour came twice" in page.content.decode()
        take(as_operator, address, data)
        assert '"second"' in LoggerFile.objects.get().mapping

    def test_lines_of_an_hour_that_nobody_knows_are_left_out(self, as_operator: Client) -> None:
        address, page = look_at(as_operator, raw("clocks_back_once.csv"))
        page, data = settle(as_operator, address, page, repeated_hour="ask")
        assert page.context["preview"]["refused"] > 0
        assert take(as_operator, address, data).status_code == 302
        assert LoggerFile.objects.get().refused > 0

    @pytest.mark.parametrize(
        ("name", "code"),
        [
            ("which_day.csv", "date_order"),
            ("which_day.csv", "zone"),
            ("elapsed.csv", "start"),
            ("numbered.csv", "channel:2"),
            ("numbered.csv", "unit:2"),
        ],
    )
    def test_no_answer_is_never_guessed_and_nothing_typed_is_lost(
        self, as_operator: Client, name: str, code: str
    ) -> None:
        address, page = look_at(as_operator, raw(name))
        assert page.context["preview"] is None
        data = answers(page, **{code: ""})
        kept = {key: value for key, value in data.items() if value and key in ANSWERS}
        with clock.pinned(NOW):
            page = as_operator.post(address, {**data, "do": "take"})
        assert page.status_code == 422
        assert code in page.context["form"].errors
        assert not LoggerFile.objects.exists()
        form = page.context["form"]
        for key, value in kept.items():
            assert form[key].value() == value

    def test_a_unit_that_does_not_suit_is_refused(self, as_operator: Client) -> None:
        address, page = look_at(as_operator, lines(AT, HOT))
        page, _ = settle(as_operator, address, page, **{"unit:1": "ppm"})
        assert page.status_code == 422
        assert "Primary is in °C or °F or K" in page.content.decode()

    def test_two_columns_are_not_one_channel(self, as_operator: Client) -> None:
        address, page = look_at(as_operator, lines(AT, HOT))
        page, _ = settle(as_operator, address, page, **{"channel:1": "secondary"})
        assert page.status_code == 422
        assert "Two columns are the secondary chamber." in page.content.decode()

    def test_a_known_logger_is_read_as_before_and_it_is_said(self, as_operator: Client) -> None:
        first = raw("numbered.csv")
        bring_in(as_operator, first)
        address, page = look_at(as_operator, first + b"\n", logger="panel recorder", name="")
        told = page.content.decode()
        assert "is read as that one was" in told
        assert page.context["form"].asked == {}
        assert page.context["preview"]["new"] == 0
        with clock.pinned(NOW):
            anew = as_operator.get(f"{address}?anew=yes")
        assert "zone" in anew.context["form"].asked
        assert "Looked at anew" in anew.content.decode()

    def test_an_elapsed_log_is_asked_for_its_start_each_time(self, as_operator: Client) -> None:
        bring_in(as_operator, raw("elapsed.csv"))
        address, page = look_at(as_operator, raw("elapsed.csv"), logger="panel recorder", name="")
        assert list(page.context["form"].asked) == ["start"]
        assert page.context["preview"] is None
        page, data = settle(as_operator, address, page, start="2026-03-05T08:00")
        assert page.context["preview"]["new"] > 0
        take(as_operator, address, data)
        assert LoggerFile.objects.count() == 1  # the very same file was taken before


def test_one_logger_is_chosen_beforehand_and_of_several_none(
    as_operator: Client, retort: Retort
) -> None:
    Logger.objects.create(retort=retort, name="panel")
    assert as_operator.get(LOG).context["form"]["logger"].value() == "panel"
    Logger.objects.create(retort=retort, name="stack")
    assert as_operator.get(LOG).context["form"]["logger"].value() == ""


class TestRefused:
    @pytest.mark.parametrize(
        ("content", "words"),
        [
            (raw("headings_only.csv"), "no readings below"),
            (raw("commas_twice.csv"), "commas stand both"),
            (b"PK\x03\x04" + b"x" * 50, "spreadsheet workbook"),
            (b"", "The file is empty"),
        ],
    )
    def test_a_file_of_which_nothing_can_be_read(
        self, as_operator: Client, content: bytes, words: str
    ) -> None:
        page = bring(as_operator, content)
        assert page.status_code == 422
        told = page.content.decode()
        assert words in told
        assert 'value="panel recorder"' in told
        assert not LoggerFile.objects.exists()

    def test_no_file_and_no_name(self, as_operator: Client) -> None:
        page = as_operator.post(LOG, {"name": " "})
        assert page.status_code == 422
        assert set(page.context["form"].errors) == {"name", "file"}

    def test_the_largest_size_is_said_before(self, as_operator: Client) -> None:
        assert "up to 25 MB" in text_of(as_operator, LOG)

    def test_a_file_that_is_too_large(
        self, as_operator: Client, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        monkeypatch.setattr(uploads, "MAX_BYTES", 100)
        page = bring(as_operator, b"x" * 1000)
        assert page.status_code == 422
        assert "Export a shorter time" in page.content.decode()

    def test_readings_in_the_future_cannot_be_taken(self, as_operator: Client) -> None:
        address, page = look_at(as_operator, lines(NOW + timedelta(days=9), HOT))
        assert page.context["preview"]["new"] == 0
        _, data = settle(as_operator, address, page)
        refused = take(as_operator, address, data)
        assert refused.status_code == 422
        assert "Nothing of this file can be taken" in refused.content.decode()
        assert not Logger.objects.exists()

    def test_a_channel_beside_another_recorder(self, as_operator: Client) -> None:
        bring_in(as_operator, lines(AT, HOT))
        other = lines(AT + timedelta(seconds=30), [("1000", "1500")] * 4)
        _, page = look_at(as_operator, other, name="another")
        (told,) = page.context["preview"]["runs"]
        assert (told.first, told.last) == (2, 3)
        assert "Another recorder" in told.words
        assert page.context["preview"]["new"] == 2


class TestWaiting:
    def test_it_waits_for_nobody_else(
        self, as_operator: Client, facility: Facility, other_facility: Facility
    ) -> None:
        address, _ = look_at(as_operator, lines(AT, HOT))
        manager = browser(cast.member(facility, cast.MANAGER))
        assert manager.get(address).headers["Location"] == LOG
        assert manager.get(address.replace("retort-1", "retort-2")).status_code == 302
        stranger = browser(cast.member(other_facility, cast.OPERATOR))
        assert stranger.get(address).status_code in (302, 404)
        assert as_operator.get(address).status_code == 200

    @pytest.mark.parametrize("token", ["x", "../../x", "a" * 43, ".." + "a" * 41])
    def test_a_token_that_is_none(self, as_operator: Client, token: str) -> None:
        assert waiting_files.get(token, "log 1 1") is None
        assert as_operator.get(f"{LOG}{token}/").status_code in (302, 404)

    def test_after_a_day_it_is_gone(self, as_operator: Client, settings: Any) -> None:
        address, _ = look_at(as_operator, lines(AT, HOT))
        (path,) = (settings.UPLOADS_DIR / waiting_files.FOLDER).iterdir()
        old = time.time() - waiting_files.A_DAY_S - 5
        os.utime(path, (old, old))
        assert as_operator.get(address).status_code == 302
        assert path.exists()
        look_at(as_operator, lines(AT, HOT[:2]))
        assert not path.exists()

    def test_the_tidying_command_lets_it_go(self, settings: Any, capsys: Any) -> None:
        token = waiting_files.put(b"x", "a", {})
        path = settings.UPLOADS_DIR / waiting_files.FOLDER / token
        call_command("clear_strays")
        assert path.exists()
        old = time.time() - waiting_files.A_DAY_S - 5
        os.utime(path, (old, old))
        call_command("clear_strays")
        assert not path.exists()
        assert "1 files that waited" in capsys.readouterr().out


class TestWho:
    @pytest.mark.parametrize("key", [cast.CLERK, cast.OPERATOR, cast.MANAGER])
    def test_all_see_the_files_and_some_bring_one(self, facility: Facility, key: str) -> None:
        bring_in(browser(cast.member(facility, cast.OPERATOR)), lines(AT, HOT))
        client = browser(cast.member(facility, key))
        page = text_of(client, LOG)
        assert "log.csv" in page
        assert ('type="file"' in page) == (key != cast.CLERK)
        assert bring(client, lines(AT, HOT)).status_code == (403 if key == cast.CLERK else 302)
        file = LoggerFile.objects.get()
        saved = client.get(reverse("cases:log-file", args=["retort-1", file.pk]))
        assert saved.content == lines(AT, HOT)
        assert saved.headers["Content-Disposition"] == 'attachment; filename="log.csv"'
        assert saved.headers["X-Content-Type-Options"] == "nosniff"
        assert saved.headers["Content-Type"] == "application/octet-stream"

    def test_another_house_sees_nothing(self, facility: Facility, other_facility: Facility) -> None:
        bring_in(browser(cast.member(facility, cast.OPERATOR)), lines(AT, HOT))
        Retort.objects.filter(facility=other_facility, place__code="retort-1").delete()
        stranger = browser(cast.member(other_facility, cast.OPERATOR))
        file = LoggerFile.objects.get()
        for address in (LOG, f"{LOG}files/{file.pk}/", f"{LOG}{'a' * 43}/"):
            assert stranger.get(address).status_code == 404

    def test_a_file_of_another_retort_is_not_found(self, as_operator: Client) -> None:
        file = bring_in(as_operator, lines(AT, HOT))
        assert as_operator.get(f"/machine/retort-2/log/files/{file.pk}/").status_code == 404

    def test_a_changed_file_is_not_handed_out(self, as_operator: Client, settings: Any) -> None:
        file = bring_in(as_operator, lines(AT, HOT))
        kept = settings.UPLOADS_DIR / "loggers" / file.stored_name[:2] / file.stored_name
        kept.write_bytes(b"other")
        address = reverse("cases:log-file", args=["retort-1", file.pk])
        assert as_operator.get(address).headers["Location"] == LOG
        assert "was changed" in text_of(as_operator, LOG)


def test_queries_do_not_grow_with_the_files(as_operator: Client) -> None:
    def count() -> int:
        with CaptureQueriesContext(connection) as asked:
            assert as_operator.get(LOG).status_code == 200
        return len(asked)

    bring_in(as_operator, lines(AT, HOT))
    text_of(as_operator, LOG)  # says what was done
    few = count()
    for day in range(1, 4):
        content = lines(AT + timedelta(days=day), HOT)
        bring_in(as_operator, content, logger="panel recorder", name="")
    text_of(as_operator, LOG)
    assert count() == few == 5  # session, member; retort; its loggers; the files


def test_answers_are_kept_when_the_session_ends(as_operator: Client, operator: StaffMember) -> None:
    address, page = look_at(as_operator, raw("which_day.csv"))
    data = answers(page, date_order="dmy")
    page_before = page.content.decode()
    assert re.search(r'value="dmy"(?! checked)', page_before)
    as_operator.logout()
    sent = as_operator.post(
        address, {**data, "do": "look"}, headers={"origin": "http://testserver"}
    )
    assert sent.status_code == 302
    as_operator.post(
        sent.headers["Location"], {"username": operator.staff_code, "password": cast.PASSWORD}
    )
    with clock.pinned(NOW):
        page = as_operator.get(address)
    assert page.context["form"]["date_order"].value() == "dmy"
