"""Results as text for people: one module per kind of result, each with `render(result, console)` that computes nothing."""
