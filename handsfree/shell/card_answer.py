"""What a product card contains and lacks, in plain words."""

from collections.abc import Sequence
from fractions import Fraction

from handsfree.core.card import Origin, ProductCard, missing_for
from handsfree.core.mix import Tolerance
from handsfree.shell.amount_answers import shown
from handsfree.shell.settings import CAUTION, Answer


def described(card: ProductCard) -> Answer:
    """A card's contents, where they came from, and what is missing for which feature."""
    ratio = f"{shown(card.ratio.resin_parts)}:{shown(card.ratio.hardener_parts)}"
    lacking = missing_for(card)
    found: dict[str, object] = {
        "name": card.name,
        "invented": card.invented,
        "ratio": ratio,
        "by": card.ratio.basis.value,
        "tolerance_percent": [float(limit * 100) for limit in _limits_of(card.tolerance)],
        "pot_life_minutes": None if card.pot_life is None else card.pot_life.minutes,
        "origins": {key: origin.value for key, origin in card.origins.items()},
        "missing": {feature.value: list(keys) for feature, keys in lacking.items()},
    }
    sentences = [
        f"{card.name}: {ratio} by {card.ratio.basis.value}."
        + (" This product is invented and does not exist." if card.invented else ""),
        "Ratio error: up to {:g} % is good, {:g} % tolerated, over {:g} % stop.".format(
            *(float(limit * 100) for limit in _limits_of(card.tolerance))
        ),
    ]
    if card.pot_life is not None:
        sentences.append(
            f"Pot life {card.pot_life.minutes:g} minutes for {card.pot_life.test_g:g} g at "
            f"{card.pot_life.test_c:g} °C, tested: {card.pot_life.method.value}."
        )
    if card.film is not None:
        sentences.append(
            f"Film {card.film.least_dft_um:g} to {card.film.largest_dft_um:g} µm dry a coat, "
            f"{card.film.coats} coats, {card.film.volume_solids_percent:g} % solids by volume."
        )
    if card.limits is not None:
        sentences.append(
            f"Air {card.limits.least_air_c:g} to {card.limits.largest_air_c:g} °C, surface "
            f"{card.limits.least_surface_c:g} to {card.limits.largest_surface_c:g} °C, humidity "
            f"up to {card.limits.largest_humidity_percent:g} %, surface at least "
            f"{card.limits.dew_margin_k:g} °C above the dew point."
        )
    if card.cure is not None:
        rows = ", ".join(stage.value.replace("_", " ") for stage in card.cure.hours)
        sentences.append(
            f"Cure table from {card.cure.surface_c[0]:g} to {card.cure.surface_c[-1]:g} °C: {rows}."
        )
    sentences += [
        f"From the {ORIGIN_WORDS[origin]}: {', '.join(keys)}."
        for origin in Origin
        if (keys := [key for key, where in card.origins.items() if where is origin])
    ]
    unstated = [
        key
        for key, is_given in (
            ("mix.ratio", True),
            ("pot_life", card.pot_life is not None),
            ("film", card.film is not None),
            ("limits", card.limits is not None),
            ("cure", card.cure is not None),
        )
        if is_given and card.origin_of(key) is None
    ]
    if unstated:
        sentences.append(f"Not said where it comes from: {', '.join(unstated)}.")
    sentences += [
        f"Missing for {feature.value}: {', '.join(keys)}." for feature, keys in lacking.items()
    ]
    if not lacking:
        sentences.append("Nothing is missing.")
    return found, [*sentences, CAUTION]


ORIGIN_WORDS = {
    Origin.LABEL: "label",
    Origin.DATA_SHEET: "data sheet",
    Origin.GUESS: "card's writer, who guessed",
}


def _limits_of(tolerance: Tolerance) -> Sequence[Fraction]:
    return tolerance.good, tolerance.tolerated, tolerance.limit
