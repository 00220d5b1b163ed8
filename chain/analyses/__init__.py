"""One module for each question about one set-up, and what serves it."""

__all__ = [
    "bench_card",
    "checks",
    "expect",
    "improvements",
    "loss_range",
    "ohmmeter",
    "page",
    "parts",
    "planes",
    "possible",
    "recover",
    "recovery",
]
