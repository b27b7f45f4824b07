"""The database, the photo store and their settings."""
