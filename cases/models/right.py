"""Those with a say in the cremation: who they are, what is known of them, what they said."""

from django.db import models

from cases.authority import CLASSES, DELEGATE
from cases.models.case import NAME_LENGTH, Case
from cases.models.papers import Document
from chain_of_custody.append_only import AppendOnlyModel
from chain_of_custody.models import Upload
from crematory.models import StaffMember

RANKS = sorted({*CLASSES, DELEGATE})


class RightHolder(AppendOnlyModel):
    """A person with a say in the cremation, in one class of those who may authorize it.

    Somebody who belongs to two classes has a row in each, with the same `person` number.
    """

    case = models.ForeignKey(Case, on_delete=models.PROTECT, related_name="right_holders")
    person = models.PositiveSmallIntegerField(help_text="Number of the person within the case.")
    rank = models.CharField(max_length=40, choices=[(key, key) for key in RANKS])
    name = models.CharField(max_length=NAME_LENGTH)
    relationship = models.CharField(max_length=100)
    named_at = models.DateTimeField()

    class Meta:
        ordering = ["pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["case", "person", "rank"], name="right_holder_once_a_rank"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.case_id}: {self.rank} {self.person}"


class HolderFacts(AppendOnlyModel):
    """What is known of a right-holder, as somebody stated it; the newest row counts.

    Null is "not answered" and never counts in the cremation's favour.
    """

    holder = models.ForeignKey(RightHolder, on_delete=models.PROTECT, related_name="facts")
    is_living = models.BooleanField(null=True, blank=True)
    is_reachable = models.BooleanField(null=True, blank=True)
    told_of_death_on = models.DateField(
        null=True, blank=True, help_text="The day on which they had notice of the death."
    )
    is_minor = models.BooleanField(null=True, blank=True)
    is_of_sound_mind = models.BooleanField(null=True, blank=True)
    efforts = models.JSONField(
        default=list, blank=True, help_text='[{"on": "2026-03-02", "how": "…"}]'
    )
    excluded = models.JSONField(
        default=list, blank=True, help_text="Keys of facts that cut a person off."
    )
    has_instrument = models.BooleanField(null=True, blank=True)
    instrument = models.ForeignKey(
        Document, on_delete=models.PROTECT, null=True, blank=True, related_name="instrument_of"
    )
    delegated_to = models.ForeignKey(
        RightHolder, on_delete=models.PROTECT, null=True, blank=True, related_name="delegated_by"
    )
    delegated_at = models.DateTimeField(null=True, blank=True)
    delegated_in_writing = models.BooleanField(default=False)
    informant = models.CharField(max_length=200)
    stated_at = models.DateTimeField()

    class Meta:
        ordering = ["pk"]
        verbose_name_plural = "holder facts"

    def __str__(self) -> str:
        return f"{self.holder_id}"


class RankNamed(AppendOnlyModel):
    """Somebody stated that everybody of a class is named here, or that there is nobody."""

    case = models.ForeignKey(Case, on_delete=models.PROTECT, related_name="ranks_named")
    rank = models.CharField(max_length=40, choices=[(key, key) for key in RANKS])
    is_complete = models.BooleanField()
    informant = models.CharField(max_length=200)
    stated_at = models.DateTimeField()

    class Meta:
        ordering = ["pk"]

    def __str__(self) -> str:
        return f"{self.case_id}: {self.rank}"


class AuthorizingAgent(AppendOnlyModel):
    """What a right-holder said of the authorization; what came last counts."""

    class Position(models.TextChoices):
        SIGNED = "signed", "has signed"
        OBJECTS = "objects", "objects"
        SETTLED = "settled", "the objection is settled"
        WITHDRAWN = "withdrawn", "takes the signature back"

    class Form(models.TextChoices):
        PAPER = "paper", "on paper"
        TABLET = "tablet", "drawn on the tablet"
        ELECTRONIC = "electronic", "electronically"

    case = models.ForeignKey(Case, on_delete=models.PROTECT, related_name="agents")
    holder = models.ForeignKey(RightHolder, on_delete=models.PROTECT, related_name="statements")
    position = models.CharField(max_length=10, choices=Position)
    form = models.CharField(max_length=10, choices=Form)
    document = models.ForeignKey(
        Document, on_delete=models.PROTECT, null=True, blank=True, related_name="statements"
    )
    drawing = models.ForeignKey(
        Upload, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    strokes = models.JSONField(
        null=True, blank=True, help_text="[[[x, y, ms], …], …] in hundredths of a mm."
    )
    meaning = models.TextField(blank=True, help_text="The sentence that was signed, as shown.")
    signed_by_delegate = models.ForeignKey(
        RightHolder, on_delete=models.PROTECT, null=True, blank=True, related_name="signed_for"
    )
    how = models.CharField(max_length=200, help_text="How it came: letter, telephone, in person.")
    said_at = models.DateTimeField(help_text="When the person signed or said it.")
    stated_at = models.DateTimeField()

    class Meta:
        ordering = ["pk"]

    def __str__(self) -> str:
        return f"{self.holder_id}: {self.position}"


class AuthorityReview(AppendOnlyModel):
    """A manager's record of how what the rules leave open was answered; void once more is said.

    `of_what` names what was open, and under which order (`cases.right.left_open`): a review of
    one question answers no other.
    """

    case = models.ForeignKey(Case, on_delete=models.PROTECT, related_name="authority_reviews")
    reason = models.TextField()
    document = models.ForeignKey(
        Document, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    of_what = models.CharField(max_length=64)
    reviewed_by = models.ForeignKey(StaffMember, on_delete=models.PROTECT, related_name="+")
    reviewed_at = models.DateTimeField()

    class Meta:
        ordering = ["pk"]

    def __str__(self) -> str:
        return f"{self.case_id}"


class Recipient(models.Model):
    """A person to whom the authorization lets the remains be released."""

    case = models.ForeignKey(Case, on_delete=models.PROTECT, related_name="recipients")
    name = models.CharField(max_length=NAME_LENGTH)
    relationship = models.CharField(max_length=100)

    class Meta:
        ordering = ["pk"]

    def __str__(self) -> str:
        return self.name
