"""Tests with real transactions leave an empty database whose event triggers stand."""

from __future__ import annotations

import pytest
from django.db import DatabaseError, transaction

from facility import events, triggers
from facility.models import Event


@pytest.mark.both
@pytest.mark.django_db(transaction=True)
@pytest.mark.parametrize("run", ["first", "second"])
def test_the_log_starts_empty_and_guarded_in_each_test(run: str) -> None:
    assert not Event.objects.exists()
    assert triggers.missing() == []
    with transaction.atomic():
        events.record(None, events.What(f"tried:{run}"), by=events.system("test"))
    with pytest.raises(DatabaseError), transaction.atomic():
        Event.objects.all().delete()
