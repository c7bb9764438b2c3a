"""What exists: sites, people, items."""

from django.apps import AppConfig
from django.contrib.auth.signals import user_logged_in, user_logged_out
from django.db.models.signals import post_migrate


class RegistryConfig(AppConfig):
    name = "registry"

    def ready(self) -> None:
        """Guard what is only added to, and put the guards in place after every migration."""
        from registry.items.models import (  # noqa: PLC0415 (models load first)
            ItemTypeVersion,
            ItemVersion,
        )
        from registry.people.actions.presence import (  # noqa: PLC0415
            begin_session,
            end_session,
        )
        from registry.people.models import Authorisation, PersonVersion  # noqa: PLC0415
        from registry.sets import guards as set_guards  # noqa: PLC0415
        from registry.sets.models import CLOSING, Fitting  # noqa: PLC0415
        from registry.sites.models import SiteVersion  # noqa: PLC0415
        from registry.trail import guards  # noqa: PLC0415
        from registry.trail.models import TrailEntry  # noqa: PLC0415

        for model in (ItemVersion, ItemTypeVersion, PersonVersion, SiteVersion, TrailEntry):
            guards.guard(model)
        guards.guard(Authorisation, closes="ended_at")
        guards.guard(Fitting, closes="removed_on", along=CLOSING)
        post_migrate.connect(guards.install_after_migrate, sender=self)
        post_migrate.connect(set_guards.install_after_migrate, sender=self)
        user_logged_in.connect(begin_session)
        user_logged_out.connect(end_session)
