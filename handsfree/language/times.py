"""Lengths of time and times of day, for the ear."""

from datetime import datetime, timedelta

from handsfree.language.numbers import DIGIT_WORDS, say_below_hundred, say_cardinal

NAMED_HOURS = {0: "midnight", 12: "noon"}
LONGEST_IN_MINUTES = 90  # Above it, hours and minutes are easier to take in. Judgement.


def say_minutes(minutes: int) -> str:
    """A length in whole minutes: "twenty three minutes", "two hours thirty minutes"."""
    if minutes < 1:
        return "less than a minute"
    hours, rest = divmod(minutes, 60)
    if minutes <= LONGEST_IN_MINUTES:
        hours, rest = 0, minutes
    parts = [_count(hours, "hour")] if hours else []
    if rest:
        parts.append(_count(rest, "minute"))
    return " ".join(parts)


def _count(number: int, unit: str) -> str:
    return f"{say_cardinal(number)} {unit if number == 1 else f'{unit}s'}"


def whole_minutes(length: timedelta) -> int:
    """Rounded down: what is left is never said longer than it is."""
    return max(0, int(length / timedelta(minutes=1)))


def say_time(moment: datetime, now: datetime) -> str:
    """A time of day as it is said, such as "nine o'clock in the morning tomorrow".

    Args:
        moment, now: in the zone of the listener.
    """
    hour = moment.hour % 12 or 12
    days = (moment.date() - now.date()).days
    if moment.hour in NAMED_HOURS and moment.minute == 0:
        time = NAMED_HOURS[moment.hour]
        return time if days == 0 else f"{time} {_in_days(days)}"
    if moment.minute == 0:
        time = f"{say_below_hundred(hour)} o'clock"
    elif moment.minute < 10:
        time = f"{say_below_hundred(hour)} oh {DIGIT_WORDS[moment.minute]}"
    else:
        time = f"{say_below_hundred(hour)} {say_below_hundred(moment.minute)}"
    part = _part_of_day(moment.hour)
    return f"{time} {part}" if days == 0 else f"{time} {part} {_in_days(days)}"


def _in_days(days: int) -> str:
    return "tomorrow" if days == 1 else f"{say_cardinal(days)} days from now"


def _part_of_day(hour: int) -> str:
    if hour < 5:
        return "after midnight"
    if hour < 12:
        return "in the morning"
    if hour < 18:
        return "in the afternoon"
    return "in the evening" if hour < 22 else "at night"
