"""The installed path: the installation file, its tree solved, levels and margins at the outlets, what would mend them."""

__all__ = [
    "checks",
    "improvements",
    "installation_file",
    "installer_card",
    "levels",
    "outlets",
    "placing_amplifier",
    "records",
    "schema",
    "seen",
    "tree",
    "trials",
]
