"""All addresses."""

from __future__ import annotations

from django.contrib import admin
from django.contrib.auth import views as auth_views
from django.contrib.auth.decorators import login_not_required
from django.urls import include, path, reverse_lazy
from django.views.generic import RedirectView

from fleet.views import sign_in

# One door: Django's admin has no form of its own to sign in by.
_to_sign_in = login_not_required(RedirectView.as_view(pattern_name="login", query_string=True))
urlpatterns = [
    path("sign-in/", sign_in.SignIn.as_view(), name="login"),
    path("sign-in/code/", sign_in.code, name="login-code"),
    path(
        "invitation/<uidb64>/<token>/",
        auth_views.PasswordResetConfirmView.as_view(
            template_name="registration/invitation.html", success_url=reverse_lazy("login")
        ),
        name="invitation",
    ),
    path("admin/login/", _to_sign_in, name="admin-login"),
    path("sign-out/", auth_views.LogoutView.as_view(), name="logout"),
    path("weather/", include("weather.urls")),
    path("admin/", admin.site.urls),
    path("api/", include("fleet.api.door")),
    path("", include("fleet.urls")),
]
