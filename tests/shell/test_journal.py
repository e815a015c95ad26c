"""The journal: nothing that was said to be saved is lost, and no damage passes in silence."""

import errno
import os
import random
import signal
import stat
import subprocess
import sys
import zlib
from collections.abc import Sequence
from pathlib import Path

import pytest

from handsfree.job.event_format import FORMAT_VERSION
from handsfree.job.events import Event
from handsfree.job.restart import replay_parts
from handsfree.job.state import replay
from handsfree.shell.files import Files
from handsfree.shell.journal import (
    JOURNAL_NAME,
    Journal,
    JournalBusy,
    JournalUnreadable,
)
from handsfree.shell.journal_entries import Contents, Gap, NotSaved, Recorded, contents_of, line_of
from tests.shell.journal_faults import NOON, SHORT, FaultyFiles, UnsyncedFiles, decisions, stamp

VERSION, NEWER = b'"v":%d' % FORMAT_VERSION, b'"v":%d' % (FORMAT_VERSION + 1)
GOLDEN = Path(__file__).parent / "journals"


def written(folder: Path, batches: Sequence[tuple[Event, ...]]) -> bytes:
    """The bytes of a journal with these decisions."""
    journal = Journal(folder, UnsyncedFiles())
    journal.open()
    journal.begin(stamp(NOON), "Gate Coat")
    for events in batches:
        journal.append(events, stamp(NOON))
    journal.close()
    return (folder / JOURNAL_NAME).read_bytes()


def reopened(folder: Path, data: bytes | None = None) -> Contents:
    """What a new start finds, when the file holds the data."""
    if data is not None:
        (folder / JOURNAL_NAME).write_bytes(data)
    journal = Journal(folder, UnsyncedFiles())
    try:
        return journal.open()
    finally:
        journal.close()


def test_what_was_appended_is_read_back(tmp_path: Path) -> None:
    batches = list(decisions(20))
    written(tmp_path, batches)
    contents = reopened(tmp_path)
    assert contents.parts == (tuple(event for events in batches for event in events),)
    assert contents.product == "Gate Coat"
    assert contents.last_stamp == stamp(NOON)
    assert not contents.damage
    assert contents.tail == b""


def test_the_next_start_goes_on_in_the_same_file(tmp_path: Path) -> None:
    written(tmp_path, list(decisions(3)))
    written(tmp_path, list(decisions(3)))
    entries = reopened(tmp_path).entries
    assert [entry.seq for entry in entries] == list(range(1, 9))


def test_only_the_owner_may_read_it(tmp_path: Path) -> None:
    folder = tmp_path / "new"
    written(folder, [])
    assert stat.S_IMODE((folder / JOURNAL_NAME).stat().st_mode) == 0o600
    assert stat.S_IMODE(folder.stat().st_mode) == 0o700


def test_a_write_is_synced_before_it_counts(tmp_path: Path) -> None:
    files = FaultyFiles()
    journal = Journal(tmp_path, files)
    journal.open()
    files.calls.clear()
    journal.append((), stamp(NOON))
    assert files.calls == ["write", "sync"]
    journal.close()


# --- a file that was cut or changed -------------------------------------------------------


def lines_before(data: bytes, offset: int) -> int:
    """How many whole lines lie before an offset."""
    return data[:offset].count(b"\n")


def check_cut(data: bytes, offset: int) -> None:
    contents = contents_of(data[:offset])
    assert len(contents.entries) == lines_before(data, offset)
    assert contents.sound_bytes + len(contents.tail) == offset
    assert not contents.damage


def test_a_cut_at_any_byte_leaves_the_longest_whole_record(tmp_path: Path) -> None:
    data = written(tmp_path, list(decisions(6)))
    for offset in range(len(data) + 1):
        check_cut(data, offset)


@pytest.mark.slow
def test_a_cut_at_any_byte_of_a_long_journal(tmp_path: Path) -> None:
    events = [event for batch in decisions(340) for event in batch]
    assert len(events) >= 500
    data = written(tmp_path, [tuple(events[at : at + 5]) for at in range(0, len(events), 5)])
    assert len(data) >= 60_000
    for offset in range(len(data) + 1):
        check_cut(data, offset)


