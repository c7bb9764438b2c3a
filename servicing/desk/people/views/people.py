"""Accounts, roles, and who may do which task: for managers; auditors look."""

from collections.abc import Callable
from datetime import date, datetime, time
from zoneinfo import ZoneInfo

from django.contrib import messages
from django.contrib.auth import update_session_auth_hash
from django.contrib.auth.models import User
from django.core.exceptions import ValidationError
from django.forms import Form
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_safe

from registry.people.actions import accounts, authorisations
from registry.people.models import Authorisation, PersonVersion
from registry.people.pure import Role
from registry.people.queries import (
    PersonRequest,
    authorisations_of,
    people_as_of,
    viewer_of,
)
from registry.sites.clock import now, today_anywhere, today_at
from registry.sites.models import Site
from servicing.desk.parts.views import pages
from servicing.desk.parts.views.checked import CheckedForm
from servicing.desk.people.forms import people as forms
from servicing.desk.people.pure import act_of_authorisation, acts_of_person
from servicing.oversight.queries import who_may
from servicing.rules.queries import known_tasks


@pages.MAY_LOOK
@require_safe
def people_list(request: PersonRequest) -> HttpResponse:
    """Show who has an account, with role, site and since when; of a past day on request."""
    form = forms.OnDayForm(request.GET)
    if not form.is_valid():
        return render(request, "parts/question.html", {"form": form}, status=422)
    on = form.cleaned_data["on"]
    rows = people_as_of(_end_of(on, viewer_of(request.user).site))
    context = {
        "rows": rows,
        "on": on,
        "form": form,
        "open": sum(row.is_open for row in rows),
        "section": "people",
    }
    return render(request, "desk/people/people.html", context)


@pages.EVERYONE
@require_safe
def who_may_page(request: PersonRequest) -> HttpResponse:
    """Show who may do which task until when, of any day; it is made to be printed as well."""
    form = forms.OnDayForm(request.GET)
    if not form.is_valid():
        return render(request, "parts/question.html", {"form": form}, status=422)
    asked, site = form.cleaned_data["on"], viewer_of(request.user).site
    on = asked or (today_at(site) if site else today_anywhere())
    found = who_may(on, _end_of(asked, site))
    context = {
        "found": found,
        "columns": [f"{task}:date" for task in found.columns],
        "on": on,
        "form": form,
        "section": "who-may",
    }
    return render(request, "desk/people/who_may.html", context)


def _end_of(day: date | None, site: Site | None) -> datetime | None:
    """Return a day's last moment at a site, None for no day."""
    zone = ZoneInfo(site.timezone) if site else ZoneInfo("UTC")
    return datetime.combine(day, time.max, zone) if day else None


@pages.MAY_LOOK
@require_safe
def person_page(request: PersonRequest, pk: int) -> HttpResponse:
    """Show what somebody is and was, and which tasks they may do."""
    person = get_object_or_404(User, pk=pk)
    row = next(row for row in people_as_of() if row.pk == pk)
    own, may_manage = person == request.user, viewer_of(request.user).may_manage
    context = {
        "person": person,
        "row": row,
        "acts": acts_of_person(pk, own=own, is_open=row.is_open, may_manage=may_manage),
        "versions": PersonVersion.objects.filter(user=person).order_by("-known_from", "-pk"),
        "authorisations": [
            (
                held,
                act_of_authorisation(
                    held.pk,
                    held.task,
                    ended=held.ended_at is not None,
                    own=own,
                    may_manage=may_manage,
                ),
            )
            for held in authorisations_of(person)
        ],
        "today": today_anywhere(),
        "section": "people",
    }
    return render(request, "desk/people/person.html", context)


@pages.EVERYONE
def own_account(request: PersonRequest) -> HttpResponse:
    """Show somebody what they are here, and let them change their own password."""
    form, user = forms.OwnPasswordForm(request), request.user
    if form.is_valid() and form.proves():
        key = request.session.session_key
        accounts.change_own_password(
            user=user, password=form.cleaned_data["password"], session_key=key
        )
        update_session_auth_hash(request, user)
        messages.success(
            request, "Your password is changed. Wherever else you were signed in, you are no more."
        )
        return redirect("own-account")
    status = 422 if form.errors else 200
    return render(request, "desk/people/account.html", {"form": form}, status=status)


