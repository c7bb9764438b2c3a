"""A tick that somebody knows which station falls below its least number of ready sets."""

from typing import Any

from django import forms

from servicing.due.pure.turnout import Shortfall


class TurnoutForm(forms.Form):
    """What a change takes from the stations, and the tick that somebody goes on all the same.

    It warns and does not forbid: there are reasons to strip a station, and somebody who
    answers for them. The tick is for what was shown: its field bears the key of that, so
    where it is another thing by now, it is asked about anew. Without a fall nothing is asked.
    """

    def __init__(self, *args: Any, shortfall: Shortfall, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.shortfall = shortfall
        if shortfall.falls:
            names = " and ".join(fall.name for fall in shortfall.falls)
            said = ". ".join(fall.words for fall in shortfall.falls)
            alone = len(shortfall.falls) == 1
            verb = f"{shortfall.falls[0].falls} its" if alone else "fall below their"
            self.fields[f"know_{shortfall.key}"] = forms.BooleanField(
                label=f"I know that {names} {verb} least number of ready sets",
                error_messages={"required": f"{said}. Tick that you know, or leave it."},
            )

    @property
    def known(self) -> bool:
        """Whether nothing falls, or somebody ticked that they know what does."""
        return not self.fields or self.is_valid()
