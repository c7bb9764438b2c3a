"""What people type, by page."""
