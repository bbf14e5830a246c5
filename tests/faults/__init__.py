"""A fault injector: makes the slips of people who copy a manual, one at a time, in a sound catalogue.

It knows the tables and typical typing errors. It does not know the rules: only `trying` calls the judge.
`python -m tests.faults` prints the faults rejected, warned of and missed, by kind.
"""

from tests.faults import contradicting_statements as contradicting_statements  # registers the kinds
from tests.faults import contradicting_things as contradicting_things
from tests.faults import contradictions as contradictions
from tests.faults import digits as digits
from tests.faults import lines as lines
from tests.faults import papers as papers
from tests.faults import places as places
from tests.faults import things as things
from tests.faults import units as units
from tests.faults import whole as whole
