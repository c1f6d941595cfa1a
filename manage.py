#!/usr/bin/env python3
"""The one door to Deepstead: set-up, server, tests and every command."""

import os
import sys

LEAST_PYTHON = (3, 11)


def main() -> None:
    """Run a management command, after setting up whatever this machine still lacks."""
    if sys.version_info < LEAST_PYTHON:
        sys.exit("Deepstead needs Python 3.11 or newer; this is Python %d.%d." % sys.version_info[:2])  # noqa: UP031 - old Pythons must read this line

    from facility.project import bootstrap, folder

    if bootstrap.is_needed(sys.argv[1:]):
        bootstrap.run(sys.argv[1:])
    folder.choose(sys.argv[1:])
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "facility.project.settings")

    from django.core.management import execute_from_command_line

    execute_from_command_line(sys.argv)


if __name__ == "__main__":
    main()
