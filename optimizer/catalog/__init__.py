"""The property table: shipped generic polymers, the user's own rows over them, and what follows from both."""

from optimizer.catalog.bonding import BondingTable
from optimizer.catalog.store import Band, Catalog, load_catalog

__all__ = ["Band", "BondingTable", "Catalog", "load_catalog"]
