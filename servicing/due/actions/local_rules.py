"""Rules made on screen: one manager asks, another decides, and every date is kept true."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from django.contrib.auth.models import User
from django.db import transaction
from django.db.models import Q

from registry.items.models import Item
from registry.people.actions.rights import only
from registry.people.pure import Right
from registry.people.queries import why_not_second
from registry.sites.clock import now, today_at
from registry.sites.models import Site
from registry.sites.queries import with_sites_below
from registry.trail.actions import note
from servicing.due.actions import preview
from servicing.due.actions.store import refresh
from servicing.due.pure.turnout import Shortfall
from servicing.rules import actions as rules
from servicing.rules.models import RuleProposal
from servicing.rules.pure.local import Act, local_faults
from servicing.rules.pure.tables import canonical_row

_MANAGERS = "Only managers make local rules."


class ProposalRefused(ValueError):
    """A local rule that can't be asked for or decided like this; the text says what to do."""


@dataclass(frozen=True, slots=True)
class Draft:
    """What a manager asks for at a site.

    row: the rule, without its id; None where `replaces` is only to end. replaces: the rule
    it takes the place of, or ends. on: the first day that counts, never before the day of
    approval.
    """

    site: Site
    on: date
    row: Mapping[str, Any] | None = None
    replaces: str = ""

    @property
    def act(self) -> Act:
        """Whether it adds, changes or ends a rule."""
        if self.row is None:
            return Act.END
        return Act.CHANGE if self.replaces else Act.ADD


def preview_draft(draft: Draft) -> list[preview.Move]:
    """Return every date that a draft would move if it were approved now; see `preview_whole`."""
    return preview_whole(draft)[0]


def preview_whole(draft: Draft) -> tuple[list[preview.Move], Shortfall]:
    """Return every date that a draft would move if it were approved now, and write nothing.

    With it, what it would take from the stations on the first day on which it can count.
    Raises ProposalRefused where it could not be approved.
    """
    _check(draft)
    day, here = _compared(draft)
    try:
        _, moves, fallen = preview.moved_and_fallen(
            lambda: _enact(draft, number=0, at=now()), days=[day], within=here
        )
        return moves, next((each for _, each in fallen), Shortfall())
    except rules.RuleClash as problem:
        raise ProposalRefused(str(problem)) from problem


@only(Right.MANAGE, _MANAGERS)
@transaction.atomic
def propose_rule(draft: Draft, *, by: User, reason: str = "") -> RuleProposal:
    """Put a local rule, its change or its end before another manager, and return the proposal.

    Nothing counts yet. Raises ProposalRefused; then nothing is written.
    """
    if draft.act is not Act.ADD and not reason.strip():
        raise ProposalRefused("Say why the rule is to change or end.")
    preview_draft(draft)
    whole = {} if draft.row is None else {**draft.row, "valid_from": draft.on}
    proposal = RuleProposal.objects.create(
        act=draft.act,
        site=draft.site,
        row=canonical_row(whole) if whole else "",
        replaces=draft.replaces,
        in_force_from=draft.on,
        reason=reason.strip(),
        proposed_by=by,
        proposed_at=now(),
    )
    _note(proposal, before=None, outcome="waits", by=by, at=proposal.proposed_at, why=reason)
    return proposal


@only(Right.MANAGE, _MANAGERS)
@transaction.atomic
def approve_rule(proposal: RuleProposal, *, by: User) -> int:
    """Let a proposal count from now on; return how many dates moved, as the preview counts them.

    Raises ProposalRefused where it was decided already, where the person is who asked for
    it, under whatever role, or where its rule is no longer in force; then
    nothing is written. Of two approvals at once one counts.
    """
    if by.pk == proposal.proposed_by_id:
        raise ProposalRefused("You asked for this rule yourself; another manager must approve it.")
    if (bar := why_not_second(by, beside=proposal.proposed_by)) is not None:
        raise ProposalRefused(bar.sentence)
    _lock_waiting(proposal)
    at = now()
    draft = draft_of(proposal)
    day, here = _compared(draft)
    try:
        rule_id, moves = preview.moving(
            lambda: _enact(draft, number=proposal.pk, at=at), days=[day], within=here
        )
    except rules.RuleClash as problem:
        raise ProposalRefused(str(problem)) from problem
    _decide(proposal, outcome="approved", rule_id=rule_id, decided_by=by, decided_at=at)
    _note(proposal, before={"state": "waits"}, outcome=f"approved as {rule_id}", by=by, at=at)
    return len(moves)


