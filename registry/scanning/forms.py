"""The field that takes a scan. Every one of them is made here, so that all recover alike."""

from collections.abc import Iterable
from typing import Any

from django import forms

PLAIN = {"autocomplete": "off", "autocapitalize": "off", "spellcheck": "false"}


class ScanInput(forms.TextInput):
    """Takes a scanned code. What was refused is not shown in it again.

    A scanner types behind what stands in a field, so a refused code would spoil every scan
    after it: the code stands in the message, and the field is empty and has the focus.
    waits: the page is for this field, and a scan from anywhere on it goes here.
    """

    def __init__(self, *, waits: bool = False) -> None:
        super().__init__(attrs={**PLAIN, "data-takes-scan": ""})
        if waits:
            self.wait()

    def wait(self) -> None:
        """Have scans from anywhere on the page go into this field."""
        self.attrs |= {"data-scans": "", "autofocus": True}

    def get_context(self, name: str, value: Any, attrs: dict[str, Any] | None) -> dict[str, Any]:
        """Return the field as ever, or after a refusal empty and waiting for the next scan."""
        refused = bool(attrs and "aria-invalid" in attrs)
        context = super().get_context(name, None if refused else value, attrs)
        if refused:
            # What was refused is gone; the empty field is not wrong.
            context["widget"]["attrs"].pop("aria-invalid")
            context["widget"]["attrs"] |= {"data-scans": "", "autofocus": True}
        return context


class ScanLines(forms.Textarea):
    """Takes one scan after the other, each on a line of its own.

    good: after a refusal, the lines that stay in it; the others are in the message.
    """

    good: Iterable[str] | None = None

    def __init__(self, *, rows: int) -> None:
        super().__init__(attrs={**PLAIN, "rows": rows, "data-takes-scan": ""})

    def get_context(self, name: str, value: Any, attrs: dict[str, Any] | None) -> dict[str, Any]:
        """Return the field as ever, or after a refusal with the good lines and the focus."""
        if self.good is None:
            return super().get_context(name, value, attrs)
        left = "".join(f"{line}\n" for line in self.good)
        return super().get_context(name, left, {**(attrs or {}), "autofocus": True})


def waits_for_scan(form: forms.BaseForm) -> bool:
    """Say whether a form was refused for a scan.

    Then its field has the focus, and not the words above it, which are read out all the same.
    """
    wrong = (form.fields[name].widget for name in form.errors if name in form.fields)
    return any(isinstance(widget, ScanInput | ScanLines) for widget in wrong)
