"""What the office uses."""
