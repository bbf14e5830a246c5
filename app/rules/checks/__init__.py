"""The rules, one module per family; importing this registers them all."""

from app.rules.checks import belonging as belonging
from app.rules.checks import contradiction as contradiction
from app.rules.checks import envelope as envelope
from app.rules.checks import figures as figures
from app.rules.checks import form as form
from app.rules.checks import reading as reading
