"""Taking a step: its form, its gates, and the refusal that cannot be overlooked."""

from django.db.models import prefetch_related_objects
from django.http import Http404, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_http_methods

from cases import law_questions, room
from cases.case_page import FETCHED, newest_devices
from cases.errors import ActRefused
from cases.forms.base import new_token
from cases.forms.steps import FORMS, StepForm
from cases.gates import Situation, Verdict, ask_all
from cases.heavy import heavy_in
from cases.models import Case
from cases.papers import KINDS, OF_STEP, Kind
from cases.selectors import case_or_404
from cases.steps import STAGES, STEPS, Step
from cases.taking import take
from cases.views.answering import Page, answer, open_form
from cases.views.requests import StaffRequest, signers_else
from crematory import clock
from crematory.middleware import keep_typed
from retort_log.models import Retort

# What is to be done right after a step; the page of the case shows the button for it.
THEN = {
    "assign_disc": " Now print the label with the disc and fix it to the container.",
    "process": " Now print the label for the containers.",
}
# Where what the law makes depend on an answer is shown, with the way to answer it.
ASKS_THE_LAW = {"receive", "authorize", "charge"}
AT_THE_MACHINE = {"charge", "burner_off", "recover"}
# Where the gates that may find another person take what was read.
SCANNED = {
    "disc_scanned": ("disc_scan",),
    "disc_found": ("disc_scan",),
    "disc_on_tray": ("disc_scan",),
    "disc_read_aloud": ("disc_on_paper", "disc_on_container"),
    "label_scanned": ("label_scan",),
    "label_disc_scanned": ("label_scan",),
}


def gates_shown(case: Case, step: Step, form: StepForm) -> list[Verdict]:
    """Return all gates of the step as they stand; none where the step cannot be next."""
    if case.stage not in step.stages_from:
        return []
    prefetch_related_objects([case], *FETCHED)
    return ask_all(Situation(case=case, step=step, now=clock.now(), retort=form.chosen_retort()))


def paper_offered(verb: str) -> tuple[Kind, str] | None:
    """Return the paper that belongs to the step, with the token of one printing."""
    kind = OF_STEP.get(verb)
    return (KINDS[kind], new_token()) if kind else None


@require_http_methods(["GET", "POST"])
def step(request: StaffRequest, number: str, verb: str) -> HttpResponse:
    """Show the step's form with all its gates, or take the step."""
    case = case_or_404(request, number)
    if verb not in STEPS:
        raise Http404("There is no such step.")
    form = _form(request, case, verb)
    machine = machine_of(request)
    page = Page(
        "cases/step.html",
        verb,
        f"{STEPS[verb].label}. {case.decedent_name} is now {STAGES[STEPS[verb].stage_to]}."
        f"{THEN.get(verb, '')}",
        {
            "signers_else": signers_else(request, STEPS[verb]),
            "step": STEPS[verb],
            "can_follow": case.stage in STEPS[verb].stages_from,
            "gates": lambda: gates_shown(case, STEPS[verb], form),
            "at_machine": verb in AT_THE_MACHINE,
            "machine_code": machine,
            "heavy": _heavy(case) if verb == "charge" else "",
            "nav_here": "machine" if machine else "",
            "paper": paper_offered(verb),
            "room": room.told(case, verb) if case.stage in STEPS[verb].stages_from else [],
            "devices": newest_devices(case) if verb == "clear_devices" else [],
            "law_asks": law_questions.shown(case) if verb in ASKS_THE_LAW else [],
        },
        back=reverse("machine", args=[machine]) if machine else "",
    )
    try:
        return answer(request, case, form, page, lambda: _take(case, form))
    except WrongPerson as wrong:
        keep_typed(request, wrong.scans())
        return render(request, "cases/wrong_person.html", wrong.context(case, request), status=409)


class WrongPerson(Exception):
    """Disc or label of somebody else: stop everything."""

    def __init__(self, verdicts: list[Verdict]) -> None:
        super().__init__("wrong person")
        self.verdicts = verdicts

    def scans(self) -> tuple[str, ...]:
        """Return the fields of what was read wrongly: they come back empty."""
        return tuple(name for verdict in self.verdicts for name in SCANNED[verdict.gate])

    def context(self, case: Case, request: StaffRequest) -> dict[str, object]:
        """Return what the full-screen refusal shows."""
        return {"case": case, "verdicts": self.verdicts, "back": request.get_full_path()}


def _heavy(case: Case) -> str:
    """Return the names of the retorts in which this person should be charged first, cool."""
    retorts = Retort.objects.filter(facility=case.facility, heavy_from_kg__isnull=False)
    return ", ".join(retort.name for retort in heavy_in(case, retorts))


def machine_of(request: StaffRequest) -> str:
    """Return the code of the retort from whose page this one was opened, or nothing."""
    if not (code := _retort_asked(request)):
        return ""
    here = Retort.objects.filter(facility=request.facility, place__code=code)
    return code if here.exists() else ""


def _retort_asked(request: StaffRequest) -> str:
    """The code in the address; nothing where it is none. PostgreSQL takes no text with a NUL."""
    code = request.GET.get("retort", "")
    return code if code.isprintable() else ""


def _form(request: StaffRequest, case: Case, verb: str) -> StepForm:
    initial = {"retort": code} if (code := _retort_asked(request)) else {}
    if request.method == "POST" and {"more", "share"} & request.POST.keys():
        form = FORMS[verb](case=case)
        (form.share if "share" in request.POST else form.add_row)(request.POST)
        return form
    return open_form(request, FORMS[verb], case=case, initial=initial)


def _take(case: Case, form: StepForm) -> None:
    facts = form.facts()
    try:
        take(
            form.verb,
            case,
            facts,
            signed_by=form.signer(),
            witness=form.signature("witness"),
            token=form.token_sent,
        )
    except ActRefused as refusal:
        wrong = [v for v in refusal.verdicts if v.is_wrong_person]
        if wrong:
            raise WrongPerson(wrong) from refusal
        raise
