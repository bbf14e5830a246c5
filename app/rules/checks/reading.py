"""The faults that are met while a package is read, as rules: each has a slug and a doc; the reader finds them."""

from app.rules.registry import reading_rule

PACKAGE_UNREADABLE = reading_rule(
    "package-unreadable",
    """What was given is not a folder, not a whole zip file and not a CSV file of a table.

    A package that cannot be opened says nothing, and half of one would say something else than its author meant.

    Fix: give a folder with one CSV file per table, a zip of such a folder, or one CSV file named after its table.
    """,
)

ENTRY_UNSAFE = reading_rule(
    "entry-unsafe",
    """An entry of the package points outside it, is a link, is encrypted or stands in it twice.

    Such an entry can only be a mistake or an attack; nothing of it is read.

    Fix: pack plain files only, with relative paths and without links or passwords.
    """,
)

PACKAGE_TOO_LARGE = reading_rule(
    "package-too-large",
    """The package holds more bytes than are read, or shrinks further than a table of figures can.

    A small file that unpacks to a huge one would exhaust the machine.

    Fix: split the package; a merge leaves alone what a package does not hold.
    """,
)

DESCRIPTOR_UNREADABLE = reading_rule(
    "descriptor-unreadable",
    """The datapackage.json is not JSON or does not list resources with a name and a path.

    It says which file holds which table; without it the files would be guessed.

    Fix: write it anew with `legwork template`, or leave it out: files named after their tables need none.
    """,
)

FILE_UNKNOWN = reading_rule(
    "file-unknown",
    """A file of the package is not named after a table.

    It would be passed over in silence, and its author believe that it was loaded.

    Fix: name the file after its table, such as fits.csv, or take it out of the package.
    """,
)

FILE_MISSING = reading_rule(
    "file-missing",
    """The datapackage.json names a file that is not there.

    Either the file was forgotten or the entry was left over.

    Fix: add the file, or take its resource out of datapackage.json.
    """,
    severity="warn",
)

FILE_EMPTY = reading_rule(
    "file-empty",
    """A file has no header line.

    Without the names of its columns nothing in it can be read.

    Fix: write the column names into line 1, as `legwork template` does.
    """,
)

ENCODING_WRONG = reading_rule(
    "encoding-wrong",
    """A line is not UTF-8 text.

    Read in another encoding, a degree sign or an umlaut becomes something else.

    Fix: save the file as CSV UTF-8.
    """,
)

CSV_BROKEN = reading_rule(
    "csv-broken",
    """A line is not CSV as in RFC 4180: a quote is not closed, or text follows a closing quote.

    From there on it is anyone's guess which cell is which.

    Fix: put cells with a comma, quote or line break into double quotes, and double the quotes inside.
    """,
)

LINE_TOO_LONG = reading_rule(
    "line-too-long",
    """A line is longer than any row can be.

    Most often a quote was opened and never closed, so that all that follows became one cell.

    Fix: close the quote, or shorten the cell: text may have at most 2000 characters.
    """,
)

COLUMN_UNKNOWN = reading_rule(
    "column-unknown",
    """The header names a column that the table does not have.

    Its cells would be passed over in silence.

    Fix: use the name that is suggested, or take the column out; what has no column can go into a note.
    """,
)

COLUMN_MISSING = reading_rule(
    "column-missing",
    """The header lacks a column that every row of the table must have.

    Without it no row says what it is about.

    Fix: add the column; `legwork template` writes all columns of each table.
    """,
)

COLUMN_TWICE = reading_rule(
    "column-twice",
    """The header names one column twice.

    It cannot be told which of the two cells is meant.

    Fix: take one of the two columns out.
    """,
)

CELL_COUNT_WRONG = reading_rule(
    "cell-count-wrong",
    """A line has more or fewer cells than the header has columns.

    From the missing or surplus comma on, every value stands in the wrong column.

    Fix: count the commas; a cell that holds a comma must stand in double quotes.
    """,
)

CELL_UNREADABLE = reading_rule(
    "cell-unreadable",
    """A cell is not what its column holds.

    A figure is kept digit for digit as published, so nothing is guessed or fixed in passing.

    Fix: write what the page says, in the form the message gives.
    """,
)

CELL_MISSING = reading_rule(
    "cell-missing",
    """A cell is empty that every row of the table must have.

    Without it the row does not say what it is about.

    Fix: fill the cell with what the page says, or take the row out.
    """,
)

ID_TWICE = reading_rule(
    "id-twice",
    """Two rows of one file have the same id.

    One of them would replace the other, and which one would depend on their order.

    Fix: give each row an id of its own.
    """,
)

FINDINGS_CUT = reading_rule(
    "findings-cut",
    """Reading was given up after many faults.

    A thousand faults in one package usually have one cause, such as a shifted column.

    Fix: fix what is listed first and check again.
    """,
)
