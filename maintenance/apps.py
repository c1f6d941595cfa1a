"""App configuration."""

from django.apps import AppConfig


class MaintenanceConfig(AppConfig):
    """The maintenance app."""

    name = "maintenance"
    verbose_name = "Maintenance"
