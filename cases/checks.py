"""System check: every facility works under rules that are here."""

from typing import Any

from django.core.checks import CheckMessage, Error, Tags, register

from cases import law
from crematory.models import Facility


@register(Tags.database)
def check_jurisdictions(
    app_configs: Any, databases: Any = None, **kwargs: Any
) -> list[CheckMessage]:
    """E001: a facility names a jurisdiction without a file (only asked where tables exist).

    Without it no gate of that facility can be asked. The facility's model lies on a lower floor
    and cannot know the files; `set_up` refuses the same earlier.
    """
    from django.db import connections

    errors: list[CheckMessage] = []
    for alias in databases or []:
        if Facility._meta.db_table not in connections[alias].introspection.table_names():
            continue
        unknown = Facility.objects.using(alias).exclude(jurisdiction__in=law.codes())
        for prefix, code in unknown.values_list("case_prefix", "jurisdiction"):
            errors.append(
                Error(
                    f"Facility {prefix}: there are no rules for the jurisdiction “{code}”.",
                    hint=f"There are rules for: {', '.join(law.codes())}.",
                    id="cases.E001",
                )
            )
    return errors
