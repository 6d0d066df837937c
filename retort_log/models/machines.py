"""The machines: permits to operate, retorts, and what was done to keep them fit."""

from decimal import Decimal

from django.db import models
from django.db.models import Q

from chain_of_custody.append_only import AppendOnlyModel
from chain_of_custody.models import Place
from crematory.models import Facility, StaffMember


class PermitToOperate(models.Model):
    """What the permit to operate demands; values as in the permit that `source` names.

    `terms` are the values as `retort_log.permit_profiles.from_terms` reads them, each with its
    unit and citation. The columns repeat the two that the database and every gate ask.
    """

    facility = models.ForeignKey(Facility, on_delete=models.PROTECT, related_name="permits")
    number = models.CharField(max_length=60)
    source = models.TextField(help_text="Citation of the permit or rule, and the date it was read.")
    expires_on = models.DateField(null=True, blank=True)
    charging_temperature_c = models.DecimalField(max_digits=6, decimal_places=2)
    recording_interval_min = models.PositiveSmallIntegerField(default=15)
    terms = models.JSONField(default=dict, blank=True)

    def __str__(self) -> str:
        return self.number


class Retort(models.Model):
    """A two-chamber machine. It is also a place, which holds one person at a time."""

    class Fuel(models.TextChoices):
        NATURAL_GAS = "natural_gas", "natural gas"
        PROPANE = "propane", "propane"
        OIL = "oil", "fuel oil"
        ELECTRIC = "electric", "electricity"

    class Hearth(models.TextChoices):
        HOT = "hot", "hot hearth"
        COLD = "cold", "cold hearth"

    facility = models.ForeignKey(Facility, on_delete=models.PROTECT, related_name="retorts")
    place = models.OneToOneField(Place, on_delete=models.PROTECT, related_name="retort")
    permit = models.ForeignKey(PermitToOperate, on_delete=models.PROTECT, related_name="retorts")
    name = models.CharField(max_length=60)
    serial = models.CharField(max_length=60, blank=True)
    hearth = models.CharField(max_length=10, choices=Hearth, blank=True)
    fuel = models.CharField(max_length=20, choices=Fuel, default=Fuel.NATURAL_GAS)
    meter_factor = models.DecimalField(
        max_digits=9,
        decimal_places=6,
        default=Decimal(1),
        help_text="What one unit on the fuel meter is multiplied by.",
    )
    burner_kw = models.DecimalField(max_digits=8, decimal_places=2, null=True, blank=True)
    primary_volume_m3 = models.DecimalField(max_digits=8, decimal_places=4, null=True, blank=True)
    secondary_volume_m3 = models.DecimalField(max_digits=8, decimal_places=4, null=True, blank=True)
    mass_limit_kg = models.DecimalField(max_digits=7, decimal_places=3)
    heavy_from_kg = models.DecimalField(
        max_digits=7,
        decimal_places=3,
        null=True,
        blank=True,
        help_text="From this mass on the page advises to charge first on a cool chamber.",
    )
    sweep_limit_c = models.DecimalField(
        max_digits=6,
        decimal_places=2,
        help_text="Highest primary-chamber temperature at which the chamber may be swept.",
    )
    # What ran before this register began, so that hours and cycles since lining are whole.
    earlier_hours = models.DecimalField(max_digits=9, decimal_places=2, default=Decimal(0))
    earlier_cycles = models.PositiveIntegerField(default=0)
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
            models.CheckConstraint(
                condition=Q(heavy_from_kg__isnull=True)
                | Q(heavy_from_kg__gt=0, heavy_from_kg__lte=1000),
                name="retort_heavy_in_sense",
            ),
            models.CheckConstraint(
                condition=(Q(primary_volume_m3__isnull=True) | Q(primary_volume_m3__gt=0))
                & (Q(secondary_volume_m3__isnull=True) | Q(secondary_volume_m3__gt=0))
                & (Q(burner_kw__isnull=True) | Q(burner_kw__gt=0))
                & Q(meter_factor__gt=0, earlier_hours__gte=0),
                name="retort_figures_positive",
            ),
        ]

    def __str__(self) -> str:
        return self.name


class UpkeepRule(models.Model):
    """How often something is done to a retort: by days, by burner hours or by cycles.

    An overdue one that blocks makes the retort not free.
    """

    class Kind(models.TextChoices):
        INSPECTION = "inspection", "inspection"
        LINING = "lining", "refractory lining"
        HEARTH = "hearth", "hearth repair"
        BURNER = "burner", "burner service"
        THERMOCOUPLE = "thermocouple", "thermocouple calibration"
        EMISSION_TEST = "emission_test", "emission test"
        OTHER = "other", "other"

    retort = models.ForeignKey(Retort, on_delete=models.PROTECT, related_name="upkeep_rules")
    kind = models.CharField(max_length=20, choices=Kind)
    subject = models.CharField(max_length=60, blank=True, help_text="Which one, if there are more.")
    every_days = models.PositiveIntegerField(null=True, blank=True)
    every_hours = models.PositiveIntegerField(null=True, blank=True)
    every_cycles = models.PositiveIntegerField(null=True, blank=True)
    blocks = models.BooleanField(default=False)
    source = models.CharField(max_length=200, help_text="Who asks for it: permit, maker, house.")
    is_in_force = models.BooleanField(default=True)

    class Meta:
        ordering = ["retort", "kind", "subject"]
        constraints = [
            models.UniqueConstraint(
                fields=["retort", "kind", "subject"], name="upkeep_rule_one_of_a_kind"
            ),
            models.CheckConstraint(
                condition=Q(every_days__gt=0) | Q(every_hours__gt=0) | Q(every_cycles__gt=0),
                name="upkeep_rule_says_how_often",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.retort}: {self.get_kind_display()}"

    @property
    def label(self) -> str:
        """What is due, in words: its kind, and which one where there are more."""
        words = str(self.get_kind_display())
        return f"{words}, {self.subject}" if self.subject else words


class UpkeepDone(AppendOnlyModel):
    """Something that was done to a retort, or found at it. `figures` holds what its kind asks.

    For a thermocouple calibration: chamber, type, certificate, error in °C at a temperature.
    """

    retort = models.ForeignKey(Retort, on_delete=models.PROTECT, related_name="upkeep")
    kind = models.CharField(max_length=20, choices=UpkeepRule.Kind)
    subject = models.CharField(max_length=60, blank=True)
    done_at = models.DateTimeField()
    recorded_at = models.DateTimeField()
    recorded_by = models.ForeignKey(StaffMember, on_delete=models.PROTECT, related_name="+")
    done_by = models.CharField(max_length=200)
    passed = models.BooleanField(default=True)
    note = models.TextField(blank=True)
    figures = models.JSONField(default=dict, blank=True)

    class Meta:
        ordering = ["done_at", "pk"]
        indexes = [models.Index(fields=["retort", "kind", "-done_at"], name="upkeep_newest")]

    def __str__(self) -> str:
        return f"{self.retort_id}: {self.kind} {self.done_at:%Y-%m-%d}"
