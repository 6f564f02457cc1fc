"""Reading a label's printed text: lines, percentages, sources, statements, the whole."""
