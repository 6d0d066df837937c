"""Papers that came in for a case."""

from django.db import models

from cases import law
from cases.models.case import Case
from chain_of_custody.append_only import AppendOnlyModel
from chain_of_custody.models import Upload

OTHER_PAPER = ("other", "other paper")


class Document(models.Model):
    """A paper seen and on file; a later version names the one that it replaces."""

    case = models.ForeignKey(Case, on_delete=models.PROTECT, related_name="documents")
    kind = models.CharField(max_length=40, choices=[*law.PAPERS.items(), OTHER_PAPER])
    reference = models.CharField(max_length=100)
    issued_by = models.CharField(max_length=200)
    issued_on = models.DateField()
    filed_at = models.DateTimeField()
    upload = models.ForeignKey(
        Upload, on_delete=models.PROTECT, null=True, blank=True, related_name="documents"
    )
    replaces = models.OneToOneField(
        "self", on_delete=models.PROTECT, null=True, blank=True, related_name="replaced_by"
    )

    class Meta:
        ordering = ["filed_at", "pk"]

    def __str__(self) -> str:
        return self.get_kind_display()


class DocumentSheet(AppendOnlyModel):
    """A further file of the same paper: the second photograph of one with two sides."""

    document = models.ForeignKey(Document, on_delete=models.PROTECT, related_name="sheets")
    upload = models.OneToOneField(Upload, on_delete=models.PROTECT, related_name="sheet")

    class Meta:
        ordering = ["pk"]

    def __str__(self) -> str:
        return f"{self.upload_id} of {self.document_id}"
