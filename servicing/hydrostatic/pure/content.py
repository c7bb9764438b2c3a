"""What the record of a retest has to say, and what of it is missing.

US: 49 CFR 180.215(b)(1)-(2), edition of 2015 [text]. ISO/EN: what ISO 18119 and ISO 11623 ask a
test body to keep [memory]. To be kept: US until the period ends or the cylinder is tested again,
whichever comes first (180.215(b)); UN fifteen years (Model Regulations 6.2.2.6.6) [text].
"""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Facts:
    """One retest in words, units inside. What is not known, or can't apply, is empty."""

    tested_on: str = ""
    serial: str = ""
    specification: str = ""
    marked_pressure: str = ""
    dimensions: str = ""
    maker: str = ""
    owner: str = ""
    by_eye: str = ""
    test_pressure: str = ""
    total: str = ""
    elastic: str = ""
    permanent: str = ""
    percent: str = ""
    disposition: str = ""
    reason: str = ""
    operator: str = ""
    calibration: str = ""
    earlier_test: str = ""
    method: str = ""
    held: str = ""
    mark: str = ""


@dataclass(frozen=True, slots=True)
class Asked:
    """One thing a record has to say. unless_proof: only where expansion is measured."""

    field: str
    words: str
    clause: str
    unless_proof: bool = False


_B2 = "49 CFR 180.215(b)(2)"
US_RECORD = (
    Asked("tested_on", "date of the retest", _B2),
    Asked("serial", "serial number", _B2),
    Asked("specification", "specification or permit", _B2),
    Asked("marked_pressure", "marked pressure", _B2),
    Asked("dimensions", "actual dimensions", _B2),
    Asked("maker", "manufacturer's symbol", _B2),
    Asked("owner", "owner's symbol, if any", _B2),
    Asked("by_eye", "result of the visual inspection", _B2),
    Asked("test_pressure", "actual test pressure", _B2),
    Asked("total", "total expansion", _B2, unless_proof=True),
    Asked("elastic", "elastic expansion", _B2, unless_proof=True),
    Asked("permanent", "permanent expansion", _B2, unless_proof=True),
    Asked("percent", "permanent as per cent of total", _B2, unless_proof=True),
    Asked("disposition", "disposition", _B2),
    Asked("reason", "reason for repeating, rejecting or condemning", _B2),
    Asked("operator", "operator", _B2),
    Asked("earlier_test", "date of the earlier test, at a second one", _B2),
    Asked("calibration", "calibrated cylinder of the day", "49 CFR 180.215(b)(1)"),
)
_ISO = "ISO 18119, ISO 11623: record [memory]"
ISO_RECORD = (
    Asked("tested_on", "date of the retest", _ISO),
    Asked("serial", "serial number", _ISO),
    Asked("specification", "design standard", _ISO),
    Asked("marked_pressure", "working and test pressure as marked", _ISO),
    Asked("dimensions", "water capacity and tare", _ISO),
    Asked("maker", "manufacturer", _ISO),
    Asked("owner", "owner", _ISO),
    Asked("by_eye", "external and internal inspection", _ISO),
    Asked("method", "method of the pressure test", _ISO),
    Asked("test_pressure", "test pressure reached", _ISO),
    Asked("held", "how long it was held", _ISO),
    Asked("percent", "permanent as per cent of total", _ISO, unless_proof=True),
    Asked("disposition", "result", _ISO),
    Asked("reason", "reason for a rejection", _ISO),
    Asked("mark", "mark stamped or labelled", _ISO),
    Asked("operator", "who tested", _ISO),
)
_MAY_BE_EMPTY = ("owner", "earlier_test")


def record_lines(facts: Facts, asked: tuple[Asked, ...]) -> tuple[tuple[str, str], ...]:
    """Return each thing a record says, as (what is asked, what is known)."""
    return tuple((each.words, getattr(facts, each.field)) for each in asked)


def not_said(facts: Facts, asked: tuple[Asked, ...]) -> tuple[Asked, ...]:
    """Return what a record should say and doesn't.

    A reason is asked only where the cylinder did not pass, expansions not of a proof test.
    """
    return tuple(
        each
        for each in asked
        if not getattr(facts, each.field)
        and each.field not in _MAY_BE_EMPTY
        and not (each.unless_proof and facts.method == "proof")
        and not (each.field == "reason" and facts.disposition == "pass")
    )


def is_us(specification: str) -> bool:
    """Say whether a specification falls under 49 CFR 180 (180.205(c); 173.301(a)(1) names ICC)."""
    return specification.startswith(("DOT-", "ICC-", "CTC-", "CRC-", "BTC-", "TC-"))
