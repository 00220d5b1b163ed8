"""Plots: each answer described as data once, and drawn from that on the terminal or to a file."""
