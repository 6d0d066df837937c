"""Papers that come in: taking files in, showing them, and filing each as a paper."""

from collections.abc import Iterator
from typing import Any

from django.contrib import messages
from django.core.files.uploadedfile import UploadedFile
from django.db.models import prefetch_related_objects
from django.http import Http404, HttpResponse, JsonResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_safe

from cases import acts, filing
from cases import documents as on_file
from cases.errors import ActRefused
from cases.filing import Sent, Taken
from cases.forms.base import new_token
from cases.forms.documents import FilingForm, SetAsideForm
from cases.models import Case
from cases.selectors import case_or_404
from cases.views import scans
from cases.views.answering import AGAIN_TEXT, BY_PERSON, Page, answer, open_form
from cases.views.requests import StaffRequest
from chain_of_custody import drawn, uploads_in
from chain_of_custody.models import Upload
from chain_of_custody.upload_handler import dropped
from chain_of_custody.uploads import ENDINGS, UploadRefused
from chain_of_custody.uploads_in import UploadDamaged

FIELD = "files"
LONGEST_TOKEN = 64
# An original is handed out to be saved, never to be opened in the site's own name.
AS_IT_CAME = {
    "X-Content-Type-Options": "nosniff",
    "Content-Security-Policy": "sandbox; default-src 'none'",
    "Cache-Control": "no-store",
}


@require_http_methods(["GET", "POST"])
def documents(request: StaffRequest, number: str) -> HttpResponse:
    """Papers on file and the files that wait; one of them beside the form in which it is filed."""
    case = case_or_404(request, number)
    return _filing(request, case)


def _filing(
    request: StaffRequest, case: Case, taken: Taken | None = None, status: int = 200
) -> HttpResponse:
    prefetch_related_objects([case], "documents__upload", "documents__replaced_by")
    waiting = list(on_file.waiting(case))
    if taken is not None and request.method == "POST":
        form = FilingForm(case=case, waiting=waiting, shown=_first(waiting))
    else:
        shown = request.GET.get("file") or _first(waiting)
        form = open_form(
            request, FilingForm, case=case, waiting=waiting, shown="" if shown == "none" else shown
        )
    replaced = request.GET.get("replaces", "")
    is_number = replaced.isascii() and replaced.isdigit() and len(replaced) < 19
    if is_number and "replaces" in form.fields:
        form.initial.setdefault("replaces", int(replaced))
    context = {
        "waiting": waiting,
        "taken": taken,
        **scans.sending(case, request.user),
        **scans.sheets(form.shown),
    }
    if taken is not None:
        return render(
            request,
            "cases/documents.html",
            {"case": case, "form": form, **context},
            status=status,
        )
    back = reverse("cases:documents", args=[case.number]) if _others_wait(request, form) else ""
    page = Page("cases/documents.html", "file_document", "The paper is on file.", context, back)
    return answer(
        request,
        case,
        form,
        page,
        lambda: acts.file_document(case, request.user, form.token_sent, **form.paper()),
    )


def _first(waiting: list[Upload]) -> str:
    return waiting[0].token if waiting else ""


def _others_wait(request: StaffRequest, form: FilingForm) -> bool:
    """True where files wait beside those that the request files."""
    used = {request.POST.get("upload", ""), *request.POST.getlist("more")}
    return bool(set(form.waiting) - used)


@require_http_methods(["GET", "POST"])
def take_in(request: StaffRequest, number: str) -> HttpResponse:
    """Take files in. A script is answered in JSON, a plain form with the page of the papers."""
    case = case_or_404(request, number)
    if request.method == "GET":
        return redirect("cases:documents", number=case.number)
    token = request.POST.get("token", "")[:LONGEST_TOKEN]
    try:
        taken = filing.take_in(
            case,
            request.user,
            token if token.isprintable() and token else new_token(),
            _sent(request),
            dropped(request),
        )
        status = 422 if taken.refused else 200
    except ActRefused as refusal:
        taken = Taken(refused=[("", UploadRefused(refusal.code, refusal.text))])
        status = 403 if refusal.code in BY_PERSON else 409
    if request.headers.get("Accept") == "application/json":
        return _told(case, taken, status)
    if taken.was_sent:
        messages.info(request, AGAIN_TEXT)
    if not taken.refused:
        return redirect("cases:documents", number=case.number)
    return _filing(request, case, taken, status)


