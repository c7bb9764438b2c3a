"""Invented fleets for comparing the engine with the oracle: realistic columns, hostile content.

Everything follows from the seed. The rows keep the import contracts (nothing is done before an item
is made, nothing is renewed with a part made later than the renewal, cylinder words stand only on
cylinders), so that a refused import is a finding too. What is hostile: dates that lie on, one day
before and one day after every limit as seen from `on`; month ends and leap days; several records a
day; records entered late; failures with and without a pass behind them; condemned items.
"""

import random
from calendar import monthrange
from collections.abc import Collection, Iterable
from datetime import date, timedelta
from typing import Any

from dateutil.relativedelta import relativedelta

from . import oracle
from .oracle import Row, Rule, Table

LAST_DAY = date(2026, 11, 24)
KINDS = (
    "cylinder",
    "reducer",
    "demand-valve",
    "mask",
    "frame",
    "connector",
    "set",
    "instrument",
    "compressor",
)
EVENTS = ("use", "fill", "impact")
TASKS = (
    "periodic-inspection",
    "hydrostatic-retest",
    "internal-inspection",
    "functional-test",
    "flow-test",
    "tightness-test",
    "cleaning",
    "overhaul",
    "diaphragm-renewal",
    "calibration",
    "air-quality-test",
)
ZONES = (
    "Europe/Vienna",
    "Europe/London",
    "America/New_York",
    "America/Anchorage",
    "Pacific/Auckland",
    "Pacific/Kiritimati",
    "Asia/Kolkata",
    "Australia/Adelaide",
    "UTC",
)
MAKERS = ("Ardenholm", "Bregel", "Castrum", "Dovrik")
PEOPLE = ("A. Lindqvist", "B. Okafor", "C. Moreau", "D. Tanaka")
WORDS = {
    "specification": (
        "DOT-3AA",
        "DOT-3AL",
        "DOT-SP",
        "UN-ISO-9809-1",
        "UN-ISO-11119-2",
        "EN-1964-1",
        "EN-12245",
        "",
    ),
    "construction": ("type-1", "type-2", "type-3", "type-4", ""),
    "fibre": ("carbon", "glass", "aramid", ""),
    "marks": ("plus", "star"),
    "connection": ("M18x1.5", "G5/8", "CGA-347", ""),
    "size": ("S", "M", "L", ""),
}
NUMBERS = {
    "water_capacity_l": ("0.5", "2", "6", "6.8", "9", "12", "50"),
    "working_pressure_bar": ("200", "207", "300", "310"),
    "test_pressure_bar": ("300", "345", "450", "465"),
    "tare_kg": ("3.9", "5.4", "11.2"),
    "ree_ml": ("45", "62.5"),
    "design_life_years": ("", "", "15", "20", "30"),
}
CYLINDER_COLUMNS = (
    "specification",
    "construction",
    "fibre",
    "marks",
    "water_capacity_l",
    "test_pressure_bar",
    "tare_kg",
    "ree_ml",
    "design_life_years",
)
REGISTER_COLUMNS = (
    "tag",
    "kind",
    "maker",
    "model",
    "serial",
    "made_on",
    "in_service_on",
    "site",
    "specification",
    "construction",
    "fibre",
    "marks",
    "water_capacity_l",
    "working_pressure_bar",
    "test_pressure_bar",
    "tare_kg",
    "ree_ml",
    "design_life_years",
    "connection",
    "size",
)
LEAP_DAYS = tuple(date(year, 2, 29) for year in range(1984, 2025, 4))


def random_fleet(
    seed: int,
    size: int,
    tables: dict[str, Table],
    on: date,
    *,
    service_life_records: bool = True,
    cylinder_columns: Collection[str] = CYLINDER_COLUMNS,
) -> tuple[list[Row], list[Row], list[Row]]:
    """Sites, register and history (in entered order), as rows of the import files.

    `cylinder_columns` are the columns that only cylinders may fill.
    """
    fleet = _Fleet(random.Random(seed), tables, on, service_life_records, cylinder_columns)
    sites = fleet.sites()
    register = fleet.register(size, sites)
    return sites, register, fleet.history(register, sites)


def _rules(tables: dict[str, Table]) -> list[Rule]:
    return [rule for table in tables.values() for rule in table.get("rule", [])]


def _conditions(rules: list[Rule]) -> Iterable[tuple[str, Any]]:
    for rule in rules:
        yield from (rule.get("when") or {}).items()
        yield from (rule.get("unless") or {}).items()


def _number(value: float) -> str:
    return f"{value:.3f}".rstrip("0").rstrip(".")


