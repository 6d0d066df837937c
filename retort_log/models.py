"""The machines: permits, retorts, runs, readings, and what was processed."""

from django.db import models
from django.db.models import F, Q

from chain_of_custody.append_only import AppendOnlyModel
from chain_of_custody.models import Place
from crematory.models import Facility, StaffMember

ABSOLUTE_ZERO_C = -273.15
HIGHEST_C = 2000


class PermitToOperate(models.Model):
    """What the permit to operate demands; values as in the permit that `source` names."""

    facility = models.ForeignKey(Facility, on_delete=models.PROTECT, related_name="permits")
    number = models.CharField(max_length=60)
    source = models.TextField(help_text="Citation of the permit or rule, and the date it was read.")
    expires_on = models.DateField(null=True, blank=True)
    charging_temperature_c = models.DecimalField(max_digits=6, decimal_places=2)
    recording_interval_min = models.PositiveSmallIntegerField(default=15)

    def __str__(self) -> str:
        return self.number


class Retort(models.Model):
    """A two-chamber machine. It is also a place, which holds one person at a time."""

    facility = models.ForeignKey(Facility, on_delete=models.PROTECT, related_name="retorts")
    place = models.OneToOneField(Place, on_delete=models.PROTECT, related_name="retort")
    permit = models.ForeignKey(PermitToOperate, on_delete=models.PROTECT, related_name="retorts")
    name = models.CharField(max_length=60)
    mass_limit_kg = models.DecimalField(max_digits=7, decimal_places=3)
    sweep_limit_c = models.DecimalField(
        max_digits=6,
        decimal_places=2,
        help_text="Highest primary-chamber temperature at which the chamber may be swept.",
    )
    is_fit = models.BooleanField(default=True)
    unfit_reason = models.CharField(max_length=200, blank=True)

    class Meta:
        ordering = ["name"]
        constraints = [
            models.UniqueConstraint(fields=["facility", "name"], name="retort_name_unique"),
            models.CheckConstraint(
                condition=Q(mass_limit_kg__gt=0, mass_limit_kg__lte=1000),
                name="retort_mass_limit_in_sense",
            ),
        ]

    def __str__(self) -> str:
        return self.name


class Run(models.Model):
    """One cremation in one retort, from charge until the disc was found. A case has one, ever."""

    case = models.OneToOneField("cases.Case", on_delete=models.PROTECT, related_name="run")
    retort = models.ForeignKey(Retort, on_delete=models.PROTECT, related_name="runs")
    charged_at = models.DateTimeField()
    burner_off_at = models.DateTimeField(null=True, blank=True)
    ended_at = models.DateTimeField(null=True, blank=True)
    charge_mass_kg = models.DecimalField(max_digits=7, decimal_places=3)
    charge_temperature_c = models.DecimalField(max_digits=6, decimal_places=2)
    # The readings that opened the gates of the charge and of the recovery: a later correction of
    # one of them is shown beside the run. None on runs charged before these were kept.
    charge_reading = models.ForeignKey(
        "Reading", on_delete=models.PROTECT, related_name="+", null=True, blank=True
    )
    recovery_reading = models.ForeignKey(
        "Reading", on_delete=models.PROTECT, related_name="+", null=True, blank=True
    )

    class Meta:
        ordering = ["charged_at"]
        constraints = [
            models.UniqueConstraint(
                fields=["retort"], condition=Q(ended_at__isnull=True), name="run_one_open_a_retort"
            ),
            models.CheckConstraint(
                condition=Q(charge_mass_kg__gt=0, charge_mass_kg__lte=1000),
                name="run_mass_in_sense",
            ),
            models.CheckConstraint(
                condition=Q(burner_off_at__isnull=True) | Q(burner_off_at__gte=F("charged_at")),
                name="run_burner_off_after_charge",
            ),
            models.CheckConstraint(
                condition=Q(ended_at__isnull=True)
                | Q(burner_off_at__isnull=False, ended_at__gte=F("burner_off_at")),
                name="run_ended_after_burner_off",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.retort} {self.charged_at:%Y-%m-%d %H:%M}"


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
