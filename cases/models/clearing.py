"""What was with the person: devices and personal things."""

from django.db import models
from django.db.models import Q

from cases.models.case import NAME_LENGTH, Case
from chain_of_custody.append_only import AppendOnlyModel
from chain_of_custody.models import Upload

# What may stay in the body: no battery, no pressure, nothing that radiates.
HARMLESS = ("silicone", "prosthesis")
# What may stay only where the law of the case says so; the gate asks that law again.
STAYS_BY_LAW = ("leadless_pacemaker",)


def _filled(*names: str) -> Q:
    """Every one of these texts says something."""
    return Q(*[~Q(**{name: ""}) for name in names])


def _empty(*names: str) -> Q:
    """None of these texts says anything."""
    return Q(**dict.fromkeys(names, ""))


def _only_with(outcome: str, texts: tuple[str, ...], more: Q, no_more: Q) -> Q:
    """With this outcome all of it is stated, and without it nothing of it."""
    return (
        Q(outcome=outcome) & _filled(*texts) & more | ~Q(outcome=outcome) & _empty(*texts) & no_more
    )


class DeviceAnswer(models.Model):
    """The answer to one device question; the newest one for a device counts.

    A device that is there has an outcome: it was removed, the sender attests that it was removed
    before, or it is harmless and stays. Activities are MBq at the end of the day `activity_on`.
    """

    class Device(models.TextChoices):
        PACEMAKER = "pacemaker", "Pacemaker"
        LEADLESS = "leadless_pacemaker", "Leadless pacemaker"
        DEFIBRILLATOR = "defibrillator", "Implanted defibrillator"
        RESYNCHRONISER = "resynchroniser", "Cardiac resynchronisation device"
        LOOP_RECORDER = "loop_recorder", "Implanted loop recorder"
        ASSIST = "ventricular_assist", "Ventricular assist device"
        NEUROSTIMULATOR = "neurostimulator", "Neurostimulator"
        PUMP = "drug_pump", "Drug pump"
        BONE_STIMULATOR = "bone_stimulator", "Bone-growth stimulator"
        NAIL = "expanding_nail", "Expanding intramedullary nail"
        SHUNT = "programmable_shunt", "Hydrocephalus shunt with programmer"
        RADIOACTIVE = "radioactive", "Radioactive implant or therapy"
        OTHER = "other_battery", "Any other battery or sealed device"
        SILICONE = "silicone", "Silicone implant"
        PROSTHESIS = "prosthesis", "Prosthesis (joint, limb, other)"

    class Answer(models.TextChoices):
        NO = "no", "No"
        YES = "yes", "Yes"
        UNKNOWN = "unknown", "Not known"

    class Outcome(models.TextChoices):
        REMOVED = "removed", "Removed here or on the way"
        ATTESTED = "attested", "Removed before, attested by the sender"
        STAYS = "stays", "Harmless, and stays"

    class Use(models.TextChoices):
        SEEDS = "seeds", "Sealed seeds"
        DOSE = "dose", "Dose"

    case = models.ForeignKey(Case, on_delete=models.PROTECT, related_name="device_answers")
    device = models.CharField(max_length=30, choices=Device)
    answer = models.CharField(max_length=10, choices=Answer)
    informant = models.CharField(max_length=200)
    outcome = models.CharField(max_length=10, choices=Outcome, blank=True, default="")
    removed_by = models.CharField(max_length=200, blank=True)
    removed_at = models.DateTimeField(null=True, blank=True)
    went_to = models.CharField(max_length=200, blank=True)
    receipt_reference = models.CharField(max_length=100, blank=True, default="")
    attested_by = models.CharField(max_length=200, blank=True, default="")
    attester_licence = models.CharField(max_length=60, blank=True, default="")
    stays_by_rule = models.CharField(max_length=200, blank=True, default="")
    nuclide = models.CharField(max_length=10, blank=True, default="")
    nuclide_use = models.CharField(max_length=10, choices=Use, blank=True, default="")
    placed_on = models.DateField(null=True, blank=True)
    activity_mbq = models.DecimalField(max_digits=12, decimal_places=3, null=True, blank=True)
    activity_on = models.DateField(null=True, blank=True)
    adviser = models.CharField(max_length=200, blank=True, default="")
    advised_on = models.DateField(null=True, blank=True)
    allowed_from = models.DateField(
        null=True, blank=True, help_text="By the radiation-protection adviser's written advice."
    )
    answered_at = models.DateTimeField()

    class Meta:
        ordering = ["pk"]
        constraints = [
            models.CheckConstraint(
                condition=Q(answer="yes") | Q(outcome=""), name="device_outcome_of_yes"
            ),
            models.CheckConstraint(
                condition=_only_with(
                    "removed",
                    ("removed_by", "went_to", "receipt_reference"),
                    Q(removed_at__isnull=False),
                    Q(removed_at__isnull=True),
                ),
                name="device_removal_whole",
            ),
            models.CheckConstraint(
                condition=_only_with("attested", ("attested_by", "attester_licence"), Q(), Q()),
                name="device_attestation_whole",
            ),
            models.CheckConstraint(
                condition=_only_with(
                    "stays", ("stays_by_rule",), Q(device__in=HARMLESS + STAYS_BY_LAW), Q()
                ),
                name="device_stays_if_harmless",
            ),
            models.CheckConstraint(
                condition=Q(device="radioactive", answer="yes")
                | _empty("nuclide", "nuclide_use", "adviser")
                & Q(placed_on__isnull=True, activity_mbq__isnull=True),
                name="device_nuclide_of_radioactive",
            ),
            models.CheckConstraint(
                # Only sealed seeds can be taken out: not a dose, nor what nobody said it was.
                condition=~Q(device="radioactive") | Q(nuclide_use="seeds") | Q(outcome=""),
                name="device_dose_not_removed",
            ),
            models.CheckConstraint(
                condition=Q(activity_mbq__gt=0, activity_on__isnull=False)
                | Q(activity_mbq__isnull=True, activity_on__isnull=True),
                name="device_activity_with_its_day",
            ),
            models.CheckConstraint(
                condition=_filled("adviser")
                & Q(advised_on__isnull=False, allowed_from__isnull=False)
                | _empty("adviser") & Q(advised_on__isnull=True, allowed_from__isnull=True),
                name="device_advice_whole",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.device}: {self.answer}"


class PersonalThing(AppendOnlyModel):
    """Something that came with the person: what it is, and what becomes of it.

    A change of mind is a new row that replaces the old one.
    """

    class Kind(models.TextChoices):
        JEWELLERY = "jewellery", "Jewellery"
        CLOTHING = "clothing", "Clothing"
        OTHER = "other", "Other"

    class Wish(models.TextChoices):
        OPEN = "open", "not decided yet"
        GOES_ALONG = "goes_along", "goes with the person"
        RETURNED = "returned", "is given back"
        MISTAKE = "mistake", "was listed by mistake"

    case = models.ForeignKey(Case, on_delete=models.PROTECT, related_name="things")
    description = models.CharField(max_length=300)
    kind = models.CharField(max_length=10, choices=Kind)
    wish = models.CharField(max_length=10, choices=Wish)
    decided_by = models.CharField(
        max_length=NAME_LENGTH, blank=True, help_text="Who decided what becomes of it."
    )
    kept_in = models.CharField(
        max_length=100, blank=True, default="", help_text="Where it lies until it is given back."
    )
    photo = models.ForeignKey(
        Upload, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    replaces = models.OneToOneField(
        "self", on_delete=models.PROTECT, null=True, blank=True, related_name="replaced_by"
    )
    listed_at = models.DateTimeField()

    class Meta:
        ordering = ["pk"]
        constraints = [
            models.CheckConstraint(
                condition=Q(wish="open", decided_by="") | ~Q(wish="open") & ~Q(decided_by=""),
                name="thing_decided_by_somebody",
            ),
            models.CheckConstraint(
                condition=~Q(wish="returned") | ~Q(kept_in=""), name="thing_kept_somewhere"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.case_id}: {self.kind}"


class ThingsLookedFor(AppendOnlyModel):
    """Somebody looked for personal things, and all that were found are on the list."""

    case = models.ForeignKey(Case, on_delete=models.PROTECT, related_name="things_looked_for")
    note = models.CharField(
        max_length=300, blank=True, help_text="What became of what was written at the receipt."
    )
    looked_at = models.DateTimeField()

    class Meta:
        ordering = ["looked_at", "pk"]
        verbose_name_plural = "things looked for"

    def __str__(self) -> str:
        return f"{self.case_id}"


class ThingReturned(AppendOnlyModel):
    """A personal thing was given back, against a receipt."""

    thing = models.OneToOneField(PersonalThing, on_delete=models.PROTECT, related_name="returned")
    receipt = models.ForeignKey(
        "cases.ThingsReceipt",
        on_delete=models.PROTECT,
        null=True,  # of what was given back before receipts were kept
        related_name="things",
    )
    returned_to = models.CharField(max_length=NAME_LENGTH)
    identification = models.CharField(max_length=200)
    returned_at = models.DateTimeField()

    class Meta:
        verbose_name_plural = "things returned"

    def __str__(self) -> str:
        return f"{self.thing_id}"
