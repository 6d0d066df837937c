from django.apps import AppConfig
from django.db.models.signals import post_migrate, pre_migrate


class CasesConfig(AppConfig):
    name = "cases"

    def ready(self) -> None:
        from cases import checks, guards  # noqa: F401 - registers the system check
        from chain_of_custody import triggers

        guards.register_all()
        pre_migrate.connect(triggers.make_way, sender=self, dispatch_uid="make_way")
        # The last app of the tree: every table exists when its signal comes.
        post_migrate.connect(triggers.install, sender=self, dispatch_uid="install_triggers")
