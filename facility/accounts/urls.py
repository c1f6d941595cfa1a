"""Addresses of the account pages."""

from __future__ import annotations

from django.contrib.auth.views import LogoutView
from django.urls import path

from facility.accounts import manage_views, views

app_name = "accounts"
urlpatterns = [
    path("sign-in/", views.SignInView.as_view(), name="login"),
    path("sign-out/", LogoutView.as_view(), name="logout"),
    path("first-user/<str:token>/", views.first_user, name="first_user"),
    path("accept/<str:uid>/<str:token>/", views.accept, name="accept"),
    path("account/", views.own_account, name="account"),
    path("account/light/", views.set_light, name="light"),
    path("<slug:site>/accounts/", manage_views.accounts, name="accounts"),
    path("<slug:site>/accounts/unlock/", manage_views.unlock, name="unlock"),
    path("<slug:site>/accounts/<int:pk>/link/", manage_views.new_link, name="reset"),
    path("<slug:site>/accounts/<int:pk>/roles/", manage_views.roles, name="roles"),
    path("<slug:site>/accounts/<int:pk>/active/", manage_views.set_active, name="set_active"),
]
