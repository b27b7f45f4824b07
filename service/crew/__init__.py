"""What the field crew uses."""
