"""Rules of the fleet's own: asking for one, and approving or rejecting what was asked."""

from typing import Any

from django.contrib import messages
from django.db.models import Q
from django.forms import Form
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, render
from django.views.decorators.http import require_safe

from registry.people.actions.rights import refuse_unless
from registry.people.pure import Right
from registry.people.queries import PersonRequest, viewer_of
from registry.sites.clock import today_at
from servicing.desk.parts.forms.turnout import TurnoutForm
from servicing.desk.parts.views.checked import CheckedForm
from servicing.desk.parts.views.pages import EVERYONE, MAY_MANAGE
from servicing.desk.rules.forms.decisions import EndRuleForm, RejectForm
from servicing.desk.rules.forms.local_rules import LocalRuleForm
from servicing.due.actions import local_rules as rules
from servicing.due.actions.preview import Move
from servicing.due.pure.explain import how_often
from servicing.due.pure.rule_words import counting
from servicing.due.pure.turnout import Shortfall
from servicing.due.queries.engine import items_under
from servicing.rules.models import RuleProposal, RuleVersion
from servicing.rules.pure.bars import bars_words
from servicing.rules.pure.rule import Rule
from servicing.rules.pure.tables import RESERVED, rule_from_row
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
    if request.method == "POST":
        refuse_unless(request.user, Right.MANAGE, path=request.path)
    shown = _shown(rules.draft_of(proposal), preview=proposal.waits)
    approving, rejecting = _approving(request, shown["turnout"]), _rejecting(request)
    context = {
        **_said(proposal),
        **shown,
        "may_approve": proposal.proposed_by_id != request.user.pk,
        "approval": approving.form,
        "tick": approving.tick,
        "signing": approving.signing,
        "form": rejecting.form,
        **SECTION,
    }

    def approve() -> str:
        moved = rules.approve_rule(proposal, by=request.user)
        messages.success(request, f"Approved. Dates that moved: {moved}.")
        return proposal.get_absolute_url()

    def reject() -> str:
        rules.reject_rule(proposal, by=request.user, reason=rejecting.form.cleaned_data["reason"])
        messages.success(request, "Rejected. Nothing moved.")
        return proposal.get_absolute_url()

    if (led := approving.entered(approve) or rejecting.entered(reject)) is not None:
        return led
    sent = rejecting if rejecting.sent else approving
    return sent.page("desk/rules/local_rule_proposal.html", context)


def _approving(request: PersonRequest, turnout: Shortfall) -> CheckedForm:
    """Return the form that approves: nothing to type, but the signature and the tick."""
    step = request.POST.get("step")
    form = Form(request.POST if request.method == "POST" and step != "reject" else None)
    checked = CheckedForm(request, form, refused=(rules.ProposalRefused,), enters="approve")
    checked.tick = TurnoutForm(request.POST if checked.sent else None, shortfall=turnout)
    if form.is_bound and not checked.sent:
        form.add_error(None, "Choose to approve or to reject it.")
    return checked


def _rejecting(request: PersonRequest) -> CheckedForm:
    form = RejectForm(request.POST if request.POST.get("step") == "reject" else None)
    return CheckedForm(
        request, form, refused=(rules.ProposalRefused,), enters="reject", signed=False
    )


def _ask(request: PersonRequest, form: RuleForm, version: RuleVersion | None) -> HttpResponse:
    """Take a draft, show what it would move, then, confirmed, put it before another manager."""
    page = "local_rule_end" if isinstance(form, EndRuleForm) else "local_rule_form"

    def enter() -> str:
        reason = form.cleaned_data.get("reason", "")
        return rules.propose_rule(form.draft(), by=request.user, reason=reason).get_absolute_url()

    def preview() -> dict[str, Any]:
        shown = _shown(form.draft(), preview=True)
        return {**shown, "reason": form.cleaned_data.get("reason", "")}

    checked = CheckedForm(
        request, form, refused=(rules.ProposalRefused,), enters="propose", signed=False
    )
    return checked.answer(
        enter=enter,
        preview=preview,
        pages=(f"desk/rules/{page}.html", "desk/rules/local_rule_check.html"),
        context={"version": version, **SECTION},
    )


def _shown(draft: rules.Draft, *, preview: bool) -> dict[str, Any]:
    """Return what a page says of a draft: the rule, the items under it, the dates it moves."""
    rule = _rule(draft)
    moves: list[Move] = []
    turnout = Shortfall()
    refused = ""
    if preview:
        try:
            moves, turnout = rules.preview_whole(draft)
        except rules.ProposalRefused as problem:
            refused = str(problem)
    return {
        "draft": draft,
        "rule": rule,
        "asks": how_often(rule) if rule else "",
        "counts": counting(rule) if rule else "",
        "bars": bars_words(rule.bars) if rule else "",
        "when": [(name.replace("_", " "), found) for name, found in _when(draft)],
        "under": items_under(rule, draft.site) if rule else None,
        "moves": moves,
        "turnout": turnout,
        "late": sum(move.falls_overdue(today_at(draft.site)) for move in moves),
        "refused": refused,
    }


def _said(proposal: RuleProposal) -> dict[str, Any]:
    rule = _rule(rules.draft_of(proposal))
    return {"proposal": proposal, "rule": rule, "asks": how_often(rule) if rule else ""}


def _rule(draft: rules.Draft) -> Rule | None:
    return None if draft.row is None else rule_from_row(RESERVED, {**draft.row, "id": "local-0"})


def _when(draft: rules.Draft) -> list[tuple[str, str]]:
    tests = {} if draft.row is None else draft.row["when"]
    return [(name, ", ".join(map(str, values))) for name, values in tests.items()]


def _own_or_404(rule_id: str) -> RuleVersion:
    own = RuleVersion.objects.select_related("table__site").exclude(table__site=None)
    return get_object_or_404(own, rule_id=rule_id, replaced_at=None)


def _site(version: RuleVersion) -> Any:
    return version.table.site


def _typed(request: PersonRequest) -> Any:
    return request.POST if request.method == "POST" else None