def test_a_torn_end_is_copied_aside_cut_off_and_reported(tmp_path: Path) -> None:
    data = written(tmp_path, list(decisions(4)))
    whole = data[: data.rindex(b"\n", 0, -1) + 1]
    torn = data[len(whole) : -30]
    assert reopened(tmp_path, whole + torn).tail == torn
    assert (tmp_path / JOURNAL_NAME).read_bytes() == whole
    (copy,) = tmp_path.glob("torn-*.log")
    assert copy.read_bytes() == torn
    assert reopened(tmp_path).tail == b""


def test_damage_in_the_middle_is_kept_aside_and_stepped_over(tmp_path: Path) -> None:
    data = written(tmp_path, list(decisions(6)))
    lines = data.splitlines(keepends=True)
    broken = [*lines[:2], lines[2].replace(b"e", b"E", 1), *lines[3:]]
    contents = reopened(tmp_path, b"".join(broken))
    assert [damage.lost for damage in contents.damage] == [Gap(3, 3)]
    assert len(contents.entries) == len(lines)
    (copy,) = tmp_path.glob("damaged-*.log")
    assert copy.read_bytes() == b"".join(broken)
    mended = reopened(tmp_path)
    assert not mended.damage
    assert mended.entries == contents.entries
    assert len(mended.parts) == 2


@pytest.mark.parametrize(
    "changed",
    [
        pytest.param(lambda lines: [*lines, *lines[2:]], id="written twice"),
        pytest.param(lambda lines: [*lines[:2], *lines[3:]], id="lost without a trace"),
        pytest.param(lambda lines: [*lines[:2], lines[3], lines[2], *lines[4:]], id="swapped"),
        pytest.param(lambda lines: [*lines[:2], b"\0" * 512, *lines[3:]], id="zeroed"),
        pytest.param(lambda lines: [*lines[:3], b"\n", *lines[3:]], id="an empty line"),
        pytest.param(lambda lines: [*lines[:3], *lines[2:]], id="one line twice"),
    ],
)
def test_other_damage_is_seen(tmp_path: Path, changed: object) -> None:
    assert callable(changed)
    whole = written(tmp_path, list(decisions(6)))
    contents = contents_of(b"".join(changed(whole.splitlines(keepends=True))))
    assert contents.damage or contents.tail
    good = contents_of(whole)
    assert set(contents.entries) - {Gap(3, 3), Gap(3, 4)} <= set(good.entries)


def check_corruption(data: bytes, good: Contents, pick: random.Random) -> None:
    """One random corruption is either seen, or changed nothing."""
    broken = bytearray(data)
    match pick.randrange(5):
        case 0:
            broken[pick.randrange(len(broken))] ^= 1 << pick.randrange(8)
        case 1:
            at = pick.randrange(0, len(broken), 512)
            broken[at : at + 512] = bytes(len(broken[at : at + 512]))
        case 2:
            at = pick.randrange(0, len(broken), 512)
            del broken[at : at + 512]
        case 3:
            broken += broken[pick.randrange(len(broken)) :]
        case _:
            one, two = (pick.randrange(0, len(broken) - 512, 512) for _ in range(2))
            broken[one : one + 512], broken[two : two + 512] = (
                broken[two : two + 512],
                broken[one : one + 512],
            )
    contents = contents_of(bytes(broken))
    if bytes(broken) == data:
        return
    sound = [entry for entry in contents.entries if not isinstance(entry, Gap)]
    assert all(entry == good.entries[entry.seq - 1] for entry in sound)
    is_prefix_only = len(contents.entries) < len(good.entries) and len(broken) < len(data)
    assert contents.damage or contents.tail or is_prefix_only
    replay_parts(contents.parts)


def test_corruption_is_never_accepted_in_silence(tmp_path: Path) -> None:
    data = written(tmp_path, list(decisions(12)))
    good = contents_of(data)
    pick = random.Random(1)
    for _ in range(1500):
        check_corruption(data, good, pick)


@pytest.mark.slow
def test_corruption_is_never_accepted_in_silence_100_000_times(tmp_path: Path) -> None:
    data = written(tmp_path, list(decisions(12)))
    good = contents_of(data)
    pick = random.Random(2)
    for _ in range(100_000):
        check_corruption(data, good, pick)


