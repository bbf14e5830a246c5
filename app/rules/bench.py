"""The rules sorted by what they see, and what must be judged where a change was made. Knows no catalogue."""

from collections.abc import Iterable

from app.catalogue.tables import STATEMENTS, TABLES, Row
from app.rules import checks as checks  # registers the rules
from app.rules.family import Span
from app.rules.registry import RULES, Rule
from app.rules.touched import Tables


class Bench:
    """The rules sorted by what they see. Built once; a test may build one without a rule."""

    def __init__(self, rules: Iterable[Rule]) -> None:
        self.row: dict[type[Row], list[Rule]] = {table: [] for table in TABLES.values()}
        self.entity: dict[type[Row], list[Rule]] = {table: [] for table in TABLES.values()}
        self.change: dict[type[Row], list[Rule]] = {table: [] for table in TABLES.values()}
        self.family: list[Rule] = []
        self._spans: dict[frozenset[type[Row]], Span] = {}
        self.columns: dict[tuple[str, type[Row]], tuple[str, ...]] = {}  # by slug: what alone decides of a row
        for rule in rules:
            if rule.shape == "family":
                self.family.append(rule)
            elif rule.shape != "reading":
                by_table: dict[type[Row], list[Rule]] = getattr(self, rule.shape)
                for table in rule.tables or TABLES.values():
                    by_table[table].append(rule)
                    if rule.reads is not None:
                        self.columns[rule.slug, table] = rule.reads(table)

    def span(self, changed: Tables) -> Span | None:
        """What must be judged of a family in which statements of some tables changed; None is all of it.

        The rows of those tables, and of every table with which fault is found by what a changed one says.
        """
        if changed is None:
            return None
        if changed not in self._spans:
            judged = set(changed)
            for rule in self.family:
                if not changed.isdisjoint(rule.beside):
                    judged.update(rule.tables)
            read = set(judged)
            for rule in self.family:
                if not judged.isdisjoint(rule.tables or STATEMENTS):
                    read.update(rule.beside)
            self._spans[changed] = Span(frozenset(judged), frozenset(read))
        return self._spans[changed]


ALL_RULES = Bench(RULES.values())