@pages.MAY_MANAGE
def person_add(request: PersonRequest) -> HttpResponse:
    """Give somebody an account."""
    form = forms.NewPersonForm(request.POST or None)

    def add() -> User:
        data = {**form.cleaned_data, "role": Role(form.cleaned_data["role"])}
        return accounts.add_person(**data, user=request.user)

    return _done(request, form, add, "Give somebody an account", "Make the account")


@pages.MAY_MANAGE
def person_edit(request: PersonRequest, pk: int) -> HttpResponse:
    """Change what somebody is called, may do, or where."""
    person = get_object_or_404(User, pk=pk)
    form = forms.PersonForm(request.POST or None, initial=forms.PersonForm.initial_for(person))

    def change() -> User:
        data = {**form.cleaned_data, "role": Role(form.cleaned_data["role"])}
        return accounts.change_person(person, **data, user=request.user)

    return _done(request, form, change, f"Change {person.username}", "Save the changes", person)


@pages.MAY_MANAGE
def person_close(request: PersonRequest, pk: int) -> HttpResponse:
    """Close an account; its sessions end at once."""
    person = get_object_or_404(User, pk=pk)
    form = forms.ClosingForm(request.POST or None)

    def close() -> User:
        accounts.close_account(person, user=request.user, why=form.cleaned_data["why"])
        return person

    title = f"Close the account {person.username}"
    return _done(request, form, close, title, "Close the account", person)


@pages.MAY_MANAGE
def person_password(request: PersonRequest, pk: int) -> HttpResponse:
    """Give somebody another password; their sessions end. For one's own the old one is asked."""
    person = get_object_or_404(User, pk=pk, is_active=True)
    if person == request.user:
        return redirect("own-account")
    form = forms.NewPasswordForm(request.POST or None, person=person)

    def give() -> User:
        accounts.set_password(person, password=form.cleaned_data["password"], user=request.user)
        return person

    title = f"Another password for {person.username}"
    return _done(request, form, give, title, "Set the password", person)


@pages.MAY_MANAGE
def person_authorise(request: PersonRequest, pk: int) -> HttpResponse:
    """Say which task somebody may do, and on which days."""
    person = get_object_or_404(User, pk=pk)
    form = forms.AuthorisationForm(
        request.POST or None, tasks=sorted(known_tasks()), initial={"valid_from": now().date()}
    )

    def grant() -> User:
        authorisations.grant_authorisation(person=person, **form.cleaned_data, user=request.user)
        return person

    title = f"Authorise {person.get_full_name() or person.username} for a task"
    return _done(request, form, grant, title, "Authorise", person)


@pages.MAY_MANAGE
def authorisation_end(request: PersonRequest, pk: int) -> HttpResponse:
    """Take an authorisation back, from today on."""
    row = get_object_or_404(Authorisation.objects.select_related("user"), pk=pk)
    form = forms.ClosingForm(request.POST or None)

    def end() -> User:
        authorisations.end_authorisation(row, user=request.user, why=form.cleaned_data["why"])
        return row.user

    words = "all tasks" if row.task == "*" else row.task.replace("-", " ")
    title = f"Take back: {words}, {row.user.username}"
    return _done(request, form, end, title, "Take it back", row.user)


def _done(  # noqa: PLR0917 (one page for every small form about people)
    request: PersonRequest,
    form: Form,
    act: Callable[[], User],
    title: str,
    button: str,
    person: User | None = None,
) -> HttpResponse:
    refused = (ValidationError, accounts.PersonRefused, authorisations.AuthorisationRefused)
    checked = CheckedForm(request, form, refused=refused, at_once=True, signed=False)
    if (led := checked.entered(lambda: reverse("person", args=[act().pk]))) is not None:
        return led
    context = {"title": title, "button": button, "person": person, "section": "people"}
    return checked.page("desk/people/person_form.html", context)
