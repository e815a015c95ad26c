"""A key or a pedal in place of the wake phrase: USB pedals type a key like any keyboard."""

import contextlib
import os
import select
import sys
import threading
from collections.abc import Callable

POLL_S = 0.2


class Keys:
    """Calls back at each key pressed in the terminal; Ctrl-C still stops the program."""

    def __init__(self, on_key: Callable[[], None]) -> None:
        """Starts the thread; where there is no terminal, no key ever comes."""
        self._on_key = on_key
        self._stopping = threading.Event()
        self._thread: threading.Thread | None = None
        if sys.stdin is not None and sys.stdin.isatty():
            self._thread = threading.Thread(target=self._run, name="keys", daemon=True)
            self._thread.start()

    def stop(self) -> None:
        """Ends the thread and leaves the terminal as it was."""
        self._stopping.set()
        if self._thread is not None:
            self._thread.join()

    def _run(self) -> None:
        if sys.platform == "win32":
            self._run_on_windows()
            return
        import termios
        import tty

        terminal = sys.stdin.fileno()
        before = termios.tcgetattr(terminal)
        try:
            tty.setcbreak(terminal)
            while not self._stopping.is_set():
                ready, _, _ = select.select([terminal], [], [], POLL_S)
                # Read all that is there: a key that repeats while held is one press.
                if ready and os.read(terminal, 1024):
                    self._on_key()
        finally:
            with contextlib.suppress(termios.error):
                termios.tcsetattr(terminal, termios.TCSADRAIN, before)

    def _run_on_windows(self) -> None:
        import msvcrt

        while not self._stopping.wait(POLL_S):
            pressed = False
            while msvcrt.kbhit():  # type: ignore[attr-defined,unused-ignore]
                msvcrt.getch()  # type: ignore[attr-defined,unused-ignore]
                pressed = True
            if pressed:
                self._on_key()
