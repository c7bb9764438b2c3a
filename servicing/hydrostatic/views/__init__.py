"""Pages of consignments and hydrostatic tests."""
