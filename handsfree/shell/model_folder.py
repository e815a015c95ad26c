"""The speech model's folder: where it is, and whether it can serve, before it is loaded."""

import hashlib
from collections.abc import Iterable
from pathlib import Path

import handsfree
from handsfree.language.grammar import UNKNOWN_WORD

SHIPPED_MODEL = "english-shop"
CHECKSUMS = "SHA256SUMS"
# Without these two the graph cannot take a word list at run time: Vosk then warns on stderr
# and hears everything (vosk-api, src/model.cc, tag v0.3.45).
RUN_TIME_GRAPH = ("graph/HCLr.fst", "graph/Gr.fst")
REQUIRED = ("am/final.mdl", "conf/mfcc.conf", "conf/model.conf", "graph/words.txt")


class ModelUnusable(Exception):
    """The model folder cannot be used; the message says why and what to do."""


def shipped_model() -> Path:
    """The folder of the model that comes with the program.

    Raises:
        ModelUnusable: neither the installed package nor the source folder has it.
    """
    package = Path(handsfree.__file__).parent
    for folder in (package / "models", package.parent / "models"):
        if (folder / SHIPPED_MODEL).is_dir():
            return folder / SHIPPED_MODEL
    raise ModelUnusable(
        "The speech model that comes with the program is missing. Install the program again."
    )


def check_model(folder: Path, words: Iterable[str]) -> None:
    """Refuses a model that is incomplete, damaged or lacks a word we need.

    Args:
        folder: a folder in Vosk's model layout.
        words: those the program cannot do without.

    Raises:
        ModelUnusable: with one sentence that names the file or the words.
    """
    if not folder.is_dir():
        raise ModelUnusable(f"There is no speech model folder at {folder}.")
    for name in REQUIRED:
        if not (folder / name).is_file():
            raise ModelUnusable(
                f"{folder} is no complete speech model: {name} is missing. "
                "Point --model at a folder in Vosk's layout."
            )
    _check_sums(folder)
    for name in RUN_TIME_GRAPH:
        if not (folder / name).is_file():
            raise ModelUnusable(
                f"The model at {folder} takes no word list at run time ({name} is missing). "
                "Use one of the models that Vosk calls small."
            )
    missing = sorted({UNKNOWN_WORD, *words} - known_words(folder))
    if missing:
        raise ModelUnusable(
            f"The model at {folder} lacks {len(missing)} of the words the program has to hear: "
            f"{', '.join(missing[:12])}{' ...' if len(missing) > 12 else ''}. Use another model."
        )


def fingerprint(folder: Path) -> str:
    """SHA-256 that tells one model from another: of its list of checksums, or of one made alike.

    Raises:
        OSError: a file cannot be read.
    """
    manifest = folder / CHECKSUMS
    if manifest.is_file():
        return hashlib.sha256(manifest.read_bytes()).hexdigest()
    lines = [
        f"{hashlib.sha256(path.read_bytes()).hexdigest()}  {path.relative_to(folder).as_posix()}\n"
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    ]
    return hashlib.sha256("".join(lines).encode("utf-8")).hexdigest()


def known_words(folder: Path) -> frozenset[str]:
    """Every word the model can hear."""
    text = (folder / "graph/words.txt").read_text(encoding="utf-8", errors="replace")
    return frozenset(line.split(" ", 1)[0] for line in text.splitlines() if line)


def _check_sums(folder: Path) -> None:
    """Compares the files with the folder's manifest; a user's own model may have none."""
    manifest = folder / CHECKSUMS
    if not manifest.is_file():
        if folder.name == SHIPPED_MODEL:
            raise ModelUnusable(
                f"The speech model at {folder} has lost its list of checksums. "
                "Install the program again."
            )
        return
    for line in manifest.read_text(encoding="utf-8").splitlines():
        wanted, _, name = line.partition("  ")
        path = folder / name
        if not path.is_file():
            raise ModelUnusable(
                f"The speech model is damaged: {name} is missing. Install the program again."
            )
        if hashlib.sha256(path.read_bytes()).hexdigest() != wanted:
            raise ModelUnusable(
                f"The speech model is damaged: {name} has changed since it was made. "
                "Install the program again."
            )
