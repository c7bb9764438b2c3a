"""Which obligations are asked for."""

from collections.abc import Iterable
from typing import Any

from registry.items.pure import Kind
from registry.sites.clock import today_anywhere
from registry.wording.pure.dates import day_words
from servicing.desk.parts.forms import fields
from servicing.desk.parts.forms.questions import PlaceForm, place_words
from servicing.due.pure.obligations import State
from servicing.due.queries.rows import DueQuestion
from servicing.rules.pure.durations import add_months

MOST_YEARS = 10
"""How far ahead work is reckoned at the most."""


class DueForm(PlaceForm):
    """The sentence above the list of obligations."""

    task = fields.WordField(label="Task", required=False)
    kind = fields.WordField(
        label="Kind", required=False, choices=fields.word_choices(Kind, "all kinds")
    )
    state = fields.WordField(label="State", required=False)
    ahead = fields.WordField(
        label="How often",
        required=False,
        choices=[("", "by the next date"), ("yes", "every time ahead")],
    )
    since = fields.DayField("Due from", required=False)
    until = fields.DayField("Due up to", required=False)
    on = fields.DayField("As of", required=False)
    known_by = fields.MomentField()

    def __init__(self, *args: Any, tasks: Iterable[str], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.choose("task", fields.word_choices(tasks, "all tasks"))
        self.choose("state", fields.word_choices(State, "in any state"))

    def clean(self) -> None:
        """Have the work ahead end somewhere, and not where nobody plans to."""
        asked = self.cleaned_data
        if not asked.get("ahead") or "until" not in asked:
            return
        last = add_months(asked.get("on") or today_anywhere(), 12 * MOST_YEARS)
        if asked["until"] is None:
            self.add_error("until", f"Due up to: write up to which day, such as {day_words(last)}.")
        elif asked["until"] > last:
            self.add_error(
                "until",
                f"Due up to: the work ahead is reckoned up to {day_words(last)} at the most.",
            )

    def question(self) -> DueQuestion:
        """Return what the list is asked for."""
        asked = self.cleaned_data
        return DueQuestion(
            **self.place(),
            on=asked["on"],
            kind=asked["kind"],
            task=asked["task"],
            state=asked["state"],
            since=asked["since"],
            until=asked["until"],
            known_by=asked["known_by"],
            ahead=bool(asked["ahead"]),
        )

    def sentence(self) -> str:
        """Return the question in words, as papers print it; see `as_of_words` for its day."""
        asked = self.question()
        task = asked.task.replace("-", " ").capitalize() or "All tasks"
        parts = [task, f"of every {asked.kind}" if asked.kind else "of all kinds"]
        parts.append(place_words(asked.site, alone=asked.alone))
        parts += [f"that are {asked.state.replace('-', ' ')}"] if asked.state else []
        days = [f"from {day_words(asked.since)}"] if asked.since else []
        days += [f"up to {day_words(asked.until)}"] if asked.until else []
        if asked.ahead:
            parts += ["every time they will come due", *days]
        elif days:
            parts += ["due", *days]
        return " ".join(parts)
