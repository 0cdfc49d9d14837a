"""Messages sent at their moments by a thread of our own, and everything sent off again.

Each message has an absolute deadline on `time.perf_counter_ns`, so that no delay adds up. The thread waits for
something to do or for the deadline less `FINE_NS`, which a stop or an earlier cue interrupts, and sleeps the rest away.
It never spins: a loop that waits by running would hold the interpreter, and with it the notes of the player.

The rules of silence:

- After `stop` returns, nothing more sounds: every note that was on is let go, and on each channel used the sustain
  pedal is lifted (CC64 0) and all notes are sent off (CC123). Under JACK a period of the server may get lost, so it is
  said once more after `AGAIN_NS` unless something new sounds by then. `close`, leaving the context, an exception, the
  end of the interpreter, SIGTERM and SIGHUP end in it (see `exits`).
- A note whose moment passed more than `LATE_NS` ago (the computer slept, the port was away) is left out.
- While a port is open it gets active sensing, so that an instrument falls silent by itself 330 ms after a program that
  could not say so (SIGKILL, a loss of power).
- A port that goes away is told once, as is its coming back; cues go on meanwhile, unheard.
- `hear` never sounds into the player's playing: unasked it does not begin while keys are down or within
  `PLAYING_NS` of the last one struck, and the next key struck ends it.

An instrument may send back what it is sent. Such an echo (the same key and velocity within `ECHO_NS`) is no playing:
`player` says so, and the caller leaves it out. One that sent nothing back of the first `ECHOED_NOTES` notes never will,
and whatever comes from it is the player's.

Source: MIDI 1.0 (CC64, CC123; active sensing FEh, at least every 300 ms).
"""

from __future__ import annotations

import os
import threading
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from heapq import heappop, heappush
from itertools import count
from time import perf_counter_ns, sleep
from types import TracebackType
from typing import Final, Self

from trainer.accompaniment import Cue, SoundNote, cues
from trainer.capture import MILLISECOND_NS, Kind, NoteEvent
from trainer.midi.names import PortError
from trainer.sound import exits
from trainer.sound.outputs import Output
from trainer.timing import Grid

FINE_NS: Final = 1 * MILLISECOND_NS
LATE_NS: Final = 150 * MILLISECOND_NS
AGAIN_NS: Final = 30 * MILLISECOND_NS
SOON_NS: Final = 20 * MILLISECOND_NS
"""From being asked to the first note of what is heard."""
PLAYING_NS: Final = 500 * MILLISECOND_NS
ECHO_NS: Final = 60 * MILLISECOND_NS
ECHOED_NOTES: Final = 8
LOOK_SECONDS: Final = 0.5
CLEAR_NS: Final = 20 * MILLISECOND_NS
"""The list of ports is looked at where nothing is due so soon, since a look holds the interpreter for a while; but
for `LONGEST_UNSEEN_NS` at most it is not looked at."""
LONGEST_UNSEEN_NS: Final = 1500 * MILLISECOND_NS
SENSING_SECONDS: Final = 0.2
_SENSING: Final = (0xFE,)
_ON: Final = 0x90
_OFF: Final = 0x80
_CONTROL: Final = 0xB0
_SUSTAIN: Final = 64
_ALL_NOTES_OFF: Final = 123

_GONE: Final = "{name} is not connected any more: nothing is sounded until it is back."

Told = Callable[[str], None]
"""Takes a line for the player; called on a thread of the sound's own."""


def _nobody(line: str) -> None:
    """Takes a line that nobody waits for."""


def open_sound(wanted: str = "", *, beside: str = "", backend: str | None = None, told: Told = _nobody) -> Sound:
    """A port to sound on, opened: `wanted` by name or part, else the one `beside` the piano listened to, else the first
    that may be a piano. Raises `PortError` with what was found and what to do.
    """
    output = Output(wanted, beside=beside, backend=backend)
    output.open()
    return Sound(output, told)


def _be_prompt() -> None:
    """Let the calling thread go before those of other programs, where the system allows it (on Linux for members of a
    group that may, as those of `audio` often are). It sleeps nearly always, so that nothing has to wait for it."""
    try:
        os.sched_setscheduler(0, os.SCHED_RR, os.sched_param(1))
    except (AttributeError, OSError):
        return


