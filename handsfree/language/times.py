"""Lengths of time and times of day, for the ear."""

from datetime import datetime, timedelta

from handsfree.language.numbers import DIGIT_WORDS, say_below_hundred, say_cardinal

ABOUT_TWO_HOURS = 120  # Minutes; above it hours are near enough.


def say_minutes(minutes: int) -> str:
    """A length in whole minutes, for example "twenty three minutes" or "about five hours"."""
    if minutes < 1:
        return "less than a minute"
    if minutes > ABOUT_TWO_HOURS:
        hours = (minutes + 30) // 60
        return f"about {say_cardinal(hours)} hours"
    return f"{say_cardinal(minutes)} {'minute' if minutes == 1 else 'minutes'}"


def whole_minutes(length: timedelta) -> int:
    """Rounded down: what is left is never said longer than it is."""
    return max(0, int(length / timedelta(minutes=1)))


def say_time(moment: datetime, now: datetime) -> str:
    """A time of day as it is said: "four ten in the afternoon", "nine o'clock in the morning tomorrow".

    Args:
        moment, now: in the zone of the listener.
    """
    hour = moment.hour % 12 or 12
    if moment.minute == 0:
        time = f"{say_below_hundred(hour)} o'clock"
    elif moment.minute < 10:
        time = f"{say_below_hundred(hour)} oh {DIGIT_WORDS[moment.minute]}"
    else:
        time = f"{say_below_hundred(hour)} {say_below_hundred(moment.minute)}"
    days = (moment.date() - now.date()).days
    part = _part_of_day(moment.hour)
    if days == 0:
        return f"{time} {part}"
    if days == 1:
        return f"{time} {part} tomorrow"
    return f"{time} {part}, {say_cardinal(days)} days from now"


def _part_of_day(hour: int) -> str:
    if hour < 5:
        return "after midnight"
    if hour < 12:
        return "in the morning"
    if hour < 18:
        return "in the afternoon"
    return "in the evening" if hour < 22 else "at night"