def test_every_single_bit_flip_is_seen(tmp_path: Path) -> None:
    data = written(tmp_path, list(decisions(3)))
    for at in range(len(data)):
        for bit in range(8):
            broken = bytearray(data)
            broken[at] ^= 1 << bit
            contents = contents_of(bytes(broken))
            assert contents.damage or contents.tail, (at, bit)


# --- a disk that fails --------------------------------------------------------------------

ERRORS = [errno.EIO, errno.ENOSPC, errno.EROFS, SHORT]


def check_fault(folder: Path, number: int, error: int, *, is_lasting: bool) -> bool:
    """What was said to be saved is there at the next start; whether the call was reached."""
    files = FaultyFiles(number, error, is_lasting=is_lasting)
    batches = list(decisions(5))
    saved: list[Event] = []
    told: list[Event] = []
    journal = Journal(folder, files)
    try:
        journal.open()
        for events in batches:
            told += events
            try:
                journal.append(events, stamp(NOON))
            except NotSaved:
                assert journal.trouble is not None
            else:
                assert journal.trouble is None
                # What a full disk refused before went with it.
                saved = list(told)
    except JournalUnreadable:
        pass
    finally:
        journal.close()
    (found,) = reopened(folder).parts
    assert list(found[: len(saved)]) == saved
    assert list(found) == told[: len(found)]
    return len(files.calls) >= number


@pytest.mark.parametrize("is_lasting", [False, True], ids=["once", "from then on"])
@pytest.mark.parametrize("error", ERRORS)
@pytest.mark.parametrize("leftover", [b"", b"12345678 half", b"garbage\n"])
def test_no_failing_call_makes_a_false_saved(
    tmp_path: Path, error: int, leftover: bytes, is_lasting: bool
) -> None:
    number = 0
    is_reached = True
    while is_reached:
        number += 1
        folder = tmp_path / str(number)
        if leftover:
            folder.mkdir()
            (folder / JOURNAL_NAME).write_bytes(leftover)
        is_reached = check_fault(folder, number, error, is_lasting=is_lasting)
    assert number > 15


@pytest.mark.parametrize("error", ERRORS)
def test_no_failing_call_loses_an_entry_while_damage_is_mended(tmp_path: Path, error: int) -> None:
    data = written(tmp_path, list(decisions(5)))
    lines = data.splitlines(keepends=True)
    broken = b"".join([lines[0], b"#" + lines[1], *lines[2:]])
    expected = contents_of(broken).entries
    calls = number = 0
    while calls >= number:
        number += 1
        (tmp_path / JOURNAL_NAME).write_bytes(broken)
        files = FaultyFiles(number, error)
        journal = Journal(tmp_path, files)
        try:
            assert journal.open().entries == expected
        except JournalUnreadable:
            pass
        finally:
            journal.close()
        calls = len(files.calls)
        assert reopened(tmp_path).entries == expected
    assert number > 10


def test_a_full_disk_that_has_room_again_gets_everything(tmp_path: Path) -> None:
    files = FaultyFiles()
    journal = Journal(tmp_path, files)
    journal.open()
    one, two, three = decisions(3)
    journal.append(one, stamp(NOON))
    files.fails_at, files.error = len(files.calls) + 1, SHORT
    with pytest.raises(NotSaved, match="No space"):
        journal.append(two, stamp(NOON))
    journal.append(three, stamp(NOON))
    journal.close()
    assert reopened(tmp_path).parts == ((*one, *two, *three),)


def test_a_disk_that_is_full_at_the_start_may_have_room_later(tmp_path: Path) -> None:
    files = FaultyFiles(4, errno.ENOSPC)
    journal = Journal(tmp_path, files)
    journal.open()
    assert files.calls[3] == "truncate"
    journal.append((), stamp(NOON))
    journal.close()
    assert len(reopened(tmp_path).entries) == 1


def test_a_failed_sync_is_not_tried_again(tmp_path: Path) -> None:
    files = FaultyFiles()
    journal = Journal(tmp_path, files)
    journal.open()
    files.fails_at = len(files.calls) + 2
    with pytest.raises(NotSaved):
        journal.append((), stamp(NOON))
    with pytest.raises(NotSaved):
        journal.append((), stamp(NOON))
    assert files.calls[-1] == "truncate"
    journal.close()


