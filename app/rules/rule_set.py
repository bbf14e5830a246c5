"""The rules sorted by shape, and the tables to judge after a change. Independent of any catalogue."""

from collections.abc import Iterable
from typing import NamedTuple

from app.catalogue.tables import STATEMENTS, TABLES, Row
from app.rules import checks as checks  # registers the rules
from app.rules.affected import Tables
from app.rules.batches import JudgeScope
from app.rules.registry import RULES, JudgeFunction, Rule


class Judging(NamedTuple):
    """A rule with its columns. `columns` are the only ones that decide for a row of one table; None means all."""

    rule: Rule
    judge: JudgeFunction
    columns: tuple[str, ...] | None = None


class RuleSet:
    """The rules sorted by shape. Built once; a test may build one without a rule."""

    def __init__(self, rules: Iterable[Rule]) -> None:
        self.row: dict[type[Row], list[Judging]] = {table: [] for table in TABLES.values()}
        self.entity: dict[type[Row], list[Judging]] = {table: [] for table in TABLES.values()}
        self.identity: dict[type[Row], list[Judging]] = {table: [] for table in TABLES.values()}
        self.change: dict[type[Row], list[Judging]] = {table: [] for table in TABLES.values()}
        self.family: list[Judging] = []
        self._spans: dict[frozenset[type[Row]], JudgeScope] = {}
        for rule in rules:
            if rule.judge is None:
                continue
            if rule.shape == "family":
                self.family.append(Judging(rule, rule.judge))
                continue
            by_table: dict[type[Row], list[Judging]] = getattr(self, rule.shape)
            for table in rule.tables or TABLES.values():
                by_table[table].append(Judging(rule, rule.judge, None if rule.reads is None else rule.reads(table)))

    def span(self, changed: Tables) -> JudgeScope | None:
        """The tables of a family to judge after statements of some tables changed; None means all of it.

        These are the changed tables, and every table in which a changed one can cause a fault.
        """
        if changed is None:
            return None
        if changed not in self._spans:
            judged = set(changed)
            for rule, *_ in self.family:
                if not changed.isdisjoint(rule.beside):
                    judged.update(rule.tables)
            read = set(judged)
            for rule, *_ in self.family:
                if not judged.isdisjoint(rule.tables or STATEMENTS):
                    read.update(rule.beside)
            self._spans[changed] = JudgeScope(frozenset(judged), frozenset(read))
        return self._spans[changed]


ALL_RULES = RuleSet(RULES.values())
