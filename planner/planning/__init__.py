"""Which hours suit which job, in what order, and what past weather would have left open. Knows no door."""
