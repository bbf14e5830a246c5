"""`python -m tests.faults [COUNT] [CHASSIS]`: the table of detection, by kind of fault."""

import sys
from collections import Counter

from tests.faults.trying import Court, Tried, demo, generated, trials


def shares(tried: list[Tried]) -> tuple[int, float, float]:
    """How many, and the share that is found and rejected, every kind by the number of its faults."""
    count = sum(each.tried for each in tried)
    rejected = sum(each.rejected for each in tried)
    return count, (rejected + sum(each.warned for each in tried)) / count, rejected / count


def line(each: Tried) -> str:
    """One kind as a line of the table."""
    why = each.kind.missed if each.missed else ""
    grounds = " + ".join(map(str, each.grounds))
    return (
        f"| {each.kind.name}{'' if each.kind.beyond else ' °'} | {grounds} | {len(each.rows)} | {each.rejected} | "
        f"{each.warned} | {len(each.missed)} | {why} |"
    )


def main() -> None:
    count, chassis = (int(text) for text in [*sys.argv[1:], *("200", "300")[len(sys.argv) - 1 :]])
    tried = trials([Court(demo()), Court(generated(chassis))], count)
    print("| kind of fault | tried: demo + generated | rows | rejected | warned | missed | why missed |")
    print("|---|---|---|---|---|---|---|")
    for each in tried:
        print(line(each))
    for name, kept in (("beyond tolerance", [each for each in tried if each.kind.beyond]), ("all", tried)):
        number, found, rejected = shares(kept)
        print(f"\n{name}: {number} faults, {found:.1%} found, {rejected:.1%} rejected")
    rules: Counter[str] = sum((each.by_rule for each in tried), Counter())
    print("\nrules:", dict(rules.most_common()))
    for each in tried:
        for fault in each.missed[:6]:
            print("missed", each.kind.name, fault.row.table, fault.row.id, fault.was, "→", fault.now)


if __name__ == "__main__":
    main()
