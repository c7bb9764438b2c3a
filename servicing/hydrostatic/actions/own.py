"""Entering a test of our own."""

from dataclasses import dataclass
from datetime import date

from django.contrib.auth.models import User
from django.db import transaction

from registry.items.models import Item
from registry.items.pure import Kind
from registry.people.actions.rights import only
from registry.people.pure import Right
from servicing.due.actions.services import Service
from servicing.due.actions.standing import may_condemn
from servicing.hydrostatic.actions.consignments import ConsignmentRefused, still_waits
from servicing.hydrostatic.actions.results import log_retest
from servicing.hydrostatic.pure.outcome import own_outcome
from servicing.hydrostatic.pure.verdict import Word
from servicing.hydrostatic.queries import calibrated_cylinder, waiting_for_manager
from servicing.ledger.actions import lock_items
from servicing.ledger.pure.entry import CONDEMNATION_WAITS, Reading
from servicing.ledger.pure.shoulder import BLANK, NAMES, NOT_PASSED, Shoulder
from servicing.ledger.queries.records import record_with_key
from servicing.rules.pure.tasks import RETEST

CONFIRM = "The test says condemn: a fleet manager has still to condemn the cylinder on its page."


@dataclass(frozen=True, slots=True)
class OwnTest:
    """A test done in our own shop, judged and ready to be entered.

    word: our verdict; says: its reasons; readings: all figures, by name. cylinder: tag or
    serial of the calibrated cylinder of the day's check.
    """

    tested_on: date
    by: str
    word: Word
    says: str
    readings: tuple[Reading, ...]
    note: str = ""
    cylinder: str = ""
    shoulder: Shoulder = BLANK


def check_marks(test: OwnTest) -> None:
    """Refuse marks of a test that the cylinder did not pass. Raises ConsignmentRefused."""
    if test.word is not Word.PASS and (said := test.shoulder.said):
        raise ConsignmentRefused(f"{NAMES[next(iter(said))].capitalize()} {NOT_PASSED}.")


@only(Right.RECORD)
@transaction.atomic
def enter_own_test(
    *, item: Item, test: OwnTest, user: User, entry_key: str, signed: bool = False
) -> int:
    """Enter a test of our own as a record of the retest, and return the record's place.

    A repeat is a record too (49 CFR 180.215(b)(2)): a fail, so that the cylinder stays out of
    service until a test counts. So is a condemnation by somebody who may not condemn: it says
    that it waits for a fleet manager, and nothing is tested again before that is decided.
    signed: whether the user signs it, as performed where they name themselves as the tester;
    the caller has made sure that they are there. Raises ConsignmentRefused, or HydroProblem
    where the rig was checked with something that is no calibrated cylinder; then nothing is
    written.
    """
    if item.type.kind != Kind.CYLINDER:
        raise ConsignmentRefused(f"{item.tag} is no cylinder.")
    lock_items([item.pk])
    waits = waiting_for_manager([item.pk])
    if item.pk in waits and record_with_key(entry_key) is None:
        raise ConsignmentRefused(still_waits(item, waits))
    check_marks(test)
    checked_with = calibrated_cylinder(test.cylinder, test.tested_on)
    outcome = own_outcome(test.word, may_condemn=may_condemn(user))
    unconfirmed = outcome == "fail" and test.word is Word.CONDEMN
    service = Service(
        task=RETEST,
        done_on=test.tested_on,
        outcome=outcome,
        performed_by=test.by,
        note=CONFIRM if unconfirmed and not test.note else test.note,
        readings=(
            *test.readings,
            Reading("verdict", test.says),
            *([CONDEMNATION_WAITS] if unconfirmed else []),
            *test.shoulder.readings,
        ),
        instruments=(checked_with.as_stood,) if checked_with else (),
    )
    return log_retest(item, service, user, entry_key, signed=signed)
