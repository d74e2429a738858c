"""Telling the system's service manager how the service is: ready, alive, stopping (the protocol of sd_notify(3)).

A datagram to the socket that the manager names. Alive is said by the loop itself after each turn, never by a clock of
its own: a loop that hangs falls silent, and is started anew.
"""

import contextlib
import os
import socket
import time
from collections.abc import Callable, Mapping

_SHARE = 0.4  # of the manager's patience: half is advised, and a turn of the loop may take a second


class Notifier:
    """Speaks to the manager, or to nobody where none is named. environment: os.environ, or a stand-in."""

    def __init__(self, environment: Mapping[str, str], clock: Callable[[], float] = time.monotonic) -> None:
        self._address, self._clock = environment.get("NOTIFY_SOCKET", ""), clock
        mine = environment.get("WATCHDOG_PID", str(os.getpid())) == str(os.getpid())
        patience = environment.get("WATCHDOG_USEC", "0")
        self._every_s = int(patience) / 1e6 * _SHARE if mine and patience.isdigit() else 0.0
        self._next, self._status = 0.0, ""

    def ready(self) -> None:
        """The service has started: the inbox was looked through once."""
        self._send("READY=1")

    def alive(self, status: str = "") -> None:
        """The loop has taken a turn; said as often as the manager wants to hear it. status: one line for people."""
        now = self._clock()
        if self._every_s and now >= self._next:
            self._next = now + self._every_s
            self._send("WATCHDOG=1")
        if status and status != self._status:
            self._status = status
            self._send(f"STATUS={status}")

    def stopping(self) -> None:
        """The service ends by itself."""
        self._send("STOPPING=1")

    def _send(self, word: str) -> None:
        if not self._address or not hasattr(socket, "AF_UNIX"):
            return
        address = f"\0{self._address[1:]}" if self._address.startswith("@") else self._address
        with contextlib.suppress(OSError), socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as sender:
            sender.setblocking(False)
            sender.sendto(word.encode(), address)
