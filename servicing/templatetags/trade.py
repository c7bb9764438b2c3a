"""Showing the trade's words."""

from django import template

register = template.Library()


@register.filter
def words(value: str) -> str:
    """Return a word of the contracts with its hyphens as spaces: periodic inspection."""
    return str(value).replace("-", " ")
