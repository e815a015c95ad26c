"""Keeps the machine awake while something runs, through systemd-logind."""

import contextlib
import select
import subprocess
from collections.abc import Sequence

PROGRAM = "systemd-inhibit"
# A block of the lid's switch needs rights that not every session has: then without it.
KINDS = ("sleep:idle:handle-lid-switch", "sleep:idle")
# Judgement: ten times what it takes; the clocks are not looked at meanwhile.
START_TIMEOUT_S = 1.0
_SIGN = b"held\n"


class SleepInhibitor:
    """A lock on sleep, held by a child process that ends with this one, however it ends."""

    def __init__(self, program: str = PROGRAM) -> None:
        """Holds nothing yet.

        Args:
            program: the command that holds the lock while another command runs.
        """
        self._program = program
        self._child: subprocess.Popen[bytes] | None = None

    @property
    def is_held(self) -> bool:
        """Whether the machine is kept awake."""
        return self._child is not None and self._child.poll() is None

    def hold(self) -> bool:
        """Keeps the machine awake from now on; False where that cannot be had."""
        if self.is_held:
            return True
        self.release()
        for kinds in KINDS:
            self._child = _started(
                (
                    self._program,
                    f"--what={kinds}",
                    "--who=Handsfree",
                    "--why=Epoxy is curing and timers run",
                    "--mode=block",
                    "cat",
                )
            )
            if self._child is not None:
                return True
        return False

    def release(self) -> None:
        """Lets the machine sleep again."""
        child, self._child = self._child, None
        if child is not None:
            _end(child)


def _started(command: Sequence[str]) -> "subprocess.Popen[bytes] | None":
    """The child once it holds the lock; None where it does not get it.

    The inner command repeats what it reads, and it is started only once the lock is held: an
    answer proves it. It ends when our end of its input closes, even by a crash of ours.
    """
    try:
        child = subprocess.Popen(
            command,
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            start_new_session=True,
        )
    except OSError:
        return None
    assert child.stdin is not None
    assert child.stdout is not None
    with contextlib.suppress(BrokenPipeError):
        child.stdin.write(_SIGN)
        child.stdin.flush()
    ready, _, _ = select.select([child.stdout], [], [], START_TIMEOUT_S)
    if ready and child.stdout.readline() == _SIGN:
        return child
    child.kill()
    _end(child)
    return None


def _end(child: "subprocess.Popen[bytes]") -> None:
    assert child.stdin is not None
    assert child.stdout is not None
    with contextlib.suppress(BrokenPipeError):
        child.stdin.close()
    try:
        child.wait(START_TIMEOUT_S)
    except subprocess.TimeoutExpired:
        child.kill()
        child.wait()
    child.stdout.close()
