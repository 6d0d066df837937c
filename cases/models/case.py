"""The person in care, and the rules under which the case is judged."""

from datetime import date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from django.db import models
from django.db.models import F, Q

from cases import deadlines, law, steps
from cases.names import fold
from chain_of_custody.append_only import AppendOnlyModel
from chain_of_custody.models import CustodyEntry
from crematory.models import Facility

NAME_LENGTH = 300


def years_of_life(born_on: date | None, first: date, last: date) -> str:
    """Return the years of life as shown beside a name; the death lies between two local days."""
    died = str(first.year) if first.year == last.year else f"{first.year}/{last.year}"
    return f"{born_on.year}–{died}" if born_on else f"died {died}"


def days_of_death(
    died_at: datetime, latest: datetime | None, known_as: str, zone: ZoneInfo
) -> tuple[date, date]:
    """Return the first and the last local day on which the death is possible."""
    if latest is None:
        day = died_at.astimezone(zone).date()
        return day, day
    if known_as == Case.DeathKnown.DATE:
        latest -= timedelta(microseconds=1)  # the midnight that ends the day is left out
    return died_at.astimezone(zone).date(), latest.astimezone(zone).date()


class CaseCounter(models.Model):
    """Last serial number given in a year; locked while the next one is taken."""

    facility = models.ForeignKey(Facility, on_delete=models.PROTECT, related_name="+")
    year = models.PositiveSmallIntegerField()
    last = models.PositiveIntegerField(default=0)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["facility", "year"], name="counter_one_a_year"),
        ]

    def __str__(self) -> str:
        return f"{self.year}: {self.last}"


class RulesVersion(AppendOnlyModel):
    """The rules of a jurisdiction with what a facility added, as they stood: kept for ever.

    `text` is the canonical JSON whose SHA-256 is `digest`.
    """

    facility = models.ForeignKey(Facility, on_delete=models.PROTECT, related_name="+")
    code = models.CharField(max_length=20)
    digest = models.CharField(max_length=64)
    text = models.TextField()
    kept_at = models.DateTimeField()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["facility", "digest"], name="rules_version_once"),
        ]

    def __str__(self) -> str:
        return f"{self.code} {self.digest[:12]}"


