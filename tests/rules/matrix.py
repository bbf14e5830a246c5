"""Writes the coverage matrix into the page of the rules: `python -m tests.rules.matrix`."""

from pathlib import Path

from app.rules.coverage import matrix

PAGE = Path(__file__).parents[2] / "app" / "rules" / "README.md"
MARK = "## Which rules check which column\n"


def page() -> str:
    """The page with the matrix derived from the code."""
    head, _, _ = PAGE.read_text(encoding="utf-8").partition(MARK)
    return (
        f"{head}{MARK}\n"
        "Made by `python -m tests.rules.matrix`. Reading checks the kind of value in every cell. If nothing else\n"
        "checks a column, its first cell says why.\n\n"
        f"{matrix()}"
    )


if __name__ == "__main__":
    PAGE.write_text(page(), encoding="utf-8")