class _Fleet:
    def __init__(
        self,
        dice: random.Random,
        tables: dict[str, Table],
        on: date,
        life_records: bool,
        cylinder_columns: Collection[str],
    ) -> None:
        self.cylinder_columns = cylinder_columns
        self.dice = dice
        self.marks = random.Random(on.toordinal())
        self.meters = random.Random(on.toordinal() + 1)
        self.shown: dict[str, int] = {}
        self.tables = tables
        self.on = on
        self.rules = _rules(tables)
        self.choices = self._attribute_choices()
        self.tasks = self._task_names(life_records)
        self.part_tasks = {
            task
            for rule in self.rules
            if rule.get("from") == "part-made"
            for task in (rule["task"], *rule.get("satisfied_by", []))
        }
        self.events = sorted(
            {
                *EVENTS,
                *(t for rule in self.rules for t in oracle.named(rule.get("after", []))),
                *(t for rule in self.rules for t in oracle.named(rule.get("counts", []))),
            }
        )

    def chance(self, share: float) -> bool:
        return self.dice.random() < share

    # --- what the tables speak of

    def _attribute_choices(self) -> dict[str, list[str]]:
        """Every value that a condition names, both sides of every bound, and others besides."""
        found = {key: list(words) for key, words in {**WORDS, **NUMBERS}.items()}
        found["maker"] = list(MAKERS)
        for key, wanted in _conditions(self.rules):
            values = found.setdefault(key, [""])
            if isinstance(wanted, dict):
                numbers = [b for b in wanted.values() if isinstance(b, int | float)]
                step = 1 if key == "design_life_years" else 0.1
                for bound in numbers:
                    values += [
                        _number(bound + n * step) for n in (-1, 0, 1) if bound + n * step > 0
                    ]
            else:
                values += [str(value) for value in wanted]
        return found

    def _task_names(self, life_records: bool) -> list[str]:
        named = {rule["task"] for rule in self.rules}
        named |= {task for rule in self.rules for task in rule.get("satisfied_by", [])}
        named |= set(TASKS)
        if not life_records:
            named.discard("service-life")
        return sorted(named - set(EVENTS))

    def _intervals(self, rule: Rule) -> relativedelta | None:
        text = rule.get("every") or rule.get("life")
        if text == "as-marked":
            return relativedelta(years=self.dice.choice((15, 20, 30)))
        if text:
            return oracle.duration(text)
        if "calendar" in rule:
            return relativedelta(months=oracle.PERIOD_MONTHS[rule["calendar"]])
        return None

    # --- days

    def _beside_a_limit(self, rule: Rule) -> date | None:
        """A day that makes this row due on `on`, or due soon from `on`, or a day off that."""
        interval = self._intervals(rule)
        if interval is None:
            return None
        found = self.on - interval
        if self.chance(0.4):
            found += oracle.duration(rule.get("notice", "P1M"))
        found += timedelta(days=self.dice.choice((-1, 0, 0, 1)))
        return found.replace(day=1) if self.chance(0.1) else found

    def _edge(self, found: date) -> date:
        """Most days are ordinary; many are month ends, some are leap days."""
        roll = self.dice.random()
        if roll < 0.2:
            return found.replace(day=monthrange(found.year, found.month)[1])
        if roll < 0.27:
            return self.dice.choice(LEAP_DAYS)
        if roll < 0.32:
            return found.replace(day=1)
        return found

    def _between(self, first: date, last: date) -> date:
        return first + timedelta(days=self.dice.randint(0, max(0, (last - first).days)))

    def _made(self, rules: list[Rule]) -> date:
        found = None
        if rules and self.chance(0.3):
            found = self._beside_a_limit(self.dice.choice(rules))
        if found is None:
            years = self.dice.choice((1, 3, 8, 16, 35))
            found = self._edge(self._between(self.on - relativedelta(years=years), self.on))
        if self.chance(0.02):
            found = self.on + timedelta(days=self.dice.choice((1, 2, 40)))
        return min(found, LAST_DAY)

    # --- sites

    def sites(self) -> list[Row]:
        names = sorted(self.tables)
        rows: list[Row] = []
        for number in range(self.dice.randint(8, 15)):
            adopted: list[str] = []
            if number == 0 or self.chance(0.45):
                adopted = self.dice.sample(names, self.dice.randint(0, len(names)))
            if number == 1:
                adopted = names
            top = number < 2 or self.chance(0.12)
            rows.append(
                {
                    "code": f"S{number:02d}",
                    "name": f"Station {number:02d}",
                    "parent": "" if top else self.dice.choice(rows)["code"],
                    "timezone": self.dice.choice(ZONES),
                    "rule_tables": ";".join(adopted),
                }
            )
        return rows

    # --- register

    def _pick(self, key: str) -> str:
        return self.dice.choice(self.choices[key])

    def _bend_to(self, model: Row, rule: Rule) -> None:
        """Give a model the attributes that a row asks for, so that rare rows meet items too."""
        for key, wanted in (rule.get("when") or {}).items():
            if key in ("marks", "made_on", "in_service_on") or key not in REGISTER_COLUMNS:
                continue
            if isinstance(wanted, list):
                model[key] = str(self.dice.choice(wanted))
            elif isinstance(wanted, dict):
                inside = [v for v in self.choices[key] if v and oracle.in_range(v, wanted)]
                if inside:
                    model[key] = self.dice.choice(inside)
            else:
                model[key] = str(wanted)

    def _model(self, number: int) -> Row:
        """One maker's model: its items share all that a type fixes."""
        model = dict.fromkeys(REGISTER_COLUMNS, "")
        model["kind"] = "cylinder" if self.chance(0.4) else self.dice.choice(KINDS)
        for key in REGISTER_COLUMNS[REGISTER_COLUMNS.index("specification") :]:
            if key != "marks" and self.chance(0.85):
                model[key] = self._pick(key)
        model["maker"] = self._pick("maker") or MAKERS[0]
        if self.rules and self.chance(0.75):
            self._bend_to(model, self.dice.choice(self.rules))
        if model["kind"] != "cylinder":
            model.update(dict.fromkeys(self.cylinder_columns, ""))
        if model["construction"] == "type-1":
            model["fibre"] = ""
        self._order_pressures(model)
        if not model["model"]:
            model["model"] = f"{model['kind'][:2].upper()}-{number:03d}"
        return model

    @staticmethod
    def _order_pressures(model: Row) -> None:
        working, test = model["working_pressure_bar"], model["test_pressure_bar"]
        if working and test and float(test) < float(working):
            model["test_pressure_bar"] = _number(float(working) * 1.5)

    def register(self, size: int, sites: list[Row]) -> list[Row]:
        models = {
            (model["maker"], model["model"]): model
            for model in (self._model(n) for n in range(max(12, size // 3)))
        }
        pool = list(models.values())
        return [self._item(n, self.dice.choice(pool), sites) for n in range(size)]

    def _item(self, number: int, model: Row, sites: list[Row]) -> Row:
        item = dict(model)
        item["tag"] = f"{item['kind'][:2].upper()}{number:05d}"
        item["serial"] = f"{self.dice.randint(10, 99)}-{number:05d}"
        item["site"] = self.dice.choice(sites)["code"]
        if item["kind"] == "cylinder" or "marks" not in self.cylinder_columns:
            marks = sorted({m for m in self.choices["marks"] if m and self.chance(0.3)})
            self.dice.shuffle(marks)
            item["marks"] = ";".join(marks)
        matching = [rule for rule in self.rules if oracle.matches(rule, item)]
        made = self._made(matching)
        in_service = min(self._in_service(made, matching), LAST_DAY)
        roll = self.dice.random()
        if roll < 0.85:
            item["made_on"] = made.isoformat() if self.chance(0.75) else made.isoformat()[:7]
        if roll < 0.6 or 0.85 <= roll < 0.95:
            item["in_service_on"] = in_service.isoformat()
        return item

    def _in_service(self, made: date, rules: list[Rule]) -> date:
        if self.chance(0.3):
            return made
        if rules and self.chance(0.3):
            found = self._beside_a_limit(self.dice.choice(rules))
            if found and found >= made:
                return found
        return self._between(made, made + timedelta(days=self.dice.choice((1, 60, 700))))

    # --- history

    def history(self, register: list[Row], sites: list[Row]) -> list[Row]:
        by_code = {site["code"]: site for site in sites}
        dealt: list[list[Row]] = []
        burst: set[str] = set()
        for item in register:
            rules = oracle.rules_of(item, by_code, self.tables, self.on)
            rows = self._of_item(item, rules)
            long = [rule for rule in rules if "counts" in rule and rule["id"] not in burst]
            if long and len(register) >= 50:
                rule = self.dice.choice(long)
                burst.add(rule["id"])
                rows = self._counted(item, rule) + rows
            dealt.append(self._condemned_last(item, rows) if self.chance(0.04) else rows)
        return self._entered(dealt)

    def _floor(self, item: Row) -> date:
        """No record before this day."""
        made = oracle.day(item["made_on"])
        if made:
            return min(made, LAST_DAY)
        in_service = oracle.day(item["in_service_on"])
        return in_service or self.on - relativedelta(years=12)

    def _of_item(self, item: Row, rules: list[Rule]) -> list[Row]:
        floor = self._floor(item)
        rows: list[Row] = []
        if floor > LAST_DAY or self.chance(0.08):
            return rows
        for _ in range(min(30, int(self.dice.expovariate(1 / 7.5)) + 1)):
            rows += self._happening(item, rules, floor)
        for rule in rules:
            if {"late", "early"} & oracle.forms(rule).keys() and self.chance(0.8):
                rows += self._chain(item, rule, floor)
        if self.chance(0.85):  # otherwise entered late, out of order
            rows.sort(key=lambda row: row["done_on"])
        return rows

    def _chain(self, item: Row, rule: Rule, floor: date) -> list[Row]:
        """Passes one after the other, each about its due date or a limit of late and early.

        Some are late while the item was out of service on the due date, or nearly so.
        """
        rows: list[Row] = []
        every = oracle.duration(rule["every"])
        due = floor + every
        while self.chance(0.85):
            if self._by_month(rule):
                due = oracle.month_end(due)
            within = oracle.forms(rule).get("late", {}).get("within", "P11M")
            end = oracle.month_end(due + oracle.duration(within))
            ends = (due, end, oracle.opens(rule, due), due + every, due + every / 2)
            near = self.dice.choice(ends) + timedelta(days=self.dice.choice((-1, 0, 1)))
            done = near if self.chance(0.7) else self._between(oracle.opens(rule, due), end)
            if not floor <= done <= LAST_DAY:
                break
            if done > due and self.chance(0.4):
                rows += self._out(item, due, done, floor)
            task = self.dice.choice((rule["task"], *rule.get("satisfied_by", [])))
            rows.append({**self._row(item, task, done), "outcome": "pass"})
            due = self.dice.choice((due, due, done)) + every
        return rows

    @staticmethod
    def _by_month(rule: Rule) -> bool:
        return rule.get("due") == "month-end" or "due" in oracle.forms(rule)

    def _out(self, item: Row, due: date, done: date, floor: date) -> list[Row]:
        """Withdrawn about the due date, and returned about the pass, or before, or not at all."""
        out = max(floor, due + timedelta(days=self.dice.choice((-40, -1, 0, 0, 1))))
        back = self.dice.choice((due, done, done, self._between(due, done)))
        back += timedelta(days=self.dice.choice((-1, 0, 0, 1)))
        rows = [{**self._row(item, self.dice.choice(("withdrawal", "quarantine")), out)}]
        if out <= back <= LAST_DAY and self.chance(0.8):
            rows.append({**self._row(item, "return-to-service", back), "outcome": "pass"})
        return [{**row, "outcome": "pass", "part_made_on": ""} for row in rows]

    def _happening(self, item: Row, rules: list[Rule], floor: date) -> list[Row]:
        """A record, sometimes with what happened around it on the same or the next days."""
        done = self._done(rules, floor)
        if self.chance(0.3):
            rows = [self._row(item, self.dice.choice(self.events), done)]
        else:
            rows = [self._row(item, self._task(rules), done)]
        if self.chance(0.25):  # the same day again
            more = self.events if self.chance(0.5) else [self._task(rules)]
            rows.append(self._row(item, self.dice.choice(more), done))
        for row in list(rows):
            if row["outcome"] == "fail" and self.chance(0.6):
                again = min(done + timedelta(days=self.dice.choice((0, 0, 1, 9))), LAST_DAY)
                repair = self._row(item, self._remedy(row["task"]), again)
                repair["outcome"] = "pass" if self.chance(0.85) else "fail"
                rows.append(repair)
        return rows

    def _remedy(self, task: str) -> str:
        others = [t for r in self.rules if r["task"] == task for t in r.get("satisfied_by", [])]
        return self.dice.choice(others) if others and self.chance(0.4) else task

    def _task(self, rules: list[Rule]) -> str:
        if not rules or self.chance(0.15):
            return self.dice.choice(self.tasks)
        rule = self.dice.choice(rules)
        named = [rule["task"], rule["task"], *rule.get("satisfied_by", [])]
        task = self.dice.choice(named)
        return task if task in self.tasks else self.dice.choice(self.tasks)

    def _done(self, rules: list[Rule], floor: date) -> date:
        found = None
        roll = self.dice.random()
        if rules and roll < 0.3:
            found = self._beside_a_limit(self.dice.choice(rules))
        elif roll < 0.36:
            found = self.on + timedelta(days=self.dice.choice((-1, 0, 0, 1, 2, 30)))
        elif roll < 0.39:
            found = floor
        if found is None or not floor <= found <= LAST_DAY:
            last = max(floor, min(self.on, LAST_DAY))
            recent = max(floor, last - timedelta(days=self.dice.choice((30, 400, 2500, 9000))))
            found = self._edge(self._between(recent, last))
        return found if floor <= found <= LAST_DAY else floor

    def _row(self, item: Row, task: str, done: date) -> Row:
        failed = task not in EVENTS and self.chance(0.14)
        part = ""
        if self.chance(0.6 if task in self.part_tasks else 0.01) and task not in EVENTS:
            age = timedelta(days=self.dice.choice((0, 1, 45, 200, 800)))
            part = min(done, self._edge(done - age)).isoformat()
        return {
            "tag": item["tag"],
            "task": task,
            "done_on": done.isoformat(),
            "outcome": "fail" if failed else "pass",
            "by": self.dice.choice(PEOPLE),
            "note": "",
            "part_made_on": part,
        }

    def _counted(self, item: Row, rule: Rule) -> list[Row]:
        """Enough records of what a row counts to come just short of its limit, reach or pass it."""
        floor = self._floor(item)
        last = max(floor, min(self.on, LAST_DAY))
        task = oracle.named(rule["counts"])[0]
        many = rule["limit"] + self.dice.choice((-1, 0, 0, 1, 3))
        rows = [self._row(item, task, self._between(floor, last)) for _ in range(many)]
        if rule["task"] in self.tasks and self.chance(0.6):  # a pass among them, early or midway
            among = date.fromisoformat(self.dice.choice(rows)["done_on"])
            rows.append(self._row(item, rule["task"], among))
        return sorted(rows, key=lambda row: row["done_on"])

    def _condemned_last(self, item: Row, rows: list[Row]) -> list[Row]:
        """Condemned, and nothing after it, neither performed nor entered."""
        latest = max((date.fromisoformat(row["done_on"]) for row in rows), default=None)
        floor = latest or self._floor(item)
        if floor > LAST_DAY:
            return rows
        final = self._row(item, self.dice.choice(list(TASKS)), floor)
        if self.chance(0.7):
            later = floor + timedelta(days=self.dice.choice((1, 20)))
            final["done_on"] = min(later, LAST_DAY).isoformat()
        final["outcome"] = "condemned"
        return [*rows, final]

    def _entered(self, dealt: list[list[Row]]) -> list[Row]:
        """The items' records shuffled into one another; each item keeps its own order."""
        turns = [number for number, rows in enumerate(dealt) for _ in rows]
        self.dice.shuffle(turns)
        queues = [iter(rows) for rows in dealt]
        history = [next(queues[number]) for number in turns]
        for number, row in enumerate(history, start=1):
            row["note"] = f"entry {number}"  # no two rows are alike: each is a record of its own
            self._mark(row)
            self._read_meter(row)
        return history

    def _read_meter(self, row: Row) -> None:
        """What the meter of the item showed at half of what was done to it; now and then less."""
        row["reading:hours-run"] = ""
        if self.meters.random() < 0.5:
            more = self.meters.choice((0, 1, 20, 25, 49, 50, 51, 51, -7))
            shows = max(0, self.shown.get(row["tag"], 0) + more)
            self.shown[row["tag"]] = shows
            row["reading:hours-run"] = str(shows)

    def _mark(self, row: Row) -> None:
        """What the body marked at a retest: about a period later, or about `on`; or nothing.

        By dice of its own, so that what it adds throws no other anew.
        """
        row["stamped_next"] = row["stamped_end"] = ""
        if (row["task"], row["outcome"]) != ("hydrostatic-retest", "pass"):
            return
        done = date.fromisoformat(row["done_on"])
        if self.marks.random() < 0.6:
            row["stamped_next"] = self._marked(done, done, (1, 2, 3, 5, 5, 10))
        if self.marks.random() < 0.3:
            row["stamped_end"] = self._marked(done, self.on, (0, 0, 1, 4, 15))

    def _marked(self, done: date, since: date, years: tuple[int, ...]) -> str:
        """A month or a day after the test, as on metal or as lists write it."""
        found = since + relativedelta(years=self.marks.choice(years))
        found = self.marks.choice((found, found, self.on))
        found += timedelta(days=self.marks.choice((-31, -1, 0, 0, 1, 31)))
        soonest, latest = oracle.month_end(done) + timedelta(days=1), done + relativedelta(years=19)
        found = min(max(found, soonest), latest)
        return found.strftime(self.marks.choice(("%Y-%m", "%m/%Y", "%Y/%m", "%Y-%m-%d")))
