"""What the insurance adjuster uses."""
