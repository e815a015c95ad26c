"""The sentences and words accepted, as data.

One table of rows gives the parser its expressions, the recognizer its words and example
phrases, and the help its examples.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import timedelta
from enum import Enum
from fractions import Fraction

from handsfree.core.mix import Component
from handsfree.language import intents as said
from handsfree.language.intents import Intent
from handsfree.language.numbers import (
    DIGIT_WORDS,
    DIGITS,
    NUMBER_WORDS,
    say_digits,
    sound_alike_values,
    spoken_forms,
)
from handsfree.language.patterns import (
    Pick,
    Sequence_,
    example_of,
    parse_pattern,
    regex_of,
    words_of,
)
from handsfree.language.quantities import (
    DEGREE_WORDS,
    DURATION_WORDS,
    GRAM_WORDS,
    KILO_WORDS,
    MASS_WORDS,
    SCALE_WORDS,
    SHARES_OF_AN_HOUR,
    TEMPERATURE_WORDS,
    MassReading,
    read_duration,
    read_mass,
    read_percent,
    read_temperature_c,
)

UNKNOWN_WORD = "[unk]"
"""What the recognizer writes for speech outside its list."""

COMPONENT_WORDS: Mapping[str, Component] = {
    "resin": Component.RESIN,
    "base": Component.RESIN,
    "part a": Component.RESIN,
    "hardener": Component.HARDENER,
    "catalyst": Component.HARDENER,
    "part b": Component.HARDENER,
}

PLACE_WORDS: Mapping[str, said.Place] = {
    "air": said.Place.AIR,
    "room": said.Place.AIR,
    "surface": said.Place.SURFACE,
    "steel": said.Place.SURFACE,
    "floor": said.Place.SURFACE,
    "gate": said.Place.SURFACE,
    "mix": said.Place.CUP,
    "cup": said.Place.CUP,
}

FILM_WORDS: Mapping[str, said.Film] = {
    "wet": said.Film.WET,
    "tacky": said.Film.TACKY,
    "sticky": said.Film.TACKY,
    "dry": said.Film.DRY,
}

AREA_SIDES = ("left", "right", "front", "back", "top", "bottom", "inside", "outside")
AREA_NOUNS = (
    "gate", "floor", "wall", "door", "frame", "rail", "post", "panel", "table", "bench", "step",
    "steps", "corner", "section",
)  # fmt: skip
TASK_VERBS = (
    "check", "stir", "mix", "pull", "pour", "weigh", "sand", "clean", "wash", "wipe", "turn on",
    "turn off", "close", "open", "recoat", "roll", "move",
)  # fmt: skip
TASK_NOUNS = (
    "cup", "coat", "tape", "gate", "floor", "door", "heater", "fan", "brush", "roller", "gloves",
    "mask", "batch", "resin", "hardener", "surface", "humidity",
)  # fmt: skip

ORDINALS: Mapping[str, int] = {
    word: number
    for number, word in enumerate(
        ("first", "second", "third", "fourth", "fifth", "sixth", "seventh", "eighth", "ninth"), 1
    )
}

RARE_NUMBER_WORDS = frozenset({"tree", "fower", "fife", "niner", "naught", "decimal", "negative"})
"""Number words that have a common twin."""

SOUND_LIKE_NUMBERS = frozenset({"for", "to", "too"})
"""Words that sound as a digit does: understood when typed, never offered to the recognizer."""

CUP_WORDS = DIGIT_WORDS[1:]
"""More than nine cups at once is no hand job."""

WAKE_PHRASES = ("hello bench", "listen bench")

DANGER_SENTENCES = (
    "the cup is smoking",
    "cup is smoking",
    "it is smoking",
    "it's smoking",
    "there is smoke",
    "the pot is smoking",
    "the mix is smoking",
)
"""What is listened to even asleep; whole sentences, since a single word is soon misheard."""

PUT_OFF_BY_DEFAULT = timedelta(minutes=10)
HUSH_BY_DEFAULT = timedelta(minutes=2)

CORRECTIONS = (
    ("correction",),
    ("scratch", "that"),
    ("no",),
    ("no", "wait"),
    ("sorry",),
    ("i", "meant"),
    ("actually",),
)
"""Words that, before a complete reading, say that it replaces what was said last."""


class NotANumber(ValueError):
    """The sentence has the shape of a reading, but its number words make no number.

    Attributes:
        words: the words in the place of the number.
    """

    def __init__(self, words: tuple[str, ...]) -> None:
        super().__init__(f"no number: {' '.join(words)!r}")
        self.words = words


class Topic(Enum):
    """The headings of the help."""

    JOB = "the job"
    READINGS = "readings"
    AMOUNTS = "amounts"
    CUPS = "cups"
    AIR = "air and surface"
    COATS = "coats"
    REMINDERS = "reminders"
    ANSWERS = "answers"
    TALK = "talk"


Slots = Mapping[str, str]
SpellOut = Callable[[Sequence[str]], tuple[str, ...]]


def _reading(slots: Slots) -> Intent:
    component = slots.get("component")
    return said.TakeReading(
        COMPONENT_WORDS[component] if component else None,
        _masses(slots),
        has_sound_alike=bool(sound_alike_values(_without_units(slots["mass"].split()))),
    )


def _component(slots: Slots) -> Intent:
    return said.NameComponent(COMPONENT_WORDS[slots["component"]])


def _temperature(slots: Slots) -> Intent:
    words = tuple(slots["temperature"].split())
    celsius = read_temperature_c(words)
    if not celsius:
        raise NotANumber(words)
    place = slots.get("place")
    has_scale = words[-1] in SCALE_WORDS
    return said.TellTemperature(PLACE_WORDS[place] if place else None, celsius, has_scale)


def _humidity(slots: Slots) -> Intent:
    words = tuple(slots["percent"].split())
    percents = read_percent(words)
    if not percents:
        raise NotANumber(words)
    return said.TellHumidity(percents)


def _masses(slots: Slots) -> tuple[MassReading, ...]:
    words = tuple(slots["mass"].split())
    masses = read_mass(words)
    if not masses:
        raise NotANumber(words)
    return masses


def _total_wanted(slots: Slots) -> Intent:
    return said.WantTotal(_masses(slots))


def _cup_weight(slots: Slots) -> Intent:
    return said.TellCupWeight(_masses(slots))


def _lengths(slots: Slots) -> tuple[timedelta, ...]:
    words = tuple(slots["duration"].split())
    lengths = read_duration(words)
    if not lengths:
        raise NotANumber(words)
    return lengths


def _timer(slots: Slots) -> Intent:
    return said.SetTimer(_lengths(slots), slots.get("task", ""))


def _hush(slots: Slots) -> Intent:
    return said.Hush(_lengths(slots) if "duration" in slots else (HUSH_BY_DEFAULT,))


def _plan_coats(slots: Slots) -> Intent:
    return said.PlanCoats(DIGITS[slots["count"]], slots.get("area"))


def _lot(slots: Slots) -> Intent:
    digits = "".join(str(DIGITS[word]) for word in slots["digits"].split())
    return said.TellLot(COMPONENT_WORDS[slots["component"]], digits)


def _bare_temperature(slots: Slots) -> Intent:
    return _temperature({**slots, "temperature": f"{slots['bare']} degrees"})


def _put_off(slots: Slots) -> Intent:
    if "more" in slots:
        slots = {"duration": f"{slots['more']} minutes"}
    return said.PutOff(_lengths(slots) if "duration" in slots else (PUT_OFF_BY_DEFAULT,))


def _cup(slots: Slots) -> int | None:
    if "ordinal" in slots:
        return ORDINALS[slots["ordinal"]]
    return DIGITS[slots["cup"]] if "cup" in slots else None


def _cup_sign(sign: said.CupSign) -> Callable[[Slots], Intent]:
    return lambda slots: said.ReportCup(sign, _cup(slots))


def _without_units(words: Sequence[str]) -> tuple[str, ...]:
    return tuple(word for word in words if word not in GRAM_WORDS | KILO_WORDS)


@dataclass(frozen=True)
class Row:
    """One thing that can be said, with its wordings."""

    topic: Topic
    example: str  # Shown in the help, and read by the parser as this row.
    build: Callable[[Slots], Intent]
    patterns: tuple[str, ...]
    weight: int = 2  # Its share among the example phrases given to the recognizer.


def _always(intent: Intent) -> Callable[[Slots], Intent]:
    return lambda _slots: intent


ROWS: tuple[Row, ...] = (
    Row(
        Topic.READINGS,
        "resin eight five six grams",
        _reading,
        (
            "[the] {component} [weight] [now|so far|poured|done|in] "
            "[is|at|is at|is now|is now at|weighs|reads|comes to|comes out at] {mass}",
            "{component} {mass}",
            "{mass} [of] [the] {component}",
            "(it is|that is|there is|this is|we are at|[the] (scale|display) (says|shows|reads)) "
            "{mass} [of|with] [the] {component} [in the cup]",
            "[i|we] [have] (poured|weighed|added|have|got|put|put in) {mass} [of] {component} [in]",
        ),
        weight=240,
    ),
    Row(
        Topic.READINGS,
        "scale reads nine seven eight grams",
        _reading,
        (
            "{mass}",
            "[the] (scale|display) (reads|says|shows) {mass}",
            "[now] (it reads|it says|it shows|it's|it is|that is|there is) [at|now] {mass}",
            "(reading [is]|reads|now|now at|at) {mass}",
            "(we|we are|i am|i'm|we're) at {mass}",
            "(poured|weighed|added) {mass}",
        ),
        weight=160,
    ),
    Row(
        Topic.AIR,
        "the surface is one nine degrees",
        _temperature,
        (
            "[it is|it's] {temperature}",
            "[the] {place} [temperature] [is] [at] {temperature}",
            "[it is|it's] {temperature} (in the|on the) {place}",
        ),
        weight=4,
    ),
    Row(
        Topic.AIR,
        "surface temperature one nine",
        _bare_temperature,
        ("[the] {place} temperature [is] [now] [at] {bare}",),
    ),
    Row(
        Topic.AIR,
        "humidity is six five percent",
        _humidity,
        (
            "[the] [relative] humidity [is] [at] {percent}",
            "{percent} humidity",
            "[it is|it's] {percent}",
        ),
        weight=3,
    ),
    Row(
        Topic.AIR,
        "can i coat",
        _always(said.AskConditions()),
        (
            "can (i|we) (coat|start coating|paint) [now]",
            "(what is|what's) the dew point",
            "(is it|is the air|is the surface) "
            "(dry enough|warm enough|too wet|too damp|too cold|too hot) [to start|to coat]",
            "are the conditions (okay|good|right)",
        ),
    ),
    Row(
        Topic.AMOUNTS,
        "i need five zero zero grams in all",
        _total_wanted,
        (
            "(i|we) (need|want) [a total of] {mass} "
            "(in all|in total|all together|altogether|of mix)",
            "(i|we) want [to mix|to make] [a total of] [a batch of] {mass}",
            "(mix|make) [me] [a batch of] {mass} [in all|in total|all together]",
            "total (of|wanted|target) {mass}",
        ),
        weight=4,
    ),
    Row(
        Topic.AMOUNTS,
        "how much hardener",
        _always(said.AskTarget()),
        (
            "how much {component} [do i need|do i pour|do we need|in all]",
            "how (much|many grams of) {component} (does it|does that) (need|take)",
            "how many grams of {component} [do i need]",
            "(what is|what's) the [hardener] target [of the {component}]",
            "[the] target",
        ),
    ),
    Row(
        Topic.AMOUNTS,
        "how much more",
        _always(said.AskRemaining()),
        (
            "how (much|many) more [grams] [of] [{component}] [do i need|do i pour|to go]",
            "how much further",
            "how much [is] left to pour",
            "how much [hardener] is missing",
        ),
    ),
    Row(
        Topic.AMOUNTS,
        "what is the total",
        _always(said.AskTotal()),
        (
            "(what is|what's) the total [weight]",
            "how much [is it|have i got|do i have|is there] (in all|all together|altogether)",
            "what does it [all] weigh [in all|together]",
            "total",
        ),
    ),
    Row(
        Topic.CUPS,
        "scale is on zero",
        _always(said.TareScale()),
        (
            "tare [the scale]",
            "[i|i have] (tared|zeroed) [it|the scale|the cup]",
            "[the] scale is (tared|zeroed|on zero|at zero|set to zero)",
            "i [have] [just] hit tare",
            "set [the] scale to zero",
        ),
    ),
    Row(
        Topic.CUPS,
        "the cup is two zero grams empty",
        _cup_weight,
        (
            "[the] [empty] cup (is|weighs|weight is) {mass} empty",
            "[the] empty cup [is|weighs|weight is] {mass}",
            "cup weight [is] {mass}",
        ),
        weight=4,
    ),
    Row(
        Topic.CUPS,
        "new cup",
        _always(said.OpenBatch()),
        (
            "(new|next|another|fresh) (cup|batch|pot)",
            "(start|starting|i am starting|let's do|let's start) (a new|another|a fresh) "
            "(cup|batch|pot)",
            "[i have] put (a new|another|a fresh) (cup|pot) on [the scale]",
        ),
    ),
    Row(
        Topic.CUPS,
        "mixed",
        _always(said.StartClock()),
        (
            "[it is|it's|they are|it is all|they are all] mixed [together]",
            "(i have started|started) (stirring|mixing)",
            "[i] mixed it",
            "start the (clock|timer)",
            "(mixing|started mixing|start mixing) [now]",
        ),
    ),
    Row(
        Topic.CUPS,
        "how long is left",
        lambda slots: said.AskTimeLeft(_cup(slots)),
        (
            "how long [is] left [on|in|for] [cup {cup}]",
            "how (long|much time) (do i have|have i got|is left) [left] [on|in|for] [cup {cup}]",
            "[how much] time [is] left [on|in|for] [cup {cup}]",
            "how many minutes (do i have|have i got|are left) [left] [on|in] [cup {cup}]",
            "how long (can i|can i still) (use it|work with it|use cup {cup})",
            "how long before it (kicks|gels|goes off)",
            "is (it|cup {cup}) still (good|usable)",
            "how long does (cup {cup}|the {ordinal} cup) (have|have left|last)",
            "how long is left [on|in|for] the {ordinal} cup",
        ),
    ),
    Row(
        Topic.CUPS,
        "which cup first",
        _always(said.AskFirstCup()),
        (
            "which (cup|one) [is|comes|goes|do i use|should i use|goes off|gels] first",
            "what cup first",
            "which (cup|one) (now|next)",
        ),
    ),
    Row(
        Topic.CUPS,
        "cup one is empty",
        lambda slots: said.EmptyCup(_cup(slots)),
        (
            "[the] cup [{cup}] is (empty|done|finished|used up)",
            "(it is|it's|it's all|it is all|all) (poured out|out of the cup|spread out|spread)",
            "(that|this) cup is (empty|done|finished|used up)",
            "[i|i have] poured (it|it all|cup {cup}) [all] out",
            "[cup {cup}] (poured out|spread out|empty)",
            "[the] {ordinal} cup is (empty|done|finished|used up)",
        ),
    ),
    Row(
        Topic.CUPS,
        "four zero grams left in cup one",
        lambda slots: said.TellLeft(_masses(slots), _cup(slots)),
        (
            "[there is|there are] {mass} left [in|of] [the] [cup [{cup}]]",
            "[the] cup [{cup}] (has|still has) {mass} left [in it]",
            "the {ordinal} cup (has|still has) {mass} left [in it]",
        ),
    ),
    Row(
        Topic.CUPS,
        "how much is left in the cup",
        lambda slots: said.AskLeft(_cup(slots)),
        ("how much [mix] [is] left in [the|this] cup [{cup}]", "how much is in cup {cup}"),
    ),
    Row(
        Topic.CUPS,
        "it is getting warm",
        _cup_sign(said.CupSign.WARM),
        (
            "[the] (cup [{cup}]|mix|pot) (is|gets|is getting|feels) (warm|warmer|hot|hotter)",
            "the {ordinal} cup (is|gets|is getting|feels) (warm|warmer|hot|hotter)",
            "(it is|it's) [getting] (warm|warmer|hot|hotter)",
            "it (gets|feels) (warm|warmer|hot|hotter)",
            "[cup {cup}] getting (warm|hot)",
        ),
    ),
    Row(
        Topic.CUPS,
        "it is getting thick",
        _cup_sign(said.CupSign.THICK),
        (
            "[the] (cup [{cup}]|mix|pot) (is|gets|is getting|feels) (thick|thickening)",
            "the {ordinal} cup (is|gets|is getting|feels) (thick|thickening)",
            "[the] (cup [{cup}]|mix|it) (is starting to|starts to|is going to) (thicken|gel)",
            "(it is|it's) [getting] (thick|thickening)",
            "[cup {cup}] (getting thick|thickening)",
            "[the] (cup [{cup}]|mix|it) (has gelled|gelled|is gelling)",
            "(it's|it is) (gelling|gelled)",
        ),
    ),
    Row(
        Topic.CUPS,
        "the cup is smoking",
        _cup_sign(said.CupSign.SMOKING),
        (
            "[the] (cup [{cup}]|{ordinal} cup|mix|pot) (is smoking|smokes)",
            "(it is|it's) smoking",
            "[there is] smoke [coming] [off|out of|from] [the cup|cup {cup}|it]",
            "smoking",
        ),
    ),
    Row(
        Topic.COATS,
        "coat finished",
        lambda slots: said.FinishCoat(slots.get("area")),
        (
            "[the] coat [is] (finished|done|on) [on [the] {area}]",
            "[the] [first|second|third|last] coat (is on|on) [the] {area} [is] [finished|done]",
            "(i|we) [have] finished [the|this] [first|second|third|last] (coat|coating) "
            "[on [the] {area}]",
            "(i am|we are) (done|finished) with (the|this) coat [on [the] {area}]",
            "finished coating [the] [{area}]",
            "[the] (first|second|third|last) coat [is] (finished|done|on) [on [the] {area}]",
            "that is the [first|second|third|last] coat (done|finished|on) [on [the] {area}]",
            "[the] {area} is (coated|finished)",
        ),
    ),
    Row(
        Topic.COATS,
        "starting the coat",
        lambda slots: said.StartCoat(slots.get("area")),
        (
            "(starting|i am starting|i'm starting|started) [on] [the] [first|second|next] coat "
            "[on [the] {area}]",
            "(i am|we are) starting to coat [[the] {area}]",
            "(rolling|brushing) [on] [the] [first|second|next] coat [on [the] {area}]",
            "[the] [first|second|next] coat [is] started [on [the] {area}]",
            "start [the] [first|second|next] coat [on [the] {area}]",
            "(starting|started|start) coating [[the] {area}]",
            "(starting|i am starting|i'm starting) on [the] {area}",
        ),
    ),
    Row(
        Topic.COATS,
        "tape is on",
        lambda slots: said.SetTape(slots.get("area")),
        (
            "[the] [masking] tape is (on|set) [on [the] {area}]",
            "[the] [masking] tape is on [the] {area}",
            "[i|i have] (set|put) [the] [masking] tape [on] [[on] [the] {area}]",
            "masking [is] done [on [the] {area}]",
            "[it is] all taped [up]",
            "[the] {area} is taped [up]",
        ),
    ),
    Row(
        Topic.COATS,
        "tape is off",
        lambda slots: said.PullTape(slots.get("area")),
        (
            "[the] [masking] tape is (off|pulled) [[on|off] [the] {area}]",
            "[i|i have] (pulled|removed) [the] [masking] tape [off] [[on|from] [the] {area}]",
            "[i] took [the] [masking] tape off [[on] [the] {area}]",
            "tape (pulled|off) [[on|off] [the] {area}]",
            "[the] {area} tape is (off|pulled)",
        ),
    ),
    Row(
        Topic.COATS,
        "it is still tacky",
        lambda slots: said.FeelFilm(FILM_WORDS[slots["film"]], slots.get("area")),
        (
            "[the] [last] (coat|film|paint) [on [the] {area}] (is|feels) [still] "
            "[a bit|a little] {film}",
            "[the] {area} (is|feels) [still] [a bit|a little] {film}",
            "(it is|it's|it feels) [still] [a bit|a little] {film}",
            "still [a bit|a little] {film}",
            "it (is|feels) {film} to [the] touch",
            "{film} [to touch]",
        ),
    ),
    Row(
        Topic.COATS,
        "when can i recoat",
        lambda slots: said.AskRecoat(slots.get("area")),
        (
            "(when can|can) (i|we) (recoat|coat again) [it]",
            "(when can|can) (i|we) recoat [the] {area}",
            "when (is|can i do|can i start) the (next|second|third) coat",
            "(when can|can) i put the (next|second|third) coat on",
            "is it ready [for] (another|the next|the second) coat",
            "how long (to|until) [the] (recoat|next coat|second coat)",
        ),
    ),
    Row(
        Topic.COATS,
        "when does the tape come off",
        lambda slots: said.AskTape(slots.get("area")),
        (
            "when (does|can) the tape [on [the] {area}] come off",
            "when (can|do|should) i (pull|remove|take off) the tape",
            "can i (pull|remove|take off) the [masking] tape [now|yet]",
            "can i take the [masking] tape off [now|yet]",
        ),
    ),
    Row(
        Topic.COATS,
        "when is it ready",
        lambda slots: said.AskReady(slots.get("area")),
        (
            "when is [the] {area} [fully] (ready|cured|hard|dry)",
            "(when is|how long until) (it|the coat) [is] [fully] (ready|cured|hard|dry)",
            "when is it safe to (handle|use|sand|touch)",
            "when can (i|we) (use|sand|handle|touch|move) (it|the coat|the {area})",
        ),
    ),
    Row(
        Topic.REMINDERS,
        "remind me in ten minutes",
        _timer,
        (
            "remind me in {duration} [to {task}]",
            "remind me to {task} in {duration}",
            "(set a|start a|set) timer [for] {duration} [to {task}]",
            "{duration} timer",
            "give me a (shout|call) in {duration}",
            "timer [for] {duration}",
            "(call|tell|wake) me in {duration}",
        ),
        weight=4,
    ),
    Row(
        Topic.REMINDERS,
        "how long is left on the timer",
        _always(said.AskTimers()),
        (
            "how (long|much time) [is] left on the (timer|timers|reminder)",
            "(what is|what's) left on the (timer|timers)",
            "which (timers|reminders) are set",
        ),
    ),
    Row(
        Topic.REMINDERS,
        "cancel the timer",
        lambda slots: said.CancelTimer(_cup(slots)),
        ("(cancel|stop|clear) [the] (timer|reminder) [{cup}]",),
    ),
    Row(
        Topic.REMINDERS,
        "quiet for two minutes",
        _hush,
        (
            "[be] quiet [please] [for {duration}]",
            "(silence|mute) [for {duration}]",
        ),
    ),
    Row(
        Topic.REMINDERS,
        "ten more minutes",
        _put_off,
        (
            "{duration} more",
            "(remind me|ask me|tell me) (later|again later)",
            "(later|not now|put it off)",
            "put it off [for|by] {duration}",
            "(remind me|ask me|tell me) again in {duration}",
            "[give me] {more} more (minutes|minute)",
        ),
    ),
    Row(
        Topic.REMINDERS,
        "got it",
        _always(said.Acknowledge()),
        ("(got it|i heard [you]|heard|understood|skip [that])",),
    ),
    Row(
        Topic.REMINDERS,
        "what did i miss",
        _always(said.AskMissed()),
        ("what did i miss", "did i miss (anything|something)", "what is open"),
    ),
    Row(
        Topic.ANSWERS,
        "yes",
        _always(said.Confirm()),
        (
            # Not "that is right" alone: it is "that is not right" with a word lost.
            "(yes|yeah|yep|correct|right|okay) [that is right|that's right|that is correct]",
        ),
        weight=4,
    ),
    Row(
        Topic.ANSWERS,
        "no",
        _always(said.Deny()),
        (
            "(no|nope|wrong|not right) [that is wrong|that's wrong|that is not right]",
            "(that is|that's|it is) (wrong|not right)",
        ),
        weight=4,
    ),
    Row(
        Topic.ANSWERS,
        "scratch that",
        _always(said.ScratchThat()),
        (
            "scratch that",
            "undo [that]",
            "take that back",
            "cancel [that]",
            "forget (that|it|that one|the last one)",
        ),
        weight=4,
    ),
    Row(
        Topic.ANSWERS,
        "hardener",
        _component,
        ("[it is|it's|that was|that is|it was] [the] {component}",),
    ),
    Row(
        Topic.TALK,
        "status",
        _always(said.AskStatus()),
        (
            "status",
            "where are we",
            "where do (we|things) stand",
            "(what is|what's) the status",
        ),
    ),
    Row(
        Topic.TALK,
        "say again",
        _always(said.AskRepeat()),
        (
            "say [that] again",
            "[can you] repeat [that]",
            "again",
            "come again",
            "pardon",
            "what did you say",
            "what was that",
        ),
    ),
    *(
        Row(Topic.TALK, manner.value, _always(said.ChangeVoice(manner)), patterns)
        for manner, patterns in {
            said.Manner.SLOWER: (
                "[can you] [speak|talk] [a little|a bit] slower",
                "slow down",
                "too fast",
            ),
            said.Manner.FASTER: ("[can you] [speak|talk] [a little|a bit] faster", "too slow"),
            said.Manner.LOUDER: ("[can you] [speak|talk] [a little|a bit] louder",),
            said.Manner.QUIETER: ("[speak|talk|be] [a little|a bit] quieter", "not so loud"),
        }.items()
    ),
    Row(
        Topic.TALK,
        "go to sleep",
        _always(said.GoToSleep()),
        ("go to sleep", "sleep now", "stop listening"),
    ),
    Row(Topic.TALK, "hello bench", _always(said.WakeUp()), WAKE_PHRASES),
    Row(
        Topic.JOB,
        "new job",
        _always(said.OpenJob()),
        (
            "(new|next|another) job",
            "(start|open|begin|starting) (a|the) [new|next] job",
        ),
    ),
    Row(
        Topic.JOB,
        "the product is gate coat",
        lambda slots: said.ChooseProduct(tuple(slots["product"].split())),
        (
            "the product is {product}",
            "(i am|we are|i'm|we're) using {product}",
            "(change|switch) [the] product to {product}",
            "(open|start) a job with {product}",
        ),
    ),
    Row(
        Topic.JOB,
        "which product is it",
        _always(said.AskProducts()),
        (
            "which product [is it|is this|are we using]",
            "(what is|what's) the product",
            "which products (are there|do you know|have you got)",
        ),
    ),
    Row(
        Topic.JOB,
        "the scale has steps of one gram",
        lambda slots: said.TellScale(_masses(slots)),
        (
            "[the] scale has steps of {mass}",
            "[the] scale (step|steps|resolution) (is|are|of) {mass}",
            "[the] resolution [of the scale] is {mass}",
        ),
    ),
    Row(
        Topic.JOB,
        "two coats planned",
        _plan_coats,
        (
            "{count} (coats|coat) [are|is] planned [on [the] {area}]",
            "(i|we) plan {count} (coats|coat) [on [the] {area}]",
            "(it needs|it gets|there will be|i want) {count} (coats|coat)",
            "[the] {area} (needs|gets) {count} (coats|coat)",
            "plan {count} (coats|coat) [on [the] {area}]",
        ),
    ),
    Row(
        Topic.JOB,
        "resin lot four seven one two",
        _lot,
        (
            "{component} lot [number] [is] {digits}",
            "[the] lot [number] of [the] {component} is {digits}",
            "lot [number] {digits} (of|is) [the] {component}",
        ),
    ),
    Row(
        Topic.JOB,
        "take a note",
        _always(said.TakeNote()),
        ("[take|make] [a] note", "new note"),
    ),
    Row(
        Topic.JOB,
        "read the notes",
        _always(said.ReadNotes()),
        ("read [me] [the|my] notes", "what are my notes"),
    ),
    Row(
        Topic.TALK,
        "the job is done",
        _always(said.EndJob()),
        (
            "[the] job is (done|over|finished)",
            "end [of] [the] job",
            "(i am|we are) (done|finished) (with the job|of the day|today)",
            "that is all [of] today",
        ),
    ),
    Row(
        Topic.TALK,
        "help",
        _always(said.AskHelp()),
        ("help", "what can i (say|ask) [you]", "what can you do"),
    ),
)

PARSED: tuple[tuple[Row, Sequence_], ...] = tuple(
    (row, parse_pattern(pattern)) for row in ROWS for pattern in row.patterns
)


def _one_of(words: Sequence[str]) -> str:
    return "(?:" + "|".join(f"{word} " for word in sorted(words, key=len, reverse=True)) + ")"


_COUNTS = _one_of(CUP_WORDS)
_AREA = f"(?:{_one_of(AREA_SIDES)}?{_one_of(AREA_NOUNS)}{_COUNTS}?|area {_COUNTS})"

SLOT_EXPRESSIONS: Mapping[str, str] = {
    "component": _one_of(tuple(COMPONENT_WORDS)),
    "place": _one_of(tuple(PLACE_WORDS)),
    "film": _one_of(tuple(FILM_WORDS)),
    "cup": _COUNTS,
    "count": _COUNTS,
    "ordinal": _one_of(tuple(ORDINALS)),
    "area": _AREA,
    "task": f"{_one_of(TASK_VERBS)}(?:the )?{_one_of(TASK_NOUNS)}?",
    "product": "(?:[a-z']+ ){1,4}",  # Compared with the cards' names afterwards.
    "digits": _one_of(tuple(DIGITS)) + "{2,12}",
    "bare": _one_of(tuple(NUMBER_WORDS)) + "+",
    "percent": f"{_one_of(tuple(NUMBER_WORDS))}+percent ",
    "duration": _one_of(tuple(DURATION_WORDS)) + "+",
    "more": _one_of(tuple(NUMBER_WORDS)) + "+",
    "mass": _one_of(tuple(MASS_WORDS)) + "+",
    "temperature": (
        f"{_one_of(tuple(NUMBER_WORDS))}+{_one_of(tuple(DEGREE_WORDS))}"
        f"{_one_of(tuple(SCALE_WORDS))}?"
    ),
}


def expressions(spelled_out: SpellOut) -> tuple[tuple[Row, str], ...]:
    """Each row with one regular expression for each of its patterns.

    Args:
        spelled_out: writes contractions in full, as the parser does with what was heard.
    """
    return tuple((row, regex_of(pattern, SLOT_EXPRESSIONS, spelled_out)) for row, pattern in PARSED)


def essential_words() -> tuple[str, ...]:
    """The words without which the main job cannot be done, in alphabetical order.

    A model that lacks one of these is refused; of the others only some wordings are lost.
    """
    answers = {"yes", "no", "scratch", "that", "scale", "reads", "mixed", "tare", "new", "empty"}
    parts = {
        word for phrase in ("resin", "hardener", "part a", "part b") for word in phrase.split()
    }
    numbers = set(MASS_WORDS | TEMPERATURE_WORDS) - RARE_NUMBER_WORDS
    return tuple(sorted(numbers | parts | answers))


def vocabulary() -> tuple[str, ...]:
    """Every word that can be said, in alphabetical order."""
    words = set(MASS_WORDS | TEMPERATURE_WORDS)
    for _, pattern in PARSED:
        words |= set(words_of(pattern))
    words |= DURATION_WORDS | {"percent", "area", *PLACE_WORDS, *FILM_WORDS, *CUP_WORDS}
    words |= {*AREA_SIDES, *AREA_NOUNS, *ORDINALS, *TASK_NOUNS, "the"}
    words |= {word for phrase in TASK_VERBS for word in phrase.split()}
    for phrase in COMPONENT_WORDS:
        words |= set(phrase.split())
    for correction in CORRECTIONS:
        words |= set(correction)
    return tuple(sorted(words))


def example_phrases(count: int, pick: Pick) -> tuple[str, ...]:
    """Sentences of the grammar, weighted as they are likely to be said.

    The recognizer makes a bigram model of them, so the shares matter: what is rare here is
    heard less easily.

    Args:
        count: how many.
        pick: chooses one of n; the caller seeds it.
    """
    weights = [row.weight for row in ROWS]
    phrases = []
    for _ in range(count):
        row = ROWS[_weighted(weights, pick)]
        pattern = parse_pattern(row.patterns[pick(len(row.patterns))])
        phrases.append(example_of(pattern, SLOT_EXAMPLES, pick))
    return tuple(phrases)


def _weighted(weights: Sequence[int], pick: Pick) -> int:
    left = pick(sum(weights))
    for i, weight in enumerate(weights):
        left -= weight
        if left < 0:
            return i
    raise AssertionError("pick returned a number out of its range")


def _example_component(pick: Pick) -> str:
    # The everyday names are said most.
    names = ("resin", "resin", "resin", "hardener", "hardener", "hardener", "part a", "part b")
    rare = ("base", "catalyst")
    choice = pick(len(names) * 2 + len(rare))
    return names[choice % len(names)] if choice < len(names) * 2 else rare[choice % len(rare)]


def _example_mass(pick: Pick) -> str:
    unit = ("", "", "grams", "grams", "grams", "grams", "grams", "gram")[pick(8)]
    shape = pick(20)
    if shape < 2:
        decimals = " ".join(DIGIT_WORDS[pick(10)] for _ in range(1 + pick(3)))
        kilos = ("kilos", "kilograms", "kilo")[pick(3)]
        return f"{DIGIT_WORDS[pick(10)]} point {decimals} {kilos}"
    # As many hundreds as tens as thousands: cups come in all sizes.
    whole = pick((100, 1000, 1000, 5000)[pick(4)])
    forms = spoken_forms(whole)
    number = say_digits(Fraction(whole)) if pick(3) == 0 else forms[pick(len(forms))]
    if shape < 5:
        number += f" point {DIGIT_WORDS[pick(10)]}"
    return f"{number} {unit}".strip()


def _example_temperature(pick: Pick) -> str:
    forms = spoken_forms(5 + pick(95))
    scale = ("", "", "", "celsius", "fahrenheit")[pick(5)]
    return f"{forms[pick(len(forms))]} degrees {scale}".strip()


def _example_percent(pick: Pick) -> str:
    forms = spoken_forms(20 + pick(80))
    return f"{forms[pick(len(forms))]} percent"


def _example_duration(pick: Pick) -> str:
    shares = tuple(SHARES_OF_AN_HOUR)
    if pick(5) == 0:
        return shares[pick(len(shares))]
    forms = spoken_forms(2 + pick(58))
    unit = ("minutes", "minutes", "minutes", "hours", "seconds")[pick(5)]
    return f"{forms[pick(len(forms))]} {unit}"


def _example_area(pick: Pick) -> str:
    if pick(4) == 0:
        return f"area {CUP_WORDS[pick(len(CUP_WORDS))]}"
    side = f"{AREA_SIDES[pick(len(AREA_SIDES))]} " if pick(3) == 0 else ""
    return side + AREA_NOUNS[pick(len(AREA_NOUNS))]


def _example_task(pick: Pick) -> str:
    return f"{TASK_VERBS[pick(len(TASK_VERBS))]} the {TASK_NOUNS[pick(len(TASK_NOUNS))]}"


def _example_digits(pick: Pick) -> str:
    return " ".join(DIGIT_WORDS[pick(10)] for _ in range(3 + pick(4)))


def _example_bare(pick: Pick) -> str:
    forms = spoken_forms(5 + pick(35))
    return forms[pick(len(forms))]


def _one_word_of(words: Sequence[str]) -> Callable[[Pick], str]:
    return lambda pick: words[pick(len(words))]


SLOT_EXAMPLES: Mapping[str, Callable[[Pick], str]] = {
    "component": _example_component,
    "mass": _example_mass,
    "temperature": _example_temperature,
    "percent": _example_percent,
    "duration": _example_duration,
    "more": _one_word_of(("five", "ten", "fifteen", "twenty", "thirty")),
    "place": _one_word_of(tuple(PLACE_WORDS)),
    "film": _one_word_of(tuple(FILM_WORDS)),
    "cup": _one_word_of(CUP_WORDS),
    "count": _one_word_of(CUP_WORDS),
    "ordinal": _one_word_of(tuple(ORDINALS)),
    "area": _example_area,
    "task": _example_task,
    "product": _one_word_of(("gate coat", "floor coat")),
    "digits": _example_digits,
    "bare": _example_bare,
}
