"""What the facility lead and the licensed fumigator use."""
