"""App configuration: ``ready()`` only registers."""

from django.apps import AppConfig


class FacilityConfig(AppConfig):
    """Ground floor and upper floors."""

    name = "facility"
    verbose_name = "Facility"
