"""Signing in and out, one's own preferences, and the list of people."""

from typing import Any
from uuid import UUID

from django.contrib import messages
from django.contrib.auth import update_session_auth_hash
from django.contrib.auth import views as auth
from django.contrib.auth.decorators import login_required
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.http import url_has_allowed_host_and_scheme
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST

from servicedesk.staff import actions, queries
from servicedesk.staff.forms import (
    ForgottenForm,
    NewPasswordForm,
    NewPersonForm,
    OwnPasswordForm,
    PersonForm,
    SignInForm,
)
from servicedesk.staff.models import User
from servicedesk.web.zones import day_of


class SignIn(auth.LoginView):
    form_class = SignInForm
    template_name = "staff/sign_in.html"
    redirect_authenticated_user = True

    def dispatch(self, request: HttpRequest, *args: Any, **kwargs: Any) -> Any:
        if queries.is_empty():
            return redirect("desk:setup")
        return super().dispatch(request, *args, **kwargs)

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        return super().get_context_data(business=queries.business(), **kwargs)


@login_required
@require_POST
def preferences(request: HttpRequest) -> HttpResponse:
    actions.prefer(person=request.user, light=request.POST.get("light"), hand=request.POST.get("hand"))  # type: ignore[arg-type]
    target = request.POST.get("next", "/")
    if not url_has_allowed_host_and_scheme(target, allowed_hosts={request.get_host()}):
        target = "/"
    return HttpResponseRedirect(target)


@login_required
def own_password(request: HttpRequest) -> HttpResponse:
    """A new password of one's own. This session goes on; every other one ends."""
    user = request.user
    assert isinstance(user, User)
    form = OwnPasswordForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        said = form.cleaned_data
        try:
            actions.change_own_password(person=user, current=said["current"], new=said["password"])
        except actions.NotChanged as wrong:
            form.add_error("current", str(wrong))
        else:
            update_session_auth_hash(request, user)
            messages.success(request, _("Your password is changed. You are signed out everywhere else."))
            return redirect("desk:home")
    return render(request, "staff/password.html", {"form": form, "title": _("Your password")})


def forgotten(request: HttpRequest) -> HttpResponse:
    """Ask for a link to a new password. The answer is the same whether somebody signs in with the address or not."""
    form = ForgottenForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        actions.ask_for_link(email=form.cleaned_data["email"], at=timezone.now())
        messages.success(
            request,
            _("If somebody signs in with this address, a link for a new password is on its way there."),
        )
        return redirect("staff:sign_in")
    note = _(
        "Type the address with which you sign in. A link goes there by mail; it works once, for 24 hours."
    )
    context = {"form": form, "title": _("A forgotten password"), "note": note, "send": True}
    return render(request, "staff/password.html", context)


class NewPassword(auth.PasswordResetConfirmView):
    """The page behind the link: a new password, once."""

    form_class = NewPasswordForm  # type: ignore[assignment]  # a plain form: the action keeps
    template_name = "staff/new_password.html"

    def get_user(self, uidb64: str) -> User | None:
        found = super().get_user(uidb64)
        return found if isinstance(found, User) and found.is_active else None

    def form_valid(self, form: Any) -> HttpResponse:
        assert isinstance(self.user, User)
        actions.set_password(person=self.user, password=form.cleaned_data["password"])
        del self.request.session[auth.INTERNAL_RESET_SESSION_TOKEN]
        messages.success(self.request, _("Your new password is kept. Sign in with it."))
        return redirect("staff:sign_in")


def owner_only(request: HttpRequest) -> User:
    """The owner who asks; anybody else meets nothing here."""
    user = request.user
    if not isinstance(user, User) or not user.is_owner:
        raise Http404
    return user


def _person(key: UUID) -> User:
    found = next((p for p in queries.people() if p.pk == key), None)
    if found is None:
        raise Http404
    return found


@login_required
def people(request: HttpRequest) -> HttpResponse:
    owner_only(request)
    skills = queries.skills_in_use()
    return render(request, "staff/people.html", {"people": queries.people(), "skills": skills})


@login_required
def person_new(request: HttpRequest) -> HttpResponse:
    owner_only(request)
    form = NewPersonForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        try:
            said = {**form.cleaned_data, "password": form.cleaned_data["password"] or None}
            hired = actions.hire(on=day_of(timezone.now()), **said)
            if said["password"] is None:
                actions.send_link(person=hired, at=timezone.now())
        except actions.NotHired as wrong:
            form.add_error("email", str(wrong))
        else:
            messages.success(request, _("%(name)s may sign in now.") % {"name": hired.name})
            return redirect("staff:people")
    return render(request, "staff/person.html", {"form": form, "title": _("A new person")})


@login_required
def person(request: HttpRequest, key: UUID) -> HttpResponse:
    owner_only(request)
    row = _person(key)
    start = {"name": row.name, "email": row.email, "phone": row.phone, "role": row.role}
    form = PersonForm(request.POST or None, initial=start)
    if request.method == "POST" and form.is_valid():
        try:
            actions.change_person(person=row, **form.cleaned_data)
        except actions.NotHired as wrong:
            form.add_error(None, str(wrong))
        else:
            return redirect("staff:people")
    return render(request, "staff/person.html", {"form": form, "title": row.name, "person": row})


@login_required
@require_POST
def person_link(request: HttpRequest, key: UUID) -> HttpResponse:
    """The owner sends a person a link to a new password."""
    owner_only(request)
    row = _person(key)
    try:
        actions.send_link(person=row, at=timezone.now())
    except actions.NotChanged as wrong:
        messages.error(request, str(wrong))
    else:
        messages.success(request, _("A link is on its way to %(email)s.") % {"email": row.email})
    return redirect("staff:people")


@login_required
@require_POST
def person_retire(request: HttpRequest, key: UUID) -> HttpResponse:
    owner_only(request)
    row = _person(key)
    try:
        if row.is_active:
            actions.retire_person(person=row)
        else:
            actions.bring_back_person(person=row)
    except actions.NotHired as wrong:
        messages.error(request, str(wrong))
    return redirect("staff:people")
