"""Showing the trade's words, and what a form promises. For all templates."""

from collections.abc import Iterable

from django import template
from django.template import Context
from django.utils.html import format_html
from django.utils.safestring import SafeString

from registry.people.actions.kept import PROMISE, promise

register = template.Library()


@register.filter
def words(value: str) -> str:
    """Return a word of the contracts with its hyphens as spaces: periodic inspection."""
    return str(value).replace("-", " ")


@register.simple_tag(takes_context=True)
def keeps(context: Context, names: str | Iterable[str]) -> SafeString:
    """Have a form keep these fields for its owner when it is sent after the session's end.

    names: with spaces between them, or a form's fields. Never name one that holds a
    password, or that somebody else fills in.
    """
    named = names.split() if isinstance(names, str) else names
    return format_html(
        '<input type="hidden" name="{}" value="{}">', PROMISE, promise(context["request"], named)
    )
