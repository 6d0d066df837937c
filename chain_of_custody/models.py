"""The trail: places, the log of each facility, its entries, sealed values and printed papers."""

from typing import Any

from django.db import models
from django.db.models import F, Q, QuerySet

from chain_of_custody.append_only import AppendOnlyModel
from crematory.models import Facility, StaffMember


class Place(models.Model):
    """A place that holds at most one person: a bay, a retort, a tray, a shelf."""

    class Kind(models.TextChoices):
        BAY = "bay", "cooler bay"
        RETORT = "retort", "retort"
        TRAY = "tray", "recovery tray"
        SHELF = "shelf", "shelf"

    facility = models.ForeignKey(Facility, on_delete=models.PROTECT, related_name="places")
    kind = models.CharField(max_length=10, choices=Kind)
    area = models.CharField(max_length=60)
    name = models.CharField(max_length=60)
    code = models.SlugField(max_length=40)
    is_in_use = models.BooleanField(default=True)

    class Meta:
        ordering = ["kind", "area", "code"]
        constraints = [
            models.UniqueConstraint(fields=["facility", "code"], name="place_code_unique"),
        ]

    def __str__(self) -> str:
        return f"{self.area}, {self.name}"


class Placement(models.Model):
    """Who was where, from when until when. `until` is set once, when the person leaves."""

    place = models.ForeignKey(Place, on_delete=models.PROTECT, related_name="placements")
    case = models.ForeignKey("cases.Case", on_delete=models.PROTECT, related_name="placements")
    since = models.DateTimeField()
    until = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["since", "pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["place"],
                condition=Q(until__isnull=True),
                name="placement_one_person_a_place",
            ),
            models.UniqueConstraint(
                fields=["case"],
                condition=Q(until__isnull=True),
                name="placement_one_place_a_person",
            ),
            models.CheckConstraint(
                condition=Q(until__isnull=True) | Q(until__gte=F("since")),
                name="placement_until_after_since",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.case_id} in {self.place_id}"


class Log(models.Model):
    """Head of a facility's trail: its size and the right edge of its Merkle tree."""

    facility = models.OneToOneField(Facility, on_delete=models.PROTECT, related_name="log")
    size = models.PositiveBigIntegerField(default=0)
    frontier = models.TextField(default="")
    root = models.CharField(max_length=64)
    last_leaf = models.CharField(max_length=64, default="", blank=True)

    def __str__(self) -> str:
        return f"{self.facility.log_origin} at {self.size}"


class CustodyEntry(AppendOnlyModel):
    """One act. `payload` holds the exact canonical bytes that `leaf_hash` covers."""

    class Outcome(models.TextChoices):
        DONE = "done", "done"
        REFUSED = "refused", "refused"

    facility = models.ForeignKey(Facility, on_delete=models.PROTECT, related_name="entries")
    sequence = models.PositiveBigIntegerField()
    case = models.ForeignKey(
        "cases.Case", on_delete=models.PROTECT, related_name="entries", null=True, blank=True
    )
    act = models.CharField(max_length=40)
    outcome = models.CharField(max_length=10, choices=Outcome, default=Outcome.DONE)
    stage_from = models.CharField(max_length=20, blank=True)
    stage_to = models.CharField(max_length=20, blank=True)
    happened_at = models.DateTimeField()
    recorded_at = models.DateTimeField()
    signed_by = models.ForeignKey(
        StaffMember, on_delete=models.PROTECT, related_name="+", null=True, blank=True
    )
    witness = models.ForeignKey(
        StaffMember, on_delete=models.PROTECT, related_name="+", null=True, blank=True
    )
    place_from = models.ForeignKey(
        Place, on_delete=models.PROTECT, related_name="+", null=True, blank=True
    )
    place_to = models.ForeignKey(
        Place, on_delete=models.PROTECT, related_name="+", null=True, blank=True
    )
    token = models.CharField(max_length=64, null=True, blank=True)
    payload = models.TextField()
    leaf_hash = models.CharField(max_length=64)

    class Meta:
        ordering = ["facility", "sequence"]
        verbose_name_plural = "custody entries"
        constraints = [
            models.UniqueConstraint(fields=["facility", "sequence"], name="entry_sequence_unique"),
            models.UniqueConstraint(fields=["case", "token"], name="entry_token_once_a_case"),
            models.UniqueConstraint(
                fields=["facility", "token"],
                condition=Q(act="announce"),
                name="entry_announced_once",
            ),
            models.UniqueConstraint(
                fields=["case", "stage_to"],
                condition=~Q(stage_to=""),
                name="entry_stage_reached_once",
            ),
            models.CheckConstraint(
                condition=Q(stage_to="") | Q(outcome="done", case__isnull=False),
                name="entry_refused_moves_nothing",
            ),
            models.CheckConstraint(
                condition=Q(witness__isnull=True) | ~Q(witness=F("signed_by")),
                name="entry_witness_is_another",
            ),
            models.CheckConstraint(
                condition=Q(happened_at__lte=F("recorded_at")),
                name="entry_happened_before_recorded",
            ),
        ]
        indexes = [models.Index(fields=["case", "sequence"], name="entry_case_sequence")]

    def __str__(self) -> str:
        return f"{self.sequence} {self.act}"


