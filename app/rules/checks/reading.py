"""Faults found while reading a package, as rules: each has a slug and a doc. The reader reports them."""

from app.rules.registry import reading_rule

PACKAGE_UNREADABLE = reading_rule(
    "package-unreadable",
    """This is not a folder, a complete zip file or a CSV file of a table.

    A package that cannot be opened cannot be loaded, and half a package would not say what its author intended.

    Fix: give a folder with one CSV file per table, a zip of such a folder, or one CSV file named after its table.
    """,
)

ENTRY_UNSAFE = reading_rule(
    "entry-unsafe",
    """An entry of the package points outside it, is a link, is encrypted or appears twice.

    Such an entry is a mistake or an attack, so none of it is read.

    Fix: pack plain files only, with relative paths and without links or passwords.
    """,
)

PACKAGE_TOO_LARGE = reading_rule(
    "package-too-large",
    """The package is larger than the limit, or unpacks to far more than a table of figures would.

    A small file that unpacks to a huge one could use up the memory or disk of the machine.

    Fix: split the package; a merge does not touch rows that a package leaves out.
    """,
)

DESCRIPTOR_UNREADABLE = reading_rule(
    "descriptor-unreadable",
    """The datapackage.json is not JSON, or does not list resources with a name and a path.

    It says which file holds which table. Without it the program would have to guess.

    Fix: write it again with `legwork template`, or leave it out: files named after their tables need none.
    """,
)

FILE_UNKNOWN = reading_rule(
    "file-unknown",
    """A file of the package is not named after a table.

    It would be ignored without a word, and its author would think that it was loaded.

    Fix: name the file after its table, such as fits.csv, or take it out of the package.
    """,
)

FILE_MISSING = reading_rule(
    "file-missing",
    """The datapackage.json names a file that is not there.

    The file was forgotten, or its entry was left over.

    Fix: add the file, or remove its resource from datapackage.json.
    """,
    severity="warn",
)

FILE_EMPTY = reading_rule(
    "file-empty",
    """A file has no header line.

    Without column names nothing in it can be read.

    Fix: write the column names into line 1, as `legwork template` does.
    """,
)

ENCODING_WRONG = reading_rule(
    "encoding-wrong",
    """A line is not UTF-8 text.

    In another encoding, a degree sign or an umlaut turns into something else.

    Fix: save the file as CSV UTF-8.
    """,
)

CSV_BROKEN = reading_rule(
    "csv-broken",
    """A line is not valid CSV (RFC 4180): a quote is not closed, or text follows a closing quote.

    From there on it is not clear which cell is which.

    Fix: put cells with a comma, quote or line break into double quotes, and double the quotes inside.
    """,
)

LINE_TOO_LONG = reading_rule(
    "line-too-long",
    """A line is longer than any row can be.

    Usually a quote was opened and never closed, so that everything after it became one cell.

    Fix: close the quote, or shorten the cell: text may have at most 2000 characters.
    """,
)

COLUMN_UNKNOWN = reading_rule(
    "column-unknown",
    """The header names a column that the table does not have.

    Its cells would be ignored without a word.

    Fix: use the suggested name, or remove the column; anything that has no column can go into a note.
    """,
)

COLUMN_MISSING = reading_rule(
    "column-missing",
    """The header lacks a column that every row of the table must have.

    Without it, no row says what it is about.

    Fix: add the column; `legwork template` writes all columns of each table.
    """,
)

COLUMN_TWICE = reading_rule(
    "column-twice",
    """The header names one column twice.

    It is not clear which of the two cells to use.

    Fix: remove one of the two columns.
    """,
)

CELL_COUNT_WRONG = reading_rule(
    "cell-count-wrong",
    """A line has more or fewer cells than the header has columns.

    After the missing or extra comma, every value is in the wrong column.

    Fix: count the commas; put a cell that contains a comma in double quotes.
    """,
)

CELL_UNREADABLE = reading_rule(
    "cell-unreadable",
    """A cell does not hold the kind of value its column is for.

    A figure is kept digit for digit as published, so the program does not guess or correct it.

    Fix: write what the page says, in the form the message gives.
    """,
)

CELL_MISSING = reading_rule(
    "cell-missing",
    """A cell is empty that every row of the table must fill in.

    Without it the row does not say what it is about.

    Fix: enter what the page says, or remove the row.
    """,
)

ID_TWICE = reading_rule(
    "id-twice",
    """Two rows of one file have the same id.

    One would replace the other, depending on their order.

    Fix: give each row its own id.
    """,
)

FINDINGS_CUT = reading_rule(
    "findings-cut",
    """Reading stopped after many faults.

    A thousand faults in one package usually have one cause, such as a shifted column.

    Fix: fix the first faults in the list and check again.
    """,
)
