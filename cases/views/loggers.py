"""Loggers' files: bringing one, looking at what was understood of it, taking it in."""

import hashlib
from typing import Any

from django.contrib import messages
from django.http import HttpResponse, HttpResponseRedirect
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.http import content_disposition_header
from django.views.decorators.http import require_http_methods, require_safe

from cases import log_page
from cases.forms.loggers import LOOK_AGAIN, BringForm, LookForm, digest_of
from cases.selectors import retort_or_404
from cases.views.answering import pop_kept
from cases.views.documents import AS_IT_CAME
from cases.views.requests import StaffRequest, need_role
from chain_of_custody import file_store, uploads_in, waiting_files
from chain_of_custody.upload_handler import dropped
from chain_of_custody.waiting_files import Waiting
from crematory import clock
from retort_log import logger_acts
from retort_log.acts import READERS
from retort_log.logger_acts import LoggerRefused, Sent
from retort_log.logger_files import FileRefused, Mapping, MappingError, look, read
from retort_log.models import Logger, LoggerFile, Retort

FILES = 50
GONE = (
    "This file does not wait here any more: it was taken in, was left out, or a day went by. "
    "Below stand the files that were taken in."
)
UNSTORED = "The file could not be stored: the disk may be full. Tell whoever runs the system."


@require_http_methods(["GET", "HEAD", "POST"])
def log(request: StaffRequest, code: str) -> HttpResponse:
    """The files of a retort's loggers, and the form by which one more is brought."""
    retort = retort_or_404(request, code)
    may_bring = bool(request.user.roles & READERS)
    loggers = list(Logger.objects.filter(retort=retort).values_list("name", flat=True))
    if request.method == "POST":
        need_role(request, *READERS)
        form = BringForm(request.POST, request.FILES, loggers=loggers)
        if goal := _brought(request, retort, form):
            return goal
    else:
        form = BringForm(loggers=loggers)
        if kept := pop_kept(request):
            form.initial.update({name: kept.get(name, "") for name in ("logger", "name")})
    context = {
        "retort": retort,
        "form": form,
        "may_bring": may_bring,
        "files": _files(retort),
        "nav_here": "machine",
    }
    return render(request, "cases/log.html", context, status=422 if form.is_bound else 200)


def _files(retort: Retort) -> Any:
    rows = LoggerFile.objects.filter(logger__retort=retort).select_related("logger", "kept_by")
    return rows.defer("mapping").order_by("-kept_at", "-pk")[:FILES]


def _brought(request: StaffRequest, retort: Retort, form: BringForm) -> HttpResponse | None:
    """Let the file wait and lead to what was understood of it; None, with errors, else."""
    if not form.is_valid():
        for _name, _why in dropped(request):
            del form.errors["file"]
            form.add_error("file", "The file is too large. Export a shorter time from the logger.")
        return None
    file = form.cleaned_data["file"]
    raw, name = file.read(), uploads_in.clean_name(file.name)
    try:
        look(raw, zone=request.facility.time_zone)
        about = {"logger": form.cleaned_data["name"], "name": name}
        token = waiting_files.put(raw, _of(request, retort), about)
    except FileRefused as refusal:
        form.add_error("file", f"{name}: {refusal.text}")
        return None
    except OSError:
        form.add_error("file", UNSTORED)
        return None
    return redirect("cases:log-look", code=retort.place.code, token=token)


def _of(request: StaffRequest, retort: Retort) -> str:
    """For whom a file waits: this member, at this retort."""
    return f"log {request.user.pk} {retort.pk}"


@require_http_methods(["GET", "HEAD", "POST"])
def look_at(request: StaffRequest, code: str, token: str) -> HttpResponse:
    """What was understood of a file that waits; nothing is stored before it is taken in."""
    retort = retort_or_404(request, code)
    need_role(request, *READERS)
    back = redirect("cases:log", code=code)
    waiting = waiting_files.get(token, _of(request, retort))
    if waiting is None:
        messages.info(request, GONE)
        return back
    if request.POST.get("do") == "leave":
        waiting_files.drop(token)
        messages.success(request, "The file is left out. Nothing of it was stored.")
        return back
    return _Look(request, retort, waiting).answer() or back