class Case(models.Model):
    """One person in care. `stage` moves only through `cases.taking.take`."""

    # Said of a case by whoever reads many at once for a list.
    is_held: bool = False
    former_name: str = ""

    class Disposition(models.TextChoices):
        HAND_OVER = "hand_over", "handed to a recipient"
        SHIP = "ship", "shipped to a recipient"

    class DeathKnown(models.TextChoices):
        EXACT = "exact", "to the minute"
        RANGE = "range", "between two times"
        DATE = "date", "only the day"

    facility = models.ForeignKey(Facility, on_delete=models.PROTECT, related_name="cases")
    number = models.CharField(max_length=20, unique=True)
    stage = models.CharField(
        max_length=20, choices=list(steps.STAGES.items()), default="expected", editable=False
    )
    stage_entry = models.OneToOneField(
        CustodyEntry, on_delete=models.PROTECT, null=True, editable=False, related_name="+"
    )
    stage_since = models.DateTimeField(editable=False)
    decedent_name = models.CharField(max_length=NAME_LENGTH)
    name_folded = models.CharField(max_length=NAME_LENGTH * 2, editable=False)
    born_on = models.DateField(null=True, blank=True)
    died_at = models.DateTimeField(help_text="The earliest time that is possible.")
    died_at_latest = models.DateTimeField(
        null=True, blank=True, help_text="The latest one, where the time is not known exactly."
    )
    died_known_as = models.CharField(max_length=5, choices=DeathKnown, default=DeathKnown.EXACT)
    discovered_at = models.DateTimeField(
        null=True, blank=True, help_text="When the dead person was found, where that came later."
    )
    sex = models.CharField(
        max_length=1, choices=[("f", "female"), ("m", "male")], blank=True, default=""
    )
    sender = models.CharField(max_length=200)
    is_death_reportable = models.BooleanField(null=True, blank=True)
    disposition = models.CharField(max_length=20, choices=Disposition, blank=True, default="")
    jurisdiction = models.CharField(max_length=20)
    judged_under = models.ForeignKey(
        RulesVersion, on_delete=models.PROTECT, null=True, editable=False, related_name="cases"
    )
    announced_at = models.DateTimeField()

    class Meta:
        ordering = ["-announced_at", "-pk"]
        constraints = [
            models.CheckConstraint(
                condition=Q(stage__in=list(steps.STAGES)), name="case_stage_known"
            ),
            models.CheckConstraint(
                condition=Q(stage="expected", stage_entry__isnull=True)
                | (~Q(stage="expected") & Q(stage_entry__isnull=False)),
                name="case_stage_has_entry",
            ),
            models.CheckConstraint(
                condition=Q(died_known_as="exact", died_at_latest__isnull=True)
                | Q(died_known_as__in=["range", "date"], died_at_latest__gt=F("died_at")),
                name="case_death_bounds_in_order",
            ),
        ]
        indexes = [
            models.Index(fields=["facility", "-announced_at", "-id"], name="case_newest"),
            # PostgreSQL finds the beginning of a text through an index in any collation only with
            # the pattern operators; SQLite compares bytes, and knows no such classes.
            models.Index(
                fields=["facility", "name_folded"],
                opclasses=["int8_ops", "varchar_pattern_ops"],
                name="case_name",
            ),
            models.Index(
                fields=["facility", "stage_since"],
                condition=~Q(stage__in=steps.FINAL_STAGES),
                name="case_open",
            ),
        ]

    def __str__(self) -> str:
        return self.number

    def save(self, *args: Any, **kwargs: Any) -> None:
        self.name_folded = fold(self.decedent_name)
        super().save(*args, **kwargs)

    @property
    def death(self) -> deadlines.Moment:
        """The time of death as it is known; for a whole day the end of the day is left out."""
        if self.died_at_latest is None:
            return deadlines.exactly(self.died_at)
        is_day = self.died_known_as == self.DeathKnown.DATE
        known = "only the date is known" if is_day else "only a range is known"
        return deadlines.Moment(self.died_at, self.died_at_latest, known, open_end=is_day)

    @property
    def days_of_death(self) -> tuple[date, date]:
        """The first and the last local day on which the death is possible."""
        return days_of_death(
            self.died_at, self.died_at_latest, self.died_known_as, self.facility.zone
        )

    @property
    def years(self) -> str:
        """Years of life as shown beside the name: "1941–2026", or "died 2026".

        Where the death may lie in either of two years: "1941–2025/2026".
        """
        return years_of_life(self.born_on, *self.days_of_death)

    @property
    def age_years(self) -> int | None:
        """Completed years on the first day on which the death is possible.

        None where the date of birth is not known.
        """
        if self.born_on is None:
            return None
        died = self.days_of_death[0]
        before = (died.month, died.day) < (self.born_on.month, self.born_on.day)
        return died.year - self.born_on.year - before

    @property
    def law(self) -> law.Jurisdiction:
        """The rules under which this case is judged: those of now, after the charge those of then.

        The jurisdiction is the case's; what the house adds is taken as it stands on the facility.
        """
        if self.stage not in steps.BEFORE_CHARGE and self.judged_under is not None:
            return law.kept(self.judged_under.text, self.judged_under.digest)
        return law.tightened(self.jurisdiction, self.facility.added_rules)

    @property
    def is_open(self) -> bool:
        """True while the person is still in the house's care."""
        return self.stage not in steps.FINAL_STAGES


class Delivery(models.Model):
    """How the person came, as received at the door."""

    case = models.OneToOneField(Case, on_delete=models.PROTECT, related_name="delivery")
    delivered_by = models.CharField(max_length=200)
    firm = models.CharField(max_length=200)
    firm_address = models.CharField(max_length=300, blank=True, default="")
    container_kind = models.CharField(max_length=100)
    mass_kg = models.DecimalField(
        max_digits=7, decimal_places=3, help_text="Person and container together."
    )
    belongings = models.TextField()
    is_embalmed = models.BooleanField(null=True, blank=True, help_text="Null is “not known”.")

    class Meta:
        verbose_name_plural = "deliveries"
        constraints = [
            models.CheckConstraint(
                condition=Q(mass_kg__gt=0, mass_kg__lte=1000), name="delivery_mass_in_sense"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.case_id}"