def test_a_folder_that_cannot_be_written_can_be_read(tmp_path: Path) -> None:
    written(tmp_path, list(decisions(3)))
    journal = Journal(tmp_path, FaultyFiles(2, errno.EROFS))
    contents = journal.open()
    assert len(contents.entries) == 4
    with pytest.raises(NotSaved, match="Read-only"):
        journal.append((), stamp(NOON))
    journal.close()


def test_a_folder_that_cannot_be_one_is_refused(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    journal = Journal(tmp_path / "file" / "folder")
    with pytest.raises(JournalUnreadable, match="Not a directory"):
        journal.open()


def test_a_newer_journal_is_read_only(tmp_path: Path) -> None:
    data = written(tmp_path, list(decisions(3)))
    last = contents_of(data).entries[-1]
    newer = line_of(last).split(b" ", 1)[1].replace(VERSION, NEWER)
    changed = data + b"%08x %s" % (zlib.crc32(newer[:-1]), newer)
    (tmp_path / JOURNAL_NAME).write_bytes(changed)
    journal = Journal(tmp_path)
    contents = journal.open()
    assert contents.newer_version == FORMAT_VERSION + 1
    assert len(contents.entries) == 4
    with pytest.raises(NotSaved, match="newer"):
        journal.append((), stamp(NOON))
    journal.close()
    assert (tmp_path / JOURNAL_NAME).read_bytes() == changed


# --- several programs ---------------------------------------------------------------------


def test_a_second_start_is_told_who_has_it(tmp_path: Path) -> None:
    first = Journal(tmp_path)
    first.open()
    with pytest.raises(JournalBusy, match=f"process {os.getpid()}"):
        Journal(tmp_path).open()
    first.close()
    assert not reopened(tmp_path).entries


def test_the_lock_ends_with_the_process(tmp_path: Path) -> None:
    child = started(tmp_path)
    with pytest.raises(JournalBusy, match=f"process {child.pid}"):
        Journal(tmp_path).open()
    kill(child)
    assert reopened(tmp_path).entries


CHILD = """
import sys
import zlib
from pathlib import Path
from handsfree.shell.journal import Journal
from handsfree.shell.files import Files
from tests.shell.journal_faults import NOON, decisions, stamp
journal = Journal(Path(sys.argv[1]))
journal.open()
journal.begin(stamp(NOON), "Gate Coat")
for number, events in enumerate(decisions(1_000_000)):
    journal.append(events, stamp(NOON))
    sys.stdout.write(f"{number}\\n")
    sys.stdout.flush()
"""


def started(folder: Path) -> "subprocess.Popen[bytes]":
    """A program that writes without end, once it has written its first entry."""
    child = subprocess.Popen(
        [sys.executable, "-c", CHILD, str(folder)],
        stdout=subprocess.PIPE,
        cwd=Path(__file__).parents[2],
    )
    assert child.stdout is not None
    assert child.stdout.readline() == b"0\n"
    return child


def kill(child: "subprocess.Popen[bytes]") -> int:
    """Kills it at once; the number of the last decision it said was saved."""
    child.send_signal(signal.SIGKILL)
    assert child.stdout is not None
    rest = child.stdout.read().split(b"\n")[:-1]
    child.stdout.close()
    child.wait()
    return int(rest[-1]) if rest else 0


def check_kill(folder: Path, child: "subprocess.Popen[bytes]") -> None:
    last = kill(child)
    contents = reopened(folder)
    assert not contents.damage
    recorded = [entry for entry in contents.entries if isinstance(entry, Recorded)]
    assert len(recorded) > last
    expected = [events for _, events in zip(recorded, decisions(10**6), strict=False)]
    assert [entry.events for entry in recorded] == expected


def test_nothing_said_to_be_saved_is_lost_by_a_kill(tmp_path: Path) -> None:
    for number in range(3):
        folder = tmp_path / str(number)
        check_kill(folder, started(folder))


# --- formats ------------------------------------------------------------------------------


@pytest.mark.parametrize("path", sorted(GOLDEN.glob("*.log")), ids=lambda path: path.stem)
def test_a_journal_of_every_format_version_is_read(path: Path) -> None:
    data = path.read_bytes()
    contents = contents_of(data)
    assert contents.sound_bytes == len(data)
    assert not contents.damage
    (events,) = contents.parts
    shown = path.with_suffix(".txt").read_text(encoding="utf-8")
    assert shown == "".join(f"{event!r}\n" for event in events)
    # Replaying has no randomness and no clock: part by part or at once gives the same.
    state, _ = replay_parts(contents.parts)
    assert state == replay(events)


def test_files_sync_for_real(tmp_path: Path) -> None:
    files = Files()
    descriptor = files.open(tmp_path / "file", os.O_RDWR | os.O_CREAT)
    assert files.write(descriptor, b"text") == 4
    files.sync(descriptor)
    files.sync_folder(tmp_path)
    assert files.read(descriptor) == b"text"
    files.close(descriptor)


@pytest.mark.slow
def test_nothing_said_to_be_saved_is_lost_by_10_000_kills(tmp_path: Path) -> None:
    pick = random.Random(4)
    expected = list(decisions(400))
    for number in range(10_000):
        folder = tmp_path / str(number)
        ours, theirs = os.pipe()
        child = os.fork()
        if child == 0:
            # What pytest does at the end of a test is not this child's business.
            try:
                _write_until_killed(folder, theirs, expected)
            finally:
                os._exit(1)
        os.close(theirs)
        acknowledged = 0
        # After so many acknowledgements, and then after a random while of its own: spinning, so
        # that the kill can fall into any part of an append.
        for _ in range(pick.randrange(1, 4)):
            acknowledged += len(os.read(ours, 1))
        for _ in range(pick.randrange(60_000)):
            pass
        os.kill(child, signal.SIGKILL)
        os.waitpid(child, 0)
        while part := os.read(ours, 4096):
            acknowledged += len(part)
        os.close(ours)
        contents = reopened(folder)
        recorded = [entry for entry in contents.entries if isinstance(entry, Recorded)]
        assert not contents.damage
        assert len(recorded) >= acknowledged
        assert [entry.events for entry in recorded] == expected[: len(recorded)]
        for file in folder.iterdir():
            file.unlink()
        folder.rmdir()


def _write_until_killed(folder: Path, pipe: int, batches: list[tuple[Event, ...]]) -> None:
    journal = Journal(folder)
    journal.open()
    journal.begin(stamp(NOON), "Gate Coat")
    for events in batches:
        journal.append(events, stamp(NOON))
        os.write(pipe, b".")


REPLAY = """
import hashlib, sys
from pathlib import Path
from handsfree.job.restart import replay_parts
from handsfree.shell.journal_entries import contents_of
for path in sys.argv[1:]:
    state, _ = replay_parts(contents_of(Path(path).read_bytes()).parts)
    print(hashlib.sha256(repr(state).encode()).hexdigest())
"""


def test_the_state_does_not_depend_on_the_hash_seed(tmp_path: Path) -> None:
    written(tmp_path, list(decisions(50)))
    paths = [str(tmp_path / JOURNAL_NAME), *map(str, sorted(GOLDEN.glob("*.log")))]
    digests = set()
    for seed in ("0", "1", "2"):
        done = subprocess.run(
            [sys.executable, "-c", REPLAY, *paths],
            capture_output=True,
            check=True,
            cwd=Path(__file__).parents[2],
            env={**os.environ, "PYTHONHASHSEED": seed},
        )
        digests.add(done.stdout)
    assert len(digests) == 1


def check_double_start(folder: Path) -> None:
    """Of two that start at once, one writes and the other is told."""
    first, second = Journal(folder, UnsyncedFiles()), Journal(folder, UnsyncedFiles())
    outcomes = []
    for journal in (first, second):
        try:
            journal.open()
        except JournalBusy:
            outcomes.append("told")
        else:
            journal.append((), stamp(NOON))
            outcomes.append("writes")
    first.close()
    second.close()
    assert outcomes == ["writes", "told"]
    assert reopened(folder).entries


def test_of_two_starts_exactly_one_writes(tmp_path: Path) -> None:
    for number in range(50):
        check_double_start(tmp_path / str(number))


@pytest.mark.slow
def test_of_two_starts_exactly_one_writes_1000_times(tmp_path: Path) -> None:
    for number in range(1000):
        check_double_start(tmp_path / str(number))
