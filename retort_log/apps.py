from django.apps import AppConfig


class RetortLogConfig(AppConfig):
    name = "retort_log"

    def ready(self) -> None:
        from chain_of_custody import kept_files
        from retort_log import guards, kept_logs

        guards.register_all()
        kept_files.register(kept_logs.SOURCE)
