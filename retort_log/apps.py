from django.apps import AppConfig


class RetortLogConfig(AppConfig):
    name = "retort_log"

    def ready(self) -> None:
        from retort_log import guards

        guards.register_all()