class Sound:
    """Sounds cues on an open port until it is closed. Any thread may call any of it; nothing waits but `wait`."""

    def __init__(self, output: Output, told: Told = _nobody) -> None:
        self._output = output
        self._told = told
        # Reentrant: a signal may come while the very thread that it interrupts holds it.
        self._lock = threading.RLock()
        self._turn = threading.Condition(self._lock)
        self._queue: list[tuple[int, int, tuple[int, ...]]] = []
        self._order = count()
        self._sounding: set[tuple[int, int]] = set()  # (channel, key)
        self._channels: set[int] = set()
        self._again_ns: int | None = None
        self._hearing = False
        self._held: set[int] = set()
        self._struck_ns: int | None = None
        self._sent: dict[tuple[Kind, int, int], int] = {}  # (kind, key, velocity) -> when, for echoes
        self._sent_notes = 0
        self._echoed = False
        self._lost = False
        self._ending = False
        self._wake = threading.Event()
        self._threads = [
            threading.Thread(target=self._play, name="MIDI sound", daemon=True),
            threading.Thread(target=self._watch, name="MIDI sound watch", daemon=True),
        ]
        exits.keep(self)
        for thread in self._threads:
            thread.start()

    # -- what it is asked

    @property
    def name(self) -> str:
        """The port, as shown to the player."""
        return self._output.name

    @property
    def connected(self) -> bool:
        """Whether the port is there now."""
        return not self._lost and not self._ending

    @property
    def silent(self) -> bool:
        """Whether nothing sounds and nothing is to come."""
        with self._lock:
            return not self._sounding and not self._queue

    def play(self, coming: Iterable[Cue]) -> None:
        """Send these messages at their moments, besides what is to come already."""
        with self._turn:
            if self._ending:
                return
            for cue in coming:
                heappush(self._queue, (cue.time_ns, next(self._order), cue.message))
            self._turn.notify_all()

    def hear(self, notes: Iterable[SoundNote], *, tempo_bpm: float = 60, asked: bool = True) -> bool:
        """Sound some notes now (their beat 0 is now), in place of what sounded; False where it was not `asked` for and
        the player is playing: then nothing sounds."""
        with self._lock:
            if self._ending or (not asked and self.player_is_playing):
                return False
            self.hush()
            coming = cues(notes, Grid(tempo_bpm, perf_counter_ns() + SOON_NS))
            self._hearing = bool(coming)
            self.play(coming)
            return True

    def hush(self) -> None:
        """Let go of what sounds and drop what is to come, softly: no other note of the instrument is touched."""
        with self._turn:
            self._queue.clear()
            self._hearing = False
            self._release()
            self._turn.notify_all()

    def stop(self) -> None:
        """All notes off, immediately; what was to come is dropped."""
        with self._turn:
            self.hush()
            self._send_off()
            self._again_ns = perf_counter_ns() + AGAIN_NS
            self._turn.notify_all()

    def wait(self, seconds: float | None = None) -> bool:
        """Wait until all has been sounded; False where it has not by then."""
        with self._turn:
            return self._turn.wait_for(lambda: self._ending or (not self._queue and not self._sounding), seconds)

    def close(self) -> None:
        """Stop and let go of the port; may be called twice."""
        with self._turn:
            if self._ending:
                return
            self.stop()
            self._ending = True
            self._turn.notify_all()
        self._wake.set()
        for thread in self._threads:
            if thread is not threading.current_thread():
                thread.join()
        if not self._lost:
            sleep(AGAIN_NS / 1e9)
            self._send_off()
            sleep(exits.DELIVERED_SECONDS)
        self._output.close()
        exits.release(self)

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, value: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    # -- the player

    @property
    def player_is_playing(self) -> bool:
        """Whether the player holds a key or struck one a moment ago, as told by `player`."""
        with self._lock:
            struck = self._struck_ns
            return bool(self._held) or (struck is not None and perf_counter_ns() - struck < PLAYING_NS)

    def player(self, event: NoteEvent) -> bool:
        """Take an event of the player's piano (not of a command key). True where it is no playing but an echo of what
        was sounded, to be left out by the caller. A key struck ends what is heard.
        """
        with self._lock:
            if event.kind in (Kind.DOWN, Kind.UP) and self._echoes(event):
                return True
            if event.kind is Kind.DOWN:
                self._held.add(event.key)
                self._struck_ns = event.time_ns
                if self._hearing:
                    self.hush()
            elif event.kind is Kind.UP:
                self._held.discard(event.key)
            elif event.kind in (Kind.QUIET, Kind.PORT_LOST):
                self._held.clear()
            return False

    def _echoes(self, event: NoteEvent) -> bool:
        if not self._echoed and self._sent_notes > ECHOED_NOTES:
            return False
        velocity = event.value if event.kind is Kind.DOWN else 0
        sent_ns = self._sent.get((event.kind, event.key, velocity))
        if sent_ns is None or not 0 <= event.time_ns - sent_ns <= ECHO_NS:
            return False
        if event.kind is Kind.UP and event.key in self._held:
            return False
        del self._sent[event.kind, event.key, velocity]
        self._echoed = True
        return True

    # -- sending, under the lock

    def _send(self, message: tuple[int, ...]) -> None:
        """Hand a message to the port; what it cannot take is lost, and the watch looks after the port."""
        if self._lost:
            return
        try:
            self._output.send(message)
        except PortError:
            self._lost = True
            self._wake.set()

    def _sound(self, message: tuple[int, ...]) -> None:
        """Send a message that is due, and keep account of what sounds."""
        kind, channel = message[0] & 0xF0, message[0] & 0x0F
        if kind not in (_ON, _OFF):
            self._channels.add(channel)
            self._send(message)
            return
        key = message[1]
        if kind == _ON and message[2]:
            self._channels.add(channel)
            self._sounding.add((channel, key))
            self._sent[Kind.DOWN, key, message[2]] = perf_counter_ns()
            self._sent_notes += 1
            self._send(message)
        elif (channel, key) in self._sounding:
            self._sounding.discard((channel, key))
            self._sent[Kind.UP, key, 0] = perf_counter_ns()
            self._send(message)

    def _release(self) -> None:
        """Let go of every key that sounds."""
        for channel, key in sorted(self._sounding):
            self._sound((_OFF | channel, key, 0))
        self._sounding.clear()

    def _send_off(self) -> None:
        """Pedal up and all notes off on every channel that was used."""
        for channel in sorted(self._channels):
            self._send((_CONTROL | channel, _SUSTAIN, 0))
            self._send((_CONTROL | channel, _ALL_NOTES_OFF, 0))

    def end_now(self) -> bool:
        """For `exits`: silence, even where another thread holds the lock and will not come to let go of it."""
        if not self._channels or self._lost:
            return False
        with self._lock_soon():
            self._ending = True
            self._queue.clear()
            for channel, key in sorted(self._sounding):
                self._send((_OFF | channel, key, 0))
            self._send_off()
        return True

    def let_go_now(self) -> None:
        """For `exits`: close the port, unless a thread is in the middle of using it."""
        with self._lock_soon() as ours:
            self._ending = self._lost = True
            if ours:
                self._output.close()

    @contextmanager
    def _lock_soon(self) -> Iterator[bool]:
        """The lock, if it can be had at once; whether it could."""
        ours = self._lock.acquire(timeout=0.1)
        try:
            yield ours
        finally:
            if ours:
                self._lock.release()

    # -- the thread that plays

    def _play(self) -> None:
        _be_prompt()
        while True:
            with self._turn:
                if self._ending:
                    return
                due_ns = self._due_ns()
                if due_ns is None:
                    self._turn.wait()
                    continue
                left_ns = due_ns - perf_counter_ns()
                if left_ns > FINE_NS:
                    self._turn.wait((left_ns - FINE_NS) / 1e9)
                    continue
            if left_ns > 0:
                sleep(left_ns / 1e9)
            with self._turn:
                self._send_due()

    def _due_ns(self) -> int | None:
        moments = [self._again_ns] if self._again_ns is not None else []
        if self._queue:
            moments.append(self._queue[0][0])
        return min(moments, default=None)

    def _send_due(self) -> None:
        now_ns = perf_counter_ns()
        if self._again_ns is not None and self._again_ns <= now_ns:
            self._again_ns = None
            if not self._sounding:
                self._send_off()
        while self._queue and self._queue[0][0] <= now_ns:
            due_ns, _, message = heappop(self._queue)
            if message[0] & 0xF0 == _ON and message[2] and now_ns - due_ns > LATE_NS:
                continue
            self._sound(message)
        if not self._queue and not self._sounding:
            self._hearing = False
            self._turn.notify_all()

    # -- the thread that watches the port

    def _watch(self) -> None:
        _be_prompt()  # it holds the interpreter while it looks, and must not be interrupted then
        told = False
        look_ns = perf_counter_ns()
        while True:
            self._wake.wait(SENSING_SECONDS)
            self._wake.clear()
            if self._ending:
                return
            with self._lock:
                self._send(_SENSING)
                due_ns = self._due_ns()
            now_ns = perf_counter_ns()
            busy = due_ns is not None and due_ns - now_ns < CLEAR_NS
            if not self._lost and (now_ns < look_ns or (busy and now_ns < look_ns + LONGEST_UNSEEN_NS)):
                continue
            look_ns = perf_counter_ns() + int(LOOK_SECONDS * 1e9)
            try:
                self._look()
            except Exception:  # noqa: BLE001 - a driver's fault must not end the watch: the next look may go well
                pass
            if self._lost != told:
                told = self._lost
                self._tell(_GONE.format(name=self.name) if told else f"{self.name} is back.")

    def _look(self) -> None:
        if not self._lost and self._output.vanished():
            with self._lock:
                self._lost = True
        if not self._lost:
            return
        if self._output.is_open:
            self._output.let_go()
        if self._output.take_again():
            with self._lock:
                self._lost = False
                # What sounded when it went away may sound there still.
                self._sounding.clear()
                self._send_off()

    def _tell(self, line: str) -> None:
        try:
            self._told(line)
        except Exception:  # noqa: BLE001 - a listener's fault must not end the watch over the port
            return
