"""The disc, the containers of the cremated remains, the release."""

from django.db import models
from django.db.models import Q

from cases.models.case import NAME_LENGTH, Case
from chain_of_custody.append_only import AppendOnlyModel
from crematory.models import Facility


class IdDisc(AppendOnlyModel):
    """A numbered metal disc. A number is given once and never again."""

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
