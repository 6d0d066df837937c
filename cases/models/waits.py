"""What was stated to shorten or lift the waiting period."""

from django.db import models

from cases.law.words import GROUNDS
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
