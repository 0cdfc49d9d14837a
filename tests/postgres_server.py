"""A PostgreSQL server of our own for the tests: in a temporary folder, on a free port, ended with them."""

from __future__ import annotations

import os
import pwd
import shutil
import signal
import socket
import subprocess
import tempfile
import time
from collections.abc import Sequence
from pathlib import Path

ADMIN = "keeper"
ADMIN_PASSWORD = "keeper's own"


def programs() -> Path | None:
    """The folder of the server's programs: on the path, or where Debian has them; None where there are none."""
    if (found := shutil.which("initdb")) is not None:
        return Path(found).resolve().parent
    for folder in sorted(Path("/usr/lib/postgresql").glob("*/bin"), reverse=True):
        if (folder / "initdb").exists():
            return folder
    return None


class PostgresServer:
    """Started by `start`, ended by `stop`. The server refuses to run as root, so that it then runs as ``postgres``."""

    def __init__(self, folder: Path) -> None:
        self._programs = folder
        self.home = Path(tempfile.mkdtemp(prefix="trainer-pg-", dir=_quick_folder()))
        self._user = "postgres" if os.geteuid() == 0 else None
        self.port = _free_port()
        self._process: subprocess.Popen[bytes] | None = None

    def start(self, connections: int = 60, durable: bool = False) -> None:
        """Raises RuntimeError with what the server said. Only a `durable` one waits for the disk, as real ones do."""
        if self._user is not None:
            entry = pwd.getpwnam(self._user)
            os.chown(self.home, entry.pw_uid, entry.pw_gid)
        secret = self.home / "secret"
        secret.write_text(ADMIN_PASSWORD)
        secret.chmod(0o644)
        data = str(self.home / "data")
        self._run("initdb", "-D", data, "-U", ADMIN, "--auth=scram-sha-256", f"--pwfile={secret}", "-E", "UTF8", "-N")
        settings = {
            "port": self.port,
            "listen_addresses": "127.0.0.1",
            "unix_socket_directories": self.home,
            "max_connections": connections,
            "fsync": "off" if not durable else "on",
            "shared_buffers": "128MB",
        }
        options = [word for name, value in settings.items() for word in ("-c", f"{name}={value}")]
        self._log = (self.home / "log").open("ab")
        self._process = subprocess.Popen(
            self._command("postgres", "-D", data, *options),
            stdin=subprocess.DEVNULL,
            stdout=self._log,
            stderr=self._log,
            cwd=self.home,
        )
        until = time.monotonic() + 30
        while not self._answers():
            if self._process.poll() is not None or time.monotonic() > until:
                said = (self.home / "log").read_text()
                self.stop()
                raise RuntimeError(f"postgres did not start: {said[-500:]}")
            time.sleep(0.05)

    def _answers(self) -> bool:
        import psycopg

        try:
            psycopg.connect(self.address(), password=ADMIN_PASSWORD).close()
        except psycopg.OperationalError:
            return False
        return True

    def stop(self) -> None:
        process, self._process = self._process, None
        if process is not None:
            process.send_signal(signal.SIGQUIT)
            process.wait()
            self._log.close()
        shutil.rmtree(self.home, ignore_errors=True)

    def address(self, database: str = "postgres", user: str = ADMIN) -> str:
        return f"postgresql://{user}@127.0.0.1:{self.port}/{database}"

    def _command(self, program: str, *arguments: str) -> Sequence[str]:
        """A command that ends when the tests do, however they do."""
        command = (str(self._programs / program), *arguments)
        user = () if self._user is None else (f"--reuid={self._user}", f"--regid={self._user}", "--clear-groups")
        return ("setpriv", "--pdeathsig", "QUIT", *user, *command)

    def _run(self, program: str, *arguments: str) -> None:
        ended = subprocess.run(
            self._command(program, *arguments), capture_output=True, text=True, cwd=self.home, check=False
        )
        if ended.returncode:
            raise RuntimeError(f"{program}: {ended.stdout[-500:]}{ended.stderr[-500:]}")


def _quick_folder() -> str | None:
    """In memory where there is plenty: dozens of databases are made and thrown away. None: the usual place."""
    memory = Path("/dev/shm")
    roomy = memory.is_dir() and os.access(memory, os.W_OK) and shutil.disk_usage(memory).free > 2_000_000_000
    return str(memory) if roomy else None


def _free_port() -> int:
    with socket.socket() as listening:
        listening.bind(("127.0.0.1", 0))
        port: int = listening.getsockname()[1]
    return port
