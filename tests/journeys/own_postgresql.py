"""A PostgreSQL server of a test's own, that may be killed and lost; the machine's own is never touched."""

import contextlib
import os
import shutil
import signal
import socket
import subprocess
import time
from dataclasses import dataclass
from pathlib import Path

import psycopg

PATIENCE_S = 120
# Where Debian keeps the programs that make and run a server; elsewhere they are on the path.
PROGRAMS = sorted(Path("/usr/lib/postgresql").glob("*/bin"), reverse=True)


def find_program(name: str) -> str | None:
    for folder in PROGRAMS:
        if (folder / name).exists():
            return str(folder / name)
    return shutil.which(name)


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


@dataclass
class OwnServer:
    """One server on a free port, its data in a folder that the server's user owns."""

    folder: Path
    port: int
    process: "subprocess.Popen[bytes] | None" = None

    @property
    def data(self) -> Path:
        return self.folder / "data"

    @property
    def archive(self) -> Path:
        return self.folder / "archive"

    @property
    def url(self) -> str:
        return f"postgres://spanstock@127.0.0.1:{self.port}/postgres"

    def run(self, program: str, *arguments: str) -> None:
        found = find_program(program)
        assert found is not None
        subprocess.run([*_as_user(), found, *arguments], check=True, capture_output=True, cwd="/")

    def create(self) -> None:
        self.archive.mkdir(parents=True)
        give_away(self.folder)
        options = ["--auth", "trust", "--username", "spanstock", "--encoding", "UTF8", "--locale", "C.UTF-8"]
        self.run("initdb", "--pgdata", str(self.data), *options)
        self.configure(
            f"port = {self.port}",
            "listen_addresses = '127.0.0.1'",
            "unix_socket_directories = ''",
            "archive_mode = on",
            f"archive_command = 'test ! -f {self.archive}/%f && cp %p {self.archive}/%f'",
        )

    def configure(self, *lines: str) -> None:
        with (self.data / "postgresql.conf").open("a") as file:
            file.write("\n".join(lines) + "\n")

    def start(self) -> None:
        until = time.monotonic() + PATIENCE_S
        self.process = self._run()
        while not self.answers():
            assert time.monotonic() < until, (self.folder / "log").read_text()
            time.sleep(0.1)
            if self.process.poll() is not None:
                # It refuses while those that served connections of the killed one have not ended yet.
                self.process = self._run()

    def _run(self) -> "subprocess.Popen[bytes]":
        program = find_program("postgres")
        assert program is not None
        with (self.folder / "log").open("ab") as log:
            return subprocess.Popen(
                [*_as_user(), program, "-D", str(self.data)],
                stdout=log, stderr=subprocess.STDOUT, cwd="/", start_new_session=True,
            )  # fmt: skip

    def answers(self) -> bool:
        try:
            with psycopg.connect(self.url, connect_timeout=2, autocommit=True) as server:
                row = server.execute("SELECT pg_is_in_recovery()").fetchone()
                return row == (False,)
        except psycopg.OperationalError:
            return False

    def kill(self) -> None:
        """Kill the server; those that serve connections end by themselves when they see it gone."""
        if self.process is not None:
            with contextlib.suppress(ProcessLookupError):
                os.killpg(self.process.pid, signal.SIGKILL)
            self.process.wait()
            self.process = None


def give_away(folder: Path) -> None:
    """Let the server's user have a folder; PostgreSQL refuses to run as root."""
    if os.geteuid() == 0:
        shutil.chown(folder, "postgres", "postgres")
        for path in folder.rglob("*"):
            shutil.chown(path, "postgres", "postgres")
        for parent in folder.parents:
            if str(parent).startswith("/tmp/"):
                parent.chmod(parent.stat().st_mode | 0o711)


def _as_user() -> list[str]:
    return ["runuser", "--user", "postgres", "--"] if os.geteuid() == 0 else []
