"""What the page of a consignment offers to whom."""

from dataclasses import dataclass

from servicing.desk.parts.pure import IN_ROW, MAIN, QUIET, Act


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


@dataclass(frozen=True, slots=True)
class RowActs:
    """What the row of a cylinder offers, each in its column; None for what it does not.

    takes_out: whether it can be taken out again, which is a button and no link.
    """

    receive: Act | None = None
    enter: Act | None = None
    settle: Act | None = None
    takes_out: bool = False


def acts_of_cylinder(
    consigned: int,
    tag: str,
    *,
    packed: bool,
    away: bool,
    here: bool,
    awaited: bool,
    to_settle: int | None,
    disputed: bool,
    may_record: bool,
    may_manage: bool,
) -> RowActs:
    """Return what may be done to one cylinder of a consignment, by its row's id there.

    packed, away: of the consignment, as for its page. here: it came back before the others.
    awaited: it has no result, and one is to come. to_settle: its result, where that waits for a
    manager; disputed: the house and our arithmetic disagree on it.
    """

    def act(label: str, name: str, pk: int) -> Act:
        return Act(label, name, (pk,), IN_ROW, about=tag)

    settle = None
    if may_manage and to_settle is not None:
        settle = act("Settle it" if disputed else "Confirm it", "result-settle", to_settle)
    if not may_record:
        return RowActs(settle=settle)
    return RowActs(
        receive=act("Receive it", "consigned-back", consigned) if away and not here else None,
        enter=act("Enter it", "result-add", consigned) if awaited and not packed else None,
        settle=settle,
        takes_out=packed,
    )
