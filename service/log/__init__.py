"""The append-only log, its folds and its checkpoints."""
