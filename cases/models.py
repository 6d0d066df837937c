"""The person in care, and all that belongs to one case."""

from typing import Any

from django.db import models
from django.db.models import Q
from django.utils.functional import cached_property

from cases import law, steps
from cases.names import fold
from chain_of_custody.append_only import AppendOnlyModel
from chain_of_custody.models import CustodyEntry
from crematory.models import Facility, StaffMember

NAME_LENGTH = 300


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


class Case(models.Model):
    """One person in care. `stage` moves only through `cases.taking.take`."""

    class Disposition(models.TextChoices):
        HAND_OVER = "hand_over", "handed to a recipient"
        SHIP = "ship", "shipped to a recipient"

    class Jewellery(models.TextChoices):
        NONE = "none", "none found"
        REMOVED = "removed", "removed and listed for return"
        STAYS = "stays", "stays with the person, as authorized"

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
    died_at = models.DateTimeField()
    sex = models.CharField(
        max_length=1, choices=[("f", "female"), ("m", "male")], blank=True, default=""
    )
    sender = models.CharField(max_length=200)
    is_death_reportable = models.BooleanField(null=True, blank=True)
    disposition = models.CharField(max_length=20, choices=Disposition, blank=True, default="")
    jewellery = models.CharField(max_length=20, choices=Jewellery, blank=True, default="")
    jurisdiction = models.CharField(max_length=20)
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
    def years(self) -> str:
        """Years of life as shown beside the name: "1941–2026", or "died 2026"."""
        died = self.died_at.astimezone(self.facility.zone).year
        return f"{self.born_on.year}–{died}" if self.born_on else f"died {died}"

    @property
    def age_years(self) -> int | None:
        """Completed years at death, or None where the date of birth is not known."""
        if self.born_on is None:
            return None
        died = self.died_at.astimezone(self.facility.zone).date()
        before = (died.month, died.day) < (self.born_on.month, self.born_on.day)
        return died.year - self.born_on.year - before

    @cached_property
    def law(self) -> law.Jurisdiction:
        """The rules under which this case is judged."""
        return law.jurisdiction(self.jurisdiction)

    @property
    def is_open(self) -> bool:
        """True while the person is still in the house's care."""
        return self.stage not in steps.FINAL_STAGES


class Delivery(models.Model):
    """How the person came, as received at the door."""

    case = models.OneToOneField(Case, on_delete=models.PROTECT, related_name="delivery")
    delivered_by = models.CharField(max_length=200)
    firm = models.CharField(max_length=200)
    container_kind = models.CharField(max_length=100)
    mass_kg = models.DecimalField(
        max_digits=7, decimal_places=3, help_text="Person and container together."
    )
    belongings = models.TextField()

    class Meta:
        verbose_name_plural = "deliveries"
        constraints = [
            models.CheckConstraint(
                condition=Q(mass_kg__gt=0, mass_kg__lte=1000), name="delivery_mass_in_sense"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.case_id}"


class Document(models.Model):
    """A paper seen and on file."""

    class Kind(models.TextChoices):
        AUTHORIZATION = "cremation_authorization", "signed cremation authorization"
        REMOVAL = "removal_authorization", "removal authorization"
        DEATH_RECORD = "death_record", "death certificate or other death record"
        CLEARANCE = "medical_clearance", "coroner's or medical examiner's clearance"
        OTHER = "other", "other paper"

    case = models.ForeignKey(Case, on_delete=models.PROTECT, related_name="documents")
    kind = models.CharField(max_length=40, choices=Kind)
    reference = models.CharField(max_length=100)
    issued_by = models.CharField(max_length=200)
    issued_on = models.DateField()
    filed_at = models.DateTimeField()

    class Meta:
        ordering = ["filed_at", "pk"]

    def __str__(self) -> str:
        return self.get_kind_display()


class AuthorizingAgent(models.Model):
    """What a person said of the authorization; the newest statement of a person counts."""

    class Position(models.TextChoices):
        SIGNED = "signed", "has signed"
        OBJECTS = "objects", "objects"
        WITHDRAWN = "withdrawn", "withdraws the objection"

    case = models.ForeignKey(Case, on_delete=models.PROTECT, related_name="agents")
    name = models.CharField(max_length=NAME_LENGTH)
    relationship = models.CharField(max_length=100)
    position = models.CharField(max_length=10, choices=Position)
    stated_at = models.DateTimeField()

    class Meta:
        ordering = ["stated_at", "pk"]

    def __str__(self) -> str:
        return f"{self.case_id}: {self.relationship}"

    @property
    def person(self) -> tuple[str, str]:
        """Who spoke, as far as the record tells persons apart: name and relationship."""
        return fold(self.name), fold(self.relationship)


class Recipient(models.Model):
    """A person to whom the authorization lets the remains be released."""

    case = models.ForeignKey(Case, on_delete=models.PROTECT, related_name="recipients")
    name = models.CharField(max_length=NAME_LENGTH)
    relationship = models.CharField(max_length=100)

    class Meta:
        ordering = ["pk"]

    def __str__(self) -> str:
        return self.name


class DeviceAnswer(models.Model):
    """The answer to one device question; the newest one for a device counts."""

    class Device(models.TextChoices):
        PACEMAKER = "pacemaker", "Pacemaker"
        DEFIBRILLATOR = "defibrillator", "Implanted defibrillator (deactivate before removal)"
        NEUROSTIMULATOR = "neurostimulator", "Neurostimulator"
        PUMP = "drug_pump", "Drug pump"
        LOOP_RECORDER = "loop_recorder", "Implanted loop recorder"
        ASSIST = "ventricular_assist", "Ventricular assist device"
        NAIL = "expanding_nail", "Expanding intramedullary nail"
        RADIOACTIVE = "radioactive", "Radioactive implant or therapy"
        OTHER = "other_battery", "Any other battery or sealed device"

    class Answer(models.TextChoices):
        NO = "no", "No"
        YES = "yes", "Yes"
        UNKNOWN = "unknown", "Not known"

    case = models.ForeignKey(Case, on_delete=models.PROTECT, related_name="device_answers")
    device = models.CharField(max_length=30, choices=Device)
    answer = models.CharField(max_length=10, choices=Answer)
    informant = models.CharField(max_length=200)
    removed_by = models.CharField(max_length=200, blank=True)
    removed_at = models.DateTimeField(null=True, blank=True)
    went_to = models.CharField(max_length=200, blank=True)
    safe_from = models.DateTimeField(
        null=True, blank=True, help_text="Written advice of the radiation-protection adviser."
    )
    answered_at = models.DateTimeField()

    class Meta:
        ordering = ["answered_at", "pk"]

    def __str__(self) -> str:
        return f"{self.device}: {self.answer}"


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


class Hold(models.Model):
    """Stops every step until a manager lifts it with a reason."""

    case = models.ForeignKey(Case, on_delete=models.PROTECT, related_name="holds")
    ground = models.TextField()
    opened_at = models.DateTimeField()
    opened_by = models.ForeignKey(StaffMember, on_delete=models.PROTECT, related_name="+")
    lifted_at = models.DateTimeField(null=True, blank=True)
    lifted_by = models.ForeignKey(
        StaffMember, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    lift_reason = models.TextField(blank=True)

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
