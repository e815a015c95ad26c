"""How long a pause may last before an utterance counts as over."""

from collections.abc import Sequence
from datetime import timedelta

from handsfree.language.intents import Intent
from handsfree.language.parser import Misheard, parse
from handsfree.language.quantities import is_cut_off, may_go_on

# Pauses inside a spoken number stay under a second, and a person waits 0.5 s without
# feeling ignored (turn gaps: Stivers et al. 2009, PNAS 106, 10587). The figures are ours.
AFTER_SENTENCE = timedelta(milliseconds=250)
AFTER_OPEN_NUMBER = timedelta(milliseconds=750)
AFTER_UNFINISHED = timedelta(milliseconds=1000)
SHORTEST = AFTER_SENTENCE


def patience(words: Sequence[str]) -> timedelta:
    """The pause after which these words count as the whole utterance.

    Args:
        words: what has been recognized so far.

    Returns:
        Short after a complete sentence that cannot go on, longer after a number without its
        unit ("resin eight five" may go on), longest where something must follow.
    """
    meaning: Intent | Misheard = parse(words)
    if is_cut_off(words) or isinstance(meaning, Misheard):
        return AFTER_UNFINISHED
    if may_go_on(words):
        return AFTER_OPEN_NUMBER
    return AFTER_SENTENCE
