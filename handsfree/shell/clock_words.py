"""Times of a job in words."""


def clock(hours: float | None, start_minutes: int | None) -> str:
    """A time of the job, as time of day when the start is known, else since the start.

    Args:
        hours: since the start; None for never.
        start_minutes: the start, in minutes of the day.
    """
    if hours is None:
        return "never at these temperatures"
    minutes = round(hours * 60.0)
    if start_minutes is None:
        return f"+{minutes // 60}:{minutes % 60:02d} h"
    day, of_day = divmod(start_minutes + minutes, 24 * 60)
    return f"{of_day // 60}:{of_day % 60:02d}" + (f" on day {day + 1}" if day else "")
