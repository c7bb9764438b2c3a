"""In whose hand work at the bench is: nobody else goes on with it, signs it or throws it away."""

from collections.abc import Iterable

from django.contrib.auth.models import User

from registry.people.actions.rights import NotAllowed
from registry.people.actions.security import security
from servicing.bench.models import Batch, Draft


def refuse_others(user: User, held: Iterable[Draft | Batch]) -> None:
    """Raise NotAllowed, with a line in the security log, for work in somebody else's hand."""
    if any(each.user_id != user.pk for each in held):
        security("refused", account=user.get_username(), of="work in hand")
        raise NotAllowed("Only who began this work goes on with it; it is in somebody else's hand.")
