"""The rules, one module per family; importing this registers them all."""

from app.rules.checks import air as air
from app.rules.checks import bands as bands
from app.rules.checks import belonging as belonging
from app.rules.checks import bolts as bolts
from app.rules.checks import completeness as completeness
from app.rules.checks import construction as construction
from app.rules.checks import contradiction as contradiction
from app.rules.checks import dimensions as dimensions
from app.rules.checks import duplicates as duplicates
from app.rules.checks import envelope as envelope
from app.rules.checks import figures as figures
from app.rules.checks import fluids as fluids
from app.rules.checks import form as form
from app.rules.checks import ladders as ladders
from app.rules.checks import orders as orders
from app.rules.checks import printing as printing
from app.rules.checks import provenance as provenance
from app.rules.checks import ratings as ratings
from app.rules.checks import reading as reading
from app.rules.checks import setups as setups
from app.rules.checks import slips as slips
from app.rules.checks import twins as twins
from app.rules.checks import unlike as unlike
from app.rules.checks import usual as usual