def _sent(request: StaffRequest) -> Iterator[Sent]:
    """The files of the request, each read only when its turn has come."""
    for uploaded in request.FILES.getlist(FIELD):
        assert isinstance(uploaded, UploadedFile)
        yield Sent(uploaded.name or "", uploaded.read)


def _told(case: Case, taken: Taken, status: int) -> JsonResponse:
    return JsonResponse(
        {
            "kept": [upload.original_name for upload in taken.kept],
            "refused": [{"name": name, "why": why.text} for name, why in taken.refused],
            "next": reverse("cases:documents", args=[case.number]),
        },
        status=status,
    )


def _file_or_404(request: StaffRequest, number: str, token: str) -> tuple[Case, Upload]:
    case = case_or_404(request, number)
    rows = Upload.objects.select_related("set_aside__set_aside_by", "uploaded_by")
    return case, get_object_or_404(rows, case=case, token=token)


@require_safe
def file(request: StaffRequest, number: str, token: str) -> HttpResponse:
    """One file that came in: its pages, what it is, and the paper that it was filed as."""
    case, upload = _file_or_404(request, number, token)
    document = upload.documents.select_related("replaces", "replaced_by").first()
    if document is None and hasattr(upload, "sheet"):
        document = upload.sheet.document
    context = {
        "case": case,
        "upload": upload,
        "document": document,
        "title": document.get_kind_display().capitalize() if document else "A file that came in",
        **scans.sheets(upload, document),
    }
    return render(request, "cases/file.html", context)


@require_safe
def page(request: StaffRequest, number: str, token: str, page: int) -> HttpResponse:
    """One page of a file as a picture, drawn anew: never the bytes that came in."""
    _, upload = _file_or_404(request, number, token)
    try:
        picture = drawn.page(upload, page)
    except UploadDamaged as damage:
        return HttpResponse(str(damage), status=410, content_type="text/plain; charset=utf-8")
    except UploadRefused as refused:
        if refused.code == "page_unknown":
            raise Http404 from refused
        return HttpResponse(refused.text, status=503, content_type="text/plain; charset=utf-8")
    return HttpResponse(
        picture,
        content_type="image/png",
        headers={"X-Content-Type-Options": "nosniff", "Cache-Control": "no-store"},
    )


@require_safe
def original(request: StaffRequest, number: str, token: str) -> HttpResponse:
    """The bytes as they came, to be saved: for whoever must prove what was sent."""
    case, upload = _file_or_404(request, number, token)
    try:
        data = uploads_in.read(upload)
    except UploadDamaged as damage:
        messages.error(request, str(damage))
        return redirect("cases:file", number=case.number, token=upload.token)
    name = f"{case.number}-{upload.sha256[:12]}.{ENDINGS[upload.kind]}"
    return HttpResponse(
        data,
        content_type="application/octet-stream",
        headers={"Content-Disposition": f'attachment; filename="{name}"', **AS_IT_CAME},
    )


@require_http_methods(["GET", "POST"])
def set_aside(request: StaffRequest, number: str, token: str) -> HttpResponse:
    """Set a file aside that is no paper of this case."""
    case, upload = _file_or_404(request, number, token)
    form = open_form(request, SetAsideForm, facility=case.facility)
    context: dict[str, Any] = {"upload": upload, **scans.sheets(upload)}
    done = "The file is set aside. It stays kept and waits no longer."
    back = reverse("cases:documents", args=[case.number])
    return answer(
        request,
        case,
        form,
        Page("cases/set_aside.html", filing.SET_ASIDE, done, context, back),
        lambda: filing.set_aside(
            upload, request.user, form.token_sent, form.cleaned_data["reason"]
        ),
    )
