"""The installed path: the installation file, its tree solved, levels and margins at the outlets, what would mend them."""

__all__ = [
    "draws",
    "installation_file",
    "outlets",
    "records",
    "schema",
    "tree",
]
