#!/usr/bin/env python3
"""The one door to Deepstead: set-up, server, tests and every command."""

import os
import sys


def main() -> None:
    """Run a management command inside the project's own environment."""
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "facility.project.settings")
    from django.core.management import execute_from_command_line

    execute_from_command_line(sys.argv)


if __name__ == "__main__":
    main()
