"""App configuration: ``ready()`` only registers."""

from django.apps import AppConfig
from django.db.models.signals import post_migrate


class FacilityConfig(AppConfig):
    """Ground floor and upper floors."""

    name = "facility"
    verbose_name = "Facility"

    def ready(self) -> None:
        """Register the system checks, and the hook that puts the event triggers right after migrations."""
        from facility import box_checks, checks, triggers, triggers_check  # noqa: F401, PLC0415  # models are loaded only now
        from facility.accounts import lockout  # noqa: F401, PLC0415  # as above

        post_migrate.connect(triggers.after_migrate, sender=self, dispatch_uid="event triggers")
