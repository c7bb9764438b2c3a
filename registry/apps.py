"""What exists: sites, people, items."""

from django.apps import AppConfig
from django.db.models.signals import post_migrate


class RegistryConfig(AppConfig):
    name = "registry"

    def ready(self) -> None:
        """Guard what is only added to, and put the guards in place after every migration."""
        from registry.items.models import ItemVersion  # noqa: PLC0415 (models load first)
        from registry.sites.models import SiteVersion  # noqa: PLC0415
        from registry.trail import guards  # noqa: PLC0415
        from registry.trail.models import TrailEntry  # noqa: PLC0415

        for model in (ItemVersion, SiteVersion, TrailEntry):
            guards.guard(model)
        post_migrate.connect(guards.install_after_migrate, sender=self)
