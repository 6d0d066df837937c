"""Models that are written once refuse every road of the ORM, before the database does."""

import pytest
from django.apps import apps
from django.db import transaction

from cases.models import Case
from chain_of_custody.append_only import AppendOnlyError, AppendOnlyModel
from chain_of_custody.models import CustodyEntry
from chain_of_custody.triggers import REGISTERED
from tests import cast, raw

MODELS = [m for m in apps.get_models() if issubclass(m, AppendOnlyModel)]


@pytest.mark.parametrize("model", MODELS, ids=lambda m: m.__name__)
def test_its_table_has_the_triggers_too(model: type[AppendOnlyModel]) -> None:
    events = {t.event for t in REGISTERED.values() if t.table == model._meta.db_table}
    assert {"UPDATE", "DELETE", "TRUNCATE"} <= events


def test_the_list_is_the_one_meant() -> None:
    names = {model.__name__ for model in MODELS}
    assert {
        "CustodyEntry",
        "IdDisc",
        "Paper",
        "PaperSuperseded",
        "Reading",
        "SealedValue",
    } <= names


@pytest.mark.parametrize(
    "name", ["chain_of_custody.CustodyEntry", "retort_log.Reading", "cases.IdDisc"]
)
def test_every_road_of_the_orm_is_shut(case: Case, name: str) -> None:
    cast.bring(case, "cooling")
    model = apps.get_model(name)
    row = model._default_manager.all()[0]
    rows = model._default_manager.filter(pk=row.pk)
    field = {"CustodyEntry": "payload", "Reading": "at", "IdDisc": "number"}[model.__name__]
    for road in (
        lambda: row.save(),
        lambda: row.delete(),
        lambda: rows.update(**{field: getattr(row, field)}),
        lambda: rows.delete(),
        lambda: rows.bulk_update([row], [field]),
        lambda: rows.update_or_create(defaults={field: getattr(row, field)}, pk=row.pk),
    ):
        with pytest.raises(AppendOnlyError):
            road()
    bare = model._base_manager.filter(pk=row.pk)
    with raw.refuses("written once"), transaction.atomic():
        bare.update(**{field: getattr(row, field)})


def test_the_case_cannot_be_deleted_by_the_orm(case: Case) -> None:
    cast.bring(case, "in_care")
    with pytest.raises(Exception, match=r"protected|never deleted"):
        case.delete()
    assert CustodyEntry.objects.filter(case=case).exists()


def test_a_row_is_not_overwritten_by_its_key(case: Case) -> None:
    """A new object with the key of an old one is inserted, never written over it."""
    entry = CustodyEntry.objects.filter(case=case)[0]
    again = CustodyEntry(pk=entry.pk, facility=case.facility, sequence=99, payload="{}")
    again.happened_at = again.recorded_at = cast.START
    with pytest.raises(Exception, match=r"(?i)unique|without a gap|written once"):
        again.save()
