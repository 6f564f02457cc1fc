"""What people write: the form of each file, read with every problem of it told at once."""

from chem.files.empty_form import blank
from chem.files.kept import FileText, read_out_of
from chem.files.mix import MAX_PRODUCTS, AddForm, AdjuvantForm, MixForm
from chem.files.product import ChelatedForm, FormName, ProductForm, SaysForm, UnreadForm
from chem.files.reading import (
    Collector,
    FormModel,
    Name,
    as_found,
    find_file,
    is_file,
    load_bytes,
    load_file,
    load_toml,
    must_be_shaped,
    must_be_text,
    read_bytes,
    validate,
)
from chem.files.rewriting import (
    cannot_write,
    file_name,
    plain_text,
    rewritten,
    save,
    there_already,
)
from chem.files.shed import SHED, Shed, ShedForm, find_shed, read_shed
from chem.files.solution import CHARGE, SolutionForm
from chem.files.sprayer import SprayerForm
from chem.files.table import Answers, answers_of, raw_of
from chem.files.water import WaterForm

__all__ = [
    "CHARGE",
    "AddForm",
    "AdjuvantForm",
    "Answers",
    "ChelatedForm",
    "Collector",
    "FileText",
    "FormModel",
    "FormName",
    "MAX_PRODUCTS",
    "MixForm",
    "Name",
    "ProductForm",
    "SHED",
    "SaysForm",
    "Shed",
    "ShedForm",
    "SolutionForm",
    "SprayerForm",
    "UnreadForm",
    "WaterForm",
    "answers_of",
    "as_found",
    "blank",
    "cannot_write",
    "file_name",
    "find_file",
    "find_shed",
    "is_file",
    "load_bytes",
    "load_file",
    "load_toml",
    "must_be_shaped",
    "must_be_text",
    "plain_text",
    "raw_of",
    "read_bytes",
    "read_out_of",
    "read_shed",
    "rewritten",
    "save",
    "there_already",
    "validate",
]
