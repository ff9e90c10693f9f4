"""Reader and writer for the unit notations of the packaging trade.

SI floats inside, trade units at the edges: ``read("450 cm3*mil/(100 in2*day*atm)", "gas
permeability").value``.
"""

from optimizer.units.kinds import KINDS, Kind, vapour_rate_needs_conditions
from optimizer.units.reader import Quantity, read, scale_of
from optimizer.units.write import convert, display, from_unit

__all__ = [
    "KINDS",
    "Kind",
    "Quantity",
    "convert",
    "display",
    "from_unit",
    "read",
    "scale_of",
    "vapour_rate_needs_conditions",
]
