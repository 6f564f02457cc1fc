"""Typed, immutable tables: components, species, interactions, solids, sources."""

from chem.reference.as_sold import (
    SoldPh,
    acid_groups,
    living,
    ph_as_sold,
    unlisted_buffers,
    unstated,
    vague_sources,
    volumes,
)
from chem.reference.constants import (
    GAS_CONSTANT_J_PER_MOL_K,
    Clouding,
    Component,
    Constant,
    Interaction,
    InteractionRule,
    Physical,
    Solid,
    Species,
    Tables,
    tables,
)
from chem.reference.files import data_folder, data_hash, read_csv, read_toml
from chem.reference.ingredients import IngredientClass, ingredient
from chem.reference.judgement import judged
from chem.reference.sources import (
    Catalogue,
    Guarantee,
    Source,
    catalogue,
    common_sources,
)
from chem.units.masses import molar_mass_g_per_mol

__all__ = [
    "SoldPh",
    "acid_groups",
    "living",
    "ph_as_sold",
    "unlisted_buffers",
    "unstated",
    "IngredientClass",
    "ingredient",
    "judged",
    "vague_sources",
    "volumes",
    "GAS_CONSTANT_J_PER_MOL_K",
    "Catalogue",
    "Clouding",
    "Component",
    "Constant",
    "Guarantee",
    "Interaction",
    "InteractionRule",
    "Physical",
    "Solid",
    "Source",
    "Species",
    "Tables",
    "catalogue",
    "common_sources",
    "data_folder",
    "data_hash",
    "molar_mass_g_per_mol",
    "read_csv",
    "read_toml",
    "tables",
]
