"""Readings that a recorder wrote: files of data loggers, controllers on the house network.

Samples are kept packed (`retort_log.blocks`), many in a row, so that one a second over years
stays small. What a controller sends waits in `LiveSample` until a block of it is full.
"""

from django.db import models
from django.db.models import F, Q

from chain_of_custody.append_only import AppendOnlyModel
from crematory.models import StaffMember
from retort_log.models.machines import Retort

DIGEST_LENGTH = 64


class Logger(models.Model):
    """A data logger whose files come in; `mapping` is how its last file was understood."""

    retort = models.ForeignKey(Retort, on_delete=models.PROTECT, related_name="loggers")
    name = models.CharField(max_length=60)
    mapping = models.JSONField(default=dict, blank=True)

    class Meta:
        ordering = ["retort", "name"]
        constraints = [
            models.UniqueConstraint(fields=["retort", "name"], name="logger_name_unique"),
        ]

    def __str__(self) -> str:
        return self.name


class LoggerFile(AppendOnlyModel):
    """A logger's file as it came in: kept whole, with what of it was taken and what refused."""

    logger = models.ForeignKey(Logger, on_delete=models.PROTECT, related_name="files")
    original_name = models.CharField(max_length=200)
    stored_name = models.CharField(max_length=100)
    size = models.PositiveBigIntegerField()
    sha256 = models.CharField(max_length=DIGEST_LENGTH)
    mapping = models.JSONField()
    starts_at = models.DateTimeField()
    ends_at = models.DateTimeField()
    taken = models.PositiveIntegerField()
    already_there = models.PositiveIntegerField(default=0)
    refused = models.PositiveIntegerField(default=0)
    # The first refusals, line by line: [[line, reason], …]; all of them stand in the file itself.
    refusals = models.JSONField(default=list, blank=True)
    kept_at = models.DateTimeField()
    kept_by = models.ForeignKey(StaffMember, on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ["kept_at", "pk"]
        constraints = [
            models.UniqueConstraint(fields=["logger", "sha256"], name="logger_file_once"),
            models.CheckConstraint(
                condition=Q(ends_at__gte=F("starts_at")), name="logger_file_in_order"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.logger_id}: {self.original_name}"


class Controller(models.Model):
    """A controller that is asked over Modbus TCP; `channels` say register, scale and order."""

    retort = models.OneToOneField(Retort, on_delete=models.PROTECT, related_name="controller")
    host = models.CharField(max_length=100)
    port = models.PositiveIntegerField(default=502)
    device_id = models.PositiveSmallIntegerField(default=1)
    every_s = models.PositiveSmallIntegerField(default=1)
    channels = models.JSONField(default=list)
    is_on = models.BooleanField(default=False)

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(
                    port__gte=1,
                    port__lte=65535,
                    device_id__lte=247,
                    every_s__gte=1,
                    every_s__lte=60,
                ),
                name="controller_in_sense",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.host}:{self.port}"


class ControllerState(models.Model):
    """How the last question to a controller ended: what the page shows as live, or its silence."""

    controller = models.OneToOneField(Controller, on_delete=models.CASCADE, related_name="state")
    asked_at = models.DateTimeField()
    answered_at = models.DateTimeField(null=True, blank=True)
    values = models.JSONField(default=dict, blank=True)
    trouble = models.CharField(max_length=300, blank=True)

    def __str__(self) -> str:
        return f"{self.controller_id} {self.asked_at:%H:%M:%S}"


class LiveSample(models.Model):
    """One answer of a controller, until it is packed into a block. Tenths of each unit."""

    retort = models.ForeignKey(Retort, on_delete=models.PROTECT, related_name="live_samples")
    at_ms = models.BigIntegerField(help_text="Milliseconds since 1970-01-01 UTC.")
    tenths = models.JSONField(help_text="{channel: tenths of its unit, or null}")

    class Meta:
        ordering = ["retort", "at_ms"]
        constraints = [
            models.UniqueConstraint(fields=["retort", "at_ms"], name="live_sample_once"),
        ]

    def __str__(self) -> str:
        return f"{self.retort_id} {self.at_ms}"


class ReadingBlock(AppendOnlyModel):
    """Samples of one retort from one recorder, packed; both ends belong to it.

    `channels` are [name, unit] in the order of the packed columns. `sha256` is of the unpacked
    bytes, as `retort_log.blocks` defines them.
    """

    retort = models.ForeignKey(Retort, on_delete=models.PROTECT, related_name="blocks")
    file = models.ForeignKey(
        LoggerFile, on_delete=models.PROTECT, related_name="blocks", null=True, blank=True
    )
    controller = models.ForeignKey(
        Controller, on_delete=models.PROTECT, related_name="blocks", null=True, blank=True
    )
    starts_at = models.DateTimeField()
    ends_at = models.DateTimeField()
    count = models.PositiveIntegerField()
    channels = models.JSONField()
    body = models.BinaryField()
    sha256 = models.CharField(max_length=DIGEST_LENGTH)
    stored_at = models.DateTimeField()

    class Meta:
        ordering = ["retort", "starts_at"]
        constraints = [
            models.CheckConstraint(
                condition=Q(ends_at__gte=F("starts_at"), count__gt=0), name="block_in_order"
            ),
            models.CheckConstraint(
                condition=Q(file__isnull=True, controller__isnull=False)
                | Q(file__isnull=False, controller__isnull=True),
                name="block_of_one_recorder",
            ),
        ]
        indexes = [models.Index(fields=["retort", "ends_at", "starts_at"], name="block_by_time")]

    def __str__(self) -> str:
        return f"{self.retort_id} {self.starts_at:%Y-%m-%d %H:%M}"
