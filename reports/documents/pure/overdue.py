"""The list to hang in a station: what is overdue, what nobody can tell, and why."""

from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime

from registry.lettering.pure import Face
from registry.wording.pure.dates import day_words
from registry.wording.pure.spans import how_many
from reports.documents.pure import ink, marks
from reports.documents.pure.sheet import WIDTH, Sheet, hair, section, sheet_pdf
from reports.documents.pure.text import ANSWER, BODY, LEAD, QUIET, SMALL, STRONG, Style, bound
from reports.documents.pure.wording import basis_words, rule_words
from servicing.due.pure.obligations import State
from servicing.due.pure.sheet import DueRow
from servicing.ledger.pure.wording import words

UNDETERMINED, OVERDUE = State.UNDETERMINED, State.OVERDUE
ORDER = {UNDETERMINED: 0, OVERDUE: 1}
SITES_NAMED = 4

_ITEM, _ITEM_ROOM = 132.0, 146.0
_TASK = 290.0
_TAG = Style(Face.SEMIBOLD, 10)


@dataclass(frozen=True, slots=True)
class OverdueReport:
    """A list as asked for on a day. `sentence` is the filter in words."""

    number: str
    title: str
    sentence: str
    on: date
    printed_at: datetime
    printed_by: str
    cautions: tuple[str, ...]
    rows: tuple[DueRow, ...]


def overdue_pdf(report: OverdueReport) -> bytes:
    """Return the list as PDF, site by site, what is undetermined first.

    Raises ValueError if `printed_at` has no time zone.
    """
    sheet = Sheet(
        report.number, report.title, report.printed_at, report.printed_by, report.cautions
    )
    sites = _by_site(report.rows)
    blocks = _answer(report, sites)
    for (code, name), rows in sites.items():
        blocks.extend(_site(code, name, rows, report.on))
    return sheet_pdf(sheet, blocks)


Site = tuple[str, str]


def _by_site(rows: Sequence[DueRow]) -> dict[Site, list[DueRow]]:
    sites: dict[Site, list[DueRow]] = defaultdict(list)
    for each in sorted(rows, key=_first_things_first):
        sites[each.site, each.site_name].append(each)
    return dict(sorted(sites.items(), key=lambda site: (site[0][1], site[0][0])))


def _first_things_first(row: DueRow) -> tuple[int, date, str, str]:
    return ORDER.get(row.state or State.CURRENT, 2), row.due_on or date.min, row.tag, row.task


def _counts(rows: Sequence[DueRow]) -> str:
    states = Counter(each.state for each in rows)
    overdue, unknown = states.pop(OVERDUE, 0), states.pop(UNDETERMINED, 0)
    others = [
        f"{number} {marks.state_word(state or '')}" for state, number in sorted(states.items())
    ]
    return ", ".join(
        [f"{overdue or 'nothing'} overdue", f"{unknown or 'nothing'} undetermined", *others]
    )


def _answer(report: OverdueReport, sites: Mapping[Site, Sequence[DueRow]]) -> list[ink.Block]:
    counts = _counts(report.rows)
    on = bound(day_words(report.on))
    first = f"{counts[:1].upper()}{counts[1:]} on {on}{_where(list(sites))}."
    strips = (
        *ink.paragraph(first, ANSWER, WIDTH, above=4, below=4),
        *ink.paragraph(_second(report), LEAD, WIDTH, below=2),
        *ink.paragraph(f"Asked for: {report.sentence}", BODY, WIDTH, below=4),
    )
    return [ink.Block(strips), *(_by_site_table(sites) if len(sites) > 1 else ())]


def _where(sites: Sequence[Site]) -> str:
    if not sites:
        return ""
    if len(sites) > SITES_NAMED:
        return f" at {len(sites)} sites"
    names = [name for _, name in sites]
    return f" at {', '.join(names[:-1])} and {names[-1]}" if names[1:] else f" at {names[0]}"


def _second(report: OverdueReport) -> str:
    if not report.rows:
        return "The list is empty: nothing in the register answers to what was asked for."
    items = len({each.tag for each in report.rows})
    tasks = how_many(len(report.rows), "task")
    return f"{tasks} on {how_many(items, 'item')}. Undetermined counts as not ready."


def _by_site_table(sites: Mapping[Site, Sequence[DueRow]]) -> list[ink.Block]:
    edges = (330.0, 420.0, WIDTH)
    heads = ("undetermined", "overdue", "oldest due")
    head = ink.row(
        [
            ink.column(0, 230, ("site", QUIET)),
            [tuple(ink.right(edge, text, QUIET) for edge, text in zip(edges, heads, strict=True))],
        ],
        11,
        above=4,
        below=1,
    )
    blocks = [ink.Block(head, with_next=True)]
    for (code, name), rows in sites.items():
        states = Counter(each.state for each in rows)
        oldest = min((each.due_on for each in rows if each.due_on), default=None)
        figures = (
            str(states[UNDETERMINED]),
            str(states[OVERDUE]),
            day_words(oldest) if oldest else marks.NO_DATE,
        )
        numbers = tuple(
            ink.right(edge, text, BODY) for edge, text in zip(edges, figures, strict=True)
        )
        named = ink.column(0, 230, (f"{name} ({code})", BODY))
        blocks.append(
            ink.Block(ink.row([named, [numbers]], 12, above=1, below=1, ruled=hair()), head)
        )
    return blocks


def _site(code: str, name: str, rows: Sequence[DueRow], on: date) -> list[ink.Block]:
    heads = _column_heads()
    title = section(f"{name} ({code}): {_counts(rows)}")
    again = section(f"{name} ({code}), continued", bookmark=False)
    running = (*again.strips, *heads)
    return [
        title,
        ink.Block(heads, with_next=True),
        *(ink.Block(_row(each), running) for each in rows),
    ]


def _column_heads() -> tuple[ink.Strip, ...]:
    return ink.row(
        [
            ink.column(0, 90, ("due on", QUIET)),
            ink.column(_ITEM, _ITEM_ROOM, ("item", QUIET)),
            ink.column(_TASK, WIDTH - _TASK, ("task, rule, counted from", QUIET)),
        ],
        11,
        above=2,
        below=2,
    )


def _row(each: DueRow) -> tuple[ink.Strip, ...]:
    under = [(text, SMALL) for text in (each.late, each.warning) if text]
    late = ink.column(0, _ITEM - 8, *under) if under else ()
    return ink.row(
        [
            [*marks.stamp(each.due_on, each.state or "", 0, 12), *late],
            ink.column(
                _ITEM,
                _ITEM_ROOM,
                (each.tag, _TAG),
                (f"{words(each.kind)}, serial {each.serial}", SMALL),
                (each.maker, SMALL),
            ),
            ink.column(
                _TASK,
                WIDTH - _TASK,
                (words(each.task), STRONG),
                (rule_words(each.rule, each.level, each.source), SMALL),
                (basis_words(each.due_on, each.counted_from, each.basis_on), SMALL),
            ),
        ],
        10.5,
        above=6,
        below=4,
        ruled=hair(),
    )
