"""What the page of a consignment offers to whom."""

from servicing.desk.parts.pure import MAIN, QUIET, Act


def acts_of_consignment(
    pk: int, *, packed: bool, away: bool, waiting: bool, may_record: bool
) -> tuple[Act, ...]:
    """Return what the page of a consignment offers, in order.

    packed: it has not left yet. away: it has, and is not back. waiting: a cylinder of it has no
    result yet.
    """
    found = []
    if may_record and packed:
        found.append(Act("Let it leave", "consignment-move", (pk,), MAIN))
    if may_record and not packed and waiting:
        found.append(Act("Bring in the results", "consignment-results", (pk,), MAIN))
    if may_record and away:
        found.append(Act("It is back", "consignment-move", (pk,), QUIET if waiting else MAIN))
    return (
        *found,
        Act("Print the list (PDF)", "consignment-pdf", (pk,)),
        Act("List for the house (CSV)", "consignment-csv", (pk,)),
    )
