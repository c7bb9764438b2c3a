"""Forms: what people type about consignments, results and tests of our own."""
