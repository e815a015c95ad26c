"""Product cards on disk."""

from importlib import resources
from pathlib import Path

from handsfree.core.card import ProductCard, read_card
from handsfree.core.card_fields import LARGEST_BYTES
from handsfree.core.errors import Refusal

DEFAULT_CARD = "gate-coat"


class CardUnusable(Exception):
    """A card cannot be used; the message names the card and says why."""


def shipped_cards() -> tuple[str, ...]:
    """The names of the cards that come with the program."""
    folder = resources.files("handsfree") / "cards"
    names = [Path(entry.name).stem for entry in folder.iterdir() if entry.name.endswith(".toml")]
    return tuple(sorted(name for name in names if name != "template"))


def load_card(name: str) -> ProductCard:
    """A shipped card by its name, or any card by its path.

    Raises:
        CardUnusable: no such card, unreadable, too large, or not a valid card.
    """
    return card_from(card_text(name), name)


def card_from(text: str, name: str) -> ProductCard:
    """A card from its text; the name is for the message. Raises CardUnusable."""
    try:
        return read_card(text)
    except Refusal as refusal:
        raise CardUnusable(f"The product card {name} is not valid. {refusal}") from refusal


def card_text(name: str) -> str:
    """The text of a shipped card by its name, or of any card by its path.

    Raises:
        CardUnusable: no such card, unreadable, or too large.
    """
    if name in shipped_cards():
        return (resources.files("handsfree") / "cards" / f"{name}.toml").read_text("utf-8")
    return _text_of(Path(name))


def _text_of(path: Path) -> str:
    if not path.is_file():
        raise CardUnusable(
            f"There is no product card {path}. "
            f"Give a file, or one of: {', '.join(shipped_cards())}."
        )
    if path.stat().st_size > LARGEST_BYTES:
        raise CardUnusable(f"{path} is larger than any product card ({LARGEST_BYTES} bytes).")
    try:
        return path.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        raise CardUnusable(f"The product card {path} cannot be read: {error}.") from error
