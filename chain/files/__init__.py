"""TOML text and positions, schema, items, overrides, the set-up file."""

__all__ = [
    "items",
    "new_installation",
    "new_setup",
    "overrides",
    "quantities",
    "schema",
    "schema_export",
    "sections",
    "setup_file",
    "tables",
    "toml",
    "toml_text",
    "whole_file",
]