@only(Right.MANAGE, _MANAGERS)
@transaction.atomic
def reject_rule(proposal: RuleProposal, *, by: User, reason: str) -> None:
    """Put a proposal aside for good, with a reason. Whoever asked for it may take it back so.

    Raises ProposalRefused where it was decided already, or without a reason.
    """
    if not reason.strip():
        raise ProposalRefused("Say why it is rejected.")
    _lock_waiting(proposal)
    at = now()
    _decide(proposal, outcome="rejected", remark=reason.strip(), decided_by=by, decided_at=at)
    _note(proposal, before={"state": "waits"}, outcome="rejected", by=by, at=at, why=reason)


def _note(
    proposal: RuleProposal,
    *,
    before: Mapping[str, object] | None,
    outcome: str,
    by: User,
    at: datetime,
    why: str = "",
) -> None:
    """Put into the trail what a proposal asks for and what became of it."""
    after = {
        "state": outcome,
        "act": proposal.act,
        "site": proposal.site.code,
        "row": proposal.content,
        "replaces": proposal.replaces,
        "in_force_from": proposal.in_force_from,
    }
    subject = f"proposal {proposal.pk}"
    note(what="local rule", subject=subject, before=before, after=after, why=why, by=by, at=at)


def draft_of(proposal: RuleProposal) -> Draft:
    """Return what a proposal asks for."""
    row = proposal.content or None
    return Draft(proposal.site, proposal.in_force_from, row, proposal.replaces)


def _lock_waiting(proposal: RuleProposal) -> None:
    """Keep everybody else from deciding a proposal, unless somebody has: then refuse."""
    rows = RuleProposal.objects.select_for_update(of=("self",)).select_related("decided_by")
    found = rows.get(pk=proposal.pk)
    if not found.waits:
        raise ProposalRefused(f"It was {found.outcome} already, by {found.decided_by}.")


def _decide(proposal: RuleProposal, **decision: Any) -> None:
    """Write a decision whole, in the one statement that the guard lets through."""
    RuleProposal.objects.filter(pk=proposal.pk).update(**decision)


def _compared(draft: Draft) -> tuple[date, Q]:
    """Return the first day on which a draft can count, and the obligations it can move."""
    here = Q(item__site__in=with_sites_below(draft.site))
    return max(draft.on, today_at(draft.site)), here


def _enact(draft: Draft, *, number: int, at: datetime) -> str:
    """Write what a draft asks for, keep the dates true, and return its rule's id."""
    day = max(draft.on, today_at(draft.site))
    if draft.replaces:
        rules.end_local_rule(draft.site, draft.replaces, on=day, at=at)
    rule_id = draft.replaces
    if draft.row is not None:
        rule_id = rules.add_local_rule(draft.site, draft.row, number=number, on=day, at=at)
    below = Item.objects.filter(site__in=with_sites_below(draft.site))
    refresh(below.values_list("pk", flat=True))
    return rule_id


def _check(draft: Draft) -> None:
    if draft.row is None:
        if not draft.replaces:
            raise ProposalRefused("Say which rule is to end.")
        return
    checked = draft.row.get("checked_on")
    day = date.fromisoformat(checked) if isinstance(checked, str) else checked
    whole = {**draft.row, "id": "local-0", "valid_from": draft.on, "checked_on": day}
    if faults := local_faults(whole):
        raise ProposalRefused("; ".join(f"{key} {remedy}" for key, _, remedy in faults))
