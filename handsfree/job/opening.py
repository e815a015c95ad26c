"""What is told at the start of a job: the product, the scale, the coats planned, the lots."""

from dataclasses import replace
from fractions import Fraction

from handsfree.job import pour
from handsfree.job.dialogue import ConfirmFact
from handsfree.job.events import (
    BatchOpened,
    CoatsPlanned,
    Event,
    JobOpened,
    LotTold,
    ProductChosen,
    ScaleTold,
    Told,
)
from handsfree.job.step import Decision, Outcome, Step, answer
from handsfree.language import intents as said
from handsfree.language import replies
from handsfree.language.replies import Reply

# The steps that bench scales are sold with, in grams. Common practice, no published source.
SCALE_STEPS_G = tuple(Fraction(step) for step in ("0.01", "0.1", "0.2", "0.5", "1", "2", "5", "10"))


def _ask(step: Step, fact: Told, question: Reply) -> Decision:
    talk = replace(step.talk, question=ConfirmFact(fact))
    return answer(step, question, Outcome.ASKED, talk=talk)


def open_job(step: Step) -> Decision:
    """A new job: asked first, and never while the clock of a cup would be lost by it."""
    running = tuple(b.number for b in step.state.batches if b.running_clock is not None)
    if running:
        return answer(step, replies.CupsStillRun(running), Outcome.REJECTED)
    return _ask(step, JobOpened(step.now, step.state.job + 1), replies.AskNewJob())


def choose_product(step: Step, intent: said.ChooseProduct) -> Decision:
    """Another product from here on: asked first, and never with a cup half poured."""
    shelf = step.setup.shelf
    card = shelf.named(intent.words)
    if card is None:
        return answer(step, replies.NoSuchProduct(shelf.names), Outcome.REJECTED)
    batch = step.batch
    is_open = batch is not None and batch.readings and batch.emptied_at is None
    if batch is not None and is_open and not pour.is_complete(step.setup.recipe, batch):
        return answer(step, replies.CupNotDone(batch.number), Outcome.REJECTED)
    return _ask(step, ProductChosen(step.now, card.name), replies.AskProduct(card.name))


def product_facts(step: Step, fact: ProductChosen) -> tuple[Event, ...]:
    """The product, and a cup of its own where the last one holds the product before."""
    batch = step.batch
    if batch is None or not batch.readings:
        return (fact,)
    return (fact, BatchOpened(step.now, batch.number + 1))


def tell_product(step: Step) -> Decision:
    """Which product is mixed, and which there are."""
    product = step.setup.card.name
    others = tuple(name for name in step.setup.shelf.names if name != product)
    return answer(step, replies.ProductIs(product, others), Outcome.ACCEPTED)


def tell_scale(step: Step, intent: said.TellScale) -> Decision:
    """The scale's smallest step: every reading is checked against it, so it is asked first."""
    values = tuple(mass.grams for mass in intent.masses)
    if len(values) > 1:
        return answer(step, replies.AskWhichValue(None, values), Outcome.ASKED)
    if values[0] not in SCALE_STEPS_G:
        return answer(step, replies.NoScaleStep(values[0]), Outcome.REJECTED)
    return _ask(step, ScaleTold(step.now, values[0]), replies.AskScaleStep(values[0]))


def plan_coats(step: Step, intent: said.PlanCoats) -> Decision:
    """How many coats there are to be: asked first, since after the last no recoat is called."""
    area = intent.area or ""
    fact = CoatsPlanned(step.now, intent.coats, area)
    return _ask(step, fact, replies.AskCoatsPlanned(intent.coats, area))


def tell_lot(step: Step, intent: said.TellLot) -> Decision:
    """The lot number on a can: asked first, since nothing later would show a wrong digit."""
    fact = LotTold(step.now, intent.component, intent.lot)
    return _ask(step, fact, replies.AskLot(intent.component, intent.lot))
