"""What a result was made with: printed by the self-check and stamped on every result."""

from __future__ import annotations

import platform

from chem.reference.files import code_hash, data_hash
from chem.version import VERSION


def fingerprint() -> dict[str, str]:
    """Versions of the package, tables, numpy and Python, and the kind of machine.

    Two results with the same fingerprint agree to the last digits printed.
    """
    import numpy as np

    return {
        "jarsight": VERSION,
        "data": data_hash(),
        "numpy": np.__version__,
        "python": platform.python_version(),
        "platform": f"{platform.system()} {platform.machine()}".strip(),
    }


def made_with() -> dict[str, str]:
    """The fingerprint and the very code: what a kept result must have been made with."""
    return fingerprint() | {"code": code_hash()}
