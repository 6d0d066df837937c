"""What was processed: the remains of one person after metal was taken out."""

from django.db import models
from django.db.models import Q

from crematory.models import StaffMember


class Processing(models.Model):
    """Cremated remains after metal was taken out and the fragments were processed."""

    case = models.OneToOneField("cases.Case", on_delete=models.PROTECT, related_name="processing")
    processed_at = models.DateTimeField()
    mass_kg = models.DecimalField(max_digits=7, decimal_places=3)
    metal_fate = models.CharField(max_length=40)
    accepted_by = models.ForeignKey(
        StaffMember, on_delete=models.PROTECT, related_name="+", null=True, blank=True
    )
    acceptance_reason = models.TextField(blank=True)

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(mass_kg__gt=0, mass_kg__lte=30), name="processing_mass_in_sense"
            ),
            models.CheckConstraint(
                condition=Q(accepted_by__isnull=True) | ~Q(acceptance_reason=""),
                name="processing_acceptance_has_reason",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.case_id}: {self.mass_kg} kg"
