"""The set-up that a user starts from."""

from __future__ import annotations

__all__ = ["starter_text"]


def starter_text() -> str:
    """Give a commented set-up file that loads as it stands."""
    from importlib.resources import files

    return files("chain.files").joinpath("schemas", "starter.toml").read_text(encoding="utf-8")
