"""Who works where. The user's account is Django's; the role is a group."""

from django.conf import settings
from django.db import models


class Posting(models.Model):
    """The site at which a person works, and whose day counts for them."""

    user = models.OneToOneField(
        settings.AUTH_USER_MODEL, models.CASCADE, related_name="posting", primary_key=True
    )
    site = models.ForeignKey("registry.Site", models.PROTECT, related_name="postings")

    class Meta:
        app_label = "registry"

    def __str__(self) -> str:
        return f"{self.user} at {self.site}"
