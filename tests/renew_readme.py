"""Put the program's real output back into README's console blocks."""

from __future__ import annotations

import re
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).parent.parent
BLOCK = re.compile(r"```console\n\$ jarsight (.+?)\n(.*?)```", flags=re.DOTALL)


def main() -> None:
    path = ROOT / "README.md"

    def renewed(match: re.Match[str]) -> str:
        done = subprocess.run(
            [sys.executable, "-m", "chem", *match[1].split()],
            capture_output=True, text=True, cwd=ROOT, check=True,
        )  # fmt: skip
        return f"```console\n$ jarsight {match[1]}\n{done.stdout}```"

    path.write_text(BLOCK.sub(renewed, path.read_text(encoding="utf-8")), encoding="utf-8")


if __name__ == "__main__":
    main()
