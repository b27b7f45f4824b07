"""Tags and printed paper: the code scheme, QR symbols, sheets of tags, run sheets, placards."""
