"""The form of a paper that is filed, with its scan beside it."""

from collections.abc import Sequence
from typing import Any

from django import forms
from django.utils.formats import date_format

from cases import documents
from cases.forms.base import WritingForm
from cases.forms.side import DocumentForm
from cases.forms.steps import text
from cases.law import PAPERS
from cases.models import OTHER_PAPER, Case, Document
from chain_of_custody.models import Upload

Choices = list[tuple[str, Any]]


def kinds_for(case: Case) -> Choices:
    """Return the kinds of paper: those that the rules ask for and are not on file come first."""
    on_file = {document.kind for document in documents.current(case)}
    asked = list(dict.fromkeys(kind for kind in _asked(case) if kind in PAPERS))
    lacking = [kind for kind in asked if kind not in on_file]
    here = [kind for kind in asked if kind in on_file]
    rest = [kind for kind in PAPERS if kind not in asked]
    groups = (
        ("Asked for by the rules, not on file", lacking),
        ("Asked for by the rules, on file", here),
        ("Other papers", rest),
    )
    shown = [(title, [(kind, PAPERS[kind]) for kind in kinds]) for title, kinds in groups if kinds]
    shown[-1][1].append(OTHER_PAPER)
    return [("", "---------"), *shown]


def _asked(case: Case) -> list[str]:
    due = [
        kind for paper in case.law.papers_before("charge") for kind in (paper.kind, *paper.instead)
    ]
    if case.law.clearance_rule == "always" or case.is_death_reportable:
        due.append("medical_clearance")
    return due


class FilingForm(DocumentForm):
    """One paper: of a file that waits, of several, or seen without a file."""

    upload = forms.CharField(max_length=43, required=False, widget=forms.HiddenInput)
    more = forms.MultipleChoiceField(
        label="Further pages of this same paper",
        required=False,
        widget=forms.CheckboxSelectMultiple,
    )
    replaces = forms.TypedChoiceField(
        label="Later version of",
        coerce=int,
        empty_value=None,
        required=False,
        help_text="Only if it replaces a paper on file. The older one stays and can be read.",
    )

    def __init__(
        self, *args: Any, case: Case, waiting: Sequence[Upload], shown: str = "", **kwargs: Any
    ) -> None:
        self.case = case
        self.waiting = {upload.token: upload for upload in waiting}
        self.on_file = {document.pk: document for document in documents.current(case)}
        super().__init__(*args, facility=case.facility, **kwargs)
        self.fields["kind"].choices = kinds_for(case)  # type: ignore[attr-defined]
        self.fields["issued_by"].widget.attrs["list"] = "issuers"
        self.fields["kind"].widget.attrs["autofocus"] = True
        self.initial.setdefault("upload", shown)
        self._offer_more()
        self._offer_versions()

    @property
    def shown(self) -> Upload | None:
        """The file that lies beside the form, or None."""
        return self.waiting.get(str(self["upload"].value() or ""))

    def issuers(self) -> list[str]:
        """Who may have issued it: the sender, and whoever issued a paper of this case."""
        names = [self.case.sender, *(d.issued_by for d in self.on_file.values())]
        return list(dict.fromkeys(names))

    def _offer_more(self) -> None:
        others = [(t, u.original_name) for t, u in self.waiting.items() if u != self.shown]
        if self.shown is None or not others:
            del self.fields["more"]
            return
        self.fields["more"].choices = others  # type: ignore[attr-defined]

    def _offer_versions(self) -> None:
        if not self.on_file:
            del self.fields["replaces"]
            return
        self.fields["replaces"].choices = [  # type: ignore[attr-defined]
            ("", "---------"),
            *((pk, _called(document)) for pk, document in self.on_file.items()),
        ]

    def clean_upload(self) -> str:
        token: str = self.cleaned_data["upload"]
        if token and token not in self.waiting:
            raise forms.ValidationError(
                "This file does not wait here any more: it was filed or set aside."
            )
        return token

    def paper(self) -> dict[str, Any]:
        """Return what is filed: the fields, the files in their order, the version replaced."""
        stated = self.stated()
        tokens = [stated.pop("upload"), *stated.pop("more", [])]
        replaces: Document | None = self.on_file.get(stated.pop("replaces", None) or 0)
        return {
            **stated,
            "files": [self.waiting[token] for token in tokens if token],
            "replaces": replaces,
        }


def _called(document: Document) -> str:
    issued = date_format(document.issued_on, "j M Y")
    return f"{document.get_kind_display()}, {document.reference}, {issued}"


class SetAsideForm(WritingForm):
    """Why a file is no paper of this case."""

    reason = text(
        "Why is it set aside?", 300, help_text="For example: another person's paper, or blurred."
    )
