"""The receiver's receipt for personal things that are given back."""

from django.db import models
from django.db.models import Q

from cases.models.case import Case
from chain_of_custody.append_only import AppendOnlyModel
from chain_of_custody.models import Upload

_NO_DRAWING = Q(drawing__isnull=True, strokes__isnull=True)


class ThingsReceipt(AppendOnlyModel):
    """How the receiver of personal things signed for them, or why nobody did.

    Drawn on the tablet, it keeps strokes, picture and the sentence that was signed; on paper, the
    scan or why there is none.
    """

    class Form(models.TextChoices):
        TABLET = "tablet", "drawn on the tablet"
        PAPER = "paper", "on paper"
        WITH_RECEIPT = "with_receipt", "on the receipt of the release or return"
        UNSIGNED = "unsigned", "not signed"

    case = models.ForeignKey(Case, on_delete=models.PROTECT, related_name="things_receipts")
    form = models.CharField(max_length=12, choices=Form)
    drawing = models.ForeignKey(
        Upload, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    strokes = models.JSONField(
        null=True, blank=True, help_text="[[[x, y, ms], …], …] in hundredths of a mm."
    )
    scan = models.ForeignKey(
        Upload, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    reason = models.CharField(
        max_length=300, blank=True, default="", help_text="Why nobody signed, or why no scan."
    )
    meaning = models.TextField(blank=True, default="", help_text="The sentence that was signed.")
    signed_at = models.DateTimeField()

    class Meta:
        ordering = ["pk"]
        constraints = [
            models.CheckConstraint(
                condition=Q(form="tablet", drawing__isnull=False, strokes__isnull=False)
                | ~Q(form="tablet") & _NO_DRAWING,
                name="things_receipt_drawn_on_tablet",
            ),
            models.CheckConstraint(
                condition=Q(scan__isnull=True) | Q(form="paper"),
                name="things_receipt_scan_of_paper",
            ),
            models.CheckConstraint(
                condition=~Q(form="unsigned", reason="")
                & ~Q(form="paper", scan__isnull=True, reason=""),
                name="things_receipt_signed_or_why_not",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.case_id}: {self.form}"
