"""Temperatures read by hand, and what was put right in them."""

from django.db import models
from django.db.models import Q

from chain_of_custody.append_only import AppendOnlyModel
from crematory.models import StaffMember
from retort_log.models.machines import Retort

ABSOLUTE_ZERO_C = -273.15
HIGHEST_C = 2000


class Reading(AppendOnlyModel):
    """Temperatures of both chambers, read by hand at the machine."""

    retort = models.ForeignKey(Retort, on_delete=models.PROTECT, related_name="readings")
    at = models.DateTimeField()
    primary_c = models.DecimalField(max_digits=6, decimal_places=2)
    secondary_c = models.DecimalField(max_digits=6, decimal_places=2)
    read_by = models.ForeignKey(StaffMember, on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ["at"]
        constraints = [
            models.UniqueConstraint(fields=["retort", "at"], name="reading_once_an_instant"),
            models.CheckConstraint(
                condition=Q(
                    primary_c__gt=ABSOLUTE_ZERO_C,
                    primary_c__lte=HIGHEST_C,
                    secondary_c__gt=ABSOLUTE_ZERO_C,
                    secondary_c__lte=HIGHEST_C,
                ),
                name="reading_in_sense",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.retort_id} {self.at:%H:%M}"


class ReadingCorrection(AppendOnlyModel):
    """A reading that was typed wrongly, put right or withdrawn; the newest correction counts.

    The reading itself stays as it was typed. A withdrawn one counts as not there; corrected
    again with values, it counts once more.
    """

    reading = models.ForeignKey(Reading, on_delete=models.PROTECT, related_name="corrections")
    retort = models.ForeignKey(Retort, on_delete=models.PROTECT, related_name="+")
    ordinal = models.PositiveSmallIntegerField()
    is_withdrawn = models.BooleanField(default=False)
    old_primary_c = models.DecimalField(max_digits=6, decimal_places=2)
    old_secondary_c = models.DecimalField(max_digits=6, decimal_places=2)
    primary_c = models.DecimalField(max_digits=6, decimal_places=2)
    secondary_c = models.DecimalField(max_digits=6, decimal_places=2)
    why = models.CharField(max_length=500)
    corrected_at = models.DateTimeField()
    corrected_by = models.ForeignKey(StaffMember, on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ["reading", "ordinal"]
        constraints = [
            models.UniqueConstraint(
                fields=["reading", "ordinal"], name="reading_correction_in_order"
            ),
            models.CheckConstraint(
                condition=Q(
                    primary_c__gt=ABSOLUTE_ZERO_C,
                    primary_c__lte=HIGHEST_C,
                    secondary_c__gt=ABSOLUTE_ZERO_C,
                    secondary_c__lte=HIGHEST_C,
                ),
                name="reading_correction_in_sense",
            ),
            models.CheckConstraint(condition=~Q(why=""), name="reading_correction_has_reason"),
        ]

    def __str__(self) -> str:
        return f"{self.reading_id}, {self.ordinal}"
