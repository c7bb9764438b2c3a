"""Pages about what items owe, one module a subject. Parse, call one function, render."""
