"""System check: the database's own refusals are in place."""

from typing import Any

from django.core.checks import CheckMessage, Error, Tags, register

from chain_of_custody import triggers


@register(Tags.database)
def check_triggers(app_configs: Any, databases: Any = None, **kwargs: Any) -> list[CheckMessage]:
    """E001: a trigger is missing (only asked where tables exist)."""
    from django.db import connections

    errors: list[CheckMessage] = []
    for alias in databases or []:
        if "chain_of_custody_custodyentry" not in connections[alias].introspection.table_names():
            continue
        if absent := triggers.missing(alias):
            errors.append(
                Error(
                    f"The database lacks the triggers {', '.join(absent)}.",
                    hint="Run `manage.py migrate`, then `manage.py verify_trail`.",
                    id="chain_of_custody.E001",
                )
            )
    return errors
