"""Gathering what a paper says, as plain frozen values that `pure` can draw."""
