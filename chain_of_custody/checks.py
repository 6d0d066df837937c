"""System check: the database's own refusals are in place."""

from typing import Any

from django.core.checks import CheckMessage, Tags, Warning, register

from chain_of_custody import triggers


@register(Tags.database)
def check_triggers(app_configs: Any, databases: Any = None, **kwargs: Any) -> list[CheckMessage]:
    """W001: a trigger is missing or changed (only asked where tables exist).

    A warning, since `migrate` asks it too and is what brings the trigger back; the site itself
    does not start without it (`triggers.require_installed`).
    """
    from django.db import connections

    found: list[CheckMessage] = []
    for alias in databases or []:
        if "chain_of_custody_custodyentry" not in connections[alias].introspection.table_names():
            continue
        if absent := triggers.missing(alias):
            found.append(
                Warning(
                    f"The database lacks the triggers {', '.join(absent)}.",
                    hint="Run `manage.py migrate`, then `manage.py verify_trail`.",
                    id="chain_of_custody.W001",
                )
            )
    return found
