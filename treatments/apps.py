"""App configuration."""

from django.apps import AppConfig


class TreatmentsConfig(AppConfig):
    """The treatments app."""

    name = "treatments"
    verbose_name = "Treatments"
