"""Addresses of this room."""

from django.contrib.auth.views import LogoutView
from django.urls import path

from servicedesk.staff import views

app_name = "staff"
urlpatterns = [
    path("sign-in/", views.SignIn.as_view(), name="sign_in"),
    path("sign-out/", LogoutView.as_view(), name="sign_out"),
    path("preferences/", views.preferences, name="preferences"),
    path("password/", views.own_password, name="own_password"),
    path("password/forgotten/", views.forgotten, name="forgotten"),
    path("password/new/<str:uidb64>/<str:token>/", views.NewPassword.as_view(), name="new_password"),
    path("people/", views.people, name="people"),
    path("people/new/", views.person_new, name="person_new"),
    path("people/<uuid:key>/", views.person, name="person"),
    path("people/<uuid:key>/link/", views.person_link, name="person_link"),
    path("people/<uuid:key>/retire/", views.person_retire, name="person_retire"),
]