class _Look:
    """One look at a file that waits: its form, and what is shown beside it."""

    def __init__(self, request: StaffRequest, retort: Retort, waiting: Waiting) -> None:
        self.request, self.retort, self.waiting = request, retort, waiting
        self.logger = Logger.objects.filter(retort=retort, name=waiting.about["logger"]).first()
        self.seen = look(waiting.raw, zone=request.facility.time_zone)
        self.known = self._known()
        self.is_anew = request.POST.get("is_anew", request.GET.get("anew", "")) == "yes"
        self.remembered = None if self.is_anew else self.known

    def _known(self) -> Mapping | None:
        """How this logger's last file was read, if this one is of the same kind."""
        if self.logger is None or not self.logger.mapping:
            return None
        try:
            mapping = Mapping.from_json(self.logger.mapping)
        except MappingError:
            return None
        return mapping if self.seen.knows(mapping) else None

    def _form(self, data: Any = None) -> LookForm:
        zone = self.request.facility.time_zone
        return LookForm(data, seen=self.seen, remembered=self.remembered, zone=zone)

    def answer(self) -> HttpResponse | None:
        """Show what was understood; None once the file was taken in."""
        if self.request.method != "POST":
            form = self._form()
            if kept := pop_kept(self.request):
                form.keep(kept)
            # Where nothing is open, the page says at once what would be stored.
            asked = self._form(form.first())
            return self._page(form, asked.mapping())
        form = self._form(self.request.POST)
        mapping = form.mapping()
        if mapping is not None and self.request.POST.get("do") == "take":
            if self.request.POST.get("shown") != digest_of(mapping):
                form.add_error(None, LOOK_AGAIN)
            elif self._is_settled(form, mapping) and self._taken(form, mapping):
                return None
        return self._page(form, mapping)

    def _is_settled(self, form: LookForm, mapping: Mapping) -> bool:
        """A repeated hour is asked and never guessed; leaving its lines out is an answer too."""
        if form.cleaned_data["repeated_hour"] or not self._read(mapping).asks_repeated_hour:
            return True
        form.add_error("repeated_hour", "Answer this: it cannot be told from the file.")
        return False

    def _read(self, mapping: Mapping) -> Any:
        return read(self.waiting.raw, mapping, now=clock.now())

    def _taken(self, form: LookForm, mapping: Mapping) -> bool:
        about, member = self.waiting.about, self.request.user
        sent = Sent(about["name"], self.waiting.raw, mapping)
        sha256 = hashlib.sha256(sent.raw).hexdigest()
        was_here = LoggerFile.objects.filter(logger=self.logger, sha256=sha256).exists()
        try:
            file = logger_acts.take_from(self.retort, about["logger"], member, sent)
        except (LoggerRefused, FileRefused) as refusal:
            form.add_error(None, refusal.text)
            return False
        except MappingError as error:
            form.add_error(None, str(error))
            return False
        waiting_files.drop(self.waiting.token)
        _tell(self.request, file, is_new=not was_here)
        return True

    def _page(self, form: LookForm, mapping: Mapping | None) -> HttpResponse:
        preview: dict[str, Any] | None = None
        if mapping is not None:
            try:
                parsed = self._read(mapping)
                preview = log_page.preview(self.retort, self.logger, parsed, mapping)
            except (FileRefused, LoggerRefused) as refusal:
                return self._shown(form, mapping, None, refusal.text)
        return self._shown(form, mapping, preview)

    def _shown(
        self,
        form: LookForm,
        mapping: Mapping | None,
        preview: dict[str, Any] | None,
        refused: str = "",
    ) -> HttpResponse:
        columns = [
            {
                "heading": column.heading or f"column {column.index + 1}",
                "samples": log_page.samples_of(self.seen, column.index),
                "channel": form[f"channel:{column.index}"],
                "unit": form[f"unit:{column.index}"],
            }
            for column in self.seen.columns
        ]
        hour = form.data.get("repeated_hour") if form.is_bound else ""
        asks_hour = bool(preview and preview["asks_repeated_hour"])
        context = {
            "retort": self.retort,
            "form": form,
            "about": self.waiting.about,
            "size": len(self.waiting.raw),
            "layout": log_page.layout(self.seen, mapping),
            "columns": columns,
            "preview": preview,
            "refused": refused,
            "asks_hour": bool(hour) or asks_hour,
            "can_take": bool(preview and preview["new"]) and (bool(hour) or not asks_hour),
            "known": self.known,
            "is_anew": self.is_anew,
            "is_new_logger": self.logger is None,
            "nav_here": "machine",
        }
        is_wrong = bool(refused) or bool(form.is_bound and form.errors)
        return render(self.request, "cases/log_look.html", context, status=422 if is_wrong else 200)


def _tell(request: StaffRequest, file: LoggerFile, *, is_new: bool) -> None:
    if not is_new:
        messages.info(request, "This very file was taken in before. Nothing was added.")
        return
    words = f"{file.taken:,} reading{'s' if file.taken != 1 else ''} taken in"
    if file.already_there:
        words += f", {file.already_there:,} stored already"
    if file.refused:
        words += f", {file.refused:,} refused line by line"
    messages.success(request, f"{words}. The file itself is kept whole.")


@require_safe
def original(request: StaffRequest, code: str, pk: int) -> HttpResponse | HttpResponseRedirect:
    """The bytes of a file as they came, to be saved."""
    retort = retort_or_404(request, code)
    row = get_object_or_404(LoggerFile, logger__retort=retort, pk=pk)
    try:
        data = file_store.read(logger_acts.path_of(row.stored_name), row.sha256)
    except (file_store.FileMissing, file_store.FileChanged):
        messages.error(
            request, "The stored file is missing or was changed. Tell whoever runs the system."
        )
        return redirect("cases:log", code=code)
    disposition = content_disposition_header(True, row.original_name)
    return HttpResponse(
        data,
        content_type="application/octet-stream",
        headers={"Content-Disposition": disposition, **AS_IT_CAME},
    )
