from django.apps import AppConfig


class ChainOfCustodyConfig(AppConfig):
    name = "chain_of_custody"

    def ready(self) -> None:
        from chain_of_custody import checks, guards  # noqa: F401 - registers the check

        guards.register_all()
