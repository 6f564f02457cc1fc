"""What to make of a forecast: why, what to change, in what order, how much acid, what to do now."""
