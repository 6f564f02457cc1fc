"""What people write: the form of each file, read with every problem of it told at once."""

from chem.files.mix import AddForm, AdjuvantForm, MixForm
from chem.files.product import ChelatedForm, FormName, ProductForm, SaysForm, UnreadForm
from chem.files.reading import (
    Collector,
    FileText,
    FormModel,
    Name,
    as_found,
    find_file,
    is_file,
    load_file,
    load_toml,
    read_out_of,
    validate,
)
from chem.files.solution import CHARGE, SolutionForm
from chem.files.sprayer import CatchForm
from chem.files.water import WaterForm

__all__ = [
    "CHARGE",
    "AddForm",
    "AdjuvantForm",
    "CatchForm",
    "ChelatedForm",
    "Collector",
    "FileText",
    "FormModel",
    "FormName",
    "MixForm",
    "Name",
    "ProductForm",
    "SaysForm",
    "SolutionForm",
    "UnreadForm",
    "WaterForm",
    "as_found",
    "find_file",
    "is_file",
    "load_file",
    "load_toml",
    "read_out_of",
    "validate",
]
