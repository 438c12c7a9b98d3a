"""A Redis of a test's own on a free port; what it held is gone when it was killed."""

import subprocess
from dataclasses import dataclass
from pathlib import Path

from tests.journeys.own_postgresql import free_port


@dataclass
class OwnRedis:
    """One server that keeps nothing on disk."""

    folder: Path
    port: int
    process: "subprocess.Popen[bytes] | None" = None

    @classmethod
    def on_free_port(cls, folder: Path) -> "OwnRedis":
        return cls(folder, free_port())

    @property
    def url(self) -> str:
        return f"redis://127.0.0.1:{self.port}/0"

    def start(self) -> None:
        command = ["redis-server", "--port", str(self.port), "--bind", "127.0.0.1", "--save", ""]
        self.process = subprocess.Popen([*command, "--dir", str(self.folder)], stdout=subprocess.DEVNULL)

    def kill(self) -> None:
        if self.process is not None:
            self.process.kill()
            self.process.wait()
            self.process = None
