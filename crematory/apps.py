from django.apps import AppConfig


class CrematoryConfig(AppConfig):
    name = "crematory"

    def ready(self) -> None:
        from crematory import checks  # noqa: F401 - registers the system checks
