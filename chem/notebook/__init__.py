"""What was tried and what jars and tanks showed."""

from chem.notebook.seen import Sighting, data_folder, record_sighting

__all__ = ["Sighting", "data_folder", "record_sighting"]
