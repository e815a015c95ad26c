"""Is everything that is said understood? Each reply is rendered and recognized back.

``python -m tests.bench_voice`` prints Markdown: the words lost of every reply, as the
product's own recognizer hears its own voice. A lost word is one to look at, not an error: the
model is small, and it never heard this voice.
"""

import re
from collections import Counter

import numpy as np
import soxr

from handsfree.language.wording import wording
from handsfree.shell.model_folder import shipped_model
from handsfree.shell.recognizer import Recognizer, word_list
from handsfree.shell.sound_format import SAMPLE_RATE_HZ, pcm16
from handsfree.shell.voice import Speech, Voice
from tests.language.test_replies import EXAMPLES


def heard_back(recognizer: Recognizer, speech: Speech, words: list[str]) -> tuple[str, ...]:
    """The words recognized in the sound, out of those of the sentence and all others said."""
    samples = np.frombuffer(speech.samples, dtype="<i2").astype(np.float32) / np.float32(32768)
    sound = pcm16(soxr.resample(samples, speech.rate_hz, SAMPLE_RATE_HZ))
    decoder = recognizer.utterance(word_list(sorted(set(words)), [" ".join(words)]))
    quiet = bytes(SAMPLE_RATE_HZ)
    decoder.feed(quiet + sound + quiet)
    return decoder.finish().words


def main() -> None:
    """Prints the report."""
    known = {
        line.split(" ", 1)[0]
        for line in (shipped_model() / "graph/words.txt").read_text().splitlines()
    }
    recognizer = Recognizer(shipped_model())
    total = lost = 0
    rows = []
    with Voice() as voice:
        for text in sorted({wording(reply) for reply in EXAMPLES}):
            words = re.sub(r"[^a-z' ]+", " ", text.lower()).split()
            listed = [word for word in words if word in known]
            heard = heard_back(recognizer, voice.render(text), listed)
            missing = Counter(listed) - Counter(heard)
            total += len(listed)
            lost += missing.total()
            if missing:
                rows.append(f"| {text} | {', '.join(sorted(missing.elements()))} |")
    print(f"{lost} of {total} words lost in {len(EXAMPLES)} replies ({lost / total:.1%}).\n")
    print("| reply | words lost |\n| --- | --- |")
    print("\n".join(rows))


if __name__ == "__main__":
    main()
