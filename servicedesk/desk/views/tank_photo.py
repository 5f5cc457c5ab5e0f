"""The owner gives a tank its photo."""

from uuid import UUID

from django import forms
from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from clients.queries import get_tank_for
from servicedesk.desk.actions.tank_photo import keep_tank_photo, take_tank_photo_away
from servicedesk.desk.views.office import staff_of
from servicedesk.web.pictures import NoPhoto
from servicedesk.web.zones import day_of


class PhotoForm(forms.Form):
    photo = forms.FileField(
        label=gettext_lazy("A photo from the front"),
        help_text=gettext_lazy("JPEG, PNG or WebP, at most 15 MB. Where and when it was taken is not kept."),
        widget=forms.FileInput(attrs={"accept": "image/jpeg,image/png,image/webp"}),
    )


@login_required
def tank_photo(request: HttpRequest, key: UUID) -> HttpResponse:
    tank = get_tank_for(staff_of(request), key, on=day_of(timezone.now()))
    if request.method == "POST" and request.POST.get("away"):
        take_tank_photo_away(tank=tank)
        return redirect("desk:own_tank", tank.pk)
    form = PhotoForm(request.POST, request.FILES) if request.method == "POST" else PhotoForm()
    if request.method == "POST" and form.is_valid():
        try:
            keep_tank_photo(tank=tank, file=form.cleaned_data["photo"])
        except NoPhoto as wrong:
            form.add_error("photo", str(wrong))
        else:
            messages.success(request, _("Kept."))
            return redirect("desk:own_tank", tank.pk)
    return render(request, "desk/own_photo.html", {"form": form, "tank": tank})
