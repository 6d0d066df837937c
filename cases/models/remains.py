"""The disc, the containers of the cremated remains, the release."""

from django.db import models
from django.db.models import F, Q

from cases.models.case import NAME_LENGTH, Case
from chain_of_custody.append_only import AppendOnlyModel
from chain_of_custody.models import CustodyEntry, Upload
from crematory.models import Facility, StaffMember


class IdDisc(AppendOnlyModel):
    """A numbered metal disc, the one that is with the person or the remains now.

    A number is given once and never again. The row changes only with a `DiscReplaced`.
    """

    facility = models.ForeignKey(Facility, on_delete=models.PROTECT, related_name="discs")
    case = models.OneToOneField(Case, on_delete=models.PROTECT, related_name="disc")
    number = models.CharField(max_length=20)
    assigned_at = models.DateTimeField()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["facility", "number"], name="disc_given_once"),
        ]

    def __str__(self) -> str:
        return self.number


class DiscReplaced(AppendOnlyModel):
    """A disc that could not be read at the recovery, and the one tied in its place.

    Its entry names who recovered and who witnessed; `accepted_by` is a third person.
    """

    class Found(models.TextChoices):
        UNREADABLE = "unreadable", "found, and cannot be read"
        MISSING = "missing", "not found after a second sweep and the chamber looked through"

    facility = models.ForeignKey(Facility, on_delete=models.PROTECT, related_name="+")
    case = models.OneToOneField(Case, on_delete=models.PROTECT, related_name="disc_replaced")
    entry = models.OneToOneField(CustodyEntry, on_delete=models.PROTECT, related_name="+")
    found = models.CharField(max_length=10, choices=Found)
    old_number = models.CharField(max_length=20)
    new_number = models.CharField(max_length=20)
    photograph = models.OneToOneField(Upload, on_delete=models.PROTECT, related_name="+")
    accepted_by = models.ForeignKey(StaffMember, on_delete=models.PROTECT, related_name="+")
    reason = models.TextField()
    replaced_at = models.DateTimeField()

    class Meta:
        verbose_name_plural = "discs replaced"
        constraints = [
            models.UniqueConstraint(
                fields=["facility", "old_number"], name="disc_replaced_old_number_once"
            ),
            models.CheckConstraint(
                condition=Q(found__in=["unreadable", "missing"]), name="disc_replaced_found_known"
            ),
            models.CheckConstraint(
                condition=~Q(old_number=F("new_number")), name="disc_replaced_by_another"
            ),
            models.CheckConstraint(condition=~Q(reason=""), name="disc_replaced_with_reason"),
        ]

    def __str__(self) -> str:
        return f"{self.new_number} for {self.old_number}"


class RemainsContainer(models.Model):
    """One container of cremated remains."""

    case = models.ForeignKey(Case, on_delete=models.PROTECT, related_name="containers")
    position = models.PositiveSmallIntegerField()
    kind = models.CharField(max_length=100)
    volume_l = models.DecimalField(max_digits=7, decimal_places=4)
    mass_kg = models.DecimalField(max_digits=7, decimal_places=3)

    class Meta:
        ordering = ["position"]
        constraints = [
            models.UniqueConstraint(fields=["case", "position"], name="container_position_once"),
            models.CheckConstraint(
                condition=Q(volume_l__gt=0, volume_l__lte=100, mass_kg__gt=0, mass_kg__lte=30),
                name="container_in_sense",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.kind} {self.position}"


class Release(models.Model):
    """To whom the remains, or the person uncremated, were given."""

    case = models.OneToOneField(Case, on_delete=models.PROTECT, related_name="release")
    released_at = models.DateTimeField()
    recipient_name = models.CharField(max_length=NAME_LENGTH)
    firm = models.CharField(max_length=200, blank=True)
    identification = models.CharField(max_length=200)
    carrier = models.CharField(max_length=100, blank=True)
    tracking_number = models.CharField(max_length=100, blank=True)

    def __str__(self) -> str:
        return f"{self.case_id}"
