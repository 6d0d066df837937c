"""What stops every step, and who was told."""

from django.db import models
from django.db.models import Q

from cases.models.case import NAME_LENGTH, Case
from cases.models.papers import Document
from cases.models.right import RightHolder
from chain_of_custody.append_only import AppendOnlyModel
from crematory.models import StaffMember


class Hold(models.Model):
    """Stops every step until a manager lifts it with a reason."""

    class Kind(models.TextChoices):
        DISPUTE = "dispute", "somebody objects"
        OTHER = "other", "another ground"

    class LiftedBy(models.TextChoices):
        ORDER = "order", "order of a court"
        WITHDRAWAL = "withdrawal", "written withdrawal"
        AGREEMENT = "agreement", "signed agreement"
        CLEARED = "cleared", "the ground no longer exists"
        MISTAKE = "mistake", "opened by mistake"

    case = models.ForeignKey(Case, on_delete=models.PROTECT, related_name="holds")
    kind = models.CharField(max_length=10, choices=Kind, default=Kind.OTHER)
    raised_by = models.CharField(max_length=NAME_LENGTH, blank=True, default="")
    holder = models.ForeignKey(
        RightHolder, on_delete=models.PROTECT, null=True, blank=True, related_name="holds"
    )
    document = models.ForeignKey(
        Document, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    ground = models.TextField()
    opened_at = models.DateTimeField()
    opened_by = models.ForeignKey(StaffMember, on_delete=models.PROTECT, related_name="+")
    lifted_at = models.DateTimeField(null=True, blank=True)
    lifted_by = models.ForeignKey(
        StaffMember, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    lift_reason = models.TextField(blank=True)
    lifted_on = models.CharField(max_length=10, choices=LiftedBy, blank=True, default="")
    lift_document = models.ForeignKey(
        Document, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )

    class Meta:
        ordering = ["opened_at"]
        constraints = [
            models.CheckConstraint(
                condition=Q(lifted_at__isnull=True, lifted_by__isnull=True, lift_reason="")
                | (Q(lifted_at__isnull=False, lifted_by__isnull=False) & ~Q(lift_reason="")),
                name="hold_lifted_with_reason",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.case_id} since {self.opened_at:%Y-%m-%d}"


class HoldNotice(AppendOnlyModel):
    """Somebody was told of a hold."""

    hold = models.ForeignKey(Hold, on_delete=models.PROTECT, related_name="notices")
    told = models.CharField(max_length=NAME_LENGTH)
    how = models.CharField(max_length=200)
    told_at = models.DateTimeField()

    class Meta:
        ordering = ["told_at", "pk"]

    def __str__(self) -> str:
        return f"{self.hold_id}"
