#!/usr/bin/env python
"""Spanstock's command line: `python manage.py COMMAND`, each with `--help`."""

import os
import sys

from django.core.management import execute_from_command_line


def main() -> None:
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "api.config.settings")
    execute_from_command_line(sys.argv)


if __name__ == "__main__":
    main()
