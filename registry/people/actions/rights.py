"""Refusing what somebody has no right to, on the page and in the use case alike."""

from collections.abc import Callable
from functools import wraps
from inspect import Parameter, signature
from typing import Any, TypeVar, cast

from django.contrib.auth.models import User
from django.core.exceptions import PermissionDenied

from registry.people.actions.security import security
from registry.people.pure import Right
from registry.people.queries import may

UseCase = TypeVar("UseCase", bound=Callable[..., Any])
_NOT_YOURS = "Your role may not do this; ask the fleet manager."


class NotAllowed(PermissionDenied):
    """Somebody has no right to what they were about to do; the text says whom to ask."""


def refuse_unless(
    user: User | None, right: Right, words: str = _NOT_YOURS, **details: object
) -> None:
    """Raise NotAllowed, with a line in the security log, where somebody lacks a right.

    details: where it was tried, for that line.
    """
    if user is None or not may(user, right):
        security("refused", account=user.get_username() if user else "of nobody", **details)
        raise NotAllowed(words)


def only(right: Right, words: str = _NOT_YOURS) -> Callable[[UseCase], UseCase]:
    """Let a use case begin only for those who have a right; others get NotAllowed, first of all.

    The person is its argument `user` or `by`, by name. None, where its type lets it be that,
    is whoever types commands: they have the machine, and the trail says `command line`.
    """

    def guard(use_case: UseCase) -> UseCase:
        taken = signature(use_case).parameters
        (who,) = (taken[name] for name in ("user", "by") if name in taken)
        assert who.kind is Parameter.KEYWORD_ONLY, who  # noqa: S101 (so that none slips by)
        nobody = "None" in str(who.annotation)

        @wraps(use_case)
        def guarded(*args: Any, **kwargs: Any) -> Any:
            person = kwargs.get(who.name)
            if person is not None or not nobody:
                refuse_unless(person, right, words, use_case=use_case.__name__)
            return use_case(*args, **kwargs)

        guarded.right = right  # type: ignore[attr-defined]
        return cast(UseCase, guarded)

    return guard
