"""Runs, what happened in them, and what a manager settled afterwards."""

from django.db import models
from django.db.models import F, Q

from chain_of_custody.append_only import AppendOnlyModel
from crematory.models import StaffMember
from retort_log.models.machines import Retort


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
        "retort_log.Reading", on_delete=models.PROTECT, related_name="+", null=True, blank=True
    )
    recovery_reading = models.ForeignKey(
        "retort_log.Reading", on_delete=models.PROTECT, related_name="+", null=True, blank=True
    )

    # What the permit demanded when the person was charged: by it the run is judged for ever.
    permit_terms = models.JSONField(default=dict)
    # What the recorder and the hands had written when the burner went off; the trail holds it too.
    series_sha256 = models.CharField(max_length=64, blank=True)
    ended_by_fault = models.BooleanField(default=False)

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


class RunEvent(AppendOnlyModel):
    """What a hand saw or did at a retort, with or without a person inside."""

    class Kind(models.TextChoices):
        PREHEAT_BEGUN = "preheat_begun", "Preheat begun"
        PREHEAT_ENDED = "preheat_ended", "Preheat ended without a charge"
        BURNER_LIT = "burner_lit", "Primary burner lit"
        DOOR_OPENED = "door_opened", "Door opened"
        REPOSITIONED = "repositioned", "Remains repositioned"
        VISIBLE_EMISSION = "visible_emission", "Visible emission"
        FAULT = "fault", "Fault"
        INTERRUPTED = "interrupted", "Interrupted"
        RESUMED = "resumed", "Resumed with the same person inside"
        ENDED_BY_FAULT = "ended_by_fault", "Ended by the fault"

    retort = models.ForeignKey(Retort, on_delete=models.PROTECT, related_name="events")
    run = models.ForeignKey(
        Run, on_delete=models.PROTECT, related_name="events", null=True, blank=True
    )
    kind = models.CharField(max_length=20, choices=Kind)
    at = models.DateTimeField()
    recorded_at = models.DateTimeField()
    recorded_by = models.ForeignKey(StaffMember, on_delete=models.PROTECT, related_name="+")
    note = models.CharField(max_length=500, blank=True)
    # In per cent, where somebody qualified read it: 24 readings, 15 seconds apart.
    opacity = models.JSONField(default=list, blank=True)
    token = models.CharField(max_length=64, blank=True)

    class Meta:
        ordering = ["at", "pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["retort", "token"], condition=~Q(token=""), name="run_event_token_once"
            ),
            models.CheckConstraint(
                condition=~Q(kind__in=["interrupted", "resumed", "ended_by_fault", "repositioned"])
                | Q(run__isnull=False),
                name="run_event_of_a_run",
            ),
            models.CheckConstraint(
                condition=~Q(kind__in=["fault", "interrupted", "ended_by_fault"]) | ~Q(note=""),
                name="run_event_says_what",
            ),
        ]
        indexes = [models.Index(fields=["retort", "-at"], name="run_event_newest")]

    def __str__(self) -> str:
        return f"{self.retort_id}: {self.kind} {self.at:%H:%M}"


class FindingSettled(AppendOnlyModel):
    """A manager's answer to one finding: `digest` names exactly what was found and read."""

    run = models.ForeignKey(Run, on_delete=models.PROTECT, related_name="settled")
    code = models.CharField(max_length=40)
    digest = models.CharField(max_length=64)
    words = models.TextField()
    reason = models.TextField()
    settled_at = models.DateTimeField()
    settled_by = models.ForeignKey(StaffMember, on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ["settled_at", "pk"]
        constraints = [
            models.UniqueConstraint(fields=["run", "digest"], name="finding_settled_once"),
            models.CheckConstraint(condition=~Q(reason=""), name="finding_settled_has_reason"),
        ]

    def __str__(self) -> str:
        return f"{self.run_id}: {self.code}"