class SealedValue(AppendOnlyModel):
    """A personal value of an entry, kept apart: the entry holds only its salted digest."""

    entry = models.ForeignKey(CustodyEntry, on_delete=models.PROTECT, related_name="sealed")
    key = models.CharField(max_length=60)
    salt = models.CharField(max_length=64)
    value = models.TextField()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["entry", "key"], name="sealed_key_once_an_entry"),
        ]

    def __str__(self) -> str:
        return f"{self.entry_id}:{self.key}"


class Upload(AppendOnlyModel):
    """A file that came in. The bytes lie outside the web root, named by `token`, as they came."""

    class Purpose(models.TextChoices):
        PAPER = "paper", "paper to be filed"
        PICTURE = "picture", "photograph or drawing of another row"

    facility = models.ForeignKey(Facility, on_delete=models.PROTECT, related_name="uploads")
    case = models.ForeignKey("cases.Case", on_delete=models.PROTECT, related_name="uploads")
    token = models.CharField(max_length=43, unique=True)
    purpose = models.CharField(max_length=10, choices=Purpose)
    original_name = models.CharField(max_length=200)
    kind = models.CharField(max_length=5)
    pages = models.PositiveSmallIntegerField()
    size = models.PositiveIntegerField(help_text="Bytes.")
    sha256 = models.CharField(max_length=64)
    uploaded_at = models.DateTimeField()
    uploaded_by = models.ForeignKey(StaffMember, on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ["pk"]

    def __str__(self) -> str:
        return f"{self.kind} {self.sha256[:12]}"


class UploadSetAside(AppendOnlyModel):
    """A file that is no paper of this case, or came twice: it waits no longer to be filed."""

    upload = models.OneToOneField(Upload, on_delete=models.PROTECT, related_name="set_aside")
    reason = models.CharField(max_length=300)
    set_aside_at = models.DateTimeField()
    set_aside_by = models.ForeignKey(StaffMember, on_delete=models.PROTECT, related_name="+")

    class Meta:
        verbose_name_plural = "uploads set aside"

    def __str__(self) -> str:
        return f"{self.upload_id} set aside"


class Paper(AppendOnlyModel):
    """One printing. `facts` are what was printed; the bytes lie in a file named by `sha256`."""

    facility = models.ForeignKey(Facility, on_delete=models.PROTECT, related_name="papers")
    case = models.ForeignKey("cases.Case", on_delete=models.PROTECT, related_name="papers")
    entry = models.OneToOneField(CustodyEntry, on_delete=models.PROTECT, related_name="paper")
    kind = models.CharField(max_length=40)
    number = models.CharField(max_length=20, unique=True)
    copy = models.PositiveSmallIntegerField()
    facts = models.JSONField()
    sha256 = models.CharField(max_length=64)
    printed_at = models.DateTimeField()

    class Meta:
        ordering = ["printed_at", "pk"]
        constraints = [
            models.UniqueConstraint(fields=["case", "kind", "copy"], name="paper_copy_unique"),
        ]

    def __str__(self) -> str:
        return f"{self.kind} {self.number}"


class PaperSuperseded(AppendOnlyModel):
    """A correction changed a fact that this paper shows; the paper says so when it is read."""

    paper = models.OneToOneField(Paper, on_delete=models.PROTECT, related_name="superseded")
    entry = models.ForeignKey(CustodyEntry, on_delete=models.PROTECT, related_name="+")

    class Meta:
        verbose_name_plural = "papers superseded"

    def __str__(self) -> str:
        return f"{self.paper_id} by {self.entry_id}"


def open_placement(case: Any) -> Placement | None:
    """Return where the person is now, or None."""
    return _open_placement(case.pk).first()


def _open_placement(case: int) -> QuerySet[Any]:
    return Placement.objects.filter(case=case, until__isnull=True).select_related("place")
