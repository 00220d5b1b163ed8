"""Facts about connectors, coax, pads, adapters, splitters, terminations and channels, and their loader."""
