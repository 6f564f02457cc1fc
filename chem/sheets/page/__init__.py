"""Pages: the same facts and sentences as the sheets, as HTML and pictures of our own."""

from chem.sheets.page.whole import as_html, page

__all__ = ["as_html", "page"]
