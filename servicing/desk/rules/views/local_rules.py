"""Rules of the fleet's own: asking for one, and approving or rejecting what was asked."""

from typing import Any

from django.contrib import messages
from django.db.models import Q
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_safe

from registry.people.actions.presence import WrongPassword, needs_password, prove_presence
from registry.people.actions.rights import refuse_unless
from registry.people.actions.tries import TooManyTries
from registry.people.pure import Right
from registry.people.queries import PersonRequest, viewer_of
from registry.sites.clock import now, today_at
from servicing.desk.parts.forms.turnout import TurnoutForm
from servicing.desk.parts.views.checked import CheckedForm
from servicing.desk.parts.views.pages import EVERYONE, MAY_MANAGE
from servicing.desk.rules.forms.decisions import ApproveForm, EndRuleForm, RejectForm
from servicing.desk.rules.forms.local_rules import LocalRuleForm
from servicing.due.actions.local_rules import (
    Draft,
    ProposalRefused,
    approve_rule,
    draft_of,
    preview_whole,
    propose_rule,
    reject_rule,
)
from servicing.due.actions.preview import Move
from servicing.due.pure.explain import how_often
from servicing.due.pure.rule_words import counting
from servicing.due.pure.turnout import Shortfall
from servicing.due.queries.engine import items_under
from servicing.rules.models import RuleProposal, RuleVersion
from servicing.rules.pure.rule import Rule
from servicing.rules.pure.tables import rule_from_row
from servicing.rules.queries import known_tasks, local_versions

SECTION = {"section": "rules"}
RuleForm = LocalRuleForm | EndRuleForm


@EVERYONE
@require_safe
def local_rule_list(request: PersonRequest) -> HttpResponse:
    """Show the fleet's own rules, what waits for a second manager, and what was decided."""
    proposals = RuleProposal.objects.select_related("site", "proposed_by", "decided_by")
    waiting = proposals.filter(outcome="")
    decides = viewer_of(request.user).may_manage
    mine = Q(proposed_by=request.user) if decides else Q()
    context = {
        "waiting": waiting,
        "to_decide": [_said(proposal) for proposal in waiting.exclude(mine)] if decides else [],
        "for_others": [_said(proposal) for proposal in waiting.filter(mine)],
        "decided": [_said(proposal) for proposal in proposals.exclude(outcome="")],
        "rules": [
            {"rule": version.rule, "site": version.table.site, "asks": how_often(version.rule)}
            for version in local_versions()
        ],
    }
    return render(request, "desk/rules/local_rules.html", {**context, **SECTION})


@MAY_MANAGE
def local_rule_add(request: PersonRequest) -> HttpResponse:
    """Ask for a rule: type it, see every date that would move, put it before another manager."""
    initial = {"site": viewer_of(request.user).site, "counted_from": "made", "unit": "M"}
    form = LocalRuleForm(_typed(request), tasks=known_tasks(), initial=initial)
    return _ask(request, form, None)


@MAY_MANAGE
def local_rule_change(request: PersonRequest, rule_id: str) -> HttpResponse:
    """Ask for another rule in the place of one; the days before keep the old one."""
    version = _own_or_404(rule_id)
    form = LocalRuleForm(
        _typed(request),
        tasks=known_tasks(),
        replaces=rule_id,
        initial=LocalRuleForm.initial_for(_site(version), version.row),
    )
    return _ask(request, form, version)


@MAY_MANAGE
def local_rule_end(request: PersonRequest, rule_id: str) -> HttpResponse:
    """Ask for the end of a rule; the days before keep it."""
    version = _own_or_404(rule_id)
    form = EndRuleForm(_typed(request), site=_site(version), rule_id=rule_id)
    return _ask(request, form, version)


@EVERYONE
def local_rule_proposal(request: PersonRequest, pk: int) -> HttpResponse:
    """Show what is asked for and every date it would move; a second manager decides here."""
    proposals = RuleProposal.objects.select_related("site", "proposed_by", "decided_by")
    proposal = get_object_or_404(proposals, pk=pk)
    step, may_approve = request.POST.get("step"), proposal.proposed_by_id != request.user.pk
    approval = ApproveForm(
        request.POST if step == "approve" else None,
        needs_password=proposal.waits and may_approve and needs_password(request, now()),
    )
    rejection = RejectForm(request.POST if step == "reject" else None)
    shown = _shown(draft_of(proposal), preview=proposal.waits)
    tick = TurnoutForm(request.POST if step == "approve" else None, shown=shown["turnout"])
    refused = ""
    if request.method == "POST" and (step != "approve" or tick.known):
        refused = _decide(request, proposal, approval, rejection)
        proposal = proposals.get(pk=pk)
        if not refused and not approval.errors and not rejection.errors:
            return redirect(proposal)
    context = {
        **_said(proposal),
        **shown,
        "tick": tick,
        "may_approve": may_approve,
        "approval": approval,
        "form": rejection,
        "page_errors": refused,
        **SECTION,
    }
    status = 422 if refused or approval.errors or rejection.errors or tick.errors else 200
    page = "desk/rules/local_rule_proposal.html"
    return render(request, page, context, status=status)


