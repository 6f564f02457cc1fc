"""From what is printed on a jug to moles of conserved components."""

from chem.label.amounts import label_lines, misfits
from chem.label.contents import Contents, contents
from chem.label.door import class_of_rule, phrases, plain, read_name
from chem.label.product import (
    NITROGEN_FORMS,
    Product,
    Says,
    find_product,
    product_schema,
    read_product,
    read_shelf,
    resolve_guarantee,
    resolve_source,
)
from chem.label.reading import (
    Collector,
    FormModel,
    Name,
    find_file,
    is_file,
    load_toml,
    validate,
)

__all__ = [
    "NITROGEN_FORMS",
    "Collector",
    "Contents",
    "FormModel",
    "Name",
    "Product",
    "Says",
    "class_of_rule",
    "contents",
    "find_file",
    "find_product",
    "is_file",
    "label_lines",
    "load_toml",
    "misfits",
    "phrases",
    "plain",
    "product_schema",
    "read_name",
    "read_product",
    "read_shelf",
    "resolve_guarantee",
    "resolve_source",
    "validate",
]
