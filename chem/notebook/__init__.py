"""What was tried and what jars and tanks showed."""

from chem.notebook.entry import (
    Dose,
    Entry,
    KeptMix,
    Look,
    Measured,
    Reading,
    Sighting,
    Sprayed,
    entry_of,
    jug_entry,
    kept_mix,
)
from chem.notebook.place import Place, find_place
from chem.notebook.search import is_number
from chem.notebook.seen import Looks, data_folder, read_looks
from chem.notebook.store import Imported, Kept, Notebook, Numbered, current

__all__ = [
    "Dose",
    "Entry",
    "Imported",
    "Kept",
    "KeptMix",
    "Look",
    "Looks",
    "Measured",
    "Notebook",
    "Numbered",
    "Place",
    "Reading",
    "Sighting",
    "Sprayed",
    "current",
    "data_folder",
    "entry_of",
    "find_place",
    "is_number",
    "jug_entry",
    "kept_mix",
    "read_looks",
]
