"""The service's own settings, kept away from the developer's data and database."""

import atexit
import os
import shutil
import tempfile
import zlib
from pathlib import Path

# Before the settings are read: a test must never write into the installation that stands in this checkout.
_data_directory = tempfile.mkdtemp(prefix="spanstock-test-")
atexit.register(shutil.rmtree, _data_directory, ignore_errors=True)
os.environ["SPANSTOCK_DATA_DIRECTORY"] = _data_directory

from api.config.settings import *  # noqa: E402, F403
from api.config.settings import DATABASES  # noqa: E402

# A sound hash takes a tenth of a second on purpose, and every signed-in test would pay it.
PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]

if "postgresql" in DATABASES["default"]["ENGINE"]:
    # Two checkouts on one machine would otherwise drop each other's test database.
    _checkout = zlib.crc32(str(Path(__file__).resolve().parent).encode())
    DATABASES["default"]["TEST"] = {"NAME": f"test_{DATABASES['default']['NAME']}_{_checkout:08x}"}
    # A connection kept for the next request is one that is still open when the database is to be dropped.
    DATABASES["default"]["CONN_MAX_AGE"] = 0
