"""What the page of a person offers to whom."""

from servicing.desk.parts.pure import GRAVE, IN_ROW, MAIN, Act


def acts_of_person(pk: int, *, own: bool, is_open: bool, may_manage: bool) -> tuple[Act, ...]:
    """Return what the page of a person offers, in order. own: whether it is the one who looks.

    Nobody authorises themselves or closes their own account.
    """
    if not (may_manage and is_open):
        return ()
    change = Act("Change name, role or site", "person-edit", (pk,))
    if own:
        return (change, Act("Another password", "own-account"))
    return (
        Act("Authorise for a task", "person-authorise", (pk,), MAIN),
        change,
        Act("Another password", "person-password", (pk,)),
        Act("Close the account", "person-close", (pk,), GRAVE),
    )


def act_of_authorisation(
    pk: int, task: str, *, ended: bool, own: bool, may_manage: bool
) -> Act | None:
    """Return what the row of an authorisation offers: taking it back, of somebody else."""
    if ended or own or not may_manage:
        return None
    return Act("Take it back", "authorisation-end", (pk,), IN_ROW, about=task.replace("-", " "))
