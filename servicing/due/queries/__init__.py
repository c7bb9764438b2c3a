"""Reading due dates: for the engine, for lists, and in sums."""
