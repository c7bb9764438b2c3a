"""Showing the trade's words, and what a form promises. For all templates; reads nothing."""

import re
from collections.abc import Iterable
from typing import TYPE_CHECKING, Protocol

from django import template
from django.conf import settings
from django.forms import BaseForm
from django.template import Context
from django.urls import reverse
from django.utils.html import format_html
from django.utils.safestring import SafeString

from registry.people.pure import PROMISE
from registry.scanning import forms as scanning
from registry.trail.pure import name_of
from servicing.ledger.pure import wording
from servicing.ledger.pure.entry import Reading
from servicing.ledger.pure.wording import in_signs, outcome_in_words, words

if TYPE_CHECKING:
    from servicing.ledger.models import Record

_DIGEST = re.compile(r"[ (]+(?:SHA-256 )?[0-9a-f]{64}\)?")

register = template.Library()
register.filter(words)


@register.filter
def name_and_value(reading: Reading | tuple[str, str]) -> tuple[str, str]:
    """Return a reading's name in words, and its value with the unit."""
    return wording.name_and_value(reading if isinstance(reading, Reading) else Reading(*reading))


@register.filter
def person(called: str) -> str:
    """Return somebody's name as it stood, without the account that is kept behind it."""
    return name_of(str(called))


@register.filter
def ended(record: "Record") -> str:
    """Return how a record ended: pass, fail, condemned, or noted where nothing was tested."""
    return outcome_in_words(record.task, record.outcome)


@register.filter
def signs(text: str) -> str:
    """Return a text with its units as printed: °C for degC."""
    return in_signs(str(text))


@register.filter
def waits_for_scan(form: BaseForm) -> bool:
    """Say whether a form was refused for a scan, whose field then has the focus."""
    return scanning.waits_for_scan(form)


class Offered(Protocol):
    """Something that a page offers; see `servicing/desk/parts/pure.py`."""

    label: str
    name: str
    args: tuple[object, ...]
    asked: str
    about: str
    styled: str


@register.simple_tag
def act(offered: Offered) -> SafeString:
    """Write the link to what a page offers."""
    address = reverse(offered.name, args=offered.args)
    return format_html(
        '<a{} href="{}">{}{}</a>',
        format_html(' class="{}"', offered.styled) if offered.styled else "",
        f"{address}?{offered.asked}" if offered.asked else address,
        offered.label,
        format_html('<span class="vh">: {}</span>', offered.about) if offered.about else "",
    )


@register.filter
def before_digest(text: str) -> str:
    """Return the name of a file or procedure without the digest behind it."""
    return _DIGEST.sub("", str(text))


@register.simple_tag
def program() -> str:
    """Return what is typed before a command of the program."""
    return str(settings.PROGRAM)


@register.simple_tag(takes_context=True)
def keeps(context: Context, names: str | Iterable[str]) -> SafeString:
    """Have a form keep these fields for its owner when it is sent after the session's end.

    names: with spaces between them, or a form's fields. Never name one that holds a
    password, or that somebody else fills in.
    """
    named = names.split() if isinstance(names, str) else names
    return format_html(
        '<input type="hidden" name="{}" value="{}">', PROMISE, context["promise"](named)
    )
