"""TOML text and positions, schema, items, overrides, the set-up file."""

__all__ = [
    "items",
    "keys",
    "new_setup",
    "overrides",
    "positions",
    "quantities",
    "schema",
    "schema_export",
    "sections",
    "setup_file",
    "tables",
    "toml",
    "whole_file",
]
