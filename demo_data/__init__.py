"""An invented scenario, built from a seed: no place, person, company, artist or work is real."""

NOTICE = "Invented for demonstration"
"""Shown wherever a person may see something of this scenario."""
