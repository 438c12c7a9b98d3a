"""The whole service on servers of a test's own: each part may be killed at any moment and started again."""

import contextlib
import os
import signal
import subprocess
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
PATIENCE_S = 240


def wait_until(is_so: Callable[[], object], what: str) -> None:
    until = time.monotonic() + PATIENCE_S
    while not is_so():
        assert time.monotonic() < until, f"waited in vain until {what}"
        time.sleep(0.05)


@dataclass
class Part:
    """A process with all its children, its words in a file."""

    command: list[str]
    environ: dict[str, str]
    log: Path
    answers: Callable[[], bool] = lambda: True
    process: "subprocess.Popen[bytes] | None" = None

    def start(self) -> None:
        with self.log.open("ab") as log:
            self.process = subprocess.Popen(
                self.command,
                env=self.environ,
                stdout=log,
                stderr=subprocess.STDOUT,
                start_new_session=True,
                cwd=ROOT,
            )
        wait_until(self.answers, f"{self.command[:4]} answered; see {self.log}")

    def kill(self) -> None:
        if self.process is not None:
            with contextlib.suppress(ProcessLookupError):
                os.killpg(self.process.pid, signal.SIGKILL)
            self.process.wait()
            self.process = None


@dataclass
class OwnService:
    """Web, worker and schedule on the database and broker that the environment names."""

    environ: dict[str, str]
    folder: Path
    port: int
    parts: dict[str, Part] = field(default_factory=dict)

    def __post_init__(self) -> None:
        python = sys.executable
        celery = [python, "-m", "celery", "--app", "api.config.celery", "--quiet"]
        commands = {
            "web": [
                python, "-m", "gunicorn", "api.config.wsgi", "--bind", f"127.0.0.1:{self.port}",
                "--worker-class", "gthread", "--workers", "1", "--threads", "6", "--no-control-socket",
                "--log-level", "warning",
            ],
            "worker": [*celery, "worker", "--concurrency", "1", "--loglevel", "WARNING", "--without-mingle"],
            "schedule": [*celery, "beat", "--loglevel", "WARNING", "--pidfile", ""],
        }  # fmt: skip
        for name, command in commands.items():
            self.parts[name] = Part(command, self.environ, self.folder / f"{name}.log")
        self.parts["web"].answers = self.is_alive

    @property
    def address(self) -> str:
        return f"http://127.0.0.1:{self.port}"

    def is_alive(self) -> bool:
        try:
            with urllib.request.urlopen(f"{self.address}/health/live", timeout=5) as answer:
                return bool(answer.status == 200)
        except (urllib.error.URLError, OSError):
            return False

    def manage(self, *arguments: str) -> str:
        done = subprocess.run(
            [sys.executable, str(ROOT / "manage.py"), *arguments],
            env=self.environ, capture_output=True, text=True, timeout=PATIENCE_S,
        )  # fmt: skip
        assert not done.returncode, done.stderr
        return done.stdout.strip()

    def execute(self, program: str) -> str:
        return self.manage("shell", "--no-imports", "-c", program)

    def end(self) -> None:
        for part in self.parts.values():
            part.kill()
