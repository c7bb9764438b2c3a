"""What must be done, and what was done."""

from django.apps import AppConfig
from django.db.models.signals import post_migrate


class ServicingConfig(AppConfig):
    name = "servicing"

    def ready(self) -> None:
        """Put the ledger's guards in place after every migration, and have them checked."""
        from registry.people.actions import make_roles  # noqa: PLC0415 (models load first)
        from servicing.ledger import guards  # noqa: PLC0415

        post_migrate.connect(guards.install_after_migrate, sender=self)
        post_migrate.connect(make_roles, sender=self)
