"""Settings as a process of its own meets them."""

import stat
import subprocess
import sys
from pathlib import Path

from django.test import Client

READ_KEY = "from django.conf import settings; print(settings.SECRET_KEY)"


def test_secret_key_is_one_for_processes_that_start_at_once(own_installation: dict[str, str]) -> None:
    started = [
        subprocess.Popen(
            [sys.executable, "-c", READ_KEY], env=own_installation, stdout=subprocess.PIPE, text=True
        )
        for _ in range(4)
    ]
    keys = {process.communicate(timeout=60)[0].strip() for process in started}
    assert len(keys) == 1
    assert len(keys.pop()) >= 50
    (kept,) = Path(own_installation["SPANSTOCK_DATA_DIRECTORY"]).glob("secret_key*")
    assert stat.S_IMODE(kept.stat().st_mode) == 0o600


def test_static_files_are_served_without_collecting(client: Client) -> None:
    answer = client.get("/static/rest_framework/css/default.css")
    assert answer.status_code == 200
    assert b"".join(answer).strip()  # type: ignore[call-overload]
