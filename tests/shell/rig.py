"""Real sound without hardware: a private PulseAudio server with null sinks as devices.

"spk" is where the program's speech goes, "mic" is where a test plays the user's voice. Needs the
Debian packages pulseaudio, pulseaudio-utils, libportaudio2 and libasound2-plugins.
"""

import os
import queue
import shutil
import signal
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import numpy as np
import soundfile
import soxr

DEVICE_RATE_HZ = 48_000
ALSA_CONF = (
    "</usr/share/alsa/alsa.conf>\npcm.!default { type pulse }\nctl.!default { type pulse }\n"
)
MISSING = next((p for p in ("pulseaudio", "pactl", "paplay", "parec") if not shutil.which(p)), None)


class Rig:
    """The sound server and its two devices."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        (folder / "alsa.conf").write_text(ALSA_CONF)
        self.environment = os.environ | {
            "XDG_RUNTIME_DIR": str(folder),
            "PULSE_RUNTIME_PATH": str(folder),
            "PULSE_SERVER": f"unix:{folder}/native",
            "ALSA_CONFIG_PATH": str(folder / "alsa.conf"),
        }
        self.programs: list[Program] = []
        self._hiss: subprocess.Popen[bytes] | None = None
        self._server: subprocess.Popen[bytes] | None = None
        self._keeping_open: list[subprocess.Popen[bytes]] = []

    def start(self) -> None:
        """Starts the server and its devices."""
        native = f"module-native-protocol-unix socket={self.folder}/native auth-anonymous=1"
        sinks = (f"module-null-sink sink_name={name} rate={DEVICE_RATE_HZ} channels=1"
                 for name in ("spk", "mic"))  # fmt: skip
        loads = [part for module in (native, *sinks) for part in ("-L", module)]
        command = ["pulseaudio", "-n", "--daemonize=no", "--exit-idle-time=-1", "--use-pid-file=no"]
        self._server = subprocess.Popen(
            [*command, *loads],
            env=self.environment,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )
        wait_until(lambda: self._is_up(), 10)
        self.pactl("set-default-sink", "spk")
        self.pactl("set-default-source", "mic.monitor")
        # An idle null sink sleeps in steps of two seconds: a listener keeps it awake.
        for name in ("spk", "mic"):
            command = ["parec", f"--device={name}.monitor", "--latency-msec=10"]
            self._keeping_open.append(
                subprocess.Popen(command, env=self.environment, stdout=subprocess.DEVNULL)
            )
        time.sleep(2.2)

    def _is_up(self) -> bool:
        command = ["pactl", "info"]
        return not subprocess.run(command, env=self.environment, capture_output=True).returncode

    def stop(self) -> None:
        """Ends all of it."""
        self.stop_hiss()
        for process in (*self._keeping_open, *([self._server] if self._server else [])):
            process.kill()
            process.wait()
        self._keeping_open, self._server = [], None

    def kill_server(self) -> None:
        """As a sound server that crashes."""
        assert self._server is not None
        self._server.send_signal(signal.SIGKILL)
        self._server.wait()

    def pactl(self, *words: str) -> str:
        """One command to the server."""
        done = subprocess.run(
            ["pactl", *words], env=self.environment, capture_output=True, check=True, text=True
        )
        return done.stdout

    def speak(self, path: Path) -> None:
        """The user speaks a recording, and is done when this returns."""
        sound, rate_hz = soundfile.read(path, dtype="float32")
        with tempfile.NamedTemporaryFile(suffix=".wav") as file:
            soundfile.write(
                file.name, soxr.resample(sound, rate_hz, DEVICE_RATE_HZ), DEVICE_RATE_HZ
            )
            subprocess.run(["paplay", "--device=mic", file.name], env=self.environment, check=True)

    def start_hiss(self) -> None:
        """The noise that a real microphone has."""
        noise = np.random.default_rng(1).standard_normal(60 * DEVICE_RATE_HZ) * 3e-4
        path = self.folder / "hiss.wav"
        soundfile.write(path, noise.astype(np.float32), DEVICE_RATE_HZ)
        loop = f"while paplay --device=mic {path}; do :; done"
        self._hiss = subprocess.Popen(
            ["bash", "-c", loop], env=self.environment, start_new_session=True
        )

    def stop_hiss(self) -> None:
        """Ends the noise; else the server would move it to another device."""
        if self._hiss is not None:
            os.killpg(self._hiss.pid, signal.SIGKILL)
            self._hiss.wait()
            self._hiss = None


class Program:
    """The program on the rig, with the lines it prints and when."""

    def __init__(self, rig: Rig, data: Path, *options: str, command: str = "run") -> None:
        where = ["--data", str(data)] if command == "run" else []
        command_line = [sys.executable, "-m", "handsfree", command, *where, *options]
        self.process = subprocess.Popen(
            command_line,
            env=rig.environment | {"PYTHONUNBUFFERED": "1"},
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            text=True,
        )
        self.lines: list[tuple[float, str]] = []
        self._new: queue.Queue[None] = queue.Queue()
        self._reader = threading.Thread(target=self._read, daemon=True)
        self._reader.start()
        rig.programs.append(self)

    def _read(self) -> None:
        assert self.process.stdout is not None
        for line in self.process.stdout:
            self.lines.append((time.monotonic(), line.strip()))
            self._new.put(None)

    def wait_for(self, text: str, timeout_s: float, *, after: int = 0, other: str = "") -> float:
        """The moment at which a line with that text came.

        Args:
            text: part of the line.
            other: what will do as well; empty: nothing.
            timeout_s: how long to wait.
            after: how many lines not to look at.
        """
        end = time.monotonic() + timeout_s
        while True:
            for moment, line in self.lines[after:]:
                if text in line or (other and other in line):
                    return moment
            left = end - time.monotonic()
            if left <= 0:
                shown = "\n".join(line for _, line in self.lines)
                raise AssertionError(f"{text!r} was not said in {timeout_s} s. Said:\n{shown}")
            try:
                self._new.get(timeout=min(left, 0.2))
            except queue.Empty:
                continue

    def stop(self) -> int:
        """Asks it to stop and returns its exit code."""
        self.process.terminate()
        try:
            return self.process.wait(10)
        finally:
            self.process.kill()
            self._reader.join()
            assert self.process.stdout is not None
            self.process.stdout.close()


def wait_until(is_so: Callable[[], bool], timeout_s: float) -> None:
    """Waits for something outside the program; a rig has no clock to inject."""
    end = time.monotonic() + timeout_s
    while not is_so():
        assert time.monotonic() < end, "the sound server did not start"
        time.sleep(0.1)


@contextmanager
def rigged() -> Iterator[Rig]:
    """A rig that runs."""
    with tempfile.TemporaryDirectory(prefix="rig-") as folder:
        rig = Rig(Path(folder))
        try:
            rig.start()
            yield rig
        finally:
            for program in rig.programs:
                program.stop()
            rig.stop()
