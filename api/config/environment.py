"""Every environment variable the service reads, in one place."""

import os
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent.parent


def full_name(name: str) -> str:
    """A variable as the operator writes it, for messages that name one."""
    return f"SPANSTOCK_{name}"


def text(name: str, default: str) -> str:
    return os.environ.get(full_name(name), default)


def flag(name: str, default: bool) -> bool:
    value = text(name, "yes" if default else "no").lower()
    if value not in {"yes", "no", "true", "false", "1", "0", "on", "off"}:
        raise ValueError(f"{full_name(name)} is {value!r}; write yes or no.")
    return value in {"yes", "true", "1", "on"}


DATA_DIRECTORY = Path(text("DATA_DIRECTORY", str(ROOT / ".spanstock")))
DATABASE_URL = text("DATABASE_URL", "")
BROKER_URL = text("BROKER_URL", "")
SECRET_KEY = text("SECRET_KEY", "")
ALLOWED_HOSTS = [host for host in text("ALLOWED_HOSTS", "localhost,127.0.0.1,[::1]").split(",") if host]
IS_DEBUG = flag("DEBUG", False)
TRUSTED_PROXIES = int(text("TRUSTED_PROXIES", "0"))
MAY_WEBHOOKS_BE_PRIVATE = flag("PRIVATE_WEBHOOKS", False)
LOG_LEVEL = text("LOG_LEVEL", "INFO")
