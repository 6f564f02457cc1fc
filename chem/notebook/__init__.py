"""What was tried and what jars and tanks showed."""

from chem.notebook.entry import Entry, KeptMix, Sighting, kept_mix
from chem.notebook.seen import (
    Looks,
    data_folder,
    must_be_writable,
    notebook_file,
    read_looks,
    record_sighting,
)

__all__ = [
    "Entry",
    "KeptMix",
    "Looks",
    "Sighting",
    "data_folder",
    "kept_mix",
    "must_be_writable",
    "notebook_file",
    "read_looks",
    "record_sighting",
]
