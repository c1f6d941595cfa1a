"""Addresses of the account pages."""

from __future__ import annotations

from django.contrib.auth.views import LogoutView
from django.urls import path

from facility.accounts import manage_views, oidc_views, proof_views, second_views, views

app_name = "accounts"
urlpatterns = [
    path("sign-in/", views.SignInView.as_view(), name="login"),
    path("sign-out/", LogoutView.as_view(), name="logout"),
    path("first-user/<str:token>/", views.first_user, name="first_user"),
    path("accept/<str:uid>/<str:token>/", views.accept, name="accept"),
    path("account/", views.own_account, name="account"),
    path("sign-in/second/", second_views.second, name="second"),
    path("sign-in/provider/", oidc_views.start, name="oidc_start"),
    path("sign-in/provider/back/", oidc_views.back, name="oidc_back"),
    path("account/proofs/", proof_views.proofs, name="proofs"),
    path("account/proofs/generator/", proof_views.add_generator, name="add_generator"),
    path("account/proofs/paper/", proof_views.new_paper, name="new_paper"),
    path("account/proofs/passkey/", proof_views.add_passkey, name="add_passkey"),
    path("account/proofs/<int:pk>/off/", proof_views.take_off, name="take_off_proof"),
    path("account/devices/end/", proof_views.end_devices, name="end_devices"),
    path("account/light/", views.set_light, name="light"),
    path("<slug:site>/accounts/", manage_views.accounts, name="accounts"),
    path("<slug:site>/accounts/unlock/", manage_views.unlock, name="unlock"),
    path("<slug:site>/accounts/<int:pk>/link/", manage_views.new_link, name="reset"),
    path("<slug:site>/accounts/<int:pk>/roles/", manage_views.roles, name="roles"),
    path("<slug:site>/accounts/<int:pk>/proofs-off/", manage_views.take_off_proofs, name="take_off_proofs"),
    path("<slug:site>/accounts/<int:pk>/active/", manage_views.set_active, name="set_active"),
]
