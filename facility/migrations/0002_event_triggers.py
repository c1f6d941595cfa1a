"""Hang the triggers on the event table. Their texts stand in facility.triggers alone."""

from django.db import migrations

from facility import triggers


def create(_apps, schema_editor):
    triggers.create(schema_editor.connection)


def drop(_apps, schema_editor):
    triggers.drop(schema_editor.connection)


class Migration(migrations.Migration):

    dependencies = [
        ("facility", "0001_ground"),
    ]

    operations = [
        migrations.RunPython(create, drop, elidable=False),
    ]
