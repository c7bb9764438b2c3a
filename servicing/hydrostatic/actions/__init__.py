"""What is done with consignments, results and tests of our own."""
