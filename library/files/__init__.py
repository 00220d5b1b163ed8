"""Data files and own part files: read, validated, expanded, made records, written."""
