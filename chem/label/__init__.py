"""From what is printed on a jug to moles of conserved components."""

from chem.files import (
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
from chem.label.amounts import label_lines, misfits
from chem.label.contents import Contents, contents
from chem.label.door import NameWord, class_of_rule, phrases, plain, read_name
from chem.label.made import Written, as_tables, make_product
from chem.label.product import (
    NITROGEN_FORMS,
    Product,
    Says,
    find_product,
    product_of,
    product_schema,
    read_product,
    read_shelf,
    resolve_guarantee,
    resolve_source,
    unsupplied,
)

__all__ = [
    "NITROGEN_FORMS",
    "Collector",
    "Contents",
    "FileText",
    "FormModel",
    "Name",
    "NameWord",
    "Product",
    "Says",
    "Written",
    "as_tables",
    "make_product",
    "class_of_rule",
    "as_found",
    "contents",
    "find_file",
    "find_product",
    "is_file",
    "label_lines",
    "load_file",
    "load_toml",
    "misfits",
    "phrases",
    "plain",
    "product_of",
    "product_schema",
    "read_name",
    "read_out_of",
    "read_product",
    "read_shelf",
    "resolve_guarantee",
    "resolve_source",
    "unsupplied",
    "validate",
]
