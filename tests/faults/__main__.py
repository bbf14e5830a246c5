"""Measures which faults the rules find.

python -m tests.faults                     detection table: 200 faults of each kind
python -m tests.faults table 40 100        40 of each, in the demo and a generated catalogue of 100 chassis
python -m tests.faults ablation 10 60      the worth of each rule
python -m tests.faults alarms 2500         false alarms, and the time to judge an edit, in a clean catalogue
"""

import sys

from tests.faults.ablation import worths
from tests.faults.alarms import report
from tests.faults.trying import Court, Tried, demo, generated, shares, trials


def line(each: Tried) -> str:
    """One kind as a line of the table."""
    why = each.kind.missed if each.missed else ""
    cells = (
        each.kind.name + (" °" if each.kind.group == "slip" and not each.kind.beyond else ""),
        " + ".join(map(str, each.grounds)),
        str(len(each.rows)),
        str(each.rejected),
        str(each.warned),
        str(len(each.missed)),
        why,
    )
    return f"| {' | '.join(cells)} |"


def table(count: int, chassis: int) -> None:
    """Print the results for slips and contradictions, kind by kind, and the shares of each group."""
    tried = trials([Court(demo()), Court(generated(chassis))], count)
    for title, group in (("slip of one figure", "slip"), ("contradiction", "contradiction")):
        print(f"\n| {title} | tried: demo + generated | rows | rejected | warned | missed | why missed |")
        print("|---|---|---|---|---|---|---|")
        for each in sorted(tried, key=lambda each: not each.kind.beyond):
            if each.kind.group == group:
                print(line(each))
    slips = [each for each in tried if each.kind.group == "slip"]
    for name, kept in (
        ("slips beyond tolerance", [each for each in slips if each.kind.beyond]),
        ("all slips", slips),
        ("contradictions", [each for each in tried if each.kind.group == "contradiction"]),
    ):
        number, found, rejected = shares(kept)
        print(f"\n{name}: {number} faults, {found:.1%} found, {rejected:.1%} rejected")
    for each in tried:
        for fault in each.missed[:6]:
            print("missed:", each.kind.name, fault.row.table, fault.row.id, fault.was, "→", fault.now)


def ablation(count: int, chassis: int) -> None:
    for slug, worth in worths([Court(demo()), Court(generated(chassis))], count).items():
        verdict = "never fires" if not worth.fired else "worth nothing" if not worth.worse else "matters"
        print(f"{slug}: fired {worth.fired}, worse without it {worth.worse} of {worth.again}: {verdict}")


def main() -> None:
    what, *numbers = sys.argv[1:] or ["table"]
    given = [int(number) for number in numbers]
    if what == "alarms":
        report(given[0] if given else 2500)
    elif what == "ablation":
        ablation(*given or [10, 60])
    else:
        table(*given or [200, 300])


if __name__ == "__main__":
    main()
