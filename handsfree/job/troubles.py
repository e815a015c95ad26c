"""What stays wrong until it is put right or answered: it is said again like an alarm."""

from collections.abc import Iterable

from handsfree.language.replies import (
    MicrophoneBack,
    MicrophoneGone,
    MicrophoneMuted,
    NotSaved,
    Reply,
    SavedAgain,
    TimeInDoubt,
)

TROUBLE_KEY = "trouble"
"""Stands for the newest trouble where an announcement is named by its key."""

STANDING = (NotSaved, TimeInDoubt, MicrophoneGone, MicrophoneMuted)
_PUT_RIGHT: dict[type[Reply], tuple[type[Reply], ...]] = {
    SavedAgain: (NotSaved,),
    MicrophoneBack: (MicrophoneGone, MicrophoneMuted),
}


def standing_after(troubles: tuple[Reply, ...], said: Iterable[Reply]) -> tuple[Reply, ...]:
    """The troubles that stand once these replies were said; each kind once, the newest last."""
    for reply in said:
        ended = (*_PUT_RIGHT.get(type(reply), ()), type(reply))
        if isinstance(reply, STANDING) or type(reply) in _PUT_RIGHT:
            troubles = tuple(one for one in troubles if type(one) not in ended)
        if isinstance(reply, STANDING):
            troubles = (*troubles, reply)
    return troubles
