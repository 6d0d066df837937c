"""The rules of the house: every rule of its law, what the house asks beyond it, and the changes."""

from typing import Any

from django.contrib import messages
from django.http import Http404, HttpResponse
from django.shortcuts import redirect, render
from django.utils.datastructures import MultiValueDict
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_http_methods, require_safe

from cases import house_rules, law
from cases.forms.house_rules import AskMoreForm, TakeBackForm, is_answer
from cases.law.page_words import sections, title_of
from cases.roles import WHO, power
from cases.views.answering import pop_kept
from cases.views.house import SECRETS, WRITES, done
from cases.views.requests import StaffRequest, need_role
from crematory.models import Role
from crematory.signatures import Signature


@require_safe
def rules(request: StaffRequest) -> HttpResponse:
    """Every rule of the law, with its value, where it stands, how and when it was read."""
    of_house = house_rules.rules_of(request.facility)
    return render(
        request,
        "cases/house_rules.html",
        {
            "law": of_house,
            "sections": sections(of_house),
            "added": house_rules.standing(request.facility),
            "changing": power(request.user, WHO[house_rules.ACT]),
            "check_locally": law.CHECK_LOCALLY,
        },
    )


def _path(request: StaffRequest, kept: MultiValueDict[str, str] | None) -> str:
    """Which value it is about: as sent, as the address says, or as it was kept before a sign-in."""
    asked = (request.POST or request.GET).get("path", "")
    return asked or (kept.get("path", "") if kept else "")


@sensitive_post_parameters(*SECRETS)
@require_http_methods(WRITES)
def ask_more(request: StaffRequest) -> HttpResponse:
    """Ask more than the law in one value, or put in the local authority's answer."""
    need_role(request, Role.MANAGER)
    facility = request.facility
    kept = pop_kept(request)
    path = _path(request, kept)
    by_law = law.jurisdiction(facility.jurisdiction)
    offer = next((offer for offer in law.offers(by_law) if offer.path == path), None)
    if offer is None:
        raise Http404("The law of this house leaves nothing to ask for here.")
    form = AskMoreForm(
        request.POST or None, path=path, facility=facility, is_answer=is_answer(path, facility)
    )
    form.keep(kept)

    def change(signed_by: Signature, stated: dict[str, Any]) -> None:
        answered = None
        if stated.get("answered_by"):
            answered = house_rules.Answered(by=stated["answered_by"], on=stated["answered_on"])
        value = stated.get("value", True)
        house_rules.add(signed_by, stated["token"], path, value, answered)

    if request.method == "POST" and done(request, form, house_rules.ACT, change):
        messages.success(request, f"The house asks this from now on: {title_of(path)}.")
        return redirect("house-rules")
    context = {
        "form": form,
        "offer": offer,
        "title": title_of(path),
        "law": by_law,
        "check_locally": law.CHECK_LOCALLY,
    }
    return render(request, "cases/house_rule.html", context, status=422 if form.is_bound else 200)


@sensitive_post_parameters(*SECRETS)
@require_http_methods(WRITES)
def take_back(request: StaffRequest) -> HttpResponse:
    """Take back what the house asks beyond the law."""
    need_role(request, Role.MANAGER)
    kept = pop_kept(request)
    path = _path(request, kept)
    asked = {row.path: row for row in house_rules.standing(request.facility)}
    if path not in asked:
        raise Http404("The house asks nothing more than the law here.")
    form = TakeBackForm(request.POST or None, path=path)
    form.keep(kept)

    def change(signed_by: Signature, stated: dict[str, Any]) -> None:
        house_rules.take_back(signed_by, stated["token"], path)

    if request.method == "POST" and done(request, form, house_rules.ACT, change):
        messages.success(request, f"Taken back: {title_of(path)}. The law stands as it is.")
        return redirect("house-rules")
    context = {
        "form": form,
        "asked": asked[path],
        "title": f"Take back: {title_of(path)}",
        "law": law.jurisdiction(request.facility.jurisdiction),
        "check_locally": law.CHECK_LOCALLY,
    }
    return render(request, "cases/house_rule.html", context, status=422 if form.is_bound else 200)
