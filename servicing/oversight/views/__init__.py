"""Pages for who answers for the register: the trail, its review, people, health."""