def _decide(
    request: PersonRequest, proposal: RuleProposal, approval: ApproveForm, rejection: RejectForm
) -> str:
    """Approve or reject as asked; return why it was refused, or nothing.

    What is wrong with what was typed stands in the forms.
    """
    refuse_unless(request.user, Right.MANAGE, path=request.path)
    try:
        if not (approval.is_bound or rejection.is_bound):
            return "Choose to approve or to reject it."
        if approval.is_valid():
            if "password" in approval.cleaned_data:
                prove_presence(request, approval.cleaned_data["password"])
            moved = approve_rule(proposal, by=request.user)
            messages.success(request, f"Approved. Dates that moved: {moved}.")
        elif rejection.is_valid():
            reject_rule(proposal, by=request.user, reason=rejection.cleaned_data["reason"])
            messages.success(request, "Rejected. Nothing moved.")
    except (WrongPassword, TooManyTries) as problem:
        approval.add_error("password", str(problem))
    except ProposalRefused as problem:
        return str(problem)
    return ""


def _ask(request: PersonRequest, form: RuleForm, version: RuleVersion | None) -> HttpResponse:
    """Take a draft, show what it would move, then, confirmed, put it before another manager."""
    page = "local_rule_end" if isinstance(form, EndRuleForm) else "local_rule_form"

    def enter() -> str:
        reason = form.cleaned_data.get("reason", "")
        return propose_rule(form.draft(), by=request.user, reason=reason).get_absolute_url()

    def preview() -> dict[str, Any]:
        shown = _shown(form.draft(), preview=True)
        return {**shown, "reason": form.cleaned_data.get("reason", "")}

    checked = CheckedForm(request, form, refused=(ProposalRefused,), enters="propose", signed=False)
    return checked.answer(
        enter=enter,
        preview=preview,
        pages=(f"desk/rules/{page}.html", "desk/rules/local_rule_check.html"),
        context={"version": version, **SECTION},
    )


def _shown(draft: Draft, *, preview: bool) -> dict[str, Any]:
    """Return what a page says of a draft: the rule, the items under it, the dates it moves."""
    rule = _rule(draft)
    moves: list[Move] = []
    turnout = Shortfall()
    refused = ""
    if preview:
        try:
            moves, turnout = preview_whole(draft)
        except ProposalRefused as problem:
            refused = str(problem)
    return {
        "draft": draft,
        "rule": rule,
        "asks": how_often(rule) if rule else "",
        "counts": counting(rule) if rule else "",
        "when": [(name.replace("_", " "), found) for name, found in _when(draft)],
        "under": items_under(rule, draft.site) if rule else None,
        "moves": moves,
        "turnout": turnout,
        "late": sum(move.falls_overdue(today_at(draft.site)) for move in moves),
        "refused": refused,
    }


def _said(proposal: RuleProposal) -> dict[str, Any]:
    rule = _rule(draft_of(proposal))
    return {"proposal": proposal, "rule": rule, "asks": how_often(rule) if rule else ""}


def _rule(draft: Draft) -> Rule | None:
    return None if draft.row is None else rule_from_row("", {**draft.row, "id": "local-0"})


def _when(draft: Draft) -> list[tuple[str, str]]:
    tests = {} if draft.row is None else draft.row["when"]
    return [(name, ", ".join(map(str, values))) for name, values in tests.items()]


def _own_or_404(rule_id: str) -> RuleVersion:
    own = RuleVersion.objects.select_related("table__site").exclude(table__site=None)
    return get_object_or_404(own, rule_id=rule_id, replaced_at=None)


def _site(version: RuleVersion) -> Any:
    return version.table.site


def _typed(request: PersonRequest) -> Any:
    return request.POST if request.method == "POST" else None
