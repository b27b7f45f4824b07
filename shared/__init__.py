"""The trade itself: pure types, tables and formulas that the other packages share."""
