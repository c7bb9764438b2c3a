"""The way of a form into the register: typed, checked, signed, entered; one for all errands."""

from collections.abc import Callable, Mapping
from typing import Any, TypeVar

from django.core.exceptions import ValidationError
from django.forms import Form
from django.http import HttpResponse
from django.shortcuts import redirect, render

from registry.people.actions.presence import NotTheSecondPerson
from registry.people.forms import PresenceForm
from registry.people.queries import PersonRequest
from servicing.desk.parts.forms.turnout import TurnoutForm
from servicing.due.actions.register import ReasonMissing

Found = TypeVar("Found")
Refusals = tuple[type[Exception], ...]
FIELDS: Mapping[type[Exception], str] = {ReasonMissing: "why", NotTheSecondPerson: "checker"}
"""The field at which a refusal stands, where the form has it; else it is of the whole form."""


def refuse(form: Form, problem: Exception) -> None:
    """Say in a form why a use case refused it; nothing that was typed is lost."""
    asked = FIELDS.get(type(problem), "")
    field = asked if asked in form.fields else None
    said = problem.messages if isinstance(problem, ValidationError) else [str(problem)]
    for message in said:
        form.add_error(field, message)


class CheckedForm:
    """A form that comes in step by step, with the signature under it.

    The button that sent it says the step: `check` asks what it would do, `enters` (`enter`)
    enters it, `change` goes back to what was typed, where nothing is wrong yet. at_once:
    there is nothing to check, so that every sending but `change` enters it. refused: what
    the use case raises where it says no. signed: whether it is signed here. tick: what
    somebody must say they know before, once that can be told.
    """

    def __init__(
        self,
        request: PersonRequest,
        form: Form,
        *,
        refused: Refusals,
        enters: str = "enter",
        at_once: bool = False,
        signed: bool = True,
    ) -> None:
        step = request.POST.get("step", "")
        self.request, self.form, self.refused = request, form, refused
        self.goes_back = step == "change"
        sent_so = request.method == "POST" and not self.goes_back
        self.sent = sent_so if at_once else step == enters
        self.sound = form.is_valid() and not self.goes_back
        self.signing = PresenceForm(request, sent=self.sent) if signed else None
        self.tick: TurnoutForm | None = None

    def entered(self, enter: Callable[[], str]) -> HttpResponse | None:
        """Enter what was sent to be entered, and lead to the address it returns.

        None where it was not sent for that, or a form says why it can't be: presence is
        proved here, last, and only where all else is well.
        """
        if not (self.sent and self.sound) or self.form.errors:
            return None
        if self.tick is not None and not self.tick.known:
            return None
        if self.signing is not None and not self.signing.proves():
            return None
        try:
            return redirect(enter())
        except self.refused as problem:
            refuse(self.form, problem)
            return None

    def checked(self, preview: Callable[[], Found], *, again: bool = False) -> Found | None:
        """Return what a check page says; None where there is nothing to check, or it is refused.

        again: show it below a refusal too, for what can be put right on the check page.
        """
        if not self.sound or (self.form.errors and not again):
            return None
        try:
            return preview()
        except self.refused as problem:
            if not self.form.non_field_errors():
                refuse(self.form, problem)
            return None

    def page(self, name: str, context: dict[str, Any]) -> HttpResponse:
        """Show the form, or what it would do, with all that is refused: 422 where anything is."""
        beside = [form.errors for form in (self.signing, self.tick) if form is not None]
        wrong = bool(self.form.errors) or any(beside)
        shown = {"form": self.form, "signing": self.signing, "page_errors": wrong}
        status = 422 if wrong and not self.goes_back else 200
        return render(self.request, name, {**shown, **context}, status=status)

    def answer(
        self,
        *,
        enter: Callable[[], str],
        preview: Callable[[], dict[str, Any]],
        pages: tuple[str, str],
        context: dict[str, Any],
    ) -> HttpResponse:
        """Enter the form, else show what it would do, else the form itself.

        preview: what the check page says; it writes nothing. pages: the form's, the check page.
        """
        if (led := self.entered(enter)) is not None:
            return led
        shown = self.checked(preview)
        if shown is None:
            return self.page(pages[0], context)
        return self.page(pages[1], {**context, **shown})
