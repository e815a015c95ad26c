"""A child process that answers over a pipe, and may crash or hang without harm."""

import multiprocessing
from collections.abc import Callable
from multiprocessing.connection import Connection
from multiprocessing.process import BaseProcess
from typing import Any


class Child:
    """Runs ``target(pipe, *arguments)`` in a process of its own."""

    def __init__(
        self,
        name: str,
        lost: type[Exception],
        target: Callable[..., None],
        *arguments: object,
    ) -> None:
        """Starts nothing yet.

        Args:
            name: for messages, such as "recognizer".
            lost: raised, with one sentence, when the child crashed or hangs.
            target: the child's whole life; takes its end of the pipe first.
            arguments: the others.
        """
        self._name = name
        self._lost = lost
        self._target = target
        self._arguments = arguments
        self._process: BaseProcess | None = None
        self._pipe: Connection | None = None

    @property
    def pid(self) -> int | None:
        """The process id; None when it is not running."""
        return self._process.pid if self._process is not None else None

    def start(self) -> None:
        """Starts a fresh process, in place of one that may still run."""
        self.stop()
        # Spawned, not forked: threads and the recognizer's memory do not survive a fork.
        context = multiprocessing.get_context("spawn")
        self._pipe, far_end = context.Pipe()
        self._process = context.Process(
            target=self._target, args=(far_end, *self._arguments), name=self._name, daemon=True
        )
        self._process.start()
        far_end.close()

    def stop(self) -> None:
        """Ends the process, whatever it is doing."""
        if self._pipe is not None:
            self._pipe.close()
        if self._process is not None:
            self._process.kill()
            self._process.join()
            self._process.close()
        self._pipe = self._process = None

    def send(self, message: object) -> None:
        """Sends a message; raises ``lost`` when nobody is there."""
        try:
            self._open_pipe().send(message)
        except OSError as error:
            raise self._lost(f"the {self._name} crashed") from error

    def has_answer(self, timeout_s: float = 0.0) -> bool:
        """Whether a message comes in time; raises ``lost`` when the child is not running."""
        try:
            return self._open_pipe().poll(timeout_s)
        except OSError as error:
            raise self._lost(f"the {self._name} crashed") from error

    def receive(self, timeout_s: float) -> Any:
        """The next message; raises ``lost`` when none comes in time."""
        pipe = self._open_pipe()
        try:
            if not pipe.poll(timeout_s):
                raise self._lost(f"the {self._name} gave no answer for {timeout_s:g} s")
            return pipe.recv()
        except (OSError, EOFError) as error:
            raise self._lost(f"the {self._name} crashed") from error

    def _open_pipe(self) -> Connection:
        if self._pipe is None:
            raise self._lost(f"the {self._name} is not running")
        return self._pipe
