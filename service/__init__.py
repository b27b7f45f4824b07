"""The application: one folder for each person who uses it, over one log."""
