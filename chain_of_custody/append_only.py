"""Rows that are written once: the first fence, in front of the database's own triggers."""

from typing import Any, NoReturn

from django.db import models


class AppendOnlyError(Exception):
    """Somebody tried to change or delete what is written once."""


def _refuse(*args: Any, **kwargs: Any) -> NoReturn:
    raise AppendOnlyError(
        "Entries of the trail are never changed or deleted. Append a correction that names "
        "the entry it corrects."
    )


class AppendOnlyQuerySet(models.QuerySet[Any]):
    """A queryset that inserts and reads, and nothing else."""

    update = _refuse
    delete = _refuse
    bulk_update = _refuse


class AppendOnlyModel(models.Model):
    """Base of tables that are written once."""

    objects = AppendOnlyQuerySet.as_manager()

    class Meta:
        abstract = True

    def save(self, *args: Any, **kwargs: Any) -> None:
        if self.pk is not None and not self._state.adding:
            _refuse()
        kwargs["force_insert"] = True
        super().save(*args, **kwargs)

    def delete(self, *args: Any, **kwargs: Any) -> NoReturn:
        _refuse()
