"""Filling an empty register with the invented fleet, by the same roads as a real list."""
