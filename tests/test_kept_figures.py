"""No figure of the examples moves unnoticed; `python tests/kept_figures.py` keeps new ones."""

from kept_figures import figures, kept, moved


def test_no_figure_moved() -> None:
    assert moved(figures(), kept()) == []
