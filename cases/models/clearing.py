"""What was with the person: devices and personal things."""

from django.db import models

from cases.models.case import NAME_LENGTH, Case
from chain_of_custody.append_only import AppendOnlyModel
from chain_of_custody.models import Upload


class DeviceAnswer(models.Model):
    """The answer to one device question; the newest one for a device counts."""

    class Device(models.TextChoices):
        PACEMAKER = "pacemaker", "Pacemaker"
        DEFIBRILLATOR = "defibrillator", "Implanted defibrillator (deactivate before removal)"
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

    case = models.ForeignKey(Case, on_delete=models.PROTECT, related_name="device_answers")
    device = models.CharField(max_length=30, choices=Device)
    answer = models.CharField(max_length=10, choices=Answer)
    informant = models.CharField(max_length=200)
    removed_by = models.CharField(max_length=200, blank=True)
    removed_at = models.DateTimeField(null=True, blank=True)
    went_to = models.CharField(max_length=200, blank=True)
    outcome = models.CharField(max_length=10, choices=Outcome, blank=True, default="")
    receipt_reference = models.CharField(max_length=100, blank=True, default="")
    attested_by = models.CharField(max_length=200, blank=True, default="")
    attester_licence = models.CharField(max_length=60, blank=True, default="")
    stays_by_rule = models.CharField(max_length=200, blank=True, default="")
    nuclide = models.CharField(max_length=10, blank=True, default="")
    nuclide_use = models.CharField(
        max_length=10, choices=[("seeds", "Sealed seeds"), ("dose", "Dose")], blank=True, default=""
    )
    placed_on = models.DateField(null=True, blank=True)
    activity_mbq = models.DecimalField(max_digits=12, decimal_places=3, null=True, blank=True)
    adviser = models.CharField(max_length=200, blank=True, default="")
    advised_on = models.DateField(null=True, blank=True)
    safe_from = models.DateTimeField(
        null=True, blank=True, help_text="Written advice of the radiation-protection adviser."
    )
    answered_at = models.DateTimeField()

    class Meta:
        ordering = ["answered_at", "pk"]

    def __str__(self) -> str:
        return f"{self.device}: {self.answer}"


class PersonalThing(AppendOnlyModel):
    """Something that came with the person: what it is, and what becomes of it."""

    class Wish(models.TextChoices):
        GOES_ALONG = "goes_along", "goes with the person"
        RETURNED = "returned", "is given back"

    case = models.ForeignKey(Case, on_delete=models.PROTECT, related_name="things")
    description = models.CharField(max_length=300)
    kind = models.CharField(
        max_length=10,
        choices=[("jewellery", "Jewellery"), ("clothing", "Clothing"), ("other", "Other")],
    )
    wish = models.CharField(max_length=10, choices=Wish)
    decided_by = models.CharField(
        max_length=NAME_LENGTH, help_text="Who decided what becomes of it."
    )
    photo = models.ForeignKey(
        Upload, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    listed_at = models.DateTimeField()

    class Meta:
        ordering = ["pk"]

    def __str__(self) -> str:
        return f"{self.case_id}: {self.kind}"


class ThingReturned(AppendOnlyModel):
    """A personal thing was given back against a signature."""

    thing = models.OneToOneField(PersonalThing, on_delete=models.PROTECT, related_name="returned")
    returned_to = models.CharField(max_length=NAME_LENGTH)
    identification = models.CharField(max_length=200)
    returned_at = models.DateTimeField()

    class Meta:
        verbose_name_plural = "things returned"

    def __str__(self) -> str:
        return f"{self.thing_id}"
