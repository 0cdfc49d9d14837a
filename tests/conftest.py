"""What tests of several modules share: a JACK server without hardware, for real MIDI ports; the schema of MusicXML."""

from __future__ import annotations

import ctypes
import os
import shutil
import signal
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from importlib.util import find_spec
from pathlib import Path
from typing import Any

import pytest

sys.path.insert(0, str(Path(__file__).parent))

from postgres_server import PostgresServer, programs  # noqa: E402


def _no_ports(reason: str) -> None:
    """Skip a test of ports, or fail it where TRAINER_REQUIRE_PORTS=1 says that ports must be there."""
    if os.environ.get("TRAINER_REQUIRE_PORTS") == "1":
        pytest.fail(f"TRAINER_REQUIRE_PORTS=1, and {reason}", pytrace=False)
    pytest.skip(reason)


def _end_with_parent() -> None:
    """In the child, on Linux: end when the tests end, however they do. JACK counts servers that nobody stopped."""
    set_parent_death_signal = 1
    ctypes.CDLL(None).prctl(set_parent_death_signal, signal.SIGTERM)


class JackDaemon:
    """A JACK server of our own with the dummy driver, under a private name; stopped and started at will."""

    def __init__(self, name: str) -> None:
        self.name = name
        self._log = tempfile.TemporaryFile()
        self._process: subprocess.Popen[bytes] | None = None

    def start(self) -> None:
        from virtual_piano import until

        from trainer.inputs.ports import list_ports

        command = ["jackd", "-S", "-r", "-n", self.name, "-d", "dummy", "-r", "48000", "-p", "64"]
        self._process = subprocess.Popen(
            command, stdin=subprocess.DEVNULL, stdout=self._log, stderr=self._log, preexec_fn=_end_with_parent
        )
        if not until(lambda: list_ports("JACK").backend or self._process and self._process.poll() is not None):
            self.stop()
            _no_ports(f"JACK cannot be used: {list_ports('JACK').problem}")
        if self._process.poll() is not None:
            self._log.seek(0)
            _no_ports(f"jackd did not start: {self._log.read()[-300:].decode(errors='replace')}")

    def halt(self) -> None:
        """Stand still, as a server does whose sound card hangs."""
        assert self._process is not None
        self._process.send_signal(signal.SIGSTOP)

    def stop(self) -> None:
        process, self._process = self._process, None
        if process is None:
            return
        process.send_signal(signal.SIGCONT)
        process.terminate()
        try:
            process.wait(5)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait()

    def close(self) -> None:
        self.stop()
        self._log.close()


@pytest.fixture(scope="session")
def jack_server() -> Iterator[JackDaemon]:
    """The server's name is in the environment, so that both ends of every port find it and no other server."""
    if shutil.which("jackd") is None:
        _no_ports("jackd is not installed (Debian: apt-get install jackd2), so there is no MIDI port to test with")
    before = os.environ.get("JACK_DEFAULT_SERVER")
    os.environ["JACK_DEFAULT_SERVER"] = name = f"trainer-{os.getpid()}"
    daemon = JackDaemon(name)
    try:
        daemon.start()
        yield daemon
    finally:
        daemon.close()
        if before is None:
            del os.environ["JACK_DEFAULT_SERVER"]
        else:
            os.environ["JACK_DEFAULT_SERVER"] = before


_NAMESPACE = '<xs:schema xmlns:xs="http://www.w3.org/2001/XMLSchema" targetNamespace="{}">{}</xs:schema>'
_ATTRIBUTE = '<xs:attribute name="{}" type="xs:string"/>'


@pytest.fixture(scope="session")
def schema(tmp_path_factory: pytest.TempPathFactory) -> Any:
    """MusicXML 4.0; the attributes that it takes from two other standards stand in as plain text."""
    from lxml import etree

    place = find_spec("musicxml")
    assert place is not None and place.submodule_search_locations
    shipped = Path(place.submodule_search_locations[0]) / "generate_classes" / "musicxml_4_0.xsd"
    folder = tmp_path_factory.mktemp("schema")
    for name, space, attributes in (
        ("xml", "http://www.w3.org/XML/1998/namespace", "lang space"),
        ("xlink", "http://www.w3.org/1999/xlink", "href type role title show actuate"),
    ):
        rows = "".join(map(_ATTRIBUTE.format, attributes.split()))
        (folder / f"{name}.xsd").write_text(_NAMESPACE.format(space, rows), encoding="utf-8")
    text = shipped.read_text(encoding="utf-8").replace("http://www.musicxml.org/xsd/", "")
    (folder / "musicxml.xsd").write_text(text, encoding="utf-8")
    return etree.XMLSchema(etree.parse(str(folder / "musicxml.xsd")))


def _no_server(reason: str) -> None:
    """Skip a test of PostgreSQL, or fail it where TRAINER_REQUIRE_POSTGRES=1 says that it must be there."""
    if os.environ.get("TRAINER_REQUIRE_POSTGRES") == "1":
        pytest.fail(f"TRAINER_REQUIRE_POSTGRES=1, and {reason}", pytrace=False)
    pytest.skip(reason)


@pytest.fixture(scope="session")
def postgres_server() -> Iterator[PostgresServer]:
    """One server for all tests; each makes a database or a schema of its own in it."""
    if find_spec("psycopg") is None:
        _no_server("psycopg is not installed (pip install '.[postgres]')")
    folder = programs()
    if folder is None:
        _no_server("PostgreSQL is not installed (Debian: apt-get install postgresql)")
    assert folder is not None
    server = PostgresServer(folder)
    try:
        try:
            server.start()
        except (OSError, RuntimeError, KeyError) as error:
            _no_server(f"PostgreSQL did not start: {error}")
        yield server
    finally:
        server.stop()
