"""Memory and processor time of ``handsfree run`` with real sound, on part of one core.

``python -m tests.bench_live [--core-percent 100 --core-percent 25] [--seconds 30]``: the rig of
``tests/shell/rig.py``, as root, with a control group (version 1) that holds all processes of the
program to a share of one core: a stand-in for a small computer with a low clock.
"""

import argparse
import http.client
import os
import tempfile
import threading
import time
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path
from urllib.parse import urlsplit

from tests.conftest import FIXTURES
from tests.shell.rig import Program, Rig, rigged

GROUP = Path("/sys/fs/cgroup/cpu/handsfree-bench")
PERIOD_US, LARGEST_SHARES = 100_000, 262_144
TICKS_PER_S = os.sysconf("SC_CLK_TCK")
OPENING_S = 25.0  # The caution at the start is being said.
SAID = ("status", "how_much_hardener", "what_is_the_total", "how_long_is_left")
ANSWERED_S = 8.0  # A short answer has been spoken; over its own voice it would not listen.


@contextmanager
def core_share(percent: int) -> Iterator[Path]:
    """A control group that gets so much of one core."""
    GROUP.mkdir()
    try:
        (GROUP / "cpu.cfs_period_us").write_text(str(PERIOD_US))
        (GROUP / "cpu.cfs_quota_us").write_text(str(PERIOD_US * percent // 100))
        # It gets its share, whatever else runs on this machine.
        (GROUP / "cpu.shares").write_text(str(LARGEST_SHARES))
        yield GROUP
    finally:
        GROUP.rmdir()


def family(pid: int) -> list[int]:
    """A process and all that come from it."""
    parents: dict[int, list[int]] = {}
    for entry in Path("/proc").iterdir():
        if entry.name.isdecimal():
            try:
                stat = (entry / "stat").read_text()
            except OSError:
                continue
            parent = int(stat.rpartition(")")[2].split()[1])
            parents.setdefault(parent, []).append(int(entry.name))
    found = [pid]
    for one in found:
        found += parents.get(one, [])
    return found


def memory_mb(pid: int) -> dict[str, float]:
    """Proportional set size of each process by its title, in MB; shared pages count once in all."""
    sizes: dict[str, float] = {}
    for number, one in enumerate(family(pid)):
        lines = Path(f"/proc/{one}/smaps_rollup").read_text(encoding="ascii").splitlines()
        pss = next(line for line in lines if line.startswith("Pss:")).split()[1]
        sizes[f"process {number}"] = int(pss) / 1024
    return sizes


def processor_s(pid: int) -> float:
    """Processor time of all processes so far."""
    total = 0
    for one in family(pid):
        try:
            fields = Path(f"/proc/{one}/stat").read_text().rpartition(")")[2].split()
        except OSError:
            continue
        total += int(fields[11]) + int(fields[12])
    return total / TICKS_PER_S


def share_over(program: Program, seconds: float) -> float:
    """Share of a core that the program takes over some seconds."""
    pid = program.process.pid
    before, at = processor_s(pid), time.monotonic()
    time.sleep(seconds)
    return (processor_s(pid) - before) / (time.monotonic() - at)


def say(rig: Rig, program: Program, name: str) -> bool:
    """Speaks a recording, and whether it was answered."""
    (path,) = (FIXTURES / "commands").glob(f"*_{name}.flac")
    seen = len(program.lines)
    rig.speak(path)
    try:
        program.wait_for("", ANSWERED_S, after=seen)
    except AssertionError:
        return False
    return True


def look_on(address: str) -> None:
    """Reads the board's news as a page does, until it ends."""
    parts = urlsplit(address)
    connection = http.client.HTTPConnection(parts.netloc)
    connection.request("GET", "/news", headers={"Authorization": f"Bearer {parts.fragment}"})
    answer = connection.getresponse()
    while answer.read1(4096):
        pass


def measured(rig: Rig, percent: int, seconds: float, *, has_board: bool) -> dict[str, str]:
    """One row of the table."""
    with tempfile.TemporaryDirectory() as folder, core_share(percent) as group, ExitStack() as end:
        began = time.monotonic()
        program = Program(rig, Path(folder), *(["--board"] if has_board else []))
        end.callback(program.stop)
        (group / "cgroup.procs").write_text(str(program.process.pid))
        listening_s = program.wait_for("Listening on", 60) - began
        program.wait_for("Gate Coat", 30)
        if has_board:
            (file,) = Path(folder).glob("board-*.txt")
            address = file.read_text(encoding="utf-8").split()[-1]
            threading.Thread(target=look_on, args=(address,), daemon=True).start()
        time.sleep(OPENING_S)
        listening = share_over(program, seconds)
        pid = program.process.pid
        answers, before, at = [], processor_s(pid), time.monotonic()
        for name in SAID * 2:
            answers.append(say(rig, program, name))
            time.sleep(ANSWERED_S)
        talking = (processor_s(pid) - before) / (time.monotonic() - at)
        say(rig, program, "help")
        speaking = share_over(program, 3)
        memory = memory_mb(pid)
    return {
        "core": f"{percent} %",
        "board": "with one page" if has_board else "no",
        "start to listening": f"{listening_s:.1f} s",
        "listening": f"{100 * listening:.1f} %",
        "talked to": f"{100 * talking:.1f} %",
        "answering aloud": f"{100 * speaking:.1f} %",
        "answered": f"{sum(answers)} of {len(answers)}",
        "memory": f"{sum(memory.values()):.0f} MB in {len(memory)}",
    }


def main() -> None:
    """Prints a table in Markdown."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--core-percent", type=int, action="append")
    parser.add_argument("--seconds", type=float, default=30.0)
    args = parser.parse_args()
    is_first = True
    with rigged() as rig:
        rig.start_hiss()
        for percent in args.core_percent or [100, 25]:
            for has_board in (False, True):
                row = measured(rig, percent, args.seconds, has_board=has_board)
                if is_first:
                    print("|", " | ".join(row), "|")
                    print("|", " | ".join("---" for _ in row), "|")
                is_first = False
                print("|", " | ".join(row.values()), "|", flush=True)


if __name__ == "__main__":
    main()
