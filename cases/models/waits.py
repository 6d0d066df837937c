"""What was stated where the law leaves it to the case: grounds, answers, a time agreed on."""

from django.db import models
from django.db.models import Q

from cases.law.words import CONDITIONS, GROUNDS, PAPERS, WITHOUT_FORM
from cases.models.case import Case
from cases.models.papers import Document
from chain_of_custody.append_only import AppendOnlyModel


class WaitGround(AppendOnlyModel):
    """A ground on which the law may lift the wait, as somebody stated it; the newest row counts."""

    case = models.ForeignKey(Case, on_delete=models.PROTECT, related_name="wait_grounds")
    ground = models.CharField(max_length=30, choices=list(GROUNDS.items()))
    is_claimed = models.BooleanField(help_text="False takes the ground back.")
    basis = models.TextField(help_text="Who stated it, and on what.")
    document = models.ForeignKey(
        Document, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    stated_at = models.DateTimeField()

    class Meta:
        ordering = ["pk"]

    def __str__(self) -> str:
        return f"{self.case_id}: {self.ground}"


class LawAnswer(AppendOnlyModel):
    """The answer to a question on which the law makes something depend; the newest row counts.

    `paper` is the kind that the law asks for where the answer is yes; empty where it asks none.
    """

    case = models.ForeignKey(Case, on_delete=models.PROTECT, related_name="law_answers")
    question = models.CharField(max_length=30, choices=[*CONDITIONS.items(), *WITHOUT_FORM.items()])
    is_so = models.BooleanField()
    paper = models.CharField(max_length=40, choices=list(PAPERS.items()), blank=True, default="")
    informant = models.CharField(max_length=200, help_text="Who answered.")
    basis = models.TextField(help_text="On what the answer rests.")
    document = models.ForeignKey(
        Document, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    answered_at = models.DateTimeField()

    class Meta:
        ordering = ["pk"]
        constraints = [
            models.CheckConstraint(
                condition=~Q(informant="") & ~Q(basis=""), name="law_answer_by_whom_on_what"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.case_id}: {self.question}"


class AgreedTime(AppendOnlyModel):
    """A time of cremation agreed in writing, with its paper; the newest row counts."""

    case = models.ForeignKey(Case, on_delete=models.PROTECT, related_name="agreed_times")
    agreed_at = models.DateTimeField()
    informant = models.CharField(max_length=200, help_text="Who agreed.")
    document = models.ForeignKey(Document, on_delete=models.PROTECT, related_name="+")
    stated_at = models.DateTimeField()

    class Meta:
        ordering = ["pk"]
        constraints = [
            models.CheckConstraint(condition=~Q(informant=""), name="agreed_time_by_whom"),
        ]

    def __str__(self) -> str:
        return f"{self.case_id}: {self.agreed_at.isoformat()}"
