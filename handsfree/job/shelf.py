"""The products at hand: which card a cup or a coat goes by."""

import re
from dataclasses import dataclass

from handsfree.core.card import ProductCard
from handsfree.language.numbers import DIGIT_WORDS

_PARTS = re.compile(r"[a-z']+|[0-9]")


@dataclass(frozen=True)
class Shelf:
    """The card the program was started with, and the others that may be named."""

    first: ProductCard
    others: tuple[ProductCard, ...] = ()

    @property
    def names(self) -> tuple[str, ...]:
        """All products by the names on their cards."""
        return (self.first.name, *(card.name for card in self.others))

    @property
    def spoken_names(self) -> tuple[str, ...]:
        """All products as they are said."""
        return tuple(spoken_name(card) for card in (self.first, *self.others))

    def has(self, product: str) -> bool:
        """Whether the product is at hand; the empty name is the first card's."""
        return product == "" or product in self.names

    def card(self, product: str) -> ProductCard:
        """The card of a product; of one that is not at hand any more, the first.

        Args:
            product: the name on the card; empty: none was chosen.
        """
        return next((card for card in self.others if card.name == product), self.first)

    def named(self, words: tuple[str, ...]) -> ProductCard | None:
        """The product whose name was said; None: there is none, or there are two."""
        text = " ".join(words)
        found = [card for card in (self.first, *self.others) if spoken_name(card) == text]
        return found[0] if len(found) == 1 else None


def spoken_name(card: ProductCard) -> str:
    """A card's name as the recognizer would write it."""
    words = (DIGIT_WORDS[int(c)] if c.isdecimal() else c for c in _PARTS.findall(card.name.lower()))
    return " ".join(words)
