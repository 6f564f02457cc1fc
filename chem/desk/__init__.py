"""The desk: every question in the browser, on this machine only, over one warm Study."""

from __future__ import annotations

from chem.desk.serving import build, serve

__all__ = ["build", "serve"]
